//! The actuator and the rig seen from tilt and rate: residuals are scaled prediction errors.
//!
//! Parameters beside the first five ([`super::measurement_model`]): damping, stiffness, dry friction, and those
//! that the maker knows only within limits: how far the clocks of tilt and rate stand apart, how
//! far the nozzle's clock stands from theirs, how much lighter the rig ends, and by how much motors
//! beside the axis light later and burn longer than each other, so that their torques do not balance. Each has a prior,
//! a row of its own among the residuals, which keeps what the record cannot tell from spoiling what
//! it can, and lets what it can tell correct the maker (mixed estimation; Theil & Goldberger 1961).
//! In this view GAIN is the product gain x effectiveness (or effectiveness alone when the nozzle
//! angle is known), and BIAS is the thrust bias. Damping, stiffness and friction act on the tilt
//! that the filter has predicted, so they too are inputs.
//!
//! Limit: clocks are moved to first order, which is exact to a few millionths of a radian for the
//! few milliseconds that edges leave unsure.

use nalgebra::{DMatrix, DVector};

use super::DeadBandKind;
use super::actuator::{ActuatorNumbers, Commands, RAD_PER_DEG};
use super::actuator_fit::{SLOWEST_SLEW_DEG_S, fastest_rad_s};
use super::excitation::Movement;
use super::measurement_model::{BIAS, DELAY, GAIN, KindFit, LAG, ScanPoint, View, WIDTH};
use super::slew::Slewing;
use super::tilt::{Filter, Instants, Predicted, Swing};
use crate::numeric::dual::{Dual, Scalar};
use crate::numeric::least_squares::Search;

/// Place of the damping, 1/s.
pub const DAMPING: usize = 5;
/// Place of the stiffness, 1/s2.
pub const STIFFNESS: usize = 6;
/// Place of the dry friction, rad/s2.
pub const COULOMB: usize = 7;
/// Place of the time by which readings of one motion sensor come late against the other's, s.
pub const APART: usize = 8;
/// Place of the time by which a known nozzle angle comes late against the motion, s.
pub const LATE: usize = 9;
/// Place of what inertia at burnout over that at ignition is more than stated.
pub const SPENT: usize = 10;
/// Place of how much later motors on one side are than on the other, times their lever, s/(kg m).
pub const LATER: usize = 11;
/// Place of how much longer they burn, as a share, times their lever, 1/(kg m).
pub const LONGER: usize = 12;
/// Place of the slew limit for a gain of 1, deg/s.
pub const SLEW: usize = 13;
/// Number of parameters.
pub const COUNT: usize = 14;
/// Parameters with a prior: from the damping to the motors' difference.
pub const PRIORS: usize = SLEW - DAMPING;
/// Parameters that dual numbers are carried for: the first five, and the slew limit.
const DUALS: usize = WIDTH + 2;

/// A point whose actuator's parameters carry their own derivatives, the slew limit's in the last place.
fn duals(x: &[f64]) -> Vec<Dual<DUALS>> {
    let place = |index: usize| match index {
        0..=WIDTH => Some(index),
        SLEW => Some(DUALS - 1),
        _ => None,
    };
    let of = |(index, value): (usize, &f64)| match place(index) {
        Some(place) => Dual::parameter(*value, place),
        None => Dual::constant(*value),
    };
    x.iter().enumerate().map(of).collect()
}

/// Rate over which dry friction changes sign, rad/s (0.6 deg/s): below this a rig creeps.
const CREEP_RAD_S: f64 = 0.01;

/// Where the nozzle angle comes from.
#[derive(Debug, Clone)]
pub enum Nozzle {
    /// From commands through an actuator to be fitted; its gain is in the product.
    Fitted {
        /// The commands.
        commands: Commands,
        /// Limit of the demanded angle, rad.
        travel_rad: Option<f64>,
    },
    /// Known at each instant.
    Known {
        /// Angle, rad.
        angle_rad: Vec<f64>,
        /// Its derivative by time, rad/s.
        rate_rad_s: Vec<f64>,
    },
}

