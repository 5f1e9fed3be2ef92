//! Scatter between firings split from what measuring adds: one-way random effects.
//!
//! The classical analysis of variance takes repeated readings in groups. A firing cannot
//! be repeated, but the uncertainty of each is known: [`known_within`] then finds the spread between
//! (tau) by the condition that the weighted sum of squares about the mean equals its expectation
//! k - 1 (Paule and Mandel, J. Res. NBS 87, 1982, 377; from memory). With equal uncertainties that is
//! tau2 = s2 - u2, and with group means in place of firings it is the classical component
//! (MSB - MSW)/n.
//!
//! Limits: tau of few firings is itself poorly known; what all firings share (weights, gravity)
//! does not scatter, so it must not be among the uncertainties that are given here.

use statrs::distribution::{ChiSquared, ContinuousCDF, Normal, StudentsT};

fn mean(values: &[f64], origin: f64) -> f64 {
    values.iter().map(|value| value - origin).sum::<f64>() / values.len() as f64
}

/// Scatter of firings whose uncertainties are known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Split {
    /// Weighted mean.
    pub mean: f64,
    /// Its standard uncertainty.
    pub mean_u: f64,
    /// Standard deviation between firings, measuring taken off.
    pub between_sd: f64,
    /// What measuring adds to one firing: root mean square of the uncertainties.
    pub measuring_sd: f64,
    /// Standard deviation of the values as they are.
    pub sample_sd: f64,
    /// Weighted sum of squares about the mean when nothing lies between (Cochran's Q).
    pub q: f64,
    /// Probability of a Q as large when nothing lies between.
    pub p: f64,
}

/// Halvings of the interval that holds tau2: down to the last digit.
const HALVINGS: usize = 200;

/// Splits; `None` with fewer than two values or an uncertainty that is not above zero.
#[must_use]
pub(crate) fn known_within(values: &[f64], u: &[f64]) -> Option<Split> {
    let count = values.len();
    let sound = values.iter().all(|v| v.is_finite()) && u.iter().all(|u| *u > 0.0 && u.is_finite());
    if count < 2 || u.len() != count || !sound {
        return None;
    }
    let freedom = (count - 1) as f64;
    let origin = *values.first()?;
    let weighted = |tau2: f64| {
        let weights: Vec<f64> = u.iter().map(|u| 1.0 / (u * u + tau2)).collect();
        let sum: f64 = weights.iter().sum();
        let pairs = || values.iter().zip(&weights);
        let mean = pairs().map(|(v, w)| w * (v - origin)).sum::<f64>() / sum;
        let q: f64 = pairs().map(|(v, w)| w * (v - origin - mean).powi(2)).sum();
        (mean, sum, q)
    };
    let plain_mean = mean(values, origin);
    let scatter: f64 = values
        .iter()
        .map(|v| (v - origin - plain_mean).powi(2))
        .sum();
    let (_, _, q) = weighted(0.0);
    let (mut low, mut high) = (0.0, scatter.max(f64::MIN_POSITIVE));
    if q <= freedom {
        high = 0.0;
    }
    for _ in 0..HALVINGS {
        let middle = 0.5 * (low + high);
        if weighted(middle).2 > freedom {
            low = middle;
        } else {
            high = middle;
        }
    }
    let (mean, weight, _) = weighted(high);
    Some(Split {
        mean: origin + mean,
        mean_u: weight.sqrt().recip(),
        between_sd: high.sqrt(),
        measuring_sd: (u.iter().map(|u| u * u).sum::<f64>() / count as f64).sqrt(),
        sample_sd: (scatter / freedom).sqrt(),
        q,
        p: ChiSquared::new(freedom).map_or(f64::NAN, |law| law.sf(q)),
    })
}

/// Largest deviation from the mean in sample standard deviations, and where; with the two-sided 5 %
/// limit of Grubbs' test (ASTM E178; ISO 5725-2). `None` with fewer than three values or no spread.
#[must_use]
pub(crate) fn grubbs(values: &[f64]) -> Option<(usize, f64, f64)> {
    let count = values.len() as f64;
    let origin = *values.first()?;
    let middle = mean(values, origin);
    let scatter: f64 = values.iter().map(|v| (v - origin - middle).powi(2)).sum();
    let sd = (scatter / (count - 1.0)).sqrt();
    if values.len() < 3 || sd.is_nan() || sd <= 0.0 {
        return None;
    }
    let (at, largest) = values
        .iter()
        .map(|value| (value - origin - middle).abs() / sd)
        .enumerate()
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    let t = StudentsT::new(0.0, 1.0, count - 2.0)
        .ok()?
        .inverse_cdf(1.0 - 0.05 / (2.0 * count));
    let limit = (count - 1.0) / count.sqrt() * (t * t / (count - 2.0 + t * t)).sqrt();
    Some((at, largest, limit))
}

/// Share of motors that a tolerance interval holds, and the confidence with which it is said.
const HELD: f64 = 0.90;
const CONFIDENCE: f64 = 0.95;

/// Half width of a two-sided normal tolerance interval in sample standard deviations (Howe's approximation, J. Am. Stat.
/// Assoc. 64, 1969, 610; NIST/SEMATECH e-Handbook 7.2.6.3).
#[must_use]
pub(crate) fn tolerance_factor(count: f64) -> Option<f64> {
    howe(count, HELD, CONFIDENCE)
}

