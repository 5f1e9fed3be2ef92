//! The actuator and the rig seen from tilt and rate: residuals are scaled prediction errors.
//!
//! Parameters behind the first five ([`super::measurement_model`]): damping, stiffness, dry friction, and those
//! that the maker knows only within limits: how far the clocks of tilt and rate stand apart, how
//! far the nozzle's clock stands from theirs, how much lighter the rig ends, and by how much motors
//! beside the axis light later and burn longer than each other, so that their torques do not balance. Each has a prior,
//! a row of its own among the residuals, which keeps what the record cannot tell from spoiling what
//! it can, and lets what it can tell correct the maker (mixed estimation; Theil & Goldberger 1961).
//! In this model the effectiveness is the product gain x effectiveness unless the nozzle angle is known.
//! Damping, stiffness and friction act on the tilt
//! that the filter has predicted, so they too are inputs.
//!
//! Limit: clocks are moved to first order, which is exact to a few millionths of a radian for the
//! few milliseconds that edges leave unsure.

use nalgebra::{DMatrix, DVector};

use super::DeadBandKind;
use super::actuator::{Commands, RAD_PER_DEG};
use super::excitation::Movement;
use super::instants::Instants;
use super::kalman_filter::{Drive, KalmanFilter, PredictedMotion, RigDynamics};
use super::measurement_model::{MeasurementModel, ScanPoint, StructureFit};
use super::parameter::{ACTUATOR, Parameter, TILT_ORDER, WITH_PRIOR, place};
use super::prior::Priors;
use super::sensitivity::Sensitivity;
use super::slew::{Slewing, fastest_rad_s};
use crate::numeric::dual::{Dual, Scalar};

/// Number of parameters.
pub(crate) const COUNT: usize = TILT_ORDER.len();
/// Number of priors: each is a row among the residuals.
pub(crate) const PRIORS: usize = WITH_PRIOR.len();

/// The actuator's parameters that are searched for beside the product.
const STEERED: [Parameter; 5] = [
    Parameter::Lag,
    Parameter::Delay,
    Parameter::DeadBandWidth,
    Parameter::DampingRatio,
    Parameter::Slew,
];

/// A point whose actuator's parameters carry their own derivatives, in the order of [`STEERED`].
fn duals(x: &[f64]) -> Vec<Dual<{ STEERED.len() }>> {
    let of = |(value, parameter): (&f64, &Parameter)| match place(&STEERED, *parameter) {
        at if at < STEERED.len() => Dual::parameter(*value, at),
        _ => Dual::constant(*value),
    };
    x.iter().zip(&TILT_ORDER).map(of).collect()
}

/// Rate over which dry friction changes sign, rad/s (0.6 deg/s): below this a rig creeps.
const CREEP_RAD_S: f64 = 0.01;