/// Prior of a parameter.
#[derive(Debug, Clone, Copy, Default)]
pub struct Prior {
    /// Centre.
    pub value: f64,
    /// Standard deviation; 0 holds the parameter.
    pub u: f64,
}

/// What pushes the rig at each instant.
#[derive(Debug, Clone, Default)]
pub struct Push {
    /// Thrust times the rig's lightening as stated, N.
    pub push_n: Vec<f64>,
    /// By which share the push is less for each unit of [`SPENT`].
    pub lighter: Vec<f64>,
    /// Less thrust for each second that motors are later, N/s.
    pub later: Vec<f64>,
    /// More thrust for each whole of their duration that motors burn longer at the same impulse, N.
    pub longer: Vec<f64>,
    /// Whether the readings that [`APART`] moves are those of the rate.
    pub moves_rate: bool,
}

/// What moves the prediction errors when one parameter moves.
#[derive(Debug, Clone)]
pub enum Driver {
    /// An acceleration at each instant.
    Acceleration(Vec<f64>),
    /// Readings (of the rate, or of the tilt) that show more by this at each instant.
    Readings(bool, Vec<f64>),
}

impl Driver {
    /// The derivative of the residuals under a filter.
    #[must_use]
    pub fn through(&self, filter: &Filter) -> DVector<f64> {
        match self {
            Self::Acceleration(input) => DVector::from_vec(filter.response(input)),
            Self::Readings(rate, slope) => -DVector::from_vec(filter.errors_of(*rate, slope)),
        }
    }
}

/// Everything that stays the same while the actuator is searched.
#[derive(Debug, Clone)]
pub struct TiltView {
    filter: Filter,
    times_s: Vec<f64>,
    push: Push,
    nozzle: Nozzle,
    errors: DVector<f64>,
    thrust_response: DVector<f64>,
    /// Damping, stiffness, friction, clocks apart: what drives them, and their derivatives.
    swing_drivers: [Driver; 4],
    swing_response: [DVector<f64>; 4],
    swing: Swing,
    priors: [Prior; PRIORS],
    /// Where the search for a slew limit starts, deg/s; `None` without one.
    slew_deg_s: Option<f64>,
    movement: Movement,
    /// Readings left out of the residuals.
    left_out: Vec<bool>,
}

impl TiltView {
    /// Builds the view; `input` is the acceleration believed so far, for the predicted tilt that
    /// damping, stiffness and friction act on.
    #[must_use]
    pub fn new(
        filter: Filter,
        instants: &Instants,
        push: Push,
        nozzle: Nozzle,
        swing: Swing,
        input: &[f64],
    ) -> Self {
        let Predicted {
            tilt_rad: tilt,
            rate_rad_s: rate,
            turn_rad_s2: turn,
        } = filter.predicted(input, swing);
        let damping: Vec<f64> = rate.iter().map(|rate| -rate).collect();
        let friction: Vec<f64> = rate
            .iter()
            .map(|rate| -(rate / CREEP_RAD_S).tanh())
            .collect();
        let response = |input: &[f64]| DVector::from_vec(filter.response(input));
        // A reading that comes late shows what was to be seen earlier, so it lacks some movement.
        let slope = if push.moves_rate { turn } else { rate };
        let swing_drivers = [
            Driver::Acceleration(damping),
            Driver::Acceleration(tilt),
            Driver::Acceleration(friction),
            Driver::Readings(push.moves_rate, slope),
        ];
        Self {
            errors: DVector::from_vec(filter.errors()),
            thrust_response: response(&push.push_n),
            swing_response: swing_drivers.each_ref().map(|d| d.through(&filter)),
            swing_drivers,
            times_s: instants.times_s.clone(),
            push,
            nozzle,
            swing,
            priors: [Prior::default(); PRIORS],
            slew_deg_s: None,
            movement: Movement::default(),
            left_out: vec![],
            filter,
        }
    }

    /// Sets the priors of the parameters from the damping on.
    #[must_use]
    pub fn with_priors(mut self, priors: [Prior; PRIORS]) -> Self {
        self.priors = priors;
        self
    }

