//! What every weighing of hypotheses by their likelihoods has in common.
//!
//! Every hypothesis is as probable beforehand as any other, so its probability is the share of its likelihood in
//! the sum over all (Jaynes, Probability Theory, ch. 4). Two questions are asked of the motors: which of them
//! lit ([`super::lit::hypothesis`]) and which design each was ([`super::class::recognition`]). What they integrate
//! over differs, and so does how: the first by Laplace's approximation about a fit of each motor's onset, impulse,
//! length and early end, the second in closed form and on a grid over what all motors share.

/// No verdict is surer than this: a column mixed up or a motor put in the wrong place is not in the
/// model, and happens more often than once in ten thousand firings. Common practice, no source.
pub(crate) const SUREST: f64 = 0.9999;

/// A probability that is never surer than [`SUREST`].
#[must_use]
pub(crate) fn bounded(probability: f64) -> f64 {
    probability.clamp(1.0 - SUREST, SUREST)
}

/// Logarithm of a sum of likelihoods.
#[must_use]
pub(crate) fn log_sum(logs: &[f64]) -> f64 {
    log_mean(logs, 1.0)
}

/// Logarithm of a sum of likelihoods over the sum of their weights.
#[must_use]
pub(crate) fn log_mean(logs: &[f64], weights: f64) -> f64 {
    let most = largest(logs);
    if most == f64::NEG_INFINITY {
        return most;
    }
    let sum: f64 = logs.iter().map(|log| (log - most).exp()).sum();
    most + (sum / weights).ln()
}

fn largest(logs: &[f64]) -> f64 {
    logs.iter().copied().fold(f64::NEG_INFINITY, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    // Likelihoods 1, 2 and 5 beside a common factor that no number holds.
    #[test]
    fn sums_of_likelihoods_are_taken_beside_the_largest() {
        let logs = [1.0_f64, 2.0, 5.0].map(|likelihood| likelihood.ln() - 2000.0);
        assert_relative_eq!(log_sum(&logs), 8_f64.ln() - 2000.0, max_relative = 1e-12);
        assert_relative_eq!(
            log_mean(&logs, 4.0),
            2_f64.ln() - 2000.0,
            max_relative = 1e-12
        );
        assert_eq!(log_sum(&[f64::NEG_INFINITY; 2]), f64::NEG_INFINITY);
    }

    #[test]
    fn nothing_is_certain() {
        assert_eq!([0.0, 0.5, 1.0].map(bounded), [1.0 - SUREST, 0.5, SUREST]);
    }
}