/// Where the nozzle angle comes from.
#[derive(Debug, Clone)]
pub(crate) enum NozzleAngle {
    /// From commands through an actuator to be fitted; its gain is in the product.
    FromCommands {
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

/// What pushes the rig at each instant.
#[derive(Debug, Clone, Default)]
pub(crate) struct ThrustInput {
    /// Thrust times the rig's lightening as stated, N.
    pub push_n: Vec<f64>,
    /// By which share the push is less for each unit of [`Parameter::InertiaAtBurnout`].
    pub lighter: Vec<f64>,
    /// Less thrust for each second that motors are later, N/s.
    pub later: Vec<f64>,
    /// More thrust for each whole of their duration that motors burn longer at the same impulse, N.
    pub longer: Vec<f64>,
    /// Whether the readings that [`Parameter::SensorClock`] moves are those of the rate.
    pub moves_rate: bool,
}

/// A parameter that moves the prediction errors in proportion.
#[derive(Debug, Clone)]
struct LinearEffect {
    parameter: Parameter,
    sensitivity: Sensitivity,
    /// The same as derivatives of the residuals.
    response: DVector<f64>,
    /// The value that the filter reckons with already.
    in_filter: f64,
}

/// Everything that stays the same while the actuator is searched.
#[derive(Debug, Clone)]
pub(crate) struct TiltModel {
    filter: KalmanFilter,
    times_s: Vec<f64>,
    push: ThrustInput,
    nozzle: NozzleAngle,
    errors: DVector<f64>,
    thrust_response: DVector<f64>,
    /// The same of the part of the push that [`ThrustInput::lighter`] takes off.
    lighter_response: DVector<f64>,
    /// Damping, stiffness, friction, the clock between the sensors, and motors unlike each other.
    linear: [LinearEffect; 6],
    swing: RigDynamics,
    priors: Priors,
    /// Where the search for a slew limit starts, deg/s; `None` without one.
    slew_deg_s: Option<f64>,
    movement: Movement,
    /// Readings left out of the residuals.
    left_out: Vec<bool>,
}

impl TiltModel {
    /// Builds the model; `input` is the acceleration believed so far, for the predicted tilt that
    /// damping, stiffness and friction act on.
    #[must_use]
    pub(crate) fn new(
        filter: KalmanFilter,
        instants: &Instants,
        push: ThrustInput,
        nozzle: NozzleAngle,
        swing: RigDynamics,
        input: &[f64],
    ) -> Self {
        let PredictedMotion {
            tilt_rad: tilt,
            rate_rad_s: rate,
            angular_acceleration_rad_s2: turn,
        } = filter.predicted(input, swing);
        let damping: Vec<f64> = rate.iter().map(|rate| -rate).collect();
        let friction: Vec<f64> = rate
            .iter()
            .map(|rate| -(rate / CREEP_RAD_S).tanh())
            .collect();
        // A reading that comes late shows what was to be seen earlier, so it lacks some movement.
        let slope = if push.moves_rate { turn } else { rate };
        let effects = [
            (
                Parameter::Damping,
                Sensitivity::Acceleration(damping),
                swing.damping_per_s,
            ),
            (
                Parameter::Stiffness,
                Sensitivity::Acceleration(tilt),
                swing.stiffness_per_s2,
            ),
            (
                Parameter::DryFriction,
                Sensitivity::Acceleration(friction),
                0.0,
            ),
            (
                Parameter::SensorClock,
                Sensitivity::Readings(push.moves_rate, slope),
                0.0,
            ),
            (
                Parameter::UnequalIgnition,
                Sensitivity::Acceleration(push.later.clone()),
                0.0,
            ),
            (
                Parameter::UnequalBurnTime,
                Sensitivity::Acceleration(push.longer.clone()),
                0.0,
            ),
        ];
        let less: Vec<f64> = (push.push_n.iter().zip(&push.lighter))
            .map(|(push, lighter)| push * lighter)
            .collect();
        let drives: Vec<Drive<'_>> = (effects.iter().map(|(_, one, _)| one.drive()))
            .chain([
                Drive::acceleration(&push.push_n),
                Drive::acceleration(&less),
            ])
            .collect();
        let mut responses = filter.responses(&drives).into_iter();
        let mut next = || DVector::from_vec(responses.next().unwrap_or_default());
        let linear = effects.map(|(parameter, sensitivity, in_filter)| LinearEffect {
            parameter,
            response: next(),
            sensitivity,
            in_filter,
        });
        Self {
            errors: DVector::from_vec(filter.errors()),
            thrust_response: next(),
            lighter_response: next(),
            linear,
            times_s: instants.times_s.clone(),
            push,
            nozzle,
            swing,
            priors: Priors::default(),
            slew_deg_s: None,
            movement: Movement::default(),
            left_out: vec![],
            filter,
        }
    }

    /// Sets the priors.
    #[must_use]
    pub(crate) fn with_priors(mut self, priors: Priors) -> Self {
        self.priors = priors;
        self
    }

    /// Sets the size of the command's movement.
    #[must_use]
    pub(crate) fn with_movement(mut self, movement: Movement) -> Self {
        self.movement = movement;
        self
    }

    /// The same model with some readings left out of the residuals (the filter still has them).
    #[must_use]
    pub(crate) fn without(mut self, left_out: impl Fn(usize) -> bool) -> Self {
        self.left_out = (0..self.errors.len()).map(left_out).collect();
        self
    }

    /// The filter behind it.
    #[must_use]
    pub(crate) fn filter(&self) -> &KalmanFilter {
        &self.filter
    }

    /// Modelled nozzle angle at each instant for a gain of 1, rad.
    pub(crate) fn nozzle_rad<S: Scalar>(&self, kind: DeadBandKind, x: &[S]) -> Vec<S> {
        match &self.nozzle {
            NozzleAngle::Known {
                angle_rad,
                rate_rad_s,
            } => {
                let late_s = x[Self::at(Parameter::NozzleClock)].value();
                let both = angle_rad.iter().zip(rate_rad_s);
                both.map(|(angle, rate)| S::constant(angle + late_s * rate))
                    .collect()
            }
            NozzleAngle::FromCommands {
                commands,
                travel_rad,
            } => commands.nozzle_rad(kind, &self.actuator(x), *travel_rad, &self.times_s),
        }
    }

    /// Thrust times the rig's lightening at each instant, N.
    #[must_use]
    pub(crate) fn push_n(&self, x: &[f64]) -> Vec<f64> {
        let heavier = x[Self::at(Parameter::InertiaAtBurnout)];
        let both = self.push.push_n.iter().zip(&self.push.lighter);
        both.map(|(push, lighter)| push * (1.0 - heavier * lighter))
            .collect()
    }

    /// Acceleration that the nozzle, by its angle's sine, and thrust bias give at each instant, rad/s2.
    fn steered(&self, sine: impl Iterator<Item = f64>, x: &[f64]) -> Vec<f64> {
        let of = |parameter| x[Self::at(parameter)];
        let (effectiveness, thrust_bias) =
            (of(Parameter::Effectiveness), of(Parameter::ThrustBias));
        let heavier = of(Parameter::InertiaAtBurnout);
        let push = self.push.push_n.iter().zip(&self.push.lighter);
        sine.zip(push)
            .map(|(sine, (push, lighter))| {
                push * (1.0 - heavier * lighter) * (effectiveness * sine + thrust_bias)
            })
            .collect()
    }

    /// How the residuals answer to each of the free parameters at a point.
    #[must_use]
    pub(crate) fn sensitivities(
        &self,
        kind: DeadBandKind,
        x: &[f64],
        free: &[bool],
    ) -> Vec<(Parameter, Sensitivity)> {
        self.sensitivities_of(&Nozzle::new(self.nozzle_rad(kind, &duals(x))), x, free)
    }

    fn sensitivities_of(
        &self,
        nozzle: &Nozzle,
        x: &[f64],
        free: &[bool],
    ) -> Vec<(Parameter, Sensitivity)> {
        let push = self.push_n(x);
        let Nozzle {
            sine,
            cosine,
            angle,
        } = nozzle;
        let effectiveness = x[Self::at(Parameter::Effectiveness)];
        let thrust_bias = x[Self::at(Parameter::ThrustBias)];
        // Acceleration for each radian of the nozzle.
        let per_rad: Vec<f64> = (push.iter().zip(cosine))
            .map(|(push, cosine)| effectiveness * push * cosine)
            .collect();
        let of = |parameter: Parameter| match parameter {
            Parameter::Effectiveness => Sensitivity::product(&push, sine),
            Parameter::ThrustBias => Sensitivity::Acceleration(push.clone()),
            Parameter::NozzleClock => match &self.nozzle {
                NozzleAngle::Known { rate_rad_s, .. } => Sensitivity::product(&per_rad, rate_rad_s),
                NozzleAngle::FromCommands { .. } => {
                    Sensitivity::Acceleration(vec![0.0; push.len()])
                }
            },
            Parameter::InertiaAtBurnout => {
                let less = self.push.push_n.iter().zip(&self.push.lighter).zip(sine);
                let less = less.map(|((push, lighter), sine)| {
                    -push * lighter * (effectiveness * sine + thrust_bias)
                });
                Sensitivity::Acceleration(less.collect())
            }
            _ => match self.linear(parameter) {
                Some(effect) => effect.sensitivity.clone(),
                None => {
                    let slot = place(&STEERED, parameter);
                    let both = per_rad.iter().zip(angle);
                    let moved = both.map(|(per_rad, angle)| per_rad * angle.slope[slot]);
                    Sensitivity::Acceleration(moved.collect())
                }
            },
        };
        let searched = TILT_ORDER.iter().zip(free).filter(|(_, free)| **free);
        searched
            .map(|(parameter, _)| (*parameter, of(*parameter)))
            .collect()
    }

    fn linear(&self, parameter: Parameter) -> Option<&LinearEffect> {
        self.linear
            .iter()
            .find(|effect| effect.parameter == parameter)
    }

    /// All acceleration but that of the filter's own swing and disturbance, rad/s2.
    #[must_use]
    pub(crate) fn acceleration(&self, kind: DeadBandKind, x: &[f64]) -> Vec<f64> {
        let sine = self.nozzle_rad(kind, x).into_iter().map(f64::sin);
        let mut out = self.steered(sine, x);
        for effect in &self.linear {
            let in_filter = [Parameter::Damping, Parameter::Stiffness].contains(&effect.parameter);
            if let Sensitivity::Acceleration(unit) = &effect.sensitivity
                && !in_filter
            {
                let size = x[Self::at(effect.parameter)];
                for (out, unit) in out.iter_mut().zip(unit) {
                    *out += size * unit;
                }
            }
        }
        out
    }

    /// Motion one step ahead.
    #[must_use]
    pub(crate) fn predicted(&self, kind: DeadBandKind, x: &[f64]) -> PredictedMotion {
        self.filter
            .predicted(&self.acceleration(kind, x), self.swing)
    }

    /// The readings with late ones moved to where they belong.
    #[must_use]
    pub(crate) fn straightened(&self, instants: &Instants, x: &[f64]) -> Instants {
        let late_s = x[Self::at(Parameter::SensorClock)];
        match self
            .linear(Parameter::SensorClock)
            .map(|effect| &effect.sensitivity)
        {
            Some(Sensitivity::Readings(rate, slope)) => {
                let by: Vec<f64> = slope.iter().map(|slope| -late_s * slope).collect();
                instants.lessened(*rate, &by)
            }
            _ => instants.clone(),
        }
    }

    /// The priors.
    #[must_use]
    pub(crate) fn priors(&self) -> &Priors {
        &self.priors
    }

    /// What a change of the nozzle angle (rad at each instant) takes off the prediction errors.
    #[must_use]
    pub(crate) fn response_to_angle(&self, effectiveness: f64, change_rad: &[f64]) -> DVector<f64> {
        let both = change_rad.iter().zip(&self.push.push_n);
        let input: Vec<f64> = both
            .map(|(angle, push)| effectiveness * push * angle)
            .collect();
        DVector::from_vec(self.filter.response(&input))
    }

    /// What nozzle and thrust bias have to explain: errors less what the other linear effects explain.
    fn unexplained(&self, x: &[f64]) -> DVector<f64> {
        let mut out = self.errors.clone();
        for effect in &self.linear {
            let more = x[Self::at(effect.parameter)] - effect.in_filter;
            if more != 0.0 {
                out.axpy(-more, &effect.response, 1.0);
            }
        }
        out
    }

    /// Residuals, by the response to all acceleration that nozzle and thrust bias give.
    fn residuals_of(&self, response: Vec<f64>, x: &[f64]) -> DVector<f64> {
        self.with_priors_below(DVector::from_vec(response) - self.unexplained(x), x)
    }

    fn with_priors_below(&self, top: DVector<f64>, x: &[f64]) -> DVector<f64> {
        let n = top.len();
        let mut top = top;
        for (entry, left_out) in top.iter_mut().zip(&self.left_out) {
            *entry *= f64::from(u8::from(!left_out));
        }
        let mut out = top.resize_vertically(n + PRIORS, 0.0);
        for (row, parameter) in WITH_PRIOR.into_iter().enumerate() {
            let prior = self.priors[parameter];
            if prior.u > 0.0 {
                out[n + row] = (x[Self::at(parameter)] - prior.value) / prior.u;
            }
        }
        out
    }
}

impl Slewing for TiltModel {
    fn with_slew(&self, start_deg_s: f64) -> Self {
        Self {
            slew_deg_s: Some(start_deg_s),
            ..self.clone()
        }
    }

    fn fastest_deg_s(&self, fit: &StructureFit) -> f64 {
        let model = self.nozzle_rad(fit.kind, &fit.minimum.x);
        fastest_rad_s(&self.times_s, &model) / RAD_PER_DEG
    }
}

impl MeasurementModel for TiltModel {
    const ORDER: &'static [Parameter] = &TILT_ORDER;

    fn start_of(&self, parameter: Parameter) -> f64 {
        match parameter {
            Parameter::Damping => self.swing.damping_per_s,
            Parameter::Stiffness => self.swing.stiffness_per_s2,
            Parameter::Slew => self.slew_deg_s.unwrap_or(0.0),
            _ => self.priors[parameter].value,
        }
    }

    fn is_fixed(&self, parameter: Parameter) -> bool {
        let known = matches!(self.nozzle, NozzleAngle::Known { .. });
        match parameter {
            Parameter::Slew => self.slew_deg_s.is_none(),
            Parameter::NozzleClock if !known => true,
            _ if WITH_PRIOR.contains(&parameter) => self.priors[parameter].u <= 0.0,
            _ => known && ACTUATOR.contains(&parameter),
        }
    }

    fn movement(&self) -> Movement {
        self.movement
    }

    fn residuals(&self, kind: DeadBandKind, x: &[f64]) -> DVector<f64> {
        let sine = self.nozzle_rad(kind, x).into_iter().map(f64::sin);
        let response = self.filter.response(&self.steered(sine, x));
        self.residuals_of(response, x)
    }

    fn with_jacobian(&self, kind: DeadBandKind, x: &[f64]) -> (DVector<f64>, DMatrix<f64>) {
        let n = self.errors.len();
        let mut jacobian = DMatrix::zeros(n + PRIORS, COUNT);
        let mut put = |parameter, column: &[f64]| {
            let at = Self::at(parameter);
            jacobian
                .column_mut(at)
                .rows_mut(0, n)
                .copy_from_slice(column);
        };
        let mut wanted = TILT_ORDER.map(|parameter| !self.is_fixed(parameter));
        wanted[Self::at(Parameter::DeadBandWidth)] &= kind != DeadBandKind::None;
        wanted[Self::at(Parameter::DampingRatio)] &= x[Self::at(Parameter::DampingRatio)] > 0.0;
        for effect in &self.linear {
            wanted[Self::at(effect.parameter)] = false;
            put(effect.parameter, effect.response.as_slice());
        }
        wanted[Self::at(Parameter::ThrustBias)] = false;
        let heavier = x[Self::at(Parameter::InertiaAtBurnout)];
        let thrust = &self.thrust_response - &self.lighter_response * heavier;
        put(Parameter::ThrustBias, thrust.as_slice());
        let nozzle = Nozzle::new(self.nozzle_rad(kind, &duals(x)));
        let steered = self.steered(nozzle.sine.iter().copied(), x);
        let moving = self.sensitivities_of(&nozzle, x, &wanted);
        let drives: Vec<Drive<'_>> = (moving.iter().map(|(_, one)| one.drive()))
            .chain([Drive::acceleration(&steered)])
            .collect();
        let mut responses = self.filter.responses(&drives);
        let residuals = self.residuals_of(responses.pop().unwrap_or_default(), x);
        for ((parameter, _), column) in moving.iter().zip(&responses) {
            put(*parameter, column);
        }
        for (at, _) in self.left_out.iter().enumerate().filter(|(_, out)| **out) {
            jacobian.row_mut(at).fill(0.0);
        }
        for (row, parameter) in WITH_PRIOR.into_iter().enumerate() {
            let prior = self.priors[parameter];
            if prior.u > 0.0 {
                jacobian[(n + row, Self::at(parameter))] = 1.0 / prior.u;
            }
        }
        (residuals, jacobian)
    }

    fn to_explain(&self) -> (DVector<f64>, DVector<f64>) {
        let x = self.start([0.0; 5]);
        (self.unexplained(&x), self.thrust_response.clone())
    }

    fn gain_columns(&self, kind: DeadBandKind, points: &[ScanPoint]) -> Vec<DVector<f64>> {
        let mut out = Vec::with_capacity(points.len());
        for points in points.chunks(4) {
            let push = |point: &ScanPoint| -> Vec<f64> {
                let x = self.start([0.0, 0.0, point.lag_s, point.delay_s, point.width_deg]);
                let angle = self.nozzle_rad(kind, &x);
                let both = angle.iter().zip(&self.push.push_n);
                both.map(|(angle, push)| angle.sin() * push).collect()
            };
            let pushes: Vec<Vec<f64>> = points.iter().map(push).collect();
            let drives: Vec<Drive<'_>> = pushes
                .iter()
                .map(|push| Drive::acceleration(push))
                .collect();
            out.extend(
                self.filter
                    .responses(&drives)
                    .into_iter()
                    .map(DVector::from_vec),
            );
        }
        out
    }
}

/// The nozzle at each instant.
struct Nozzle {
    angle: Vec<Dual<{ STEERED.len() }>>,
    sine: Vec<f64>,
    cosine: Vec<f64>,
}

impl Nozzle {
    fn new(angle: Vec<Dual<{ STEERED.len() }>>) -> Self {
        let (sine, cosine) = angle.iter().map(|angle| angle.value.sin_cos()).unzip();
        Self {
            angle,
            sine,
            cosine,
        }
    }
}

/// Degrees of a radian series.
#[must_use]
pub(crate) fn degrees(angle_rad: &[f64]) -> Vec<f64> {
    angle_rad.iter().map(|angle| angle / RAD_PER_DEG).collect()
}
