//! One flight, from release to the end of thrust.
//!
//! In the plane of one axis, with tilt a (rad, from vertical), nozzle angle d, thrust T, altitude z
//! and drift x (m), about the centre of gravity:
//!
//! ```text
//! a'' = effectiveness T sin d + thrust_bias T + sum of T_i offset_i / J + (torque + air) / J
//!       - damping a' + stiffness a - coulomb sign(a') + measured disturbance
//! m x'' = T sin(a - d) + force + air
//! m z'' = T cos(a - d) - m g + air
//! ```
//!
//! A nozzle turned by d pushes the tail the other way, so a righting rocket first moves sideways with
//! its tail. Mass falls with the impulse delivered; the numbers of the axis hold throughout. On the
//! ground the rocket neither sinks nor slides. Roll, the other axis, bending and slosh are left out;
//! of the air only the coefficients given.
//!
//! Integration: classical Runge-Kutta of fourth order (Kutta 1901), cut at every tick, every arrival
//! of a command, at release and where a motor begins or ends; the nozzle enters in closed form.

use rand::RngExt;
use rand::rngs::ChaCha8Rng;

use super::nozzle::Nozzle;
use super::scenario::{Air, Flight};
use crate::control::pid::{Pid, Reading};
use crate::series::Series;

/// Density of air at sea level, kg/m3 (ISO 2533 standard atmosphere).
const AIR_KG_M3: f64 = 1.225;

/// A tilt at which a flight is over, rad: it flies upside down.
const LOST_RAD: f64 = std::f64::consts::PI;

/// What a flight is at an instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moment {
    /// Seconds since ignition.
    pub time_s: f64,
    /// Tilt, rad.
    pub tilt_rad: f64,
    /// Tilt rate, rad/s.
    pub rate_rad_s: f64,
    /// Nozzle angle, deg.
    pub nozzle_deg: f64,
    /// Command in force at the controller, deg.
    pub command_deg: f64,
    /// Thrust, N.
    pub thrust_n: f64,
    /// Drift, m.
    pub drift_m: f64,
    /// Altitude, m.
    pub altitude_m: f64,
    /// Sideways speed, m/s.
    pub drift_m_s: f64,
    /// Climbing speed, m/s.
    pub climb_m_s: f64,
}

/// What came of a flight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outcome {
    /// Largest tilt after release, deg.
    pub largest_tilt_deg: f64,
    /// Tilt at the end, deg.
    pub last_tilt_deg: f64,
    /// Largest command, deg.
    pub largest_command_deg: f64,
    /// Share of ticks with the command at its limit.
    pub at_limit: f64,
    /// Altitude at the end, m; NaN without a mass.
    pub altitude_m: f64,
    /// Drift at the end, m; NaN without a mass.
    pub drift_m: f64,
}

/// Commands that the flight follows.
pub enum Steering<'a> {
    /// The controller's own.
    Controller,
    /// A record of commands, deg, by time since ignition.
    Record(&'a Series),
}

const TILT: usize = 0;
const RATE: usize = 1;
const DRIFT: usize = 2;
const ALTITUDE: usize = 3;
const DRIFT_SPEED: usize = 4;
const CLIMB: usize = 5;
/// Impulse delivered, N s.
const DELIVERED: usize = 6;

type State = [f64; 7];

/// A curve that is asked at rising times.
struct Cursor<'a> {
    time_s: &'a [f64],
    value: &'a [f64],
    /// Factor, shift and whether it lights at all.
    scale: f64,
    later_s: f64,
    at: usize,
}

impl Cursor<'_> {
    fn value(&mut self, time_s: f64) -> f64 {
        let t = time_s - self.later_s;
        let last = self.time_s.len();
        if last < 2 || t < self.time_s[0] || t > self.time_s[last - 1] {
            return 0.0;
        }
        while self.at + 2 < last && self.time_s[self.at + 1] < t {
            self.at += 1;
        }
        while self.at > 0 && self.time_s[self.at] > t {
            self.at -= 1;
        }
        let (t0, t1) = (self.time_s[self.at], self.time_s[self.at + 1]);
        let (v0, v1) = (self.value[self.at], self.value[self.at + 1]);
        self.scale * (v0 + (v1 - v0) * (t - t0) / (t1 - t0))
    }
}

/// What acts at an instant, whatever the rocket does.
#[derive(Clone, Copy)]
struct Around {
    thrust: f64,
    torque: f64,
    nozzle: f64,
    nozzle_sine: f64,
    force: f64,
    moment: f64,
    disturbance: f64,
}

struct Sky<'a> {
    of: &'a Flight,
    motors: Vec<(Cursor<'a>, f64)>,
    disturbance: Option<Cursor<'a>>,
    /// 1 / total impulse, 1/(N s).
    per_impulse: f64,
    nozzle: Nozzle,
}

