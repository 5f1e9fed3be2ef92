//! The rocket in motion: one axis of it, free or in its rig, and the trajectory of the free one.
//!
//! See [`super`] for the equations. What depends on time alone (thrust, nozzle, wind) is worked out once
//! for each stage of a step, as its [`Environment`].

use super::actuator::Actuator;
use super::integrate::{Equations, Restrained};
use super::restraint::Restraint;
use super::scenario::{Air, Scenario};
use super::tilt::{ThrustTorque, angular_acceleration_rad_s2};
use crate::series::Series;

/// Density of air at sea level, kg/m3 (ISO 2533 standard atmosphere).
const AIR_KG_M3: f64 = 1.225;

pub(super) const TILT: usize = 0;
pub(super) const RATE: usize = 1;
pub(super) const DRIFT: usize = 2;
pub(super) const ALTITUDE: usize = 3;
pub(super) const DRIFT_SPEED: usize = 4;
pub(super) const CLIMB: usize = 5;
/// Impulse delivered, N s.
pub(super) const DELIVERED: usize = 6;

pub(super) type State = [f64; 7];

/// A curve that is read at rising times.
struct Cursor<'a> {
    time_s: &'a [f64],
    value: &'a [f64],
    /// Factor and shift.
    scale: f64,
    later_s: f64,
    at: usize,
}

impl<'a> Cursor<'a> {
    fn new(of: &'a Series) -> Self {
        Self {
            time_s: of.time_s(),
            value: of.value(),
            scale: 1.0,
            later_s: 0.0,
            at: 0,
        }
    }

    #[inline]
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
pub(super) struct Environment {
    thrust_n: f64,
    /// Tilt torque of the motors' offsets, N m.
    torque_nm: f64,
    nozzle_rad: f64,
    nozzle_sine: f64,
    /// Force and torque of the wind, N and N m.
    push_n: f64,
    push_nm: f64,
    disturbance_rad_s2: f64,
}

/// A rocket, and all that acts on it.
pub(super) struct Rocket<'a> {
    of: &'a Scenario,
    motors: Vec<(Cursor<'a>, f64)>,
    disturbance: Option<Cursor<'a>>,
    /// 1 / total impulse, 1/(N s).
    per_impulse: f64,
    calm: bool,
    /// Its actuator.
    pub actuator: Actuator,
    restraint: Restraint,
}

impl<'a> Rocket<'a> {
    /// At the start of a flight, with its state.
    pub(super) fn new(of: &'a Scenario) -> (Self, State) {
        let whole_ns: f64 = of
            .motors
            .iter()
            .map(|motor| motor.scale * area(&motor.thrust_n))
            .sum();
        let lit = || of.motors.iter().filter(|motor| motor.lights);
        let motors = lit().map(|motor| {
            let mut cursor = Cursor::new(&motor.thrust_n);
            (cursor.scale, cursor.later_s) = (motor.scale, motor.later_s);
            (cursor, motor.offset_m)
        });
        let mut state: State = [0.0; 7];
        state[TILT] = of.tilt_deg.to_radians();
        state[RATE] = of.rate_deg_s.to_radians();
        state[DELIVERED] = lit()
            .map(|motor| {
                let before = motor.thrust_n.between(0.0, of.release_s - motor.later_s);
                motor.scale * area(&before)
            })
            .sum();
        let rocket = Self {
            of,
            motors: motors.collect(),
            disturbance: of.disturbance_rad_s2.as_deref().map(Cursor::new),
            per_impulse: if whole_ns > 0.0 { 1.0 / whole_ns } else { 0.0 },
            calm: of.air == Air::default(),
            actuator: Actuator::new(&of.axis, of.latency_s, of.release_s),
            restraint: Restraint::new(of.axis.coulomb_rad_per_s2),
        };
        (rocket, state)
    }