fn howe(count: f64, held: f64, confidence: f64) -> Option<f64> {
    let freedom = count - 1.0;
    let z = Normal::standard().inverse_cdf(0.5 * (1.0 + held));
    let chi2 = ChiSquared::new(freedom).ok()?.inverse_cdf(1.0 - confidence);
    Some((freedom * (1.0 + 1.0 / count) * z * z / chi2).sqrt())
}

/// A straight line through values: slope, its standard uncertainty, and the probability of a slope
/// as steep by chance. `None` with fewer than three values or all at one place.
#[must_use]
pub(crate) fn slope(at: &[f64], values: &[f64]) -> Option<(f64, f64, f64)> {
    let line = crate::numeric::polynomial::fit(at, values, 1)?;
    let freedom = at.len().checked_sub(2).filter(|free| *free > 0)? as f64;
    let slope = line.slope(0.0);
    let middle = at.iter().sum::<f64>() / at.len() as f64;
    let spread: f64 = at.iter().map(|x| (x - middle).powi(2)).sum();
    let u = line.residual_sd()? / spread.sqrt();
    let t = (slope / u).abs();
    let law = StudentsT::new(0.0, 1.0, freedom).ok()?;
    (u > 0.0 && u.is_finite()).then(|| (slope, u, 2.0 * law.sf(t)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::{assert_abs_diff_eq, assert_relative_eq};

    fn instruments() -> Vec<Vec<f64>> {
        let table = include_str!("../../tests/data/nist/sirstv.csv");
        let mut groups = vec![Vec::new(); 5];
        for line in table.lines().filter(|line| !line.starts_with(['#', 'i'])) {
            let (group, value) = line.split_once(',').unwrap();
            let group: usize = group.parse().unwrap();
            groups[group - 1].push(value.parse().unwrap());
        }
        groups
    }

    // NIST StRD, SiRstv, certified values (the file's head says where they were read), seen as five means
    // with known uncertainty MSW / 5: the spread between is (MSB - MSW) / 5, and the certified F is Q over
    // its degrees of freedom.
    #[test]
    fn firings_with_known_uncertainty_split_as_repeated_readings_do() {
        let groups = instruments();
        assert_eq!(groups.iter().map(Vec::len).collect::<Vec<_>>(), [5; 5]);
        let means: Vec<f64> = groups.iter().map(|g| g.iter().sum::<f64>() / 5.0).collect();
        let (between, within): (f64, f64) = (1.278_656_54e-2, 1.083_182_8e-2);
        let u = vec![(within / 5.0).sqrt(); 5];
        let found = known_within(&means, &u).unwrap();
        let tau = ((between - within) / 5.0).sqrt();
        assert_relative_eq!(found.between_sd, tau, max_relative = 1e-7);
        assert_relative_eq!(found.q / 4.0, 1.180_462_374_402_55, max_relative = 1e-9);
    }

    #[test]
    fn no_spread_beyond_the_uncertainty_is_none() {
        let found = known_within(&[10.0, 10.1, 9.9], &[0.5, 0.5, 0.5]).unwrap();
        assert_abs_diff_eq!(found.between_sd, 0.0);
        assert_relative_eq!(found.sample_sd, 0.1, max_relative = 1e-9);
        assert_relative_eq!(found.mean_u, 0.5 / 3.0_f64.sqrt(), max_relative = 1e-9);
        assert_eq!(known_within(&[1.0], &[0.1]), None);
        assert_eq!(known_within(&[1.0, 2.0], &[0.1, 0.0]), None);
    }

    // ISO 5725-2, table of Grubbs' test, 5 % two-sided: 1.715 for 5, 2.290 for 10 (from memory). For 3
    // Student's t has one degree of freedom, whose quantile is a cotangent: cot(pi 0.05 / 6) = 38.188,
    // so the limit is 2 / sqrt 3 times 38.188 / sqrt(1 + 38.188^2) = 1.15430.
    #[test]
    fn the_limit_of_grubbs_test_is_the_tables() {
        for (count, limit) in [(3, 1.154_30), (5, 1.715), (10, 2.290)] {
            let values: Vec<f64> = (0..count).map(f64::from).collect();
            assert_abs_diff_eq!(grubbs(&values).unwrap().2, limit, epsilon = 5e-4);
        }
        let (at, largest, limit) = grubbs(&[10.0, 10.1, 9.9, 10.05, 13.0]).unwrap();
        assert!(at == 4 && largest > limit);
        assert_eq!(grubbs(&[1.0, 1.0, 1.0]), None);
    }

    // NIST/SEMATECH e-Handbook 7.2.6.3, from memory: 43 wafers, 90 % held with 99 % confidence, chi-squared 23.650 with
    // 42 degrees of freedom, so 2.217.
    #[test]
    fn the_factor_of_a_tolerance_interval_is_the_handbooks() {
        assert_abs_diff_eq!(howe(43.0, 0.90, 0.99).unwrap(), 2.217, epsilon = 1e-3);
    }

    // By hand: (0,1) (1,3) (2,4) (3,6) has slope 1.6, residuals -0.1 0.3 -0.3 0.1, so s = sqrt(0.1)
    // and the slope's uncertainty is s / sqrt 5 = 0.141421.
    #[test]
    fn a_drift_and_its_uncertainty() {
        let (slope, u, p) = slope(&[0.0, 1.0, 2.0, 3.0], &[1.0, 3.0, 4.0, 6.0]).unwrap();
        assert_relative_eq!(slope, 1.6, max_relative = 1e-9);
        assert_relative_eq!(u, 0.02_f64.sqrt(), max_relative = 1e-9);
        assert!(p < 0.01);
    }
}
