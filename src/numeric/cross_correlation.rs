//! Do residuals follow an input? The test of a model's structure in a loop that may be closed.
//!
//! The covariances of the residuals with the input at several earlier times are weighed together
//! (Ljung, System Identification, 2nd ed., 16.6): r = sum of e(t) phi(t) over n, its covariance P/n
//! with the residuals' own correlation and the input's in it, and n r' P^-1 r against chi-squared.
//! Only earlier input counts: in a closed loop later input follows the residuals, and should.
//!
//! Limits: readings are taken as evenly spaced; parameters fitted to the same residuals make them
//! freer of the input than chance would, so the test errs on the side of passing.

use nalgebra::{DMatrix, DVector};
use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::autocorrelation::{autocorrelation, newey_west_lags};

/// Directions in which the input varies less than this share of its strongest say nothing.
const LEAST_SHARE: f64 = 1e-6;

/// Probability of residuals that follow the input at least this much by chance; `earlier` has one row
/// for each residual, one column for each earlier time. `None` when there is too little to tell.
#[must_use]
pub(crate) fn follows(residuals: &[f64], earlier: &DMatrix<f64>) -> Option<f64> {
    let (n, columns) = (earlier.nrows(), earlier.ncols());
    if n != residuals.len() || n < 10 * columns {
        return None;
    }
    let mut input = earlier.clone();
    for mut column in input.column_iter_mut() {
        let mean = column.mean();
        column.add_scalar_mut(-mean);
    }
    let size = n as f64;
    let e = DVector::from_column_slice(residuals);
    let r = input.transpose() * &e / size;
    let lags = newey_west_lags(n);
    let own = autocorrelation(residuals, lags);
    let variance = e.norm_squared() / size;
    let mut p = input.transpose() * &input * (variance / size);
    for (lag, own) in own.iter().enumerate().skip(1) {
        let weight = 1.0 - lag as f64 / (lags + 1) as f64;
        let apart = input.rows(0, n - lag).transpose() * input.rows(lag, n - lag);
        let both = (&apart + apart.transpose()) * (weight * own * variance / size);
        p += both;
    }
    let eigen = p.symmetric_eigen();
    let strongest = eigen.eigenvalues.max();
    let along = eigen.eigenvectors.transpose() * r;
    let (mut sum, mut freedom) = (0.0, 0.0);
    for (value, part) in eigen.eigenvalues.iter().zip(along.iter()) {
        if *value > LEAST_SHARE * strongest && *value > 0.0 {
            sum += size * part * part / value;
            freedom += 1.0;
        }
    }
    let law = ChiSquared::new(freedom).ok()?;
    let p = 1.0 - law.cdf(sum);
    p.is_finite().then(|| p.clamp(0.0, 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng, rngs::ChaCha8Rng};

    fn lagged(input: &[f64], lags: usize) -> DMatrix<f64> {
        DMatrix::from_fn(input.len(), lags, |row, lag| {
            row.checked_sub(lag + 1).map_or(0.0, |at| input[at])
        })
    }

    fn white(seed: u64, n: usize) -> Vec<f64> {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        (0..n).map(|_| rng.random::<f64>() - 0.5).collect()
    }

    // Free of the input, one in twenty falls below 0.05: of 200, 10 +- 3.1 (one sd); so too when the
    // residuals are an autoregression, whose plain covariance would be too small by four.
    #[test]
    fn residuals_free_of_the_input_pass_as_often_as_they_should() {
        for factor in [0.0, 0.6] {
            let failed = (0..200)
                .filter(|seed| {
                    let input = white(1000 + seed, 600);
                    let mut e = white(*seed, 600);
                    for i in 1..e.len() {
                        e[i] += factor * e[i - 1];
                    }
                    follows(&e, &lagged(&input, 8)).unwrap() < 0.05
                })
                .count();
            assert!((2..=22).contains(&failed), "{factor}: {failed} of 200");
        }
    }

    // A tenth of the input three steps back, in noise as large as the input: a correlation of 0.1 over
    // 2000 readings is 4.5 standard deviations.
    #[test]
    fn what_is_left_of_the_input_is_found() {
        let input = white(1, 2000);
        let mut e = white(2, 2000);
        for i in 3..e.len() {
            e[i] += 0.15 * input[i - 3];
        }
        assert!(follows(&e, &lagged(&input, 8)).unwrap() < 0.001);
        // The input of the future is no fault of the model.
        let ahead: Vec<f64> = input.iter().skip(5).chain(&[0.0; 5]).copied().collect();
        assert!(follows(&ahead, &lagged(&input, 3)).unwrap() > 0.001);
    }
}