    /// Thrust, and tilt torque of the motors' offsets.
    #[inline]
    pub(super) fn thrust(&mut self, time_s: f64) -> (f64, f64) {
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

    /// Angular acceleration of the tilt before dry friction, with the air's torque given.
    fn turned_by(&self, inputs: &Environment, state: &State, air_nm: f64) -> f64 {
        let axis = &self.of.axis;
        let thrust = ThrustTorque {
            pull_rad_s2: axis.effectiveness_per_kg_m * inputs.thrust_n,
            sine: inputs.nozzle_sine,
            side_rad_s2: axis.thrust_bias_per_kg_m * inputs.thrust_n,
        };
        let mut out = angular_acceleration_rad_s2(axis, &thrust, state[TILT], state[RATE]);
        out += inputs.disturbance_rad_s2;
        if let Some(inertia) = self.of.inertia_kg_m2 {
            out += (inputs.torque_nm + inputs.push_nm + air_nm) / inertia;
        }
        out
    }

    /// Sideways and upward force, and torque, of the air, by the coefficients given.
    fn air(&self, state: &State) -> (f64, f64, f64) {
        if self.calm || self.of.mass_kg.is_none() {
            return (0.0, 0.0, 0.0);
        }
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
}

impl Equations for Rocket<'_> {
    type State = State;
    type Inputs = Environment;

    fn inputs(&mut self, time_s: f64) -> Environment {
        let (thrust_n, torque_nm) = self.thrust(time_s);
        let nozzle_rad = self.actuator.angle_deg(time_s).to_radians();
        let (push_n, push_nm) = self.of.wind.at(time_s);
        let disturbance = self.disturbance.as_mut();
        Environment {
            thrust_n,
            torque_nm,
            nozzle_rad,
            nozzle_sine: nozzle_rad.sin(),
            push_n,
            push_nm,
            disturbance_rad_s2: disturbance.map_or(0.0, |curve| curve.value(time_s)),
        }
    }

    fn slope(&self, inputs: &Environment, state: &State, slope: &mut State) {
        let of = self.of;
        let thrust = inputs.thrust_n;
        let (side_n, up_n, air_nm) = self.air(state);
        *slope = [0.0, 0.0, 0.0, 0.0, 0.0, 0.0, thrust];
        if !self.restraint.holds() {
            slope[TILT] = state[RATE];
            slope[RATE] = self.restraint.slowed(self.turned_by(inputs, state, air_nm));
        }
        if of.mass_kg.is_some() {
            let mass = self.mass_kg(state);
            let (sine, cosine) = (state[TILT] - inputs.nozzle_rad).sin_cos();
            let side = (thrust * sine + inputs.push_n + side_n) / mass;
            let up = (thrust * cosine + up_n) / mass - of.gravity_m_s2;
            let stands = state[ALTITUDE] <= 0.0 && state[CLIMB] <= 0.0 && up < 0.0;
            if !stands {
                slope[DRIFT] = state[DRIFT_SPEED];
                slope[ALTITUDE] = state[CLIMB];
                slope[DRIFT_SPEED] = side;
                slope[CLIMB] = up;
            }
        }
    }
}

impl Restrained for Rocket<'_> {
    fn restraints(&self) -> &[Restraint] {
        std::slice::from_ref(&self.restraint)
    }

    fn restraints_mut(&mut self) -> &mut [Restraint] {
        std::slice::from_mut(&mut self.restraint)
    }

    fn rate_index(_: usize) -> usize {
        RATE
    }

    fn acceleration_rad_s2(&self, _: usize, inputs: &Environment, state: &State) -> f64 {
        self.turned_by(inputs, state, self.air(state).2)
    }
}

/// Area under a curve by straight lines.
fn area(series: &Series) -> f64 {
    let (t, v) = (series.time_s(), series.value());
    (1..t.len())
        .map(|i| 0.5 * (v[i] + v[i - 1]) * (t[i] - t[i - 1]))
        .sum()
}
