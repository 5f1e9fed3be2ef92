//! Commands, nozzle and tilt of one axis through a burn, quickly: what limits on a pattern are held against.
//!
//! The equations of `plant.json`, one millisecond a step: dead time, backlash, first-order lag solved exactly over
//! a step, tilt by the trapezoid. A controller below the pattern feeds tilt and rate back once in each row.
//! Sampled flights differ in the actuator, and in what turns the rig besides the nozzle: motors of several strengths
//! that light apart, thrust off its axis, thrust that wanders. Eight flights are gone through side by side. Limits:
//! rate noise is not fed back, and the rig is not followed for longer than it coasts [`COASTS_S`].

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

/// Flights that are gone through side by side: a step waits for the one before it, flights do not wait for each other.
pub(super) const LANES: usize = 8;

/// One number of each flight.
type Lanes = [f64; LANES];

/// Some flights side by side, the last of them again where there are fewer.
#[derive(Debug, Clone)]
pub(super) struct Abreast {
    /// Steps from a command to the nozzle.
    late: [usize; LANES],
    gain: Lanes,
    /// Half the backlash, deg.
    half_deg: Lanes,
    /// What a step leaves of a distance from the demand.
    keep: Lanes,
    start_rad: Lanes,
    /// As of each flight, at each step.
    push_per_s2: Vec<Lanes>,
    turn_rad_s2: Vec<Lanes>,
}

/// Where flights are.
#[derive(Debug, Clone, Copy)]
struct State {
    command_deg: Lanes,
    nozzle_rad: Lanes,
    tilt_rad: Lanes,
}

fn lanes<T: Copy>(of: impl FnMut(usize) -> T) -> [T; LANES] {
    std::array::from_fn(of)
}

impl Abreast {
    /// Flights of the same length; `None` without any.
    pub(super) fn new(flights: &[&Sampled]) -> Option<Self> {
        let last = flights.len().checked_sub(1)?;
        let flight = |lane: usize| flights[lane.min(last)];
        let of = |of: &dyn Fn(&Actuator) -> f64| lanes(|lane| of(&flight(lane).actuator));
        let steps = flights.iter().map(|one| one.push_per_s2.len()).min()?;
        let each = |of: &dyn Fn(&Sampled, usize) -> f64| -> Vec<Lanes> {
            let row = |step| lanes(|lane| of(flight(lane), step));
            (0..steps).map(row).collect()
        };
        Some(Self {
            late: lanes(|lane| (flight(lane).actuator.delay_s / STEP_S).round() as usize),
            gain: of(&|one| one.gain),
            half_deg: of(&|one| 0.5 * one.backlash_deg),
            keep: of(&|one| (-STEP_S / one.lag_s.max(1e-4)).exp()),
            start_rad: lanes(|lane| flight(lane).start_rad),
            push_per_s2: each(&|one, step| one.push_per_s2[step]),
            turn_rad_s2: each(&|one, step| one.turn_rad_s2[step]),
        })
    }

