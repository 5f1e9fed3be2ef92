//! The first rise of a column through half of its range.
//!
//! All that two rows tell is that the level was low in one and high in the next; the instant lies
//! between them with nothing to prefer, so its standard uncertainty is the step over the square
//! root of twelve (JCGM 100:2008, 4.3.7). The difference of two such instants has a trapezoidal
//! distribution (JCGM 101:2008, 6.4.4), from which its 95 % interval is taken.

use super::problem::EdgeProblem;
use crate::quantity::{Measured, Unit};
use crate::series::Series;
use crate::uncertainty::{Term, measured};

/// An instant between two rows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Rise {
    /// Time of the last low row, s.
    pub low_s: f64,
    /// Time of the first high row, s.
    pub high_s: f64,
}

impl Rise {
    /// Middle between the two rows, s.
    #[must_use]
    pub(crate) fn at_s(&self) -> f64 {
        0.5 * (self.low_s + self.high_s)
    }

    /// Half the distance of the two rows, s.
    #[must_use]
    pub(crate) fn half_width_s(&self) -> f64 {
        0.5 * (self.high_s - self.low_s)
    }
}

/// More rises than this, with most readings near the middle of the range, are noise.
const RISES_MOST: usize = 20;

/// Share of the readings in the middle half of the range above which a column has no two levels.
const MIDDLE_SHARE: f64 = 0.6;

/// The first rise of a series through half of its range.
///
/// # Errors
/// The column never changes, only falls, or is noise without two levels.
pub(crate) fn first_rise(series: &Series) -> Result<Rise, EdgeProblem> {
    let least = series.value().iter().copied().fold(f64::INFINITY, f64::min);
    let most = series
        .value()
        .iter()
        .copied()
        .fold(f64::NEG_INFINITY, f64::max);
    if series.is_empty() || least >= most {
        return Err(EdgeProblem::Flat {
            level: series.value().first().copied(),
        });
    }
    let half = least + 0.5 * (most - least);
    let values = series.value();
    let rises: Vec<usize> = (1..values.len())
        .filter(|at| values[at - 1] < half && values[*at] >= half)
        .collect();
    let quarter = 0.25 * (most - least);
    let middle = values
        .iter()
        .filter(|value| (**value - half).abs() < quarter)
        .count();
    if rises.len() > RISES_MOST && middle as f64 > MIDDLE_SHARE * values.len() as f64 {
        return Err(EdgeProblem::Noise { rises: rises.len() });
    }
    let first = rises.first().ok_or(EdgeProblem::OnlyFalls)?;
    Ok(Rise {
        low_s: series.time_s()[first - 1],
        high_s: series.time_s()[*first],
    })
}

/// A value known as the difference of two that are uniform within half widths.
#[must_use]
pub(crate) fn difference(value: f64, half_width_a: f64, half_width_b: f64, unit: Unit) -> Measured {
    let instant = |half_width: f64| Term::random("instant", half_width / 3.0_f64.sqrt()).limits();
    measured(value, &[instant(half_width_a), instant(half_width_b)], unit)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rise_of(values: &[f64]) -> Result<Rise, EdgeProblem> {
        let time_s: Vec<f64> = (0..values.len()).map(|i| i as f64 * 0.01).collect();
        first_rise(&Series::new(&time_s, values))
    }

    #[test]
    fn the_instant_lies_between_the_last_low_and_the_first_high_row() {
        let rise = rise_of(&[0.0, 0.1, 0.0, 5.0, 0.0, 5.0]).unwrap();
        assert_eq!((rise.low_s, rise.high_s), (0.02, 0.03));
        approx::assert_relative_eq!(rise.at_s(), 0.025, epsilon = 1e-15);
        // High from the start: the fall is no rise, the next rise is.
        assert_eq!(rise_of(&[5.0, 0.0, 5.0]).unwrap().low_s, 0.01);
    }

    #[test]
    fn columns_without_an_edge_are_refused_with_the_reason() {
        assert_eq!(
            rise_of(&[3.0, 3.0]),
            Err(EdgeProblem::Flat { level: Some(3.0) })
        );
        assert_eq!(rise_of(&[]), Err(EdgeProblem::Flat { level: None }));
        assert_eq!(rise_of(&[5.0, 5.0, 0.0]), Err(EdgeProblem::OnlyFalls));
        // The sum of two dice lies in the middle half of its range 24 times in 36.
        let dice: Vec<f64> = (0..720)
            .map(|i| f64::from((i * 7) % 36))
            .map(|throw: f64| (throw / 6.0).floor() + throw % 6.0)
            .collect();
        assert!(matches!(rise_of(&dice), Err(EdgeProblem::Noise { .. })));
    }

    // Two equal half widths a: triangle of half width 2a, u = a sqrt(2/3), 95 % at 2a(1 - sqrt 0.05).
    // One instant alone: rectangle, 95 % at 0.95 a.
    #[test]
    fn the_interval_of_a_difference_is_that_of_triangle_and_rectangle() {
        let equal = difference(1.0, 0.5, 0.5, Unit::Second);
        approx::assert_relative_eq!(equal.u, 0.5 * (2.0_f64 / 3.0).sqrt(), max_relative = 1e-14);
        approx::assert_relative_eq!(equal.high - 1.0, 1.0 - 0.05_f64.sqrt(), max_relative = 1e-5);
        let alone = difference(1.0, 0.5, 0.0, Unit::Second);
        approx::assert_relative_eq!(alone.high - 1.0, 0.475, max_relative = 1e-5);
    }
}
