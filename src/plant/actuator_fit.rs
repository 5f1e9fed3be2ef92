//! The actuator seen from a measured nozzle angle: measured minus modelled angle, in degrees.
//!
//! Readings are used from shortly before the first to shortly after the last change of the command,
//! with or without thrust, since the nozzle moves alike. Derivatives are exact (dual numbers).

use nalgebra::{DMatrix, DVector};

use super::actuator::{ActuatorNumbers, Commands, RAD_PER_DEG};
use super::excitation::Movement;
use super::measurement_model::{BIAS, DELAY, GAIN, KindFit, LAG, ScanPoint, View, WIDTH};
use super::slew::Slewing;
use super::{AxisInput, DeadBandKind};
use crate::numeric::dual::{Dual, Scalar};
use crate::numeric::least_squares::Search;
use crate::series::Series;

/// Place of the slew limit, deg/s.
pub const SLEW: usize = 5;
/// Place of the start angle, deg.
pub const START: usize = 6;
const COUNT: usize = 7;

/// Readings kept before the first and after the last command change, s: several lags of a servo.
const MARGIN_S: f64 = 0.25;
/// Readings of the scan: enough to see the shape, few enough to be quick.
const SCAN_READINGS: usize = 300;
/// Readings used at most; longer records are cut to the burn and its surroundings.
const MOST_READINGS: usize = 20_000;
/// A record that starts this soon after the first command needs its own start angle, s.
const SETTLED_AFTER_S: f64 = 0.3;
/// Slowest slew limit that is searched, deg/s: slower could not steer.
pub const SLOWEST_SLEW_DEG_S: f64 = 1.0;

/// Commands and measured nozzle angle.
#[derive(Debug, Clone, PartialEq)]
pub struct NozzleView {
    /// The commands.
    pub commands: Commands,
    /// Readings used, deg.
    pub measured_deg: Series,
    travel_rad: Option<f64>,
    movement: Movement,
    free_start: bool,
    /// Where the search for a slew limit starts, deg/s; `None` without one.
    slew_deg_s: Option<f64>,
    scan: Series,
}

impl NozzleView {
    /// The view of one axis; `None` without a nozzle angle or with fewer than 20 readings.
    #[must_use]
    pub fn new(input: &AxisInput) -> Option<Self> {
        let nozzle = input.nozzle_rad.as_ref()?;
        let commands = Commands::new(&input.command_deg);
        let (first_row, _) = input.command_deg.span_s()?;
        let changes: Vec<(f64, f64)> = commands.changes().collect();
        let first_change = changes.get(1)?.0;
        let last_change = changes.last()?.0;
        let degrees = nozzle.map(|_, angle| angle / RAD_PER_DEG);
        let from = (first_change - MARGIN_S).max(first_row);
        let mut measured_deg = degrees.between(from, last_change + MARGIN_S);
        if measured_deg.len() > MOST_READINGS {
            let (start, end) = input.window_s;
            measured_deg = degrees.between((start - 1.0).max(from), end + MARGIN_S);
        }
        if measured_deg.len() < 20 {
            return None;
        }
        let (start, end) = measured_deg.span_s()?;
        let stride = measured_deg.len().div_ceil(SCAN_READINGS);
        let mut scan = Series::default();
        for (time, value) in measured_deg.iter().step_by(stride) {
            scan.push(time, value);
        }
        Some(Self {
            movement: Movement::of(&input.command_deg, start, end),
            free_start: start < first_row + SETTLED_AFTER_S,
            travel_rad: input.travel_rad,
            commands,
            measured_deg,
            slew_deg_s: None,
            scan,
        })
    }

    /// The same view of some of the readings.
    #[must_use]
    pub fn only(&self, keep: impl Fn(usize) -> bool) -> Self {
        let mut measured_deg = Series::default();
        for (at, (time, value)) in self.measured_deg.iter().enumerate() {
            if keep(at) {
                measured_deg.push(time, value);
            }
        }
        Self {
            measured_deg,
            ..self.clone()
        }
    }

    /// Numbers of the actuator at a point, of any scalar.
    pub fn numbers<S: Scalar>(&self, x: &[S]) -> ActuatorNumbers<S> {
        let rad = S::constant(RAD_PER_DEG);
        ActuatorNumbers {
            gain: x[GAIN],
            bias_deg: x[BIAS],
            lag_s: x[LAG],
            delay_s: x[DELAY],
            width_deg: x[WIDTH],
            slew_rad_s: self.slew_deg_s.map(|_| x[SLEW] * rad),
            start_rad: self.free_start.then(|| x[START] * rad),
        }
    }

