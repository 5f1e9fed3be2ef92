//! How small a load can still be trusted: the lower limit factor of ASTM E74.
//!
//! The factor is 2.4 standard deviations of the readings about the curve (n - m - 1 degrees of
//! freedom, m the degree), turned into load by the mean ratio of load to deflection of the
//! calibration, and never less than the resolution (factor and turning: a force laboratory's page
//! quoting E74-18; degrees of freedom: from memory). A load is usable in class A from 400 factors
//! (0.25 %) and in class AA from 2000 (0.05 %). All of it is about steady loads: E74 says nothing of
//! a force that changes within milliseconds.

use serde::{Deserialize, Serialize};

use super::points::Points;
use crate::numeric::polynomial::Fit;

/// Standard deviations in one factor.
const STANDARD_DEVIATIONS: f64 = 2.4;
/// Factors from which a load is usable in class A.
pub(super) const CLASS_A: f64 = 400.0;
/// Factors from which a load is usable in class AA.
const CLASS_AA: f64 = 2000.0;
/// Where the rule comes from.
const SOURCE: &str = "ASTM E74-18, as quoted by a force laboratory";
/// The rule in words.
const RULE: &str = "2.4 standard deviations as load, at least the resolution; class A from 400 \
                        factors (0.25 %), AA from 2000 (0.05 %); steady loads only";

/// Share of the curve's rise within which its value at no load counts as zero.
const ZEROED_SHARE: f64 = 0.01;

/// The lower limit factor of a force and what follows from it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct LowerLimit {
    /// Mean ratio of force to deflection, N for each raw step.
    pub mean_ratio_n: f64,
    /// Lower limit factor, N.
    pub lower_limit_factor_n: f64,
    /// Whether the resolution decides it, not the scatter.
    pub by_resolution: bool,
    /// Lowest force usable in class A, N.
    pub lowest_force_class_a_n: f64,
    /// Lowest force usable in class AA, N.
    pub lowest_force_class_aa_n: f64,
    /// The rule.
    pub rule: String,
    /// Where it comes from.
    pub source: String,
}

/// The lower limit factor of a fit; `None` without degrees of freedom or without a load above zero.
#[must_use]
pub(crate) fn lower_limit(fit: &Fit, points: &Points) -> Option<LowerLimit> {
    let sd = fit.residual_sd()?;
    let zero = zero_reading(fit, points);
    let loaded = points.load.iter().zip(&points.raw);
    let ratios: Vec<f64> = loaded
        .map(|(load, raw)| load / (raw - zero))
        .filter(|ratio| ratio.is_finite() && *ratio != 0.0)
        .collect();
    if ratios.is_empty() {
        return None;
    }
    let mean_ratio = ratios.iter().sum::<f64>() / ratios.len() as f64;
    let by_scatter = STANDARD_DEVIATIONS * sd * mean_ratio.abs();
    let step = resolution(&points.raw).unwrap_or(0.0) * mean_ratio.abs();
    let factor = by_scatter.max(step);
    Some(LowerLimit {
        mean_ratio_n: mean_ratio,
        lower_limit_factor_n: factor,
        by_resolution: step > by_scatter,
        lowest_force_class_a_n: CLASS_A * factor,
        lowest_force_class_aa_n: CLASS_AA * factor,
        rule: RULE.to_owned(),
        source: SOURCE.to_owned(),
    })
}

/// The reading without load: the mean of those that were taken without load; else zero when the
/// readings are deflections already (the curve passes near zero); else the curve's value there.
#[must_use]
fn zero_reading(fit: &Fit, points: &Points) -> f64 {
    let unloaded: Vec<f64> = points
        .load
        .iter()
        .zip(&points.raw)
        .filter_map(|(load, raw)| (*load == 0.0).then_some(*raw))
        .collect();
    if !unloaded.is_empty() {
        return unloaded.iter().sum::<f64>() / unloaded.len() as f64;
    }
    let [low, high] = points.range();
    let at_none = fit.at(0.0);
    let rise = (fit.at(high) - fit.at(low)).abs();
    if at_none.abs() <= ZEROED_SHARE * rise {
        0.0
    } else {
        at_none
    }
}

/// Most decimals of a reading that are looked at.
const MOST_DECIMALS: i32 = 9;
/// A reading is a whole number of steps when it is this near to one, in steps.
const WHOLE: f64 = 1e-3;

/// The step that all readings are whole multiples of, apart from a common offset; `None` when there
/// is none to see, as with means of many readings.
#[must_use]
pub(crate) fn resolution(raw: &[f64]) -> Option<f64> {
    let first = raw.first()?;
    'decimals: for decimals in 0..=MOST_DECIMALS {
        let size = 10_f64.powi(decimals);
        let mut common = 0_u64;
        for reading in raw {
            let steps = (reading * size).round();
            // Beyond 2^53 every number is whole.
            if steps.abs() > 9e15 || (reading * size - steps).abs() > WHOLE {
                continue 'decimals;
            }
            let apart = (steps - (first * size).round()).abs();
            common = common_divisor(common, apart as u64);
        }
        return (common > 0).then(|| common as f64 / size);
    }
    None
}

fn common_divisor(a: u64, b: u64) -> u64 {
    if b == 0 { a } else { common_divisor(b, a % b) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::polynomial;
    use approx::assert_relative_eq;

    #[test]
    fn the_resolution_is_the_step_that_all_readings_share() {
        assert_eq!(resolution(&[8123.0, 9001.0, 12.0]), Some(1.0));
        assert_eq!(resolution(&[8000.0, 8016.0, 8064.0, 9600.0]), Some(16.0));
        assert_relative_eq!(
            resolution(&[0.11019, 0.21956, 0.32949]).unwrap(),
            1e-5,
            max_relative = 1e-12
        );
        assert_eq!(resolution(&[1.0 / 3.0, 2.0 / 7.0]), None);
        assert_eq!(resolution(&[5.0, 5.0]), None);
        assert_eq!(resolution(&[1e300, -1e300]), None);
    }

    // By hand: no scatter at all, so the factor is one count, 0.5 N.
    #[test]
    fn the_factor_is_never_below_the_resolution() {
        let load: Vec<f64> = (0..6).map(f64::from).collect();
        let raw: Vec<f64> = load.iter().map(|load| 100.0 + 2.0 * load).collect();
        let points = Points::exact(raw, load);
        let fit = polynomial::fit(&points.load, &points.raw, 1).unwrap();
        let limit = lower_limit(&fit, &points).unwrap();
        // All readings are even: the step that shows is 2 counts, 1 N.
        assert_relative_eq!(limit.lower_limit_factor_n, 1.0, max_relative = 1e-9);
        assert!(limit.by_resolution);
        assert_relative_eq!(limit.mean_ratio_n, 0.5, max_relative = 1e-12);
    }
}
