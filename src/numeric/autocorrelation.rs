//! Residuals that depend on their neighbours: how much, and what that does to an uncertainty.
//!
//! - Ljung & Box 1978 test whether residuals are white.
//! - Newey & West 1987 (with their rule of 1994 for the number of lags) give the covariance of an
//!   estimate whose residuals are correlated.
//!
//! Limits: readings are taken as evenly spaced; correlation over more than the summed lags is missed.

use nalgebra::DMatrix;
use statrs::distribution::{ChiSquared, ContinuousCDF};

/// Autocorrelation at lags 0 to `most`; empty when the values do not vary.
#[must_use]
pub(crate) fn autocorrelation(values: &[f64], most: usize) -> Vec<f64> {
    correlations(values).take(most.saturating_add(1)).collect()
}

/// The same at one lag after the other, as they are asked for.
fn correlations(values: &[f64]) -> impl Iterator<Item = f64> {
    let mean = values.iter().sum::<f64>() / values.len().max(1) as f64;
    let centred: Vec<f64> = values.iter().map(|value| value - mean).collect();
    let product = move |lag: usize| -> f64 {
        let both = centred.iter().zip(&centred[lag..]);
        both.map(|(a, b)| a * b).sum()
    };
    let power = product(0);
    let lags = if power <= 0.0 { 0 } else { values.len() };
    (0..lags).map(move |lag| product(lag) / power)
}

/// Number of lags in the whiteness test: the common choice min(20, n/5).
fn test_lags(count: usize) -> usize {
    (count / 5).min(20)
}

/// Probability of values at least this correlated if they were white; `None` for fewer than 25.
#[must_use]
pub(crate) fn whiteness(values: &[f64]) -> Option<f64> {
    let lags = test_lags(values.len());
    if lags < 5 {
        return None;
    }
    let correlation = autocorrelation(values, lags);
    if correlation.len() <= lags {
        return None;
    }
    let n = values.len() as f64;
    let sum: f64 = (1..=lags)
        .map(|lag| correlation[lag].powi(2) / (n - lag as f64))
        .sum();
    let law = ChiSquared::new(lags as f64).ok()?;
    Some((1.0 - law.cdf(n * (n + 2.0) * sum)).clamp(0.0, 1.0))
}

/// Number of lags that Newey & West sum over: 4 (n/100)^(2/9).
#[must_use]
pub(crate) fn newey_west_lags(count: usize) -> usize {
    (4.0 * (count as f64 / 100.0).powf(2.0 / 9.0)).floor() as usize
}

/// By how much neighbours repeat each other: n over the number of independent readings, at least 1
/// (sum of the autocorrelations up to the first that is not positive; Geyer 1992).
#[must_use]
pub(crate) fn repetition(values: &[f64]) -> f64 {
    let sum: f64 = correlations(values)
        .take(1 + values.len() / 4)
        .skip(1)
        .take_while(|r| *r > 0.0)
        .sum();
    (1.0 + 2.0 * sum).max(1.0)
}

/// For each parameter, the factor by which correlated residuals raise its standard uncertainty
/// over that of white ones: the root of the ratio of Newey & West's variance to the plain one,
/// never below 1. `columns` are the parameters' directions (Q of the QR of the Jacobian) rotated
/// back by `back` = R^-1, so nothing is squared.
#[must_use]
pub(crate) fn inflation(q: &DMatrix<f64>, back: &DMatrix<f64>, residuals: &[f64]) -> Vec<f64> {
    let (n, k) = (q.nrows(), q.ncols());
    if n <= k {
        return vec![1.0; k];
    }
    let lags = newey_west_lags(n);
    let dispersion = residuals.iter().map(|r| r * r).sum::<f64>() / (n - k) as f64;
    // Influence of each reading on each parameter.
    let mut influence = q * back.transpose();
    for (mut row, residual) in influence.row_iter_mut().zip(residuals) {
        row.scale_mut(*residual);
    }
    // A sample of n readings shows the variance low by (n - k)/n.
    let small_sample = n as f64 / (n - k) as f64;
    (0..k)
        .map(|j| {
            let column = influence.column(j);
            let plain = back.row(j).norm_squared() * dispersion;
            let at = |lag: usize| column.rows(0, n - lag).dot(&column.rows(lag, n - lag));
            let weight = |lag: usize| 1.0 - lag as f64 / (lags + 1) as f64;
            let sum = at(0) + 2.0 * (1..=lags).map(|lag| weight(lag) * at(lag)).sum::<f64>();
            let ratio = sum * small_sample / plain;
            if ratio.is_finite() {
                ratio.max(1.0).sqrt()
            } else {
                1.0
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng, rngs::ChaCha8Rng};

    fn white(seed: u64, n: usize) -> Vec<f64> {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        (0..n).map(|_| rng.random::<f64>() - 0.5).collect()
    }

    // An autoregression with factor 0.6 has autocorrelation 0.6^k, and 1 + 2 * 0.6/0.4 = 4 readings
    // stand for one.
    #[test]
    fn an_autoregression_shows_its_factor_and_is_not_white() {
        let noise = white(1, 20_000);
        let mut values = vec![0.0; noise.len()];
        for i in 1..noise.len() {
            values[i] = 0.6 * values[i - 1] + noise[i];
        }
        let correlation = autocorrelation(&values, 2);
        assert!((correlation[1] - 0.6).abs() < 0.02 && (correlation[2] - 0.36).abs() < 0.03);
        assert!((repetition(&values) - 4.0).abs() < 0.6);
        assert!(whiteness(&values).unwrap() < 1e-6);
    }

    // If the test is right, one white series in twenty falls below 0.05: of 200, 10 +- 3.1 (1 sd).
    #[test]
    fn white_series_fail_the_whiteness_test_as_often_as_they_should() {
        let low = (0..200)
            .filter(|seed| whiteness(&white(*seed, 400)).unwrap() < 0.05)
            .count();
        assert!((2..=20).contains(&low), "{low} of 200");
    }
}
