//! How noisy readings are, and how many of them count when neighbours resemble each other.
//!
//! The variance of a mean of n readings with autocorrelation r_k is (s^2/n) (1 + 2 sum r_k); the
//! factor is summed over Geyer's initial positive sequence (Geyer, Practical Markov chain Monte
//! Carlo, Statistical Science 7, 1992, 3.3), which stops before the noise of the estimate itself is
//! added up.

/// Mean and spread of readings at rest.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct MeanAndSd {
    /// Mean.
    pub mean: f64,
    /// Standard deviation of one reading.
    pub sd: f64,
}

/// Describes readings at rest; `None` for fewer than two.
#[must_use]
pub(crate) fn mean_and_sd(values: &[f64]) -> Option<MeanAndSd> {
    let count = values.len();
    if count < 2 {
        return None;
    }
    let mean = values.iter().sum::<f64>() / count as f64;
    let sum: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    let sd = (sum / (count - 1) as f64).sqrt();
    Some(MeanAndSd { mean, sd })
}

/// Variance inflation of the mean of centred values, at least 1.
#[must_use]
pub(crate) fn inflation(centred: &[f64]) -> f64 {
    let count = centred.len();
    let covariance = |lag: usize| -> f64 {
        centred
            .iter()
            .zip(&centred[lag..])
            .map(|(a, b)| a * b)
            .sum::<f64>()
            / count as f64
    };
    let zero = if count > 0 { covariance(0) } else { 0.0 };
    if zero <= 0.0 {
        return 1.0;
    }
    let mut total = -1.0;
    let mut lag = 0;
    // Pairs of neighbouring lags are positive for any stationary reversible process.
    while lag + 1 < count / 3 {
        let pair = (covariance(lag) + covariance(lag + 1)) / zero;
        if pair <= 0.0 {
            break;
        }
        total += 2.0 * pair;
        lag += 2;
    }
    total.max(1.0)
}

/// Median of a list; `None` when it is empty.
#[must_use]
pub(crate) fn median(values: &[f64]) -> Option<f64> {
    let mut sorted = values.to_vec();
    let middle = sorted.len() / 2;
    (!sorted.is_empty()).then(|| *sorted.select_nth_unstable_by(middle, f64::total_cmp).1)
}

/// Standard deviation of the noise of readings that also move, from the median absolute difference
/// of neighbours (the factor makes it right for normal white noise).
#[must_use]
pub(crate) fn sd_from_differences(values: &[f64]) -> f64 {
    let steps: Vec<f64> = values
        .windows(2)
        .map(|pair| (pair[1] - pair[0]).abs())
        .collect();
    median(&steps).unwrap_or(0.0) / (0.674_489_750_196_082 * std::f64::consts::SQRT_2)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A deterministic stream of numbers near normal: twelve uniform ones added up.
    fn noise(count: usize) -> Vec<f64> {
        let mut state: u64 = 42;
        let mut uniform = || {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1);
            (state >> 11) as f64 / (1_u64 << 53) as f64
        };
        (0..count)
            .map(|_| (0..12).map(|_| uniform()).sum::<f64>() - 6.0)
            .collect()
    }

    #[test]
    fn white_noise_is_not_inflated_and_slow_noise_is() {
        let white = noise(20_000);
        let rest = mean_and_sd(&white).unwrap();
        assert!((rest.sd - 1.0).abs() < 0.02, "{rest:?}");
        assert!(inflation(&white) < 1.1);
        // AR(1) with coefficient a has inflation (1 + a)/(1 - a) = 9 for a = 0.8.
        let mut slow = vec![0.0];
        for value in &white {
            slow.push(0.8 * slow.last().unwrap() + value);
        }
        let mean = mean_and_sd(&slow).unwrap().mean;
        let centred: Vec<f64> = slow.iter().map(|value| value - mean).collect();
        let found = inflation(&centred);
        assert!((7.5..10.5).contains(&found), "{found}");
    }

    #[test]
    fn noise_on_a_ramp_is_found_from_differences() {
        let moving: Vec<f64> = noise(5000)
            .iter()
            .enumerate()
            .map(|(i, v)| v + 0.01 * i as f64)
            .collect();
        assert!((sd_from_differences(&moving) - 1.0).abs() < 0.05);
    }
}
