//! Random draws, all from one seeded ChaCha stream, so a seed gives the same record everywhere.

use rand::rngs::ChaCha8Rng;
use rand::{RngExt, SeedableRng};

/// A seeded source of draws.
pub(crate) struct Random {
    stream: ChaCha8Rng,
    spare: Option<f64>,
}

impl Random {
    pub(crate) fn new(seed: u64) -> Self {
        Self {
            stream: ChaCha8Rng::seed_from_u64(seed),
            spare: None,
        }
    }

    pub(crate) fn uniform(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.stream.random::<f64>()
    }

    /// Uniform in the logarithm: every octave between the limits is as likely as another.
    pub(crate) fn log_uniform(&mut self, low: f64, high: f64) -> f64 {
        low * (high / low).max(1.0).powf(self.stream.random::<f64>())
    }

    pub(crate) fn chance(&mut self, probability: f64) -> bool {
        self.stream.random::<f64>() < probability
    }

    pub(crate) fn sign(&mut self) -> f64 {
        if self.chance(0.5) { 1.0 } else { -1.0 }
    }

    /// A whole number from `low` to `high`, both included.
    pub(crate) fn whole(&mut self, low: usize, high: usize) -> usize {
        self.stream.random_range(low..=high.max(low))
    }

    pub(crate) fn pick<T: Copy>(&mut self, choices: &[T]) -> T {
        choices[self.stream.random_range(0..choices.len())]
    }

    /// A standard normal draw (Box and Muller 1958).
    pub(crate) fn normal(&mut self) -> f64 {
        if let Some(spare) = self.spare.take() {
            return spare;
        }
        let radius = (-2.0 * (1.0 - self.stream.random::<f64>()).ln()).sqrt();
        let (sin, cos) = (std::f64::consts::TAU * self.stream.random::<f64>()).sin_cos();
        self.spare = Some(radius * sin);
        radius * cos
    }
}
