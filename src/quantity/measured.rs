//! A result: value, standard uncertainty, and the interval that covers the truth 95 times in 100.
//!
//! Words and factors follow the GUM (JCGM 100:2008). An unknown result is `None` at the place that
//! holds it, never a zero.

use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, StudentsT};

use super::Unit;

/// Coverage probability of every interval the program states.
pub const COVERAGE: f64 = 0.95;

/// Coverage factor of a normal distribution for [`COVERAGE`].
pub const NORMAL_FACTOR: f64 = 1.959_963_984_540_054;

/// A value with its uncertainty, as it appears in every results file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Measured {
    /// Best estimate, in `unit`.
    pub value: f64,
    /// Standard uncertainty, in `unit`.
    pub u: f64,
    /// Lower end of the 95 % interval.
    pub low: f64,
    /// Upper end of the 95 % interval.
    pub high: f64,
    /// Unit of all four numbers.
    pub unit: Unit,
}

impl Measured {
    /// From a value and a standard uncertainty that rests on many degrees of freedom.
    #[must_use]
    pub fn normal(value: f64, u: f64, unit: Unit) -> Self {
        Self::with_factor(value, u, NORMAL_FACTOR, unit)
    }

    /// From a value and a standard uncertainty with few degrees of freedom (Student's t;
    /// JCGM 100:2008, annex G).
    #[must_use]
    pub fn student(value: f64, u: f64, degrees_of_freedom: f64, unit: Unit) -> Self {
        Self::with_factor(value, u, coverage_factor(degrees_of_freedom), unit)
    }

    /// From an interval that need not be symmetric, such as a profile-likelihood interval.
    #[must_use]
    pub fn interval(value: f64, u: f64, low: f64, high: f64, unit: Unit) -> Self {
        Self {
            value,
            u,
            low,
            high,
            unit,
        }
    }

    fn with_factor(value: f64, u: f64, factor: f64, unit: Unit) -> Self {
        Self::interval(value, u, value - factor * u, value + factor * u, unit)
    }

    /// The same quantity times an exact factor above zero, in another unit.
    #[must_use]
    pub fn times(&self, factor: f64, unit: Unit) -> Self {
        Self::interval(
            self.value * factor,
            self.u * factor,
            self.low * factor,
            self.high * factor,
            unit,
        )
    }

    /// The same value where other states of knowledge are the right ones, each with a probability: the interval is that of all
    /// laws mixed, whose ends need not lie alike on both sides.
    #[must_use]
    pub fn mixed_with(&self, others: &[(f64, Self)]) -> Self {
        let own = 1.0 - others.iter().map(|one| one.0).sum::<f64>();
        let parts = others.iter().map(|(probability, one)| (*probability, one));
        let laws: Vec<(f64, Law<'_>)> = parts
            .chain([(own, self)])
            .map(|(probability, one)| (probability, Law::of(one)))
            .collect();
        let below = |limit: f64| -> f64 {
            let each = laws
                .iter()
                .map(|(probability, law)| probability * law.below(limit));
            each.sum()
        };
        let all = || others.iter().map(|(_, one)| one).chain([self]);
        // No end of a mixture lies far beyond that of every part.
        let width = all().map(|one| one.high - one.low).fold(0.0, f64::max);
        let least = all().map(|one| one.low).fold(f64::INFINITY, f64::min) - 5.0 * width;
        let most = all().map(|one| one.high).fold(f64::NEG_INFINITY, f64::max) + 5.0 * width;
        let end = |share: f64| {
            let (mut low, mut high) = (least, most);
            for _ in 0..HALVINGS {
                let middle = 0.5 * (low + high);
                if below(middle) < share {
                    low = middle;
                } else {
                    high = middle;
                }
            }
            0.5 * (low + high)
        };
        let tail = 0.5 * (1.0 - COVERAGE);
        let (low, high) = (end(tail).min(self.value), end(1.0 - tail).max(self.value));
        let u = 0.5 * (high - low) / NORMAL_FACTOR;
        Self::interval(self.value, u, low, high, self.unit)
    }

    /// Relative standard uncertainty.
    #[must_use]
    pub fn relative(&self) -> f64 {
        self.u / self.value.abs()
    }

    /// Whether the 95 % interval holds a value.
    #[must_use]
    pub fn covers(&self, truth: f64) -> bool {
        self.low <= truth && truth <= self.high
    }

    /// Probability that the quantity lies at or below a limit (JCGM 106:2012, 7.2), for the state of knowledge that the
    /// interval shows: 97.5 % at its upper end and 2.5 % at its lower one. An interval that is wider than a normal one,
    /// alike on both sides, is Student's; of any other each side is a normal one of its own width.
    #[must_use]
    pub fn probability_below(&self, limit: f64) -> f64 {
        self.probabilities()(limit)
    }

    /// The same of many limits: what the interval shows of its law is found once.
    pub(crate) fn probabilities(&self) -> impl Fn(f64) -> f64 {
        let law = Law::of(self);
        move |limit| law.below(limit)
    }
}

/// The law that an interval shows, its degrees of freedom found once.
struct Law<'a> {
    of: &'a Measured,
    student: Option<StudentsT>,
}

impl<'a> Law<'a> {
    fn of(of: &'a Measured) -> Self {
        let (below, above) = (of.value - of.low, of.high - of.value);
        let alike = (above - below).abs() <= ALIKE * below.min(above);
        let freedom = (alike && of.u > 0.0)
            .then(|| degrees_of_freedom(below / of.u))
            .flatten();
        Self {
            of,
            student: freedom.and_then(|freedom| StudentsT::new(0.0, 1.0, freedom).ok()),
        }
    }

