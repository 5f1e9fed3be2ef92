//! Check vectors: inputs and expected commands, tick by tick, for any firmware to be held against.
//!
//! Made with the controller in single precision, in the order of operations of `controller.h`. The
//! inputs visit what goes wrong in firmware: a start away from zero, small noise, a step of the set
//! point, a tilt that runs into the limit and comes back, a rate of either sign, a factor that moves, and a sensor that
//! for some ticks gives no number.

use rand::rngs::ChaCha8Rng;
use rand::{RngExt, SeedableRng};

use super::gains::AxisGains;
use super::pid::{Pid, Reading};

/// Ticks of a set.
pub(crate) const TICKS: usize = 400;

/// One tick.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Vector {
    /// What is read.
    pub reading: Reading<f32>,
    /// What is commanded, deg.
    pub command_deg: f32,
}

/// The set of an axis; the command in force at the start is `in_force_deg`.
#[must_use]
pub(crate) fn vectors(of: &AxisGains, in_force_deg: f64) -> Vec<Vector> {
    let mut rng = ChaCha8Rng::seed_from_u64(2026);
    let mut pid = Pid::<f32>::new(&of.controller, in_force_deg);
    let limit = of.controller.limit_deg.min(30.0);
    let far = 2.0 * limit / of.controller.kp.max(1e-3);
    (0..TICKS)
        .map(|tick| {
            let share = tick as f64 / TICKS as f64;
            let wave = (std::f64::consts::TAU * 3.0 * share).sin();
            let (mut tilt, mut set_point) = (3.0 * (1.0 - share), 0.0);
            if share > 0.25 {
                set_point = 1.0;
            }
            if share > 0.5 && share < 0.7 {
                tilt = far;
            }
            if share >= 0.7 {
                tilt = -far * wave;
            }
            let noise = 0.1 * (rng.random::<f64>() - 0.5);
            let rate = 20.0 * wave + 5.0 * (rng.random::<f64>() - 0.5);
            let factor = if of.schedule.is_some() {
                0.5 + 1.5 * share
            } else {
                1.0
            };
            let lost = |ticks: std::ops::Range<usize>, read: f64| {
                if ticks.contains(&tick) {
                    f64::NAN
                } else {
                    read
                }
            };
            let reading = Reading {
                set_point_deg: set_point as f32,
                tilt_deg: lost(60..63, tilt + noise) as f32,
                rate_deg_s: lost(80..83, rate) as f32,
                factor: factor as f32,
            };
            Vector {
                reading,
                command_deg: pid.tick(&reading),
            }
        })
        .collect()
}
