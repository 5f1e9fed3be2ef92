//! Random numbers: one stream for each source of noise, so that changing one moves no other.
//!
//! A stream is ChaCha12 (Bernstein, ChaCha, a variant of Salsa20, 2008) keyed with the SHA-256 of
//! the seed and the name of the source. Normal numbers come from pairs of uniform ones (Box and
//! Muller, Annals of Mathematical Statistics 29, 1958). Correlated noise is the
//! Ornstein-Uhlenbeck process in its exact discrete form (Gillespie, Physical Review E 54, 1996).

use std::f64::consts::TAU;

use rand::Rng;
use rand::SeedableRng;
use rand::rngs::ChaCha12Rng;
use sha2::{Digest, Sha256};

/// One stream of random numbers.
pub(in crate::plan) struct Stream {
    rng: ChaCha12Rng,
    spare: Option<f64>,
}

impl Stream {
    /// The stream of one source.
    pub(in crate::plan) fn new(seed: u64, source: &str) -> Self {
        let mut hash = Sha256::new();
        hash.update(seed.to_le_bytes());
        hash.update(source.as_bytes());
        Self {
            rng: ChaCha12Rng::from_seed(hash.finalize().into()),
            spare: None,
        }
    }

    /// Uniform from 0 to below 1, all 53 bits of it.
    pub(super) fn uniform(&mut self) -> f64 {
        const BITS: u32 = 53;
        (self.rng.next_u64() >> (u64::BITS - BITS)) as f64 / (1_u64 << BITS) as f64
    }

    /// Uniform between two numbers.
    pub(in crate::plan) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.uniform()
    }

    /// Normal with mean 0 and standard deviation 1.
    pub(in crate::plan) fn normal(&mut self) -> f64 {
        if let Some(spare) = self.spare.take() {
            return spare;
        }
        // 1 - u is never 0, so the logarithm is finite.
        let radius = (-2.0 * (1.0 - self.uniform()).ln()).sqrt();
        let angle = TAU * self.uniform();
        self.spare = Some(radius * angle.sin());
        radius * angle.cos()
    }

    /// White noise of one standard deviation.
    pub(super) fn white(&mut self, sd: f64, count: usize) -> Vec<f64> {
        (0..count).map(|_| sd * self.normal()).collect()
    }

    /// Noise of one standard deviation and one correlation time, at even steps.
    pub(in crate::plan) fn correlated(
        &mut self,
        sd: f64,
        correlation_s: f64,
        step_s: f64,
        count: usize,
    ) -> Vec<f64> {
        let keep = (-step_s / correlation_s).exp();
        let fresh = (1.0 - keep * keep).sqrt();
        let mut now = self.normal();
        (0..count)
            .map(|_| {
                let out = sd * now;
                now = keep * now + fresh * self.normal();
                out
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    fn moments(x: &[f64]) -> (f64, f64) {
        let n = x.len() as f64;
        let mean = x.iter().sum::<f64>() / n;
        (
            mean,
            (x.iter().map(|x| (x - mean) * (x - mean)).sum::<f64>() / n).sqrt(),
        )
    }

    // Standard errors: mean 1/sqrt n = 0.005, standard deviation 1/sqrt 2n = 0.0035, share beyond
    // 1.96 sqrt(0.05 0.95/n) = 0.0011; four of each are allowed.
    #[test]
    fn normal_numbers_have_mean_zero_sd_one_and_normal_tails() {
        let x = Stream::new(7, "test").white(1.0, 40_000);
        let (mean, sd) = moments(&x);
        assert_abs_diff_eq!(mean, 0.0, epsilon = 0.02);
        assert_abs_diff_eq!(sd, 1.0, epsilon = 0.014);
        let beyond = x.iter().filter(|x| x.abs() > 1.959_964).count() as f64 / x.len() as f64;
        assert_abs_diff_eq!(beyond, 0.05, epsilon = 0.0044);
    }

    // Correlation at a lag of one correlation time is 1/e.
    #[test]
    fn correlated_noise_forgets_at_its_correlation_time() {
        let x = Stream::new(7, "test").correlated(2.0, 0.1, 0.01, 100_000);
        let (_, sd) = moments(&x);
        assert_abs_diff_eq!(sd, 2.0, epsilon = 0.06);
        let lagged: f64 =
            x.windows(11).map(|w| w[0] * w[10]).sum::<f64>() / (x.len() - 10) as f64 / (sd * sd);
        assert_abs_diff_eq!(lagged, (-1.0_f64).exp(), epsilon = 0.04);
    }

    #[test]
    fn streams_differ_by_seed_and_by_name_and_repeat() {
        let first = |seed, name| Stream::new(seed, name).uniform();
        assert_eq!(first(1, "a"), first(1, "a"));
        assert_ne!(first(1, "a"), first(2, "a"));
        assert_ne!(first(1, "a"), first(1, "b"));
    }
}