    fn below(&self, limit: f64) -> f64 {
        let of = self.of;
        let off = limit - of.value;
        let half = if off < 0.0 {
            of.value - of.low
        } else {
            of.high - of.value
        };
        if of.u <= 0.0 || half <= 0.0 {
            return if off >= 0.0 { 1.0 } else { 0.0 };
        }
        match &self.student {
            Some(law) => law.cdf(off / of.u),
            None => normal_below(NORMAL_FACTOR * off / half),
        }
    }
}

/// Sides of an interval that differ by less than this share of it are alike.
const ALIKE: f64 = 1e-6;

/// Halvings of the logarithm of a number of degrees of freedom.
const HALVINGS: usize = 60;

/// The number of degrees of freedom that a two-sided 95 % coverage factor belongs to; `None` for one that is normal, or
/// that no number from one on has.
fn degrees_of_freedom(factor: f64) -> Option<f64> {
    let (mut few, mut many) = (1.0_f64, MANY_DEGREES_OF_FREEDOM);
    if factor > coverage_factor(few) * (1.0 + ALIKE) || factor <= coverage_factor(0.5 * many) {
        return None;
    }
    for _ in 0..HALVINGS {
        let middle = (few * many).sqrt();
        if coverage_factor(middle) > factor {
            few = middle;
        } else {
            many = middle;
        }
    }
    Some(few)
}

/// Probability that a standard normal variable lies below `z`.
#[must_use]
pub fn normal_below(z: f64) -> f64 {
    0.5 * statrs::function::erf::erfc(-z / std::f64::consts::SQRT_2)
}

/// From here on Student's t and the normal distribution agree to five digits at 95 %, and the
/// library's quantile stops converging.
const MANY_DEGREES_OF_FREEDOM: f64 = 1e5;

/// Two-sided 95 % coverage factor for a number of degrees of freedom.
#[must_use]
pub fn coverage_factor(degrees_of_freedom: f64) -> f64 {
    if degrees_of_freedom >= MANY_DEGREES_OF_FREEDOM {
        return NORMAL_FACTOR;
    }
    StudentsT::new(0.0, 1.0, degrees_of_freedom)
        .map_or(NORMAL_FACTOR, |t| t.inverse_cdf(0.5 + COVERAGE / 2.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    // NIST/SEMATECH e-Handbook 4.5.2.1 uses t(0.975, 37) = 2.026192463 (recomputed value).
    #[test]
    fn the_coverage_factor_is_students() {
        assert_relative_eq!(coverage_factor(37.0), 2.026_192_463, max_relative = 1e-9);
        assert_relative_eq!(coverage_factor(1e9), NORMAL_FACTOR, max_relative = 1e-6);
        // One step below the switch the two must still agree.
        assert_relative_eq!(coverage_factor(9e4), NORMAL_FACTOR, max_relative = 3e-5);
    }

    // N(0, 1) with N(10, 1) one time in ten: below 0's side 2.5 % = 0.9 P(z), so z = -1.9145 (0.027778 of a normal law lies below);
    // above 2.5 % = 0.1 P(beyond 10 + y), 0.25, so y = 0.6745. With no share of the other nothing changes.
    #[test]
    fn a_mixture_reaches_as_far_as_its_lesser_part_deserves() {
        let one = |value: f64| Measured::normal(value, 1.0, Unit::Second);
        let mixed = one(0.0).mixed_with(&[(0.1, one(10.0))]);
        assert_relative_eq!(mixed.low, -1.914_5, epsilon = 1e-4);
        assert_relative_eq!(mixed.high, 10.674_5, epsilon = 1e-4);
        let alone = one(0.0).mixed_with(&[(0.0, one(10.0))]);
        assert_relative_eq!(alone.low, -NORMAL_FACTOR, epsilon = 1e-9);
        assert_relative_eq!(alone.high, NORMAL_FACTOR, epsilon = 1e-9);
    }

    // Student's t of two degrees of freedom has a closed form: F(t) = 1/2 + t / (2 sqrt(2 + t^2)), 0.788675 at t = 1 where a
    // normal law has 0.841. One of a rectangle's width, and a lopsided one, have 97.5 and 2.5 % at their ends.
    #[test]
    fn probability_and_interval_agree() {
        let few = Measured::student(10.0, 1.0, 2.0, Unit::Newton);
        assert_relative_eq!(few.probability_below(11.0), 0.788_675, max_relative = 1e-5);
        assert_relative_eq!(few.probability_below(9.0), 0.211_325, max_relative = 1e-5);
        let narrow = Measured::interval(10.0, 1.0, 10.0 - 1.645, 11.645, Unit::Newton);
        let lopsided = Measured::interval(10.0, 1.0, 9.0, 14.0, Unit::Newton);
        for one in [
            few,
            narrow,
            lopsided,
            Measured::normal(10.0, 1.0, Unit::Newton),
        ] {
            assert_relative_eq!(one.probability_below(one.high), 0.975, epsilon = 1e-6);
            assert_relative_eq!(one.probability_below(one.low), 0.025, epsilon = 1e-6);
            assert_relative_eq!(one.probability_below(one.value), 0.5, epsilon = 1e-9);
        }
        assert!(degrees_of_freedom(1.9).is_none() && degrees_of_freedom(40.0).is_none());
    }

    #[test]
    fn probability_below_its_own_value_is_one_half() {
        let impulse = Measured::normal(29.7, 0.1, Unit::NewtonSecond);
        assert_relative_eq!(impulse.probability_below(29.7), 0.5);
        assert_relative_eq!(
            impulse.probability_below(29.7 + 0.196),
            0.975,
            epsilon = 1e-4
        );
    }
}
