//! The actuator and the rig seen from tilt and rate: residuals are scaled prediction errors.
//!
//! Parameters beside the first five ([`super::view`]): damping, stiffness, dry friction. In this
//! view GAIN is the product gain x effectiveness (or effectiveness alone when the nozzle angle is
//! known), and BIAS is the thrust bias. Damping and stiffness act on the tilt that the filter has
//! predicted, so they too are inputs; each has a weak prior (a row of its own among the residuals),
//! which keeps what the record cannot tell from spoiling what it can.

use nalgebra::{DMatrix, DVector};

use super::DeadBandKind;
use super::actuator::{ActuatorNumbers, Commands, RAD_PER_DEG};
use super::actuator_fit::duals;
use super::excitation::Movement;
use super::tilt::{Filter, Instants, Swing};
use super::view::{BIAS, DELAY, GAIN, LAG, ScanPoint, View, WIDTH};
use crate::numeric::dual::Scalar;
use crate::numeric::least_squares::Search;

/// Place of the damping, 1/s.
pub const DAMPING: usize = 5;
/// Place of the stiffness, 1/s2.
pub const STIFFNESS: usize = 6;
/// Place of the dry friction, rad/s2.
pub const COULOMB: usize = 7;
/// Number of parameters.
pub const COUNT: usize = 8;
/// Rows that hold priors.
const PRIOR_ROWS: usize = 2;

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
    /// Known at each instant, rad.
    Known(Vec<f64>),
}

/// Prior of a parameter.
#[derive(Debug, Clone, Copy)]
pub struct Prior {
    /// Centre.
    pub value: f64,
    /// Standard deviation.
    pub u: f64,
}

/// Everything that stays the same while the actuator is searched.
#[derive(Debug, Clone)]
pub struct TiltView {
    filter: Filter,
    times_s: Vec<f64>,
    /// Thrust times the rig's lightening at each instant, N.
    push_n: Vec<f64>,
    nozzle: Nozzle,
    errors: DVector<f64>,
    thrust_response: DVector<f64>,
    swing_response: [DVector<f64>; 3],
    swing: Swing,
    priors: [Prior; PRIOR_ROWS],
    friction: bool,
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
        push_n: Vec<f64>,
        nozzle: Nozzle,
        swing: Swing,
        input: &[f64],
    ) -> Self {
        let (tilt, rate) = filter.predicted(input);
        let damping: Vec<f64> = rate.iter().map(|rate| -rate).collect();
        let friction: Vec<f64> = rate
            .iter()
            .map(|rate| -(rate / CREEP_RAD_S).tanh())
            .collect();
        let response = |input: &[f64]| DVector::from_vec(filter.response(input));
        Self {
            errors: DVector::from_vec(filter.errors()),
            thrust_response: response(&push_n),
            swing_response: [response(&damping), response(&tilt), response(&friction)],
            times_s: instants.times_s.clone(),
            push_n,
            nozzle,
            swing,
            priors: [Prior { value: 0.0, u: 1.0 }; PRIOR_ROWS],
            friction: false,
            movement: Movement::default(),
            left_out: vec![],
            filter,
        }
    }

    /// Sets the priors of damping and stiffness.
    #[must_use]
    pub fn with_priors(mut self, damping: Prior, stiffness: Prior) -> Self {
        self.priors = [damping, stiffness];
        self
    }

    /// Sets the size of the command's movement.
    #[must_use]
    pub fn with_movement(mut self, movement: Movement) -> Self {
        self.movement = movement;
        self
    }

    /// The same view with dry friction to be fitted.
    #[must_use]
    pub fn with_friction(mut self) -> Self {
        self.friction = true;
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
            Nozzle::Known(angle) => angle.iter().map(|angle| S::constant(*angle)).collect(),
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
                    slew_rad_s: None,
                    start_rad: None,
                };
                commands.nozzle_rad(kind, &numbers, *travel_rad, &self.times_s)
            }
        }
    }

    /// Acceleration that nozzle and thrust bias give at each instant, rad/s2.
    #[must_use]
    pub fn input(&self, kind: DeadBandKind, x: &[f64]) -> Vec<f64> {
        let angle = self.nozzle_rad(kind, x);
        let both = angle.iter().zip(&self.push_n);
        both.map(|(angle, push)| push * (x[GAIN] * angle.sin() + x[BIAS]))
            .collect()
    }

    /// What a change of the nozzle angle (rad at each instant) takes off the prediction errors.
    #[must_use]
    pub fn response_to_angle(&self, effectiveness: f64, change_rad: &[f64]) -> DVector<f64> {
        let both = change_rad.iter().zip(&self.push_n);
        let input: Vec<f64> = both
            .map(|(angle, push)| effectiveness * push * angle)
            .collect();
        DVector::from_vec(self.filter.response(&input))
    }

    fn steer(&self, sines: &[f64]) -> DVector<f64> {
        let both = sines.iter().zip(&self.push_n);
        let input: Vec<f64> = both.map(|(sine, push)| sine * push).collect();
        DVector::from_vec(self.filter.response(&input))
    }

    /// What the two linear parameters have to explain: errors less what the swing explains.
    fn rest(&self, x: &[f64]) -> DVector<f64> {
        let [damping, tilt, friction] = &self.swing_response;
        &self.errors
            - damping * (x[DAMPING] - self.swing.damping_per_s)
            - tilt * (x[STIFFNESS] - self.swing.stiffness_per_s2)
            - friction * x[COULOMB]
    }

    fn with_priors_below(&self, top: DVector<f64>, x: &[f64]) -> DVector<f64> {
        let n = top.len();
        let mut top = top;
        for (entry, left_out) in top.iter_mut().zip(&self.left_out) {
            *entry *= f64::from(u8::from(!left_out));
        }
        let mut out = top.resize_vertically(n + PRIOR_ROWS, 0.0);
        for (row, prior) in self.priors.iter().enumerate() {
            out[n + row] = (x[DAMPING + row] - prior.value) / prior.u;
        }
        out
    }
}

