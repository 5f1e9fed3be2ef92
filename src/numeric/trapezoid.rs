//! Area under readings taken at uneven times, by the trapezoid rule on the true times.
//!
//! The rule is exact for straight lines between readings, its error on a smooth curve is
//! -(b - a) h^2 f''/12 (Davis & Rabinowitz, Methods of Numerical Integration, 2.1), and unlike
//! Simpson's it needs no even spacing and does not ring at a spike.

use crate::series::Series;

/// Area under a whole series.
#[must_use]
pub fn area(series: &Series) -> f64 {
    area_between(series, f64::NEG_INFINITY, f64::INFINITY)
}

/// Area between two times, the ends interpolated.
#[must_use]
pub(crate) fn area_between(series: &Series, from: f64, to: f64) -> f64 {
    // No reading beyond those next to the ends has a weight.
    let first = series.index_at(from).saturating_sub(1);
    let end = series.len().min(series.index_at(to) + 1).max(first);
    let (time_s, value) = (&series.time_s()[first..end], &series.value()[first..end]);
    let each = weights(time_s, from, to);
    each.iter()
        .zip(value)
        .fold(0.0, |sum, (weight, value)| sum + weight * value)
}

/// What bends between readings may have cost the area between two times: the error falls with the
/// square of the step, so a third of what leaving out every other reading changes is an estimate of it
/// (Richardson). Leaving out the even ones and the odd ones changes a bend the same way and noise
/// opposite ways, so the mean of both is taken.
#[must_use]
pub(crate) fn bends(series: &Series, from: f64, to: f64) -> f64 {
    let whole = area_between(series, from, to);
    let every_other = |first: usize| {
        let pick = |of: &[f64]| -> Vec<f64> { of.iter().skip(first).step_by(2).copied().collect() };
        let half = Series::new(&pick(series.time_s()), &pick(series.value()));
        (area_between(&half, from, to) - whole) / 3.0
    };
    (0.5 * (every_other(0) + every_other(1))).abs()
}

/// The weight of each reading in the area between two times: the area is the sum of weight times
/// value, so that any uncertainty of the readings can be carried into it linearly.
#[must_use]
pub(crate) fn weights(time: &[f64], from: f64, to: f64) -> Vec<f64> {
    let mut out = vec![0.0; time.len()];
    for (at, pair) in time.windows(2).enumerate() {
        let (t0, t1) = (pair[0], pair[1]);
        let (a, b) = (t0.max(from), t1.min(to));
        if b <= a {
            continue;
        }
        // Integral over [a, b] of the straight line through the two readings.
        let middle = (0.5 * (a + b) - t0) / (t1 - t0);
        out[at] += (b - a) * (1.0 - middle);
        out[at + 1] += (b - a) * middle;
    }
    out
}

/// Area from the first reading up to each reading.
#[must_use]
pub(crate) fn cumulated(series: &Series) -> Vec<f64> {
    let mut total = 0.0;
    let mut out = Vec::with_capacity(series.len());
    let (time, value) = (series.time_s(), series.value());
    for at in 0..series.len() {
        if at > 0 {
            total += 0.5 * (value[at] + value[at - 1]) * (time[at] - time[at - 1]);
        }
        out.push(total);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    // Error of the trapezoid rule on x^2 over 0..1 with h = 0.1 is exactly h^2/6.
    #[test]
    fn the_error_on_a_parabola_is_the_textbook_one() {
        let x: Vec<f64> = (0..=10).map(|i| f64::from(i) / 10.0).collect();
        let y: Vec<f64> = x.iter().map(|x| x * x).collect();
        assert_relative_eq!(
            area(&Series::new(&x, &y)),
            1.0 / 3.0 + 0.01 / 6.0,
            epsilon = 1e-14
        );
    }

    // On x^2 the estimate is the error itself, h^2/6, as far as both halves reach the ends.
    #[test]
    fn bends_are_told_by_leaving_readings_out() {
        let x: Vec<f64> = (0..=1000).map(|i| f64::from(i) / 1000.0).collect();
        let y: Vec<f64> = x.iter().map(|x| x * x).collect();
        let error = bends(&Series::new(&x, &y), 0.1, 0.9);
        assert_relative_eq!(error, 0.8 * 1e-6 / 6.0, max_relative = 0.01);
    }

    // Half sine by N intervals: ratio to the truth is (pi/2N) cot(pi/2N).
    #[test]
    fn a_half_sine_falls_short_by_the_closed_form() {
        let n = 20;
        let x: Vec<f64> = (0..=n).map(|i| f64::from(i) / f64::from(n)).collect();
        let y: Vec<f64> = x.iter().map(|x| (std::f64::consts::PI * x).sin()).collect();
        let truth = 2.0 / std::f64::consts::PI;
        assert_relative_eq!(
            area(&Series::new(&x, &y)) / truth,
            0.997942986,
            epsilon = 1e-9
        );
    }

    #[test]
    fn ends_between_readings_are_interpolated() {
        let ramp = Series::new(&[0.0, 1.0, 4.0], &[0.0, 1.0, 4.0]);
        assert_relative_eq!(
            area_between(&ramp, 0.5, 2.0),
            0.5 * (4.0 - 0.25),
            epsilon = 1e-14
        );
        assert_relative_eq!(area_between(&ramp, 5.0, 9.0), 0.0);
        assert_relative_eq!(cumulated(&ramp)[2], 8.0, epsilon = 1e-14);
    }
}
