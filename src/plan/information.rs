//! What a firing to come can tell of an axis, from the fit's own derivatives at the expected plant, without data.
//!
//! The information matrix of the readings (Fisher 1925; Cramér 1946, 32.3) is J'J/sd² of the measurement models that
//! the fit uses ([`crate::plant::nozzle_model`], [`crate::plant::tilt_model`]); its inverse bounds the covariance from
//! below, and is what a fit reaches when its residuals are white. Experiments are compared by such matrices since
//! Fedorov (Theory of Optimal Experiments, 1972); for inputs of dynamic systems Mehra (IEEE Trans. AC 19, 1974).
//!
//! Limits: correlation of residuals, structures that the record leaves open and profile intervals that are no
//! parabola are seen only by the way through a rehearsal; the tilt of the rig itself is not fed back.

use indexmap::IndexMap;
use nalgebra::DMatrix;

use super::expected::ExpectedAxis;
use super::motion::Actuator;
use crate::config::{Axis, Firing};
use crate::numeric::least_squares::{covariance_of, unit_covariance};
use crate::plant::actuator::{ActuatorParameters, Commands};
use crate::plant::kalman_filter::{NoiseModel, RigDynamics};
use crate::plant::measurement_model::MeasurementModel;
use crate::plant::nozzle_model::{NozzleModel, duals};
use crate::plant::parameter::{NOZZLE_ORDER, TILT_ORDER, place};
use crate::plant::tilt_fit::{expected_model, instants_of};
use crate::plant::tilt_model::NozzleAngle;
use crate::plant::{AxisInput, DeadBandKind, Parameter};
use crate::quantity::estimate::Estimate;
use crate::quantity::measured::NORMAL_FACTOR;
use crate::series::Series;

/// What a design is for, and what steers an axis.
pub(crate) const STEERING: [Parameter; 4] = [
    Parameter::Gain,
    Parameter::Lag,
    Parameter::Delay,
    Parameter::DeadBandWidth,
];

/// What a nozzle angle tells, [`STEERING`] first.
const SEEN_FROM_NOZZLE: [Parameter; 6] = [
    Parameter::Gain,
    Parameter::Lag,
    Parameter::Delay,
    Parameter::DeadBandWidth,
    Parameter::Bias,
    Parameter::StartAngle,
];

/// One axis before its firing: when it is read, and how it is pushed.
#[derive(Debug, Clone)]
pub(crate) struct Setup<'a> {
    pub axis: &'a Axis,
    pub expected: &'a ExpectedAxis,
    /// Rows a second of the logs of command, nozzle angle, tilt and tilt rate.
    pub rates_hz: [f64; 4],
    /// Thrust after the fire command, N.
    pub thrust_n: Series,
}

fn kind(of: &Actuator) -> DeadBandKind {
    if of.backlash_deg > 0.0 {
        DeadBandKind::Play
    } else {
        DeadBandKind::None
    }
}

fn start(from: &Actuator, order: &[Parameter]) -> Vec<f64> {
    let of = |parameter: &Parameter| match parameter {
        Parameter::Gain => from.gain,
        Parameter::Lag => from.lag_s,
        Parameter::Delay => from.delay_s,
        Parameter::DeadBandWidth => from.backlash_deg,
        _ => 0.0,
    };
    order.iter().map(of).collect()
}

/// What a fit of an actuator of first order searches for.
fn searched<M: MeasurementModel>(model: &M, kind: DeadBandKind) -> Vec<bool> {
    let of = |one: &Parameter| match one {
        Parameter::DampingRatio => false,
        Parameter::DeadBandWidth if kind == DeadBandKind::None => false,
        one => !model.is_fixed(*one),
    };
    M::ORDER.iter().map(of).collect()
}