impl Sky<'_> {
    /// Thrust, and tilt torque of the motors' offsets.
    fn thrust(&mut self, time_s: f64) -> (f64, f64) {
        let mut sum = (0.0, 0.0);
        for (motor, offset_m) in &mut self.motors {
            let thrust = motor.value(time_s);
            sum.0 += thrust;
            sum.1 += thrust * *offset_m;
        }
        sum
    }

    fn mass_kg(&self, state: &State) -> f64 {
        let burnt = (state[DELIVERED] * self.per_impulse).min(1.0);
        self.of.mass_kg.unwrap_or(f64::NAN) - self.of.propellant_kg * burnt
    }

    /// All that depends on time alone.
    fn around(&mut self, time_s: f64) -> Around {
        let (thrust, torque) = self.thrust(time_s);
        let nozzle = self.nozzle.at(time_s).to_radians();
        let (force, moment) = self.of.push.at(time_s);
        let disturbance = self.disturbance.as_mut();
        Around {
            thrust,
            torque,
            nozzle,
            nozzle_sine: nozzle.sin(),
            force,
            moment,
            disturbance: disturbance.map_or(0.0, |curve| curve.value(time_s)),
        }
    }

    /// Tilt acceleration without dry friction, and the rest of the slopes.
    fn slope(&self, around: &Around, state: &State) -> State {
        let Around {
            thrust,
            torque,
            nozzle,
            nozzle_sine,
            force,
            moment,
            disturbance,
        } = *around;
        let of = self.of;
        let axis = &of.axis;
        let tilt = state[TILT];
        let mut turning = axis.effectiveness_per_kg_m * thrust * nozzle_sine
            + axis.thrust_bias_per_kg_m * thrust
            - axis.damping_per_s * state[RATE]
            + axis.stiffness_per_s2 * tilt;
        turning += disturbance;
        let calm = of.air == Air::default();
        let air = match of.mass_kg {
            Some(_) if !calm => self.air(state),
            _ => (0.0, 0.0, 0.0),
        };
        if let Some(inertia) = of.inertia_kg_m2 {
            turning += (torque + moment + air.2) / inertia;
        }
        let mut out = [state[RATE], turning, 0.0, 0.0, 0.0, 0.0, thrust];
        if of.mass_kg.is_some() {
            let mass = self.mass_kg(state);
            let (sine, cosine) = (tilt - nozzle).sin_cos();
            let side = (thrust * sine + force + air.0) / mass;
            let up = (thrust * cosine + air.1) / mass - of.gravity_m_s2;
            let stands = state[ALTITUDE] <= 0.0 && state[CLIMB] <= 0.0 && up < 0.0;
            if !stands {
                out[DRIFT] = state[DRIFT_SPEED];
                out[ALTITUDE] = state[CLIMB];
                out[DRIFT_SPEED] = side;
                out[CLIMB] = up;
            }
        }
        out
    }

    /// Sideways and upward force, and torque, of the air, by the coefficients given.
    fn air(&self, state: &State) -> (f64, f64, f64) {
        let air = &self.of.air;
        let (vx, vz) = (state[DRIFT_SPEED], state[CLIMB]);
        let pressure = 0.5 * AIR_KG_M3 * (vx * vx + vz * vz);
        let damping = -air.damping_n_m_s * state[RATE];
        if pressure == 0.0 {
            return (0.0, 0.0, damping);
        }
        let tilt = state[TILT];
        let attack = tilt - vx.atan2(vz);
        let (drag, normal) = (
            pressure * air.drag_area_m2,
            pressure * air.normal_area_m2 * attack.sin(),
        );
        (
            normal * tilt.cos() - drag * tilt.sin(),
            -normal * tilt.sin() - drag * tilt.cos(),
            normal * air.ahead_m + damping,
        )
    }

    /// One step of Runge-Kutta; dry friction acts with the sign it has at the step's beginning.
    fn step(&mut self, time_s: f64, step_s: f64, state: &mut State) {
        let coulomb = self.of.axis.coulomb_rad_per_s2;
        let [begin, middle, end] =
            [0.0, 0.5, 1.0].map(|share| self.around(time_s + share * step_s));
        let first = self.slope(&begin, state);
        let friction = if coulomb == 0.0 {
            0.0
        } else if state[RATE] != 0.0 {
            -coulomb * state[RATE].signum()
        } else {
            -first[RATE].clamp(-coulomb, coulomb)
        };
        let mut sum = first;
        sum[RATE] += friction;
        let mut last = sum;
        for (reach, weight, around) in [(0.5, 2.0, &middle), (0.5, 2.0, &middle), (1.0, 1.0, &end)]
        {
            let at: State = std::array::from_fn(|i| state[i] + reach * step_s * last[i]);
            last = self.slope(around, &at);
            last[RATE] += friction;
            for i in 0..7 {
                sum[i] += weight * last[i];
            }
        }
        let before = state[RATE];
        for i in 0..7 {
            state[i] += step_s / 6.0 * sum[i];
        }
        // Friction brings to rest, it does not turn round.
        if coulomb > 0.0 && before * state[RATE] < 0.0 && first[RATE].abs() <= coulomb {
            state[RATE] = 0.0;
        }
        if state[ALTITUDE] < 0.0 {
            state[ALTITUDE] = 0.0;
            state[CLIMB] = state[CLIMB].max(0.0);
        }
    }
}