    /// Goes through a burn; `see` is shown each step and whether a row begins with it.
    #[inline]
    fn fly(
        &self,
        axis: &ExpectedAxis,
        pattern: &[(f64, f64)],
        row_s: f64,
        mut see: impl FnMut(&State, bool),
    ) {
        let rows_per = (row_s / STEP_S).round().max(1.0) as usize;
        let friction = axis.friction_n_m / axis.inertia_kg_m2;
        let travel = axis.travel_rad.unwrap_or(f64::INFINITY);
        let limit_deg = axis.sent_limit_deg();
        let zero = [0.0; LANES];
        let mut sent: Vec<Lanes> = Vec::with_capacity(self.push_per_s2.len());
        let (mut arrived, mut worn_deg, mut rate) = (zero, zero, zero);
        let mut now = State {
            command_deg: zero,
            nozzle_rad: zero,
            tilt_rad: self.start_rad,
        };
        let (mut begun, mut of_pattern) = (0, 0.0);
        let forces = self.push_per_s2.iter().zip(&self.turn_rad_s2);
        for (step, (push_per_s2, turn_rad_s2)) in forces.enumerate() {
            let row = step.is_multiple_of(rows_per);
            if row {
                let at_s = step as f64 * STEP_S;
                while let Some((_, value)) = pattern.get(begun).filter(|one| one.0 <= at_s + 1e-9) {
                    (begun, of_pattern) = (begun + 1, *value);
                }
                for (lane, command_deg) in now.command_deg.iter_mut().enumerate() {
                    let fed_back = axis.kp * now.tilt_rad[lane] + axis.kd_s * rate[lane];
                    *command_deg = within(limit_deg, of_pattern - fed_back.to_degrees());
                }
            }
            sent.push(now.command_deg);
            for lane in 0..LANES {
                if let Some(sent) = step
                    .checked_sub(self.late[lane])
                    .and_then(|at| sent.get(at))
                {
                    arrived[lane] = sent[lane];
                }
            }
            for lane in 0..LANES {
                let half_deg = self.half_deg[lane];
                worn_deg[lane] = arrived[lane] + within(half_deg, worn_deg[lane] - arrived[lane]);
                let demand = within(travel, self.gain[lane] * worn_deg[lane].to_radians());
                let nozzle = demand + (now.nozzle_rad[lane] - demand) * self.keep[lane];
                let rubs = friction * within(1.0, rate[lane] * (1.0 / STICKS_RAD_S));
                // The sine of a nozzle angle, to a millionth of it at 5 deg.
                let sine = nozzle * (1.0 - nozzle * nozzle * (1.0 / 6.0));
                let turn = push_per_s2[lane] * sine + turn_rad_s2[lane]
                    - axis.damping_per_s * rate[lane]
                    + axis.stiffness_per_s2 * now.tilt_rad[lane]
                    - rubs;
                now.nozzle_rad[lane] = nozzle;
                now.tilt_rad[lane] += STEP_S * (rate[lane] + 0.5 * STEP_S * turn);
                rate[lane] += STEP_S * turn;
            }
            see(&now, row);
        }
    }

    /// Largest tilt, rad, and largest change of the command from a row to the next, deg, of each flight.
    pub(super) fn largest(
        &self,
        axis: &ExpectedAxis,
        pattern: &[(f64, f64)],
        row_s: f64,
    ) -> [(f64, f64); LANES] {
        let (mut tilt, mut change, mut before) = ([0.0; LANES], [0.0; LANES], None);
        self.fly(axis, pattern, row_s, |now, row| {
            for (largest, tilt_rad) in tilt.iter_mut().zip(now.tilt_rad) {
                *largest = larger(*largest, tilt_rad.abs());
            }
            if row {
                let before: Lanes = before.replace(now.command_deg).unwrap_or(now.command_deg);
                for lane in 0..LANES {
                    let by = (now.command_deg[lane] - before[lane]).abs();
                    change[lane] = larger(change[lane], by);
                }
            }
        });
        lanes(|lane| (tilt[lane], change[lane]))
    }

    /// The commands of each flight.
    pub(super) fn commands(
        &self,
        axis: &ExpectedAxis,
        pattern: &[(f64, f64)],
        row_s: f64,
    ) -> [Table; LANES] {
        let mut out = lanes(|_| ()).map(|()| Table::new());
        let mut step = 0;
        self.fly(axis, pattern, row_s, |now, row| {
            if row {
                for (out, command_deg) in out.iter_mut().zip(now.command_deg) {
                    out.push((step as f64 * STEP_S, command_deg));
                }
            }
            step += 1;
        });
        out
    }
}

#[inline]
fn larger(a: f64, b: f64) -> f64 {
    if b > a { b } else { a }
}

/// A value cut to a limit either side.
#[inline]
fn within(limit: f64, value: f64) -> f64 {
    let below = if value > limit { limit } else { value };
    if below < -limit { -limit } else { below }
}