    /// Sets the size of the command's movement.
    #[must_use]
    pub fn with_movement(mut self, movement: Movement) -> Self {
        self.movement = movement;
        self
    }

    /// The same view with some readings left out of the residuals (the filter still has them).
    #[must_use]
    pub fn without(mut self, left_out: impl Fn(usize) -> bool) -> Self {
        self.left_out = (0..self.errors.len()).map(left_out).collect();
        self
    }

    /// The filter behind it.
    #[must_use]
    pub fn filter(&self) -> &Filter {
        &self.filter
    }

    /// Modelled nozzle angle at each instant for a gain of 1, rad.
    pub fn nozzle_rad<S: Scalar>(&self, kind: DeadBandKind, x: &[S]) -> Vec<S> {
        match &self.nozzle {
            Nozzle::Known {
                angle_rad,
                rate_rad_s,
            } => {
                let late_s = x.get(LATE).map_or(0.0, |late| late.value());
                let both = angle_rad.iter().zip(rate_rad_s);
                both.map(|(angle, rate)| S::constant(angle + late_s * rate))
                    .collect()
            }
            Nozzle::Fitted {
                commands,
                travel_rad,
            } => {
                let numbers = ActuatorNumbers {
                    gain: S::constant(1.0),
                    bias_deg: S::constant(0.0),
                    lag_s: x[LAG],
                    delay_s: x[DELAY],
                    width_deg: x[WIDTH],
                    slew_rad_s: self.slew_deg_s.map(|_| x[SLEW] * S::constant(RAD_PER_DEG)),
                    start_rad: None,
                };
                commands.nozzle_rad(kind, &numbers, *travel_rad, &self.times_s)
            }
        }
    }

    /// Thrust times the rig's lightening at each instant, N.
    #[must_use]
    pub fn push_n(&self, x: &[f64]) -> Vec<f64> {
        let both = self.push.push_n.iter().zip(&self.push.lighter);
        both.map(|(push, lighter)| push * (1.0 - x[SPENT] * lighter))
            .collect()
    }

    /// Acceleration that nozzle and thrust bias give at each instant, rad/s2.
    #[must_use]
    pub fn input(&self, kind: DeadBandKind, x: &[f64]) -> Vec<f64> {
        let angle = self.nozzle_rad(kind, x);
        let apart = self.push.later.iter().zip(&self.push.longer);
        let both = angle.iter().zip(self.push_n(x)).zip(apart);
        both.map(|((angle, push), (later, longer))| {
            push * (x[GAIN] * angle.sin() + x[BIAS]) + x[LATER] * later + x[LONGER] * longer
        })
        .collect()
    }

    /// What drives each of the free parameters at a point, as derivatives of the residuals.
    #[must_use]
    pub fn drivers(&self, kind: DeadBandKind, x: &[f64], free: &[bool]) -> Vec<(usize, Driver)> {
        let push = self.push_n(x);
        let angle = self.nozzle_rad(kind, &duals(x));
        let both = angle.iter().map(|d| d.value.sin_cos());
        let (sine, cosine): (Vec<f64>, Vec<f64>) = both.unzip();
        let acceleration =
            |of: &dyn Fn(usize) -> f64| Driver::Acceleration((0..push.len()).map(of).collect());
        (0..COUNT)
            .filter(|index| free[*index])
            .map(|index| {
                let driver = match index {
                    GAIN => acceleration(&|at| push[at] * sine[at]),
                    BIAS => acceleration(&|at| push[at]),
                    LATE => {
                        acceleration(&|at| x[GAIN] * push[at] * cosine[at] * self.nozzle_rate(at))
                    }
                    SPENT => acceleration(&|at| {
                        let less = self.push.push_n[at] * self.push.lighter[at];
                        -less * (x[GAIN] * sine[at] + x[BIAS])
                    }),
                    LATER => Driver::Acceleration(self.push.later.clone()),
                    LONGER => Driver::Acceleration(self.push.longer.clone()),
                    swing @ DAMPING..=APART => self.swing_drivers[swing - DAMPING].clone(),
                    core => acceleration(&|at| {
                        let slope = angle[at].slope[core.min(DUALS - 1)];
                        x[GAIN] * push[at] * cosine[at] * slope
                    }),
                };
                (index, driver)
            })
            .collect()
    }

