//! Value and slope of a noisy series at any time.
//!
//! Local linear regression (Fan & Gijbels, Local Polynomial Modelling and Its Applications, 1996,
//! section 2.3) with the kernel (1 - (x/3)^2)^4, which looks like a bell 0.9 widths wide, costs no
//! exponential, and goes to zero smoothly, so that a reading makes no jump as it comes in. Unlike interpolation between two readings, the noise left
//! in the value does not depend on where between the readings one asks, so that matching two series
//! is not drawn to half steps; and value and slope at one time have uncorrelated noise. Limit: the
//! kernel must be wider than a step.

use crate::series::Series;

/// Half of the kernel's extent, in widths.
const REACH_WIDTHS: f64 = 3.0;

/// Value and slope of a series at a time; `None` near an end, or in a gap, where fewer than two
/// readings lie on either side within the kernel.
#[must_use]
pub(crate) fn smooth_at(series: &Series, width_s: f64, time_s: f64) -> Option<(f64, f64)> {
    let reach_s = REACH_WIDTHS * width_s;
    let (start_s, end_s) = series.span_s()?;
    // Both sides whole: a kernel with one side missing would smooth the two series differently.
    if time_s - reach_s < start_s || time_s + reach_s > end_s {
        return None;
    }
    let from = series.index_at(time_s - reach_s);
    let to = series.index_at(time_s + reach_s);
    let middle = series.index_at(time_s);
    if middle - from < 2 || to - middle < 2 {
        return None;
    }
    let (mut s0, mut s1, mut s2, mut t0, mut t1) = (0.0, 0.0, 0.0, 0.0, 0.0);
    let (times, values) = (series.time_s(), series.value());
    for at in from..to {
        let x = (times[at] - time_s) / width_s;
        let y = x / REACH_WIDTHS;
        let weight = (1.0 - y * y).powi(4);
        s0 += weight;
        s1 += weight * x;
        s2 += weight * x * x;
        t0 += weight * values[at];
        t1 += weight * x * values[at];
    }
    let determinant = s0 * s2 - s1 * s1;
    let found = determinant > f64::EPSILON * s0 * s2;
    found.then(|| {
        let value = (s2 * t0 - s1 * t1) / determinant;
        let slope = (s0 * t1 - s1 * t0) / determinant / width_s;
        (value, slope)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_straight_line_is_given_back_exactly_at_uneven_times() {
        let time_s: Vec<f64> = (0..40)
            .map(|i| f64::from(i) + 0.3 * f64::from(i % 3))
            .collect();
        let value: Vec<f64> = time_s.iter().map(|t| 2.0 + 0.5 * t).collect();
        let series = Series::new(&time_s, &value);
        let (value, slope) = smooth_at(&series, 1.5, 17.2).unwrap();
        approx::assert_relative_eq!(value, 2.0 + 0.5 * 17.2, max_relative = 1e-12);
        approx::assert_relative_eq!(slope, 0.5, max_relative = 1e-12);
        assert_eq!(smooth_at(&series, 1.5, 2.0), None);
    }
}
