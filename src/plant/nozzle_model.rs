//! The actuator seen from a measured nozzle angle: measured minus modelled angle, in degrees.
//!
//! Readings are used from shortly before the first to shortly after the last change of the command,
//! with or without thrust, since the nozzle moves alike. Derivatives are exact (dual numbers).

use nalgebra::{DMatrix, DVector};

use super::actuator::{Commands, RAD_PER_DEG};
use super::excitation::Movement;
use super::measurement_model::{MeasurementModel, ScanPoint, StructureFit, WIDTH};
use super::parameter::{NOZZLE_ORDER, Parameter, place};
use super::slew::{Slewing, fastest_rad_s};
use super::{AxisInput, DeadBandKind};
use crate::numeric::dual::{Dual, Scalar};
use crate::series::Series;

/// Number of parameters.
pub(crate) const COUNT: usize = NOZZLE_ORDER.len();
/// Those with which every order begins, and all that an actuator of first order has.
const STEERING: usize = WIDTH + 1;

/// Readings kept before the first and after the last command change, s: several lags of a servo.
const MARGIN_S: f64 = 0.25;
/// Readings of the scan: enough to see the shape, few enough to be quick.
const SCAN_READINGS: usize = 300;
/// Readings used at most; longer records are cut to the burn and its surroundings.
const MOST_READINGS: usize = 20_000;
/// A record that starts this soon after the first command needs its own start angle, s.
const SETTLED_AFTER_S: f64 = 0.3;

/// Commands and measured nozzle angle.
#[derive(Debug, Clone, PartialEq)]
pub struct NozzleModel {
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

impl NozzleModel {
    /// The model of one axis; `None` without a nozzle angle or with fewer than 20 readings.
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

    /// The same model of some of the readings.
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

    /// Residuals and their derivatives by the first `N` parameters; those by the others are 0.
    fn with_derivatives_by<const N: usize>(
        &self,
        kind: DeadBandKind,
        x: &[f64],
    ) -> (DVector<f64>, DMatrix<f64>) {
        let model = self.nozzle_rad(kind, &duals::<N>(x), self.measured_deg.time_s());
        let both = model.iter().zip(self.measured_deg.value());
        let left = both.map(|(angle, measured)| angle.value / RAD_PER_DEG - measured);
        let mut columns = Vec::with_capacity(model.len() * COUNT);
        for at in 0..N {
            columns.extend(model.iter().map(|angle| angle.slope[at] / RAD_PER_DEG));
        }
        columns.resize(model.len() * COUNT, 0.0);
        (
            DVector::from_iterator(model.len(), left),
            DMatrix::from_vec(model.len(), COUNT, columns),
        )
    }

    /// Modelled nozzle angle at rising times, rad.
    pub fn nozzle_rad<S: Scalar>(&self, kind: DeadBandKind, x: &[S], times_s: &[f64]) -> Vec<S> {
        self.commands
            .nozzle_rad(kind, &self.actuator(x), self.travel_rad, times_s)
    }
}

/// A point of which each of the first `N` parameters carries its own derivative.
pub(crate) fn duals<const N: usize>(x: &[f64]) -> [Dual<N>; COUNT] {
    std::array::from_fn(|i| Dual::parameter(x.get(i).copied().unwrap_or(0.0), i))
}

impl Slewing for NozzleModel {
    fn with_slew(&self, start_deg_s: f64) -> Self {
        Self {
            slew_deg_s: Some(start_deg_s),
            ..self.clone()
        }
    }

    fn fastest_deg_s(&self, fit: &StructureFit) -> f64 {
        let times = self.measured_deg.time_s();
        let model = self.nozzle_rad(fit.kind, &fit.minimum.x, times);
        fastest_rad_s(times, &model) / RAD_PER_DEG
    }
}

impl MeasurementModel for NozzleModel {
    const ORDER: &'static [Parameter] = &NOZZLE_ORDER;

    fn start_of(&self, parameter: Parameter) -> f64 {
        match parameter {
            Parameter::Slew => self.slew_deg_s.unwrap_or(0.0),
            Parameter::StartAngle => self.measured_deg.value().first().copied().unwrap_or(0.0),
            _ => 0.0,
        }
    }

    fn is_fixed(&self, parameter: Parameter) -> bool {
        match parameter {
            Parameter::Slew => self.slew_deg_s.is_none(),
            Parameter::StartAngle => !self.free_start,
            _ => false,
        }
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
        let second_order = x[place(&NOZZLE_ORDER, Parameter::DampingRatio)] > 0.0;
        if second_order || self.free_start || self.slew_deg_s.is_some() {
            self.with_derivatives_by::<COUNT>(kind, x)
        } else {
            self.with_derivatives_by::<STEERING>(kind, x)
        }
    }

    fn of_few(&self) -> Option<Self> {
        let stride = self.measured_deg.len() / SCAN_READINGS;
        (stride > 1).then(|| self.only(|at| at.is_multiple_of(stride)))
    }

    fn to_explain(&self) -> (DVector<f64>, DVector<f64>) {
        let readings = DVector::from_column_slice(self.scan.value());
        let ones = DVector::repeat(readings.len(), 1.0);
        (readings, ones)
    }

    fn gain_columns(&self, kind: DeadBandKind, points: &[ScanPoint]) -> Vec<DVector<f64>> {
        let times = self.scan.time_s();
        let column = |point: &ScanPoint| {
            let unit = point.unit();
            let model = self
                .commands
                .nozzle_rad(kind, &unit, self.travel_rad, times);
            DVector::from_iterator(model.len(), model.iter().map(|angle| angle / RAD_PER_DEG))
        };
        points.iter().map(column).collect()
    }

    fn gain_and_bias(&self, [gain, offset]: [f64; 2]) -> [f64; 2] {
        [gain, offset / gain]
    }
}
