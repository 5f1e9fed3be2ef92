//! Inverse prediction: how sure the load behind one new reading is (the single-use calibration interval).
//!
//! A reading r0 is one draw about the curve, so the loads it may have come from are those x whose
//! prediction interval holds it: r0 = p(x) ± t sqrt(s² + u_p(x)²), solved for x on either side
//! (NIST/SEMATECH e-Handbook, 4.5.2.1). A mean of many readings is surer; what all loads share
//! (weights, gravity) is not in it and is stated apart.

use serde::{Deserialize, Serialize};

use crate::numeric::polynomial::Fit;
use crate::quantity::measured::coverage_factor;
use crate::quantity::{Measured, Unit};

/// Steps of the solution; each gains several digits, for the interval hardly changes along it.
const STEPS: usize = 40;

/// A reading, and the load it means.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct InversePrediction {
    /// The reading, raw.
    pub raw: f64,
    /// The load behind one such reading, without what all loads share.
    pub load: Measured,
    /// Standard uncertainty that all loads share.
    pub shared_u: f64,
}

/// The load behind a reading that the curve gives at `load`; `shared_relative_u` is what all loads share.
/// `None` without degrees of freedom, or where the curve is too flat for an end.
#[must_use]
pub(crate) fn predict(
    fit: &Fit,
    load: f64,
    shared_relative_u: f64,
    unit: Unit,
) -> Option<InversePrediction> {
    let sd = fit.residual_sd()?;
    let factor = coverage_factor(fit.degrees_of_freedom as f64);
    let reading = fit.at(load);
    let spread = |x: f64| sd.hypot(fit.u_at(x));
    let end = |sign: f64| {
        let mut x = load;
        for _ in 0..STEPS {
            x += (reading + sign * factor * spread(x) - fit.at(x)) / fit.slope(x);
        }
        let missed = (reading + sign * factor * spread(x) - fit.at(x)).abs();
        let same_side = fit.slope(x) * fit.slope(load) > 0.0;
        (x.is_finite() && same_side && missed <= 1e-6 * spread(x).max(f64::MIN_POSITIVE))
            .then_some(x)
    };
    let ends = if sd > 0.0 {
        [end(-1.0)?, end(1.0)?]
    } else {
        [load, load]
    };
    let u = spread(load) / fit.slope(load).abs();
    let (low, high) = (ends[0].min(ends[1]), ends[0].max(ends[1]));
    Some(InversePrediction {
        raw: reading,
        load: Measured::interval(load, u, low, high, unit),
        shared_u: (load * shared_relative_u).abs(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calibration::Scale;
    use crate::calibration::{Curve, Points, degree};
    use approx::assert_relative_eq;

    // NIST/SEMATECH e-Handbook 4.5.2.1 on the load cell of 4.6.1: a deflection of 1.239722 is a load of
    // 1 705 106, interval 1 704 513 to 1 705 698; recomputed 1 705 105.569, 1 704 513.37, 1 705 697.76.
    #[test]
    fn the_handbook_s_calibration_interval_is_reproduced() {
        let text = include_str!("../../tests/data/nist/pontius.csv");
        let numbers = |line: &str| -> Vec<f64> {
            line.split(',')
                .filter_map(|word| word.parse().ok())
                .collect()
        };
        let rows: Vec<_> = text.lines().map(numbers).filter(|r| r.len() == 3).collect();
        let points = Points::exact(
            rows.iter().map(|row| row[2]).collect(),
            rows.iter().map(|row| row[1]).collect(),
        );
        let fit = degree::choose(&points).unwrap().fit;
        let curve = Curve::from_fit(&fit, &points, Scale::default()).unwrap();
        let load = curve.load(1.239722).unwrap();
        let found = predict(&fit, load, 0.0, Unit::Newton).unwrap().load;
        assert_relative_eq!(found.value, 1_705_105.569, epsilon = 0.0006);
        assert_relative_eq!(found.low, 1_704_513.37, epsilon = 0.006);
        assert_relative_eq!(found.high, 1_705_697.76, epsilon = 0.006);
        assert_relative_eq!(found.u, 292.270, epsilon = 0.0006);
    }

    // raw = 100 + 10 x - x^2/2 turns at x = 10.
    #[test]
    fn near_a_turn_there_is_no_interval_and_without_scatter_it_is_a_point() {
        let load: Vec<f64> = (0..=9).map(f64::from).collect();
        let raw = |scatter: f64| -> Vec<f64> {
            let rows = load.iter().enumerate();
            rows.map(|(row, x)| {
                100.0 + 10.0 * x - 0.5 * x * x + scatter * (-1_f64).powi(row as i32)
            })
            .collect()
        };
        let fit = |scatter| crate::numeric::polynomial::fit(&load, &raw(scatter), 2).unwrap();
        let at = |fit: &Fit, load| Some(predict(fit, load, 0.0, Unit::Newton)?.load);
        assert!(at(&fit(0.5), 4.0).is_some());
        assert_eq!(at(&fit(0.5), 9.5), None);
        let mut exact = fit(0.0);
        exact.residual_sum = 0.0;
        exact.covariance = vec![vec![0.0; 3]; 3];
        let found = at(&exact, 4.0).unwrap();
        assert_eq!((found.low, found.high, found.u), (4.0, 4.0, 0.0));
        let flat = at(&fit(0.5), 4.0).unwrap();
        assert!(flat.low < 4.0 && 4.0 < flat.high);
    }
}
