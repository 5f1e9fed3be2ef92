//! Commands, nozzle and tilt of one axis through a burn, quickly: what limits on a pattern are held against.
//!
//! The equations of `plant.json`, one millisecond a step: dead time, backlash, first-order lag solved exactly over
//! a step, tilt by the trapezoid. A controller below the pattern feeds tilt and rate back once in each row.
//! Sampled flights differ in the actuator, and in what turns the rig besides the nozzle: motors of several strengths
//! that light apart, thrust off its axis, thrust that wanders. Limits: rate noise is not fed back,
//! and the rig is not followed for longer than it coasts [`COASTS_S`].

use statrs::distribution::{ContinuousCDF, Normal};

use super::expected::{Expected, ExpectedAxis};
use super::families::Table;
use super::rehearsal::noise::Stream;
use crate::config::Firing;
use crate::quantity::Given;
use crate::quantity::estimate::Estimate;
use crate::series::Series;

/// Step, s.
pub(super) const STEP_S: f64 = 1e-3;
/// How long the rig is followed when the last motor is out, s.
const COASTS_S: f64 = 0.3;
/// Correlation time of the thrust's direction, s.
const WANDER_TIME_S: f64 = 0.1;
/// Standard deviations of the angle between thrust and nozzle axis, and of the tilt at ignition. Common practice, no
/// source.
pub(super) const MISALIGNMENT_DEG: f64 = 0.1;
const START_TILT_DEG: f64 = 0.2;
/// Below this rate friction falls off in proportion, rad/s: a rig at rest is not to be shaken by its sign.
const STICKS_RAD_S: f64 = 0.01;

/// What happened, one value a step.
#[derive(Debug, Clone, Default)]
pub(super) struct Motion {
    /// Commands in force, one row of the computer each: when, s after the fire command, and deg.
    pub commands: Table,
    /// Nozzle angle, rad.
    pub nozzle_rad: Vec<f64>,
    /// Tilt, rad.
    pub tilt_rad: Vec<f64>,
}

impl Motion {
    /// Largest tilt, rad.
    pub(super) fn largest_tilt_rad(&self) -> f64 {
        self.tilt_rad
            .iter()
            .fold(0.0, |most: f64, tilt| most.max(tilt.abs()))
    }

    /// Largest change of the command from a row to the next, deg.
    pub(super) fn largest_step_deg(&self) -> f64 {
        let changes = self
            .commands
            .windows(2)
            .map(|pair| (pair[1].1 - pair[0].1).abs());
        changes.fold(0.0, f64::max)
    }
}

/// An actuator that may be the true one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Actuator {
    pub gain: f64,
    pub lag_s: f64,
    pub delay_s: f64,
    pub backlash_deg: f64,
}

impl Actuator {
    /// The expected one.
    pub(super) fn of(expected: &ExpectedAxis) -> Self {
        Self {
            gain: expected.gain.value,
            lag_s: expected.lag_s.value,
            delay_s: expected.delay_s.value,
            backlash_deg: expected.backlash_deg.value,
        }
    }
}

/// One way a flight may go.
#[derive(Debug, Clone)]
pub(super) struct Sampled {
    pub actuator: Actuator,
    /// Angular acceleration for each radian of nozzle angle, 1/s2, one value a step.
    push_per_s2: Vec<f64>,
    /// Angular acceleration that the nozzle does not make, rad/s2.
    turn_rad_s2: Vec<f64>,
    start_rad: f64,
}

impl Sampled {
    /// What is expected, under some thrust.
    pub(super) fn of(axis: &ExpectedAxis, thrust_n: &Series) -> Self {
        let steps = (thrust_n.span_s().map_or(1.0, |(_, to_s)| to_s) / STEP_S) as usize;
        let push = (0..steps).map(|step| thrust_n.at(step as f64 * STEP_S).unwrap_or(0.0));
        Self {
            actuator: Actuator::of(axis),
            push_per_s2: push.map(|force| force * axis.effectiveness()).collect(),
            turn_rad_s2: vec![0.0; steps],
            start_rad: 0.0,
        }
    }