    fn nozzle_rate(&self, at: usize) -> f64 {
        match &self.nozzle {
            Nozzle::Known { rate_rad_s, .. } => rate_rad_s[at],
            Nozzle::Fitted { .. } => 0.0,
        }
    }

    /// Acceleration that dry friction gives at each instant, rad/s2.
    fn rubbed(&self, x: &[f64]) -> Vec<f64> {
        match &self.swing_drivers[COULOMB - DAMPING] {
            Driver::Acceleration(unit) => unit.iter().map(|unit| x[COULOMB] * unit).collect(),
            Driver::Readings(..) => vec![0.0; self.times_s.len()],
        }
    }

    /// All acceleration but that of the filter's own swing and disturbance, rad/s2.
    #[must_use]
    pub fn acceleration(&self, kind: DeadBandKind, x: &[f64]) -> Vec<f64> {
        let both = self.input(kind, x).into_iter().zip(self.rubbed(x));
        both.map(|(steered, rubbed)| steered + rubbed).collect()
    }

    /// Motion one step ahead.
    #[must_use]
    pub fn predicted(&self, kind: DeadBandKind, x: &[f64]) -> Predicted {
        self.filter
            .predicted(&self.acceleration(kind, x), self.swing)
    }

    /// The readings with late ones moved to where they belong.
    #[must_use]
    pub fn straightened(&self, instants: &Instants, x: &[f64]) -> Instants {
        match &self.swing_drivers[APART - DAMPING] {
            Driver::Readings(rate, slope) => {
                let by: Vec<f64> = slope.iter().map(|slope| -x[APART] * slope).collect();
                instants.lessened(*rate, &by)
            }
            Driver::Acceleration(_) => instants.clone(),
        }
    }

    /// Priors of the parameters from the damping on.
    #[must_use]
    pub fn priors(&self) -> &[Prior; PRIORS] {
        &self.priors
    }

    /// What a change of the nozzle angle (rad at each instant) takes off the prediction errors.
    #[must_use]
    pub fn response_to_angle(&self, effectiveness: f64, change_rad: &[f64]) -> DVector<f64> {
        let both = change_rad.iter().zip(&self.push.push_n);
        let input: Vec<f64> = both
            .map(|(angle, push)| effectiveness * push * angle)
            .collect();
        DVector::from_vec(self.filter.response(&input))
    }

    fn response(&self, input: impl Iterator<Item = f64>) -> DVector<f64> {
        DVector::from_vec(self.filter.response(&input.collect::<Vec<f64>>()))
    }

    /// What the two linear parameters have to explain: errors less what the swing explains.
    fn rest(&self, x: &[f64]) -> DVector<f64> {
        let [damping, tilt, friction, apart] = &self.swing_response;
        &self.errors
            - damping * (x[DAMPING] - self.swing.damping_per_s)
            - tilt * (x[STIFFNESS] - self.swing.stiffness_per_s2)
            - friction * x[COULOMB]
            - apart * x[APART]
    }

    fn with_priors_below(&self, top: DVector<f64>, x: &[f64]) -> DVector<f64> {
        let n = top.len();
        let mut top = top;
        for (entry, left_out) in top.iter_mut().zip(&self.left_out) {
            *entry *= f64::from(u8::from(!left_out));
        }
        let mut out = top.resize_vertically(n + PRIORS, 0.0);
        for (row, prior) in self.priors.iter().enumerate() {
            if prior.u > 0.0 {
                out[n + row] = (x[DAMPING + row] - prior.value) / prior.u;
            }
        }
        out
    }
}

impl Slewing for TiltView {
    const SLEW: usize = SLEW;

    fn with_slew(&self, start_deg_s: f64) -> Self {
        Self {
            slew_deg_s: Some(start_deg_s),
            ..self.clone()
        }
    }

    fn fastest_deg_s(&self, fit: &KindFit) -> f64 {
        let model = self.nozzle_rad(fit.kind, &fit.minimum.x);
        fastest_rad_s(&self.times_s, &model) / RAD_PER_DEG
    }
}

