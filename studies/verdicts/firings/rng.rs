//! Random numbers: one ChaCha stream for each concern of a firing, so that taking a disturbance away moves no other number.
//! Normal deviates by Box and Muller (Ann. Math. Stat. 29, 1958).

use rand::rngs::ChaCha12Rng;
use rand::{RngExt, SeedableRng};

/// What a stream is for.
#[derive(Clone, Copy, Debug)]
pub(super) enum Stream {
    Rig = 1,
    Motors,
    Fates,
    World,
    Faults,
    Noise,
    Rough,
    Weighing,
    Igniters,
    Steering,
    Axis,
    Recorder,
    Trouble,
}

pub(super) struct Rng(ChaCha12Rng);

impl Rng {
    pub(super) fn new(seed: u64, stream: Stream) -> Self {
        let mixed = seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ ((stream as u64) << 56);
        Self(ChaCha12Rng::seed_from_u64(mixed))
    }
    /// In [0, 1).
    pub(super) fn unit(&mut self) -> f64 {
        self.0.random::<f64>()
    }
    pub(super) fn uniform(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }
    pub(super) fn log_uniform(&mut self, low: f64, high: f64) -> f64 {
        self.uniform(low.ln(), high.ln()).exp()
    }
    pub(super) fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.unit()).cos()
    }
    pub(super) fn exponential(&mut self, mean: f64) -> f64 {
        -mean * (1.0 - self.unit()).ln()
    }
    pub(super) fn chance(&mut self, probability: f64) -> bool {
        self.unit() < probability
    }
    pub(super) fn sign(&mut self, positive: f64) -> f64 {
        if self.chance(positive) { 1.0 } else { -1.0 }
    }
    pub(super) fn below(&mut self, count: usize) -> usize {
        ((self.unit() * count as f64) as usize).min(count.saturating_sub(1))
    }
    /// Index by weights.
    pub(super) fn weighted(&mut self, weights: &[f64]) -> usize {
        let mut left = self.unit() * weights.iter().sum::<f64>();
        for (i, w) in weights.iter().enumerate() {
            left -= w;
            if left < 0.0 {
                return i;
            }
        }
        weights.len() - 1
    }
}