    /// Flights as motors, actuator and thrust direction may be.
    pub(super) fn many(
        firing: &Firing,
        expected: &Expected,
        (name, axis): (&str, &ExpectedAxis),
        count: usize,
    ) -> Vec<Self> {
        let mut stream = Stream::new(count as u64, &format!("flights {name}"));
        let actuators = actuators(axis, &mut stream, count);
        let ignition = expected.ignition_s;
        let end_s = ignition.value + ignition.u + 1.05 * expected.burns_s + COASTS_S;
        let steps = (end_s / STEP_S) as usize;
        let flight = |actuator| {
            let mut push_n = vec![0.0; steps];
            let mut torque_n_m = vec![0.0; steps];
            for motor in firing.motors.values() {
                let offset_m = motor.offset.get(name).map_or(0.0, Given::si);
                let mut share = || 1.0 + firing.reduce.motor_spread * stream.normal();
                let (strength, length) = (share().max(0.2), share().max(0.2));
                let late_s = (ignition.value + ignition.u * stream.normal()).max(0.0);
                let curve = motor
                    .certified
                    .as_ref()
                    .and_then(|of| of.thrust_curve.as_ref());
                let Some((curve, (_, lasts_s))) = curve.and_then(|of| Some((of, of.span_s()?)))
                else {
                    continue;
                };
                for step in 0..steps {
                    let since_s = (step as f64 * STEP_S - late_s) / length;
                    if (0.0..=lasts_s).contains(&since_s) {
                        let force = strength / length * curve.at(since_s).unwrap_or(0.0);
                        push_n[step] += force;
                        torque_n_m[step] += force * offset_m;
                    }
                }
            }
            let askew = MISALIGNMENT_DEG.to_radians() * stream.normal();
            let wander = stream.correlated(axis.wander_rad, WANDER_TIME_S, STEP_S, steps);
            let inertia_kg_m2 = getting_lighter(axis, &push_n);
            let pushed = push_n.iter().zip(&inertia_kg_m2);
            let push_per_s2: Vec<f64> = pushed.map(|(of, j)| of * axis.arm_m / j).collect();
            let turned = torque_n_m.iter().zip(&inertia_kg_m2);
            let turns = push_per_s2.iter().zip(turned).zip(wander);
            Self {
                actuator,
                turn_rad_s2: turns
                    .map(|((push, (torque, j)), wander)| push * (askew + wander) + torque / j)
                    .collect(),
                push_per_s2,
                start_rad: START_TILT_DEG.to_radians() * stream.normal(),
            }
        };
        actuators.into_iter().map(flight).collect()
    }
}

/// Inertia at each step: linear in the impulse delivered from that with full motors to that with spent ones.
fn getting_lighter(axis: &ExpectedAxis, push_n: &[f64]) -> Vec<f64> {
    let total = push_n.iter().sum::<f64>().max(f64::MIN_POSITIVE);
    let lost = (axis.inertia_spent_kg_m2 - axis.inertia_kg_m2) / total;
    let mut now = axis.inertia_kg_m2;
    let each = push_n.iter().map(|push| {
        now += lost * push;
        now
    });
    each.collect()
}