impl View for TiltView {
    fn start(&self, core: [f64; 5]) -> Vec<f64> {
        let mut x = core.to_vec();
        x.extend(self.priors.iter().map(|prior| prior.value));
        x[DAMPING] = self.swing.damping_per_s;
        x[STIFFNESS] = self.swing.stiffness_per_s2;
        x.push(self.slew_deg_s.unwrap_or(0.0));
        x
    }

    fn held(&self) -> Vec<usize> {
        let unknown = self.priors.iter().map(|prior| prior.u > 0.0);
        let mut out: Vec<usize> = (DAMPING..SLEW)
            .zip(unknown)
            .filter_map(|(index, unknown)| (!unknown).then_some(index))
            .collect();
        match self.nozzle {
            Nozzle::Known { .. } => out.extend([LAG, DELAY, WIDTH]),
            Nozzle::Fitted { .. } => out.push(LATE),
        }
        if self.slew_deg_s.is_none() {
            out.push(SLEW);
        }
        out
    }

    fn limit(&self, search: &mut Search) {
        search.low[SLEW] = self.slew_deg_s.map_or(0.0, |_| SLOWEST_SLEW_DEG_S);
    }

    fn typical(&self, start: &[f64]) -> Vec<f64> {
        let step = self.movement.widest_deg.max(1e-3);
        let size = start[GAIN].abs().max(0.1);
        vec![
            size,
            0.05 * size,
            0.02,
            0.01,
            0.1 * step,
            0.5,
            1.0,
            0.1,
            1e-3,
            1e-3,
            0.01,
            1e-3,
            0.01,
            start[SLEW].abs().max(1.0),
        ]
    }

    fn movement(&self) -> Movement {
        self.movement
    }

    fn residuals(&self, kind: DeadBandKind, x: &[f64]) -> DVector<f64> {
        let input = self.input(kind, x);
        let left = self.response(input.into_iter()) - self.rest(x);
        self.with_priors_below(left, x)
    }

    fn with_jacobian(&self, kind: DeadBandKind, x: &[f64]) -> (DVector<f64>, DMatrix<f64>) {
        let n = self.errors.len();
        let mut jacobian = DMatrix::zeros(n + PRIORS, COUNT);
        let mut wanted = vec![true; COUNT];
        for index in self.held() {
            wanted[index] = false;
        }
        wanted[WIDTH] &= kind != DeadBandKind::None;
        for (at, column) in self.swing_response.iter().enumerate() {
            wanted[DAMPING + at] = false;
            jacobian
                .view_mut((0, DAMPING + at), (n, 1))
                .copy_from(column);
        }
        for (index, driver) in self.drivers(kind, x, &wanted) {
            let column = driver.through(&self.filter);
            jacobian.view_mut((0, index), (n, 1)).copy_from(&column);
        }
        for (at, _) in self.left_out.iter().enumerate().filter(|(_, out)| **out) {
            jacobian.row_mut(at).fill(0.0);
        }
        for (row, prior) in self.priors.iter().enumerate() {
            if prior.u > 0.0 {
                jacobian[(n + row, DAMPING + row)] = 1.0 / prior.u;
            }
        }
        (self.residuals(kind, x), jacobian)
    }

    fn columns(&self, kind: DeadBandKind, point: ScanPoint) -> (DVector<f64>, DMatrix<f64>) {
        let x = self.start([0.0, 0.0, point.lag_s, point.delay_s, point.width_deg]);
        let angle = self.nozzle_rad(kind, &x);
        let both = angle.iter().zip(&self.push.push_n);
        let steer = self.response(both.map(|(angle, push)| angle.sin() * push));
        let columns = DMatrix::from_columns(&[steer, self.thrust_response.clone()]);
        (self.rest(&x), columns)
    }
}

/// Degrees of a radian series.
#[must_use]
pub fn degrees(angle_rad: &[f64]) -> Vec<f64> {
    angle_rad.iter().map(|angle| angle / RAD_PER_DEG).collect()
}