/// Flies, and shows every step to an onlooker.
pub fn fly(
    of: &Flight,
    steering: &Steering<'_>,
    dice: &mut ChaCha8Rng,
    onlooker: impl FnMut(&Moment),
) -> Outcome {
    flown::<true>(of, steering, dice, onlooker)
}

/// Flies on the controller's commands with nobody looking on: the same flight in less time.
pub fn fly_unseen(of: &Flight, dice: &mut ChaCha8Rng) -> Outcome {
    flown::<false>(of, &Steering::Controller, dice, |_| {})
}

fn flown<const SHOWN: bool>(
    of: &Flight,
    steering: &Steering<'_>,
    dice: &mut ChaCha8Rng,
    mut onlooker: impl FnMut(&Moment),
) -> Outcome {
    let impulse: f64 = of
        .motors
        .iter()
        .map(|motor| motor.scale * whole(&motor.thrust_n))
        .sum();
    let mut kinks: Vec<f64> = Vec::new();
    let motors = of
        .motors
        .iter()
        .filter(|motor| motor.lights)
        .map(|motor| {
            let (time_s, value) = (motor.thrust_n.time_s(), motor.thrust_n.value());
            let ends = [time_s.first(), time_s.last()];
            kinks.extend(ends.into_iter().flatten().map(|t| t + motor.later_s));
            let cursor = Cursor {
                time_s,
                value,
                scale: motor.scale,
                later_s: motor.later_s,
                at: 0,
            };
            (cursor, motor.offset_m)
        })
        .collect();
    let disturbance = of.disturbance_rad_s2.as_deref().map(|series| Cursor {
        time_s: series.time_s(),
        value: series.value(),
        scale: 1.0,
        later_s: 0.0,
        at: 0,
    });
    kinks.extend([of.push.gust_at_s, of.push.gust_at_s + of.push.gust_lasts_s]);
    kinks.retain(|kink| *kink > of.release_s);
    kinks.sort_by(|a, b| b.total_cmp(a));
    let mut sky = Sky {
        of,
        motors,
        disturbance,
        per_impulse: if impulse > 0.0 { 1.0 / impulse } else { 0.0 },
        nozzle: Nozzle::new(&of.axis, of.late_s, of.release_s),
    };
    let mut clock = Clock::new(of, steering);
    let mut state: State = [0.0; 7];
    state[TILT] = of.tilt_deg.to_radians();
    state[RATE] = of.rate_deg_s.to_radians();
    state[DELIVERED] = of
        .motors
        .iter()
        .filter(|motor| motor.lights)
        .map(|motor| {
            motor.scale * whole(&motor.thrust_n.between(0.0, of.release_s - motor.later_s))
        })
        .sum();
    let mut now_s = of.release_s;
    let mut out = Outcome {
        largest_tilt_deg: of.tilt_deg.abs(),
        last_tilt_deg: of.tilt_deg,
        largest_command_deg: 0.0,
        at_limit: 0.0,
        altitude_m: f64::NAN,
        drift_m: f64::NAN,
    };
    loop {
        clock.turn(now_s, &state, &mut sky.nozzle, dice);
        sky.nozzle.arrive(now_s);
        if SHOWN {
            onlooker(&moment(&mut sky, now_s, &state, clock.command_deg));
        }
        if now_s >= of.ends_s || state[TILT].abs() >= LOST_RAD {
            break;
        }
        while kinks.last().is_some_and(|kink| *kink <= now_s) {
            kinks.pop();
        }
        let until_s = clock
            .next_s()
            .min(sky.nozzle.next_arrival_s())
            .min(kinks.last().copied().unwrap_or(f64::INFINITY))
            .min(of.ends_s);
        let count = ((until_s - now_s) / of.step_s - 1e-9).ceil().max(1.0);
        let step_s = (until_s - now_s) / count;
        for at in 0..count as usize {
            sky.step(now_s + at as f64 * step_s, step_s, &mut state);
            if !state.iter().all(|value| value.is_finite()) {
                // Too stiff or too strong for the step: nothing further can be said of it.
                out.largest_tilt_deg = LOST_RAD.to_degrees();
                out.last_tilt_deg = f64::NAN;
                return out;
            }
            out.largest_tilt_deg = out.largest_tilt_deg.max(state[TILT].abs().to_degrees());
            if SHOWN && at + 1 < count as usize {
                let then_s = now_s + (at + 1) as f64 * step_s;
                onlooker(&moment(&mut sky, then_s, &state, clock.command_deg));
            }
        }
        now_s = until_s;
    }
    out.last_tilt_deg = state[TILT].to_degrees();
    out.largest_command_deg = clock.largest_deg;
    out.at_limit = clock.limited as f64 / clock.ticks.max(1) as f64;
    if of.mass_kg.is_some() {
        (out.altitude_m, out.drift_m) = (state[ALTITUDE], state[DRIFT]);
    }
    out
}