/// Actuators that may be the true one, each of their numbers cut into as many parts of like probability as there are
/// draws (McKay, Beckman & Conover, Technometrics 21, 1979).
fn actuators(axis: &ExpectedAxis, stream: &mut Stream, count: usize) -> Vec<Actuator> {
    let mut column = |one: Estimate, least: f64| -> Vec<f64> {
        let mut ranks: Vec<usize> = (0..count).collect();
        for at in (1..count).rev() {
            ranks.swap(at, stream.between(0.0, (at + 1) as f64) as usize);
        }
        let part = |rank: usize| (rank as f64 + 0.5) / count as f64;
        let z = |rank: usize| Normal::standard().inverse_cdf(part(rank));
        let values = ranks.into_iter().map(|rank| one.value + one.u * z(rank));
        values.map(|value| value.max(least)).collect()
    };
    // Always of one sign: a gain that changed it would be found on the bench.
    let gain = column(axis.gain, f64::NEG_INFINITY);
    let lag_s = column(axis.lag_s, 0.2 * axis.lag_s.value);
    let delay_s = column(axis.delay_s, 0.0);
    let backlash_deg = column(axis.backlash_deg, 0.2 * axis.backlash_deg.value);
    let each = (0..count).map(|at| Actuator {
        gain: gain[at],
        lag_s: lag_s[at],
        delay_s: delay_s[at],
        backlash_deg: backlash_deg[at],
    });
    each.collect()
}

/// Goes through a burn.
pub(super) fn motion(
    axis: &ExpectedAxis,
    sampled: &Sampled,
    pattern: &[(f64, f64)],
    row_s: f64,
) -> Motion {
    let rows_per = (row_s / STEP_S).round().max(1.0) as usize;
    let late = (sampled.actuator.delay_s / STEP_S).round() as usize;
    let keep = (-STEP_S / sampled.actuator.lag_s.max(1e-4)).exp();
    let friction = axis.friction_n_m / axis.inertia_kg_m2;
    let half = 0.5 * sampled.actuator.backlash_deg;
    let travel = axis.travel_rad.unwrap_or(f64::INFINITY);
    let limit_deg = axis.sent_limit_deg();
    let steps = sampled.push_per_s2.len();
    let mut out = Motion {
        commands: Vec::with_capacity(steps / rows_per + 1),
        nozzle_rad: Vec::with_capacity(steps),
        tilt_rad: Vec::with_capacity(steps),
    };
    let mut sent: Vec<f64> = Vec::with_capacity(steps);
    let (mut command_deg, mut worn_deg, mut nozzle) = (0.0, 0.0, 0.0);
    let (mut tilt, mut rate) = (sampled.start_rad, 0.0_f64);
    let (mut begun, mut of_pattern) = (0, 0.0);
    let forces = sampled.push_per_s2.iter().zip(&sampled.turn_rad_s2);
    for (step, (push_per_s2, turn_rad_s2)) in forces.enumerate() {
        if step.is_multiple_of(rows_per) {
            let at_s = step as f64 * STEP_S;
            while let Some((_, value)) = pattern.get(begun).filter(|one| one.0 <= at_s + 1e-9) {
                (begun, of_pattern) = (begun + 1, *value);
            }
            let fed_back = (axis.kp * tilt + axis.kd_s * rate).to_degrees();
            command_deg = (of_pattern - fed_back).clamp(-limit_deg, limit_deg);
            out.commands.push((at_s, command_deg));
        }
        sent.push(command_deg);
        let arrived = step.checked_sub(late).map_or(0.0, |at| sent[at]);
        worn_deg = f64::clamp(worn_deg, arrived - half, arrived + half);
        let demand = (sampled.actuator.gain * worn_deg.to_radians()).clamp(-travel, travel);
        nozzle = demand + (nozzle - demand) * keep;
        let rubs = friction * (rate / STICKS_RAD_S).clamp(-1.0, 1.0);
        // The sine of a nozzle angle, to a millionth of it at 5 deg.
        let sine = nozzle * (1.0 - nozzle * nozzle / 6.0);
        let turn = push_per_s2 * sine + turn_rad_s2 - axis.damping_per_s * rate
            + axis.stiffness_per_s2 * tilt
            - rubs;
        tilt += STEP_S * (rate + 0.5 * STEP_S * turn);
        rate += STEP_S * turn;
        out.nozzle_rad.push(nozzle);
        out.tilt_rad.push(tilt);
    }
    out
}