impl<'a> Setup<'a> {
    pub(crate) fn new(
        firing: &'a Firing,
        (name, expected): (&str, &'a ExpectedAxis),
        rates_hz: &IndexMap<String, f64>,
        thrust_n: &Series,
    ) -> Option<Self> {
        let axis = firing.axes.get(name)?;
        let rate = |log: &str| rates_hz.get(log).copied().unwrap_or(200.0);
        let of = |signal: &Option<crate::config::Signal>| {
            signal
                .as_ref()
                .map_or(0.0, |signal| rate(&signal.log.value))
        };
        Some(Self {
            axis,
            expected,
            rates_hz: [
                rate(&axis.command.log.value),
                of(&axis.nozzle),
                of(&axis.tilt),
                of(&axis.rate),
            ],
            thrust_n: thrust_n.clone(),
        })
    }

    /// The input of a fit under some commands, its readings empty.
    pub(crate) fn input(&self, commands: &[(f64, f64)]) -> AxisInput {
        self.input_of(commands, true)
    }

    /// The same, perhaps without what is seen of the rig's tilt.
    fn input_of(&self, commands: &[(f64, f64)], rig: bool) -> AxisInput {
        let (from_s, to_s) = self.thrust_n.span_s().unwrap_or((0.0, 1.0));
        let end_s = to_s + 0.5;
        let rows = |rate_hz: f64, used: bool| {
            let count = (end_s * rate_hz) as usize;
            let times: Vec<f64> = (0..count).map(|row| row as f64 / rate_hz).collect();
            used.then(|| Series::new(&times, &vec![0.0; times.len()]))
        };
        let [command, nozzle, tilt, rate] = self.rates_hz;
        let count = (end_s * command) as usize;
        let times_s: Vec<f64> = (0..count).map(|row| row as f64 / command).collect();
        let (mut begun, mut value_deg) = (0, 0.0);
        let held_deg = times_s.iter().map(|time_s| {
            while let Some((_, value)) = commands.get(begun).filter(|one| one.0 <= *time_s) {
                (begun, value_deg) = (begun + 1, *value);
            }
            value_deg
        });
        let held_deg: Vec<f64> = held_deg.collect();
        let inertia = self.axis.inertia.as_ref().map(Estimate::from);
        AxisInput {
            command_deg: Series::new(&times_s, &held_deg),
            nozzle_rad: rows(nozzle, self.axis.nozzle.is_some()),
            tilt_rad: rows(tilt, rig && self.axis.tilt.is_some()),
            rate_rad_s: rows(rate, rig && self.axis.rate.is_some()),
            thrust_n: (rig && !self.thrust_n.is_empty()).then(|| self.thrust_n.clone()),
            window_s: (from_s, to_s),
            travel_rad: self.expected.travel_rad,
            arm_m: self.axis.arm.as_ref().map(Estimate::from),
            inertia_kg_m2: inertia,
            ..AxisInput::default()
        }
    }

    /// Standard uncertainty of the clock between command and what sees the steering, s: an edge is placed within
    /// a row of each log (JCGM 100, 4.3.7).
    fn clock_u_s(&self, other_hz: f64, same: bool) -> f64 {
        if same {
            0.0
        } else {
            (1.0 / self.rates_hz[0]).hypot(1.0 / other_hz) / 12.0_f64.sqrt()
        }
    }

    /// Covariance of the steering's four numbers under some commands; `None` when they tell nothing.
    pub(crate) fn steering(
        &self,
        commands: &[(f64, f64)],
        actuator: &Actuator,
    ) -> Option<DMatrix<f64>> {
        let seen = self.axis.nozzle.is_some();
        let input = self.input_of(commands, !seen);
        if seen {
            return self.seen_from_nozzle(&input, actuator);
        }
        let mut out = self.seen_from_tilt(&input, actuator, false)?;
        // Seen from tilt alone the first is the product of gain and effectiveness.
        let scale = 1.0 / self.expected.effectiveness();
        out.row_mut(0).scale_mut(scale);
        out.column_mut(0).scale_mut(scale);
        let share = |given: Option<Estimate>| given.map_or(0.0, |one| one.u / one.value);
        let geometry = share(input.arm_m).hypot(share(input.inertia_kg_m2));
        out[(0, 0)] += (actuator.gain * geometry).powi(2);
        Some(out)
    }

    /// Standard uncertainty of the effectiveness, where the nozzle angle parts it from the gain.
    fn effectiveness_u(&self, commands: &[(f64, f64)], steering: &DMatrix<f64>) -> Option<f64> {
        let input = self.input(commands);
        input.nozzle_rad.as_ref()?;
        let actuator = Actuator::of(self.expected);
        let own = self.seen_from_tilt(&input, &actuator, true)?;
        let by_gain = self.expected.effectiveness() * steering[(0, 0)].sqrt() / actuator.gain;
        Some(own[(0, 0)].sqrt().hypot(by_gain))
    }

    fn seen_from_nozzle(&self, input: &AxisInput, actuator: &Actuator) -> Option<DMatrix<f64>> {
        let model = NozzleModel::new(input)?;
        let kind = kind(actuator);
        let free = searched(&model, kind);
        // Only what is searched for carries derivatives: a design spends most of its time here.
        let x = duals::<{ SEEN_FROM_NOZZLE.len() }>(&start(actuator, &SEEN_FROM_NOZZLE));
        let is_free = |parameter| free[place(&NOZZLE_ORDER, parameter)];
        let numbers = ActuatorParameters::new(|parameter| {
            let at = SEEN_FROM_NOZZLE.iter().position(|one| *one == parameter)?;
            is_free(parameter).then(|| x[at])
        });
        let times_s = model.measured_deg.time_s();
        let travel_rad = self.expected.travel_rad;
        let angle_rad = model
            .commands
            .nozzle_rad(kind, &numbers, travel_rad, times_s);
        let searched: Vec<usize> = (0..SEEN_FROM_NOZZLE.len())
            .filter(|at| is_free(SEEN_FROM_NOZZLE[*at]))
            .collect();
        let column = |at: &usize| angle_rad.iter().map(|one| one.slope[*at]).collect();
        let unit = covariance_of(searched.iter().map(column).collect())?;
        let all = unit * self.expected.nozzle_noise_rad.powi(2);
        let of = |at: usize| searched.iter().position(|one| *one == at);
        let mut out = DMatrix::from_fn(STEERING.len(), STEERING.len(), |i, j| {
            of(i).zip(of(j)).map_or(0.0, |at| all[at])
        });
        let same = self
            .axis
            .nozzle
            .as_ref()
            .is_some_and(|one| one.log.value == self.axis.command.log.value);
        out[(2, 2)] += self.clock_u_s(self.rates_hz[1], same).powi(2);
        Some(out)
    }

    fn seen_from_tilt(
        &self,
        input: &AxisInput,
        actuator: &Actuator,
        known: bool,
    ) -> Option<DMatrix<f64>> {
        let thrust = input.thrust_n.as_ref()?;
        let instants = instants_of(input)?;
        let commands = Commands::new(&input.command_deg);
        let nozzle = if known {
            let x = Actuator {
                gain: actuator.gain,
                ..*actuator
            };
            let model = NozzleModel::new(input)?;
            let angle_rad =
                model.nozzle_rad(kind(actuator), &start(&x, &NOZZLE_ORDER), &instants.times_s);
            let rate_rad_s = vec![0.0; angle_rad.len()];
            NozzleAngle::Known {
                angle_rad,
                rate_rad_s,
            }
        } else {
            NozzleAngle::FromCommands {
                commands,
                travel_rad: input.travel_rad,
            }
        };
        let mean_n = thrust.value().iter().sum::<f64>() / thrust.len().max(1) as f64;
        let expected = self.expected;
        let noise = NoiseModel {
            tilt_rad: expected.tilt_noise_rad.max(1e-6),
            rate_rad_s: expected.rate_noise_rad_s.max(1e-6),
            disturbance_rad_s2: self.expected.effectiveness()
                * mean_n
                * expected.wander_rad.max(1e-6),
            correlation_time_s: 0.1,
            with_thrust: 1.0,
        };
        let swing = RigDynamics {
            damping_per_s: expected.damping_per_s,
            stiffness_per_s2: expected.stiffness_per_s2,
        };
        let model = expected_model(input, nozzle, &noise, swing)?;
        let mut x = start(actuator, &TILT_ORDER);
        let gain = if known { 1.0 } else { actuator.gain };
        x[place(&TILT_ORDER, Parameter::Effectiveness)] = gain * self.expected.effectiveness();
        x[place(&TILT_ORDER, Parameter::Damping)] = expected.damping_per_s;
        x[place(&TILT_ORDER, Parameter::Stiffness)] = expected.stiffness_per_s2;
        let kind = if known {
            DeadBandKind::None
        } else {
            kind(actuator)
        };
        let (_, jacobian) = model.with_jacobian(kind, &x);
        let free = searched(&model, kind);
        let unit = unit_covariance(&jacobian, &free)?;
        let mut out = picked(&unit, &TILT_ORDER);
        if known {
            return Some(out);
        }
        let seen = self.axis.rate.as_ref().or(self.axis.tilt.as_ref());
        let same = seen.is_some_and(|one| one.log.value == self.axis.command.log.value);
        out[(2, 2)] += self
            .clock_u_s(self.rates_hz[2].max(self.rates_hz[3]), same)
            .powi(2);
        Some(out)
    }

    /// Half widths to expect, each 1.96 standard uncertainties.
    pub(crate) fn half_widths(&self, commands: &[(f64, f64)]) -> IndexMap<Parameter, f64> {
        let actuator = Actuator::of(self.expected);
        let Some(covariance) = self.steering(commands, &actuator) else {
            return IndexMap::new();
        };
        let effectiveness = self.effectiveness_u(commands, &covariance);
        let half = |at: usize| NORMAL_FACTOR * covariance[(at, at)].max(0.0).sqrt();
        let steering = STEERING
            .iter()
            .enumerate()
            .map(|(at, one)| (*one, half(at)));
        let rig = effectiveness.map(|u| (Parameter::Effectiveness, NORMAL_FACTOR * u));
        steering
            .chain(rig)
            .filter(|(_, half)| *half > 0.0)
            .collect()
    }
}

/// The rows and columns of the steering's numbers. Of the tilt's order the first is the product of gain and
/// effectiveness.
fn picked(of: &DMatrix<f64>, order: &[Parameter]) -> DMatrix<f64> {
    let at = STEERING.map(|one| match place(order, one) {
        at if at < order.len() => at,
        _ => place(order, Parameter::Effectiveness),
    });
    DMatrix::from_fn(at.len(), at.len(), |i, j| of[(at[i], at[j])])
}

/// Certified thrust of some motors after the fire command, all lit at the expected time, N.
pub(crate) fn certified_thrust(firing: &Firing, ignition_s: f64, dead: Option<&str>) -> Series {
    let lit = firing
        .motors
        .iter()
        .filter(|(name, _)| dead != Some(name.as_str()));
    let curves: Vec<&Series> = lit
        .filter_map(|(_, motor)| motor.certified.as_ref()?.thrust_curve.as_ref())
        .collect();
    let end_s = curves
        .iter()
        .filter_map(|curve| curve.span_s())
        .map(|(_, end_s)| end_s)
        .fold(0.0, f64::max);
    let mut out = Series::default();
    for step in 0..=(end_s / STEP_S) as usize {
        let at_s = step as f64 * STEP_S;
        let sum = curves.iter().filter_map(|curve| {
            let (from_s, to_s) = curve.span_s()?;
            curve.at(at_s).filter(|_| (from_s..=to_s).contains(&at_s))
        });
        out.push(ignition_s + at_s, sum.sum());
    }
    if curves.is_empty() {
        Series::default()
    } else {
        out
    }
}

/// Step of the certified thrust, s.
const STEP_S: f64 = 0.005;