fn moment(sky: &mut Sky<'_>, time_s: f64, state: &State, command_deg: f64) -> Moment {
    Moment {
        time_s,
        tilt_rad: state[TILT],
        rate_rad_s: state[RATE],
        nozzle_deg: sky.nozzle.at(time_s),
        command_deg,
        thrust_n: sky.thrust(time_s).0,
        drift_m: state[DRIFT],
        altitude_m: state[ALTITUDE],
        drift_m_s: state[DRIFT_SPEED],
        climb_m_s: state[CLIMB],
    }
}

/// Area under a curve by straight lines.
fn whole(series: &Series) -> f64 {
    let (t, v) = (series.time_s(), series.value());
    (1..t.len())
        .map(|i| 0.5 * (v[i] + v[i - 1]) * (t[i] - t[i - 1]))
        .sum()
}

/// The flight computer's clock, or the rows of a record.
struct Clock<'a> {
    of: &'a Flight,
    pid: Option<Pid<f64>>,
    record: Option<&'a Series>,
    ticks: usize,
    row: usize,
    command_deg: f64,
    largest_deg: f64,
    limited: usize,
}

impl<'a> Clock<'a> {
    fn new(of: &'a Flight, steering: &Steering<'a>) -> Self {
        let (pid, record) = match steering {
            Steering::Controller => (of.controller.as_ref().map(|one| Pid::new(one, 0.0)), None),
            Steering::Record(series) => (None, Some(*series)),
        };
        Self {
            of,
            pid,
            row: 0,
            record,
            ticks: 0,
            command_deg: 0.0,
            largest_deg: 0.0,
            limited: 0,
        }
    }

    fn next_s(&self) -> f64 {
        if let Some(record) = self.record {
            let next = record.time_s().get(self.row);
            return next.copied().unwrap_or(f64::INFINITY);
        }
        match &self.of.controller {
            Some(controller) => self.of.release_s + self.ticks as f64 * controller.period_s,
            None => f64::INFINITY,
        }
    }

    fn turn(&mut self, now_s: f64, state: &State, nozzle: &mut Nozzle, dice: &mut ChaCha8Rng) {
        while self.next_s() <= now_s {
            if let Some(record) = self.record {
                let command = record.value()[self.row];
                // A command on its way when the flight begins has its own instant.
                nozzle.command(record.time_s()[self.row], command);
                self.row += 1;
                self.command_deg = command;
                continue;
            }
            self.ticks += 1;
            let Some(pid) = &mut self.pid else { return };
            let sensors = &self.of.sensors;
            let (mut tilt_deg, mut rate_deg_s) =
                (state[TILT].to_degrees(), state[RATE].to_degrees());
            rate_deg_s += sensors.rate_bias_deg_s;
            if sensors.tilt_noise_deg > 0.0 || sensors.rate_noise_deg_s > 0.0 {
                let (one, other) = two_normals(dice);
                tilt_deg += sensors.tilt_noise_deg * one;
                rate_deg_s += sensors.rate_noise_deg_s * other;
            }
            let factor = self
                .of
                .schedule
                .as_ref()
                .map_or(1.0, |schedule| schedule.factor(now_s));
            let command = pid.tick(&Reading {
                set_point_deg: 0.0,
                tilt_deg,
                rate_deg_s,
                factor,
            });
            nozzle.command(now_s, command);
            self.command_deg = command;
            self.largest_deg = self.largest_deg.max(command.abs());
            let limit_deg = self
                .of
                .controller
                .as_ref()
                .map_or(f64::MAX, |of| of.limit_deg);
            self.limited += usize::from(command.abs() >= limit_deg);
        }
    }
}

/// Two independent standard normal numbers (Box & Muller 1958).
fn two_normals(dice: &mut ChaCha8Rng) -> (f64, f64) {
    let radius = (-2.0 * (1.0 - dice.random::<f64>()).ln()).sqrt();
    let (sine, cosine) = (std::f64::consts::TAU * dice.random::<f64>()).sin_cos();
    (radius * cosine, radius * sine)
}