impl View for TiltView {
    fn start(&self, core: [f64; 5]) -> Vec<f64> {
        let mut x = core.to_vec();
        x.extend([self.swing.damping_per_s, self.swing.stiffness_per_s2, 0.0]);
        x
    }

    fn held(&self) -> Vec<usize> {
        let mut out = Vec::new();
        if !self.friction {
            out.push(COULOMB);
        }
        if matches!(self.nozzle, Nozzle::Known(_)) {
            out.extend([LAG, DELAY, WIDTH]);
        }
        out
    }

    fn limit(&self, search: &mut Search) {
        search.low[COULOMB] = 0.0;
    }

    fn typical(&self, start: &[f64]) -> Vec<f64> {
        let step = self.movement.widest_deg.max(1e-3);
        let size = start[GAIN].abs().max(0.1);
        vec![size, 0.05 * size, 0.02, 0.01, 0.1 * step, 0.5, 1.0, 0.1]
    }

    fn movement(&self) -> Movement {
        self.movement
    }

    fn residuals(&self, kind: DeadBandKind, x: &[f64]) -> DVector<f64> {
        let sines: Vec<f64> = self.nozzle_rad(kind, x).iter().map(|d| d.sin()).collect();
        let left = self.steer(&sines) * x[GAIN] + &self.thrust_response * x[BIAS] - self.rest(x);
        self.with_priors_below(left, x)
    }

    fn with_jacobian(&self, kind: DeadBandKind, x: &[f64]) -> (DVector<f64>, DMatrix<f64>) {
        let fitted = matches!(self.nozzle, Nozzle::Fitted { .. });
        let angle = self.nozzle_rad(kind, &duals::<COUNT>(x));
        let sines: Vec<f64> = angle.iter().map(|d| d.value.sin()).collect();
        let steer = self.steer(&sines);
        let n = steer.len();
        let mut jacobian = DMatrix::zeros(n + PRIOR_ROWS, COUNT);
        let mut put = |index: usize, column: &DVector<f64>| {
            jacobian.view_mut((0, index), (n, 1)).copy_from(column);
        };
        put(GAIN, &steer);
        put(BIAS, &self.thrust_response);
        for (at, column) in self.swing_response.iter().enumerate() {
            put(DAMPING + at, column);
        }
        for index in [LAG, DELAY, WIDTH] {
            if fitted && (index != WIDTH || kind != DeadBandKind::None) {
                let change: Vec<f64> = angle
                    .iter()
                    .map(|d| d.value.cos() * d.slope[index])
                    .collect();
                put(index, &self.response_to_angle(x[GAIN], &change));
            }
        }
        for (at, _) in self.left_out.iter().enumerate().filter(|(_, out)| **out) {
            jacobian.row_mut(at).fill(0.0);
        }
        for (row, prior) in self.priors.iter().enumerate() {
            jacobian[(n + row, DAMPING + row)] = 1.0 / prior.u;
        }
        let left = steer * x[GAIN] + &self.thrust_response * x[BIAS] - self.rest(x);
        (self.with_priors_below(left, x), jacobian)
    }

    fn columns(&self, kind: DeadBandKind, point: ScanPoint) -> (DVector<f64>, DMatrix<f64>) {
        let mut x = self.start([0.0, 0.0, point.lag_s, point.delay_s, point.width_deg]);
        x[COULOMB] = 0.0;
        let sines: Vec<f64> = self.nozzle_rad(kind, &x).iter().map(|d| d.sin()).collect();
        let steer = self.steer(&sines);
        let columns = DMatrix::from_columns(&[steer, self.thrust_response.clone()]);
        (self.rest(&x), columns)
    }
}

/// Degrees of a radian series.
#[must_use]
pub fn degrees(angle_rad: &[f64]) -> Vec<f64> {
    angle_rad.iter().map(|angle| angle / RAD_PER_DEG).collect()
}
