//! Simulated test firings: what the fit of the plant is held against.
//!
//! The simulator's nozzle and equation of tilt at 10 kHz, in a closed loop with a reversing test pattern, a
//! disturbance, and sensors with noise and resolution.

use rand::{Rng, RngExt, SeedableRng, rngs::ChaCha8Rng};

use super::actuator::Actuator;
use super::integrate::{Equations, runge_kutta};
use super::tilt::{ThrustTorque, angular_acceleration_rad_s2};
use crate::control::model::AxisNumbers;
use crate::plant::{AxisInput, DeadBandKind};
use crate::series::Series;

/// What is true.
#[derive(Debug, Clone, Copy)]
pub struct Truth {
    pub kind: DeadBandKind,
    pub gain: f64,
    pub bias_deg: f64,
    pub lag_s: f64,
    pub damping_ratio: Option<f64>,
    pub delay_s: f64,
    pub width_deg: f64,
    pub slew_deg_s: f64,
    pub effectiveness: f64,
    pub thrust_bias: f64,
    pub damping: f64,
    pub stiffness: f64,
    /// Standard deviation of the torque disturbance over inertia, rad/s2.
    pub gust_rad_s2: f64,
    pub pattern_deg: f64,
    pub command_hz: f64,
    pub pot_noise_deg: f64,
    /// Whether the pattern turns at several sizes.
    pub several_sizes: bool,
}

pub const TRUTH: Truth = Truth {
    kind: DeadBandKind::Play,
    gain: 0.93,
    bias_deg: 0.15,
    lag_s: 0.022,
    damping_ratio: None,
    delay_s: 0.012,
    width_deg: 0.35,
    slew_deg_s: f64::INFINITY,
    effectiveness: 3.83,
    thrust_bias: 0.01,
    damping: 0.3,
    stiffness: 2.0,
    gust_rad_s2: 0.4,
    pattern_deg: 3.0,
    command_hz: 200.0,
    pot_noise_deg: 0.03,
    several_sizes: true,
};

const RAD: f64 = std::f64::consts::PI / 180.0;
/// Ignition, s.
const IGNITION_S: f64 = 1.0;
/// End of the burn, s.
const BURNOUT_S: f64 = 3.2;
const STEP_S: f64 = 1e-4;

fn thrust(t: f64) -> f64 {
    let since = t - IGNITION_S;
    if !(0.0..2.2).contains(&since) {
        return 0.0;
    }
    let rise = (since / 0.06).min(1.0);
    let tail = ((2.2 - since) / 0.2).min(1.0);
    rise * tail * (26.0 - 5.0 * since)
}

fn normal(rng: &mut impl Rng) -> f64 {
    (0..12).map(|_| rng.random::<f64>()).sum::<f64>() - 6.0
}

/// Square pattern with holds of several lengths.
fn pattern(t: f64, size: f64, several: bool) -> f64 {
    let holds = [0.22, 0.13, 0.18, 0.09, 0.27, 0.16];
    let mut at = IGNITION_S - 0.1;
    let mut sign = 1.0;
    let mut turn = 0;
    if !(at..BURNOUT_S).contains(&t) {
        return 0.0;
    }
    loop {
        at += holds[turn % holds.len()];
        if t < at {
            let sizes = [1.0, 0.9, 0.4, 1.0, 0.25, 0.6, 0.8];
            let share = if several {
                sizes[turn % sizes.len()]
            } else {
                1.0
            };
            return sign * size * share;
        }
        sign = -sign;
        turn += 1;
    }
}

impl Truth {
    fn numbers(&self) -> AxisNumbers {
        AxisNumbers {
            gain: self.gain,
            bias_deg: self.bias_deg,
            lag_s: self.lag_s,
            damping_ratio: self.damping_ratio,
            delay_s: self.delay_s,
            dead_band: self.kind,
            width_deg: self.width_deg,
            slew_deg_s: Some(self.slew_deg_s),
            effectiveness_per_kg_m: self.effectiveness,
            thrust_bias_per_kg_m: self.thrust_bias,
            damping_per_s: self.damping,
            stiffness_per_s2: self.stiffness,
            ..AxisNumbers::default()
        }
    }
}