/// Goes through one burn.
pub(super) fn motion(
    axis: &ExpectedAxis,
    sampled: &Sampled,
    pattern: &[(f64, f64)],
    row_s: f64,
) -> Motion {
    let mut out = Motion::default();
    let Some(one) = Abreast::new(&[sampled]) else {
        return out;
    };
    one.fly(axis, pattern, row_s, |now, row| {
        if row {
            let at_s = out.tilt_rad.len() as f64 * STEP_S;
            out.commands.push((at_s, now.command_deg[0]));
        }
        out.nozzle_rad.push(now.nozzle_rad[0]);
        out.tilt_rad.push(now.tilt_rad[0]);
    });
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    // A first-order lag has gone 63.212 % of its way after one lag, 86.466 % after two; a gap of 1 deg takes half a degree from a first
    // step of 2 deg. Nothing pushes, so the tilts stay where they were.
    #[test]
    fn flights_side_by_side_do_not_touch_each_other() {
        let none = Estimate { value: 0.0, u: 0.0 };
        let axis = ExpectedAxis {
            gain: none,
            lag_s: none,
            delay_s: none,
            backlash_deg: none,
            damping_per_s: 0.0,
            friction_n_m: 0.0,
            wander_rad: 0.0,
            nozzle_noise_rad: 0.0,
            tilt_noise_rad: 0.0,
            rate_noise_rad_s: 0.0,
            arm_m: 1.0,
            inertia_kg_m2: 1.0,
            inertia_spent_kg_m2: 1.0,
            stiffness_per_s2: 0.0,
            travel_rad: None,
            command_limit_deg: 5.0,
            command_step_deg: 10.0,
            tilt_limit_rad: 1.0,
            kp: 0.0,
            kd_s: 0.0,
            fed_back: false,
            commands: vec![],
        };
        let flight = |lag_s, delay_s, backlash_deg, start_rad| Sampled {
            actuator: Actuator {
                gain: 1.0,
                lag_s,
                delay_s,
                backlash_deg,
            },
            push_per_s2: vec![0.0; 100],
            turn_rad_s2: vec![0.0; 100],
            start_rad,
        };
        let flights = [
            flight(0.02, 0.01, 0.0, 0.1),
            flight(0.04, 0.0, 0.0, -0.2),
            flight(0.02, 0.03, 1.0, 0.3),
        ];
        let abreast = Abreast::new(&flights.iter().collect::<Vec<_>>()).unwrap();
        let pattern = [(0.01, 2.0)];
        let mut nozzles = Vec::new();
        abreast.fly(&axis, &pattern, 0.005, |now, _| {
            nozzles.push(now.nozzle_rad);
        });
        // Lag after step n is solved up to its end, n + 1 ms.
        for (lane, step, way_deg) in [
            (0, 39, 2.0 * 0.632_12),
            (0, 59, 2.0 * 0.864_66),
            (1, 49, 2.0 * 0.632_12),
            (2, 59, 1.5 * 0.632_12),
        ] {
            let found: f64 = nozzles[step][lane];
            assert!((found.to_degrees() - way_deg).abs() < 1e-4, "{lane} {step}");
        }
        let largest = abreast.largest(&axis, &pattern, 0.005);
        assert_eq!(largest.map(|one| one.1), [2.0; LANES]);
        assert_eq!(
            largest[..3].iter().map(|one| one.0).collect::<Vec<_>>(),
            [0.1, 0.2, 0.3]
        );
        let [first, ..] = abreast.commands(&axis, &pattern, 0.005);
        assert_eq!(
            first[..4],
            [(0.0, 0.0), (0.005, 0.0), (0.01, 2.0), (0.015, 2.0)]
        );
        assert_eq!(
            motion(&axis, &flights[1], &pattern, 0.005).nozzle_rad[49],
            nozzles[49][1]
        );
    }
}