    /// Modelled nozzle angle at rising times, rad.
    pub fn nozzle_rad<S: Scalar>(&self, kind: DeadBandKind, x: &[S], times_s: &[f64]) -> Vec<S> {
        self.commands
            .nozzle_rad(kind, &self.numbers(x), self.travel_rad, times_s)
    }
}

/// A point with each parameter carrying its own derivative.
pub fn duals<const N: usize>(x: &[f64]) -> [Dual<N>; N] {
    std::array::from_fn(|i| Dual::parameter(x.get(i).copied().unwrap_or(0.0), i))
}

impl Slewing for NozzleView {
    const SLEW: usize = SLEW;

    fn with_slew(&self, start_deg_s: f64) -> Self {
        Self {
            slew_deg_s: Some(start_deg_s),
            ..self.clone()
        }
    }

    fn fastest_deg_s(&self, fit: &KindFit) -> f64 {
        let times = self.measured_deg.time_s();
        let model = self.nozzle_rad(fit.kind, &fit.minimum.x, times);
        fastest_rad_s(times, &model) / RAD_PER_DEG
    }
}

/// Fastest movement between two neighbouring instants, rad/s.
pub fn fastest_rad_s(times_s: &[f64], angle_rad: &[f64]) -> f64 {
    angle_rad
        .windows(2)
        .zip(times_s.windows(2))
        .map(|(angle, time)| (angle[1] - angle[0]).abs() / (time[1] - time[0]))
        .fold(0.0, f64::max)
}

impl View for NozzleView {
    fn start(&self, core: [f64; 5]) -> Vec<f64> {
        let mut x = core.to_vec();
        x.push(self.slew_deg_s.unwrap_or(0.0));
        x.push(self.measured_deg.value().first().copied().unwrap_or(0.0));
        x
    }

    fn held(&self) -> Vec<usize> {
        let mut out = Vec::new();
        if self.slew_deg_s.is_none() {
            out.push(SLEW);
        }
        if !self.free_start {
            out.push(START);
        }
        out
    }

    fn limit(&self, search: &mut Search) {
        search.low[SLEW] = self.slew_deg_s.map_or(0.0, |_| SLOWEST_SLEW_DEG_S);
    }

    fn typical(&self, start: &[f64]) -> Vec<f64> {
        let gain = start[GAIN].abs().max(0.01);
        let slew = start[SLEW].abs().max(1.0);
        let step = self.movement.widest_deg.max(1e-3);
        vec![gain, 0.2 * step, 0.02, 0.01, 0.1 * step, slew, 0.2 * step]
    }

    fn movement(&self) -> Movement {
        self.movement
    }

    fn residuals(&self, kind: DeadBandKind, x: &[f64]) -> DVector<f64> {
        let model = self.nozzle_rad(kind, x, self.measured_deg.time_s());
        let both = model.iter().zip(self.measured_deg.value());
        DVector::from_iterator(
            model.len(),
            both.map(|(angle, measured)| angle / RAD_PER_DEG - measured),
        )
    }

    fn with_jacobian(&self, kind: DeadBandKind, x: &[f64]) -> (DVector<f64>, DMatrix<f64>) {
        let model = self.nozzle_rad(kind, &duals::<COUNT>(x), self.measured_deg.time_s());
        let measured = self.measured_deg.value();
        (
            DVector::from_fn(model.len(), |i, _| {
                model[i].value / RAD_PER_DEG - measured[i]
            }),
            DMatrix::from_fn(model.len(), COUNT, |i, j| model[i].slope[j] / RAD_PER_DEG),
        )
    }

    fn columns(&self, kind: DeadBandKind, point: ScanPoint) -> (DVector<f64>, DMatrix<f64>) {
        let unit = ActuatorNumbers {
            gain: 1.0,
            bias_deg: 0.0,
            lag_s: point.lag_s,
            delay_s: point.delay_s,
            width_deg: point.width_deg,
            slew_rad_s: None,
            start_rad: None,
        };
        let times = self.scan.time_s();
        let model = self
            .commands
            .nozzle_rad(kind, &unit, self.travel_rad, times);
        (
            DVector::from_column_slice(self.scan.value()),
            DMatrix::from_fn(model.len(), 2, |i, j| {
                if j == 0 { model[i] / RAD_PER_DEG } else { 1.0 }
            }),
        )
    }

    fn gain_and_bias(&self, [gain, offset]: [f64; 2]) -> [f64; 2] {
        [gain, offset / gain]
    }
}
