//! Simulated firings for the tests: fourth-order Runge-Kutta at 10 kHz, a closed loop with a
//! reversing test pattern, a disturbance, and sensors with noise and resolution. Shares no code
//! with the fit.

use rand::{Rng, RngExt, SeedableRng, rngs::ChaCha8Rng};

use super::{AxisInput, DeadBandKind};
use crate::series::Series;

/// What is true.
#[derive(Debug, Clone, Copy)]
pub struct Truth {
    pub kind: DeadBandKind,
    pub gain: f64,
    pub bias_deg: f64,
    pub lag_s: f64,
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

pub const RAD: f64 = std::f64::consts::PI / 180.0;
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

/// The dead band of one command after another.
fn through_dead_band(truth: &Truth, v: f64, w: f64) -> f64 {
    let half = truth.width_deg / 2.0;
    match truth.kind {
        DeadBandKind::None => v,
        DeadBandKind::DeadZone => v.signum() * (v.abs() - half).max(0.0),
        DeadBandKind::Play => w.clamp(v - half, v + half),
    }
}

/// Simulates a firing; the rig is clamped until ignition.
pub fn firing(truth: &Truth, seed: u64) -> AxisInput {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let steps = (3.6 / STEP_S) as usize;
    let every = |hz: f64| (1.0 / hz / STEP_S).round() as usize;
    let (command_every, fast, slow) = (every(truth.command_hz), every(1000.0), every(200.0));
    let delay_steps = (truth.delay_s / STEP_S).round() as usize;
    let mut queue: Vec<(usize, f64)> = Vec::new();
    let (mut next, mut w) = (0, 0.0);
    let mut x = [truth.gain * RAD * truth.bias_deg, 0.0, 0.0];
    let mut demand = x[0];
    let mut gust = truth.gust_rad_s2 * normal(&mut rng);
    let keep = (-STEP_S / 0.3_f64).exp();
    let push = truth.gust_rad_s2 * (1.0 - keep * keep).sqrt();
    let mut command_deg = Series::default();
    let (mut pot, mut tilt, mut rate) = (Series::default(), Series::default(), Series::default());
    let mut force = Series::default();
    for step in 0..steps {
        let t = step as f64 * STEP_S;
        if step % command_every == 0 {
            let feedback = if t > IGNITION_S {
                12.0 * x[1] + 2.5 * x[2]
            } else {
                0.0
            };
            let wanted = pattern(t, truth.pattern_deg, truth.several_sizes) - feedback / RAD * 0.1;
            let command = (wanted * 100.0).round() / 100.0;
            command_deg.push(t, command);
            queue.push((step + delay_steps, command));
        }
        while next < queue.len() && queue[next].0 == step {
            w = through_dead_band(truth, queue[next].1, w);
            demand = truth.gain * RAD * (w + truth.bias_deg);
            next += 1;
        }
        if step % slow == 0 {
            pot.push(t, x[0] + truth.pot_noise_deg * RAD * normal(&mut rng));
            rate.push(t, x[2] + RAD * (1.0 + 0.2 * normal(&mut rng)));
        }
        if step % fast == 0 {
            let resolution = 0.02 * RAD;
            tilt.push(t, (x[1] / resolution).round() * resolution);
            force.push(t, thrust(t));
        }
        let slope = |at: f64, x: [f64; 3]| -> [f64; 3] {
            let slew = truth.slew_deg_s * RAD;
            let d = ((demand - x[0]) / truth.lag_s).clamp(-slew, slew);
            if t < IGNITION_S {
                return [d, 0.0, 0.0];
            }
            let turn = thrust(at) * (truth.effectiveness * x[0].sin() + truth.thrust_bias)
                - truth.damping * x[2]
                + truth.stiffness * x[1]
                + gust;
            [d, x[2], turn]
        };
        let moved = |k: [f64; 3], by: f64| std::array::from_fn(|i| x[i] + by * k[i]);
        let k1 = slope(t, x);
        let k2 = slope(t + STEP_S / 2.0, moved(k1, STEP_S / 2.0));
        let k3 = slope(t + STEP_S / 2.0, moved(k2, STEP_S / 2.0));
        let k4 = slope(t + STEP_S, moved(k3, STEP_S));
        for i in 0..3 {
            x[i] += STEP_S / 6.0 * (k1[i] + 2.0 * k2[i] + 2.0 * k3[i] + k4[i]);
        }
        gust = keep * gust + push * normal(&mut rng);
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
