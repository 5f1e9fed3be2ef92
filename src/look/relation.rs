//! Columns that a recorder, or a spreadsheet, computed from another: they are no second sensor.
//!
//! Two cells never agree to the last digit. A column that is another one times a factor plus a constant, as exactly as
//! it is written, was computed from it: scaled to newtons, turned, tared. One that is the sum of two others is their sum.

use crate::series::Series;

/// Readings that must agree, at least.
const FEWEST: usize = 20;

/// Whether one column is another times a factor plus a constant; gives the factor and the constant.
#[must_use]
pub(super) fn computed(from: &Series, to: &Series) -> Option<(f64, f64)> {
    if from.time_s() != to.time_s() || from.len() < FEWEST {
        return None;
    }
    let (x, y) = (from.value(), to.value());
    let at_least = (0..x.len()).min_by(|a, b| x[*a].total_cmp(&x[*b]))?;
    let at_most = (0..x.len()).max_by(|a, b| x[*a].total_cmp(&x[*b]))?;
    let factor = (y[at_most] - y[at_least]) / (x[at_most] - x[at_least]);
    if !factor.is_finite() || factor == 0.0 {
        return None;
    }
    let constant = y[at_least] - factor * x[at_least];
    // Both are written with so many digits: half of the last one of either may be lost.
    let range = (y[at_most] - y[at_least]).abs();
    let lost = 1.01 * (last_digit(y) + factor.abs() * last_digit(x)).min(1e-3 * range);
    let agrees = |(x, y): (&f64, &f64)| (y - factor * x - constant).abs() <= lost;
    x.iter().zip(y).all(agrees).then_some((factor, constant))
}

/// Whether one column is the sum of two others, as exactly as they are written.
#[must_use]
pub(super) fn sum(parts: [&Series; 2], to: &Series) -> bool {
    let [a, b] = parts;
    if a.time_s() != to.time_s() || b.time_s() != to.time_s() || to.len() < FEWEST {
        return false;
    }
    let (low, high) = to
        .value()
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
            (low.min(*value), high.max(*value))
        });
    let within = |lost: f64| {
        let pairs = a.value().iter().zip(b.value());
        let mut all = pairs.zip(to.value());
        all.all(|((a, b), sum)| (a + b - sum).abs() <= lost)
    };
    // A column that hardly moves is nobody's sum; most pairs are far off from the first rows on.
    let most = (high - low) / 20.0;
    let lost = || 0.51 * (last_digit(a.value()) + last_digit(b.value()) + last_digit(to.value()));
    within(most) && Some(lost()).is_some_and(|lost| lost < most && within(lost))
}

/// The smallest step between neighbouring readings: the last digit they are written with, or more.
fn last_digit(value: &[f64]) -> f64 {
    let steps = value.windows(2).map(|pair| (pair[1] - pair[0]).abs());
    steps
        .filter(|step| *step > 0.0)
        .fold(f64::INFINITY, f64::min)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_scaled_and_rounded_copy_is_found_and_a_second_cell_is_none() {
        let time: Vec<f64> = (0..100).map(f64::from).collect();
        let first: Vec<f64> = time
            .iter()
            .map(|t| (1000.0 * (0.1 * t).sin()).round())
            .collect();
        let grams: Vec<f64> = first
            .iter()
            .map(|v| ((0.0098 * v - 3.0) * 100.0).round() / 100.0)
            .collect();
        let second: Vec<f64> = first
            .iter()
            .enumerate()
            .map(|(at, v)| v + (at * 7919 % 13) as f64)
            .collect();
        let of = |value: &[f64]| Series::new(&time, value);
        let (factor, constant) = computed(&of(&first), &of(&grams)).unwrap();
        assert!((factor - 0.0098).abs() < 1e-4 && (constant + 3.0).abs() < 0.02);
        assert_eq!(computed(&of(&first), &of(&second)), None);
        assert_eq!(computed(&of(&vec![1.0; 100]), &of(&second)), None);
        let both: Vec<f64> = first.iter().zip(&second).map(|(a, b)| a + b).collect();
        assert!(sum([&of(&first), &of(&second)], &of(&both)));
        assert!(!sum([&of(&first), &of(&second)], &of(&first)));
    }
}