/// One axis of the rig.
struct Axis {
    numbers: AxisNumbers,
    actuator: Actuator,
    gust_rad_s2: f64,
}

impl Equations for Axis {
    type State = [f64; 2];
    type Inputs = ThrustTorque;

    fn inputs(&mut self, time_s: f64) -> ThrustTorque {
        let thrust_n = thrust(time_s);
        ThrustTorque {
            pull_rad_s2: self.numbers.effectiveness_per_kg_m * thrust_n,
            sine: self.actuator.angle_deg(time_s).to_radians().sin(),
            side_rad_s2: self.numbers.thrust_bias_per_kg_m * thrust_n,
        }
    }

    fn slope(&self, thrust: &ThrustTorque, [tilt, rate]: &[f64; 2], slope: &mut [f64; 2]) {
        let turned = angular_acceleration_rad_s2(&self.numbers, thrust, *tilt, *rate);
        *slope = [*rate, turned + self.gust_rad_s2];
    }
}

/// So that a command does not miss the step at which it arrives by rounding, s.
const ARRIVAL_GUARD_S: f64 = 1e-9;

/// Simulates a firing; the rig is clamped until ignition.
pub fn firing(truth: &Truth, seed: u64) -> AxisInput {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let steps = (3.6 / STEP_S) as usize;
    let every = |hz: f64| (1.0 / hz / STEP_S).round() as usize;
    let (command_every, fast, slow) = (every(truth.command_hz), every(1000.0), every(200.0));
    let numbers = truth.numbers();
    let mut axis = Axis {
        actuator: Actuator::new(&numbers, 0.0, 0.0),
        numbers,
        gust_rad_s2: truth.gust_rad_s2 * normal(&mut rng),
    };
    let mut x = [0.0, 0.0];
    let keep = (-STEP_S / 0.3_f64).exp();
    let push = truth.gust_rad_s2 * (1.0 - keep * keep).sqrt();
    let mut command_deg = Series::default();
    let (mut pot, mut tilt, mut rate) = (Series::default(), Series::default(), Series::default());
    let mut force = Series::default();
    for step in 0..steps {
        let t = step as f64 * STEP_S;
        if step % command_every == 0 {
            let feedback = if t > IGNITION_S {
                12.0 * x[0] + 2.5 * x[1]
            } else {
                0.0
            };
            let wanted = pattern(t, truth.pattern_deg, truth.several_sizes) - feedback / RAD * 0.1;
            let command = (wanted * 100.0).round() / 100.0;
            command_deg.push(t, command);
            axis.actuator.command(t, command);
        }
        axis.actuator.arrive(t + ARRIVAL_GUARD_S);
        if step % slow == 0 {
            let nozzle_deg = axis.actuator.angle_deg(t);
            pot.push(
                t,
                RAD * (nozzle_deg + truth.pot_noise_deg * normal(&mut rng)),
            );
            rate.push(t, x[1] + RAD * (1.0 + 0.2 * normal(&mut rng)));
        }
        if step % fast == 0 {
            let resolution = 0.02 * RAD;
            tilt.push(t, (x[0] / resolution).round() * resolution);
            force.push(t, thrust(t));
        }
        if t >= IGNITION_S {
            let acting = axis.inputs(t);
            (x, _) = runge_kutta(&mut axis, &x, (t, STEP_S), &acting);
        }
        axis.gust_rad_s2 = keep * axis.gust_rad_s2 + push * normal(&mut rng);
    }
    AxisInput {
        name: "pitch".to_owned(),
        command_deg,
        nozzle_rad: Some(pot),
        tilt_rad: Some(tilt),
        rate_rad_s: Some(rate),
        thrust_n: Some(force),
        window_s: (IGNITION_S + 0.004, BURNOUT_S - 0.01),
        ..AxisInput::default()
    }
}
