//! Terms of an uncertainty budget, random and systematic kept apart until it is closed.
//!
//! The law of propagation (JCGM 100:2008, 5.1.2 and 5.2.2): independent terms add in squares. The
//! interval of the sum minds what the terms are: limits stay rectangular ([`expanded`]), and few
//! degrees of freedom widen the normal part by Student's t with the effective number of Welch and
//! Satterthwaite (JCGM 100:2008, annex G.4).

mod expanded;

use serde::{Deserialize, Serialize};

use crate::quantity::measured::{NORMAL_FACTOR, coverage_factor};
use crate::quantity::{Given, Quantity, Spread};
use crate::quantity::{Measured, Unit};

/// Whether a term changes from reading to reading or is common to the whole firing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "lowercase")]
pub enum Kind {
    /// Averages out over readings.
    Random,
    /// Common to all readings.
    Systematic,
}

impl Kind {
    /// The word used in every output.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Random => "random",
            Self::Systematic => "systematic",
        }
    }
}

/// One source of uncertainty of one quantity.
#[derive(Debug, Clone, PartialEq)]
pub struct Term {
    /// What it is, in words.
    pub source: String,
    /// Random or systematic.
    pub kind: Kind,
    /// Its standard uncertainty, in the unit of the quantity.
    pub u: f64,
    /// How its errors are distributed.
    pub shape: Shape,
    /// Whether every firing with the same calibration has the same error.
    pub of_calibration: bool,
}

/// How an error is distributed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Shape {
    /// Normal; `freedom` is the number of degrees of freedom its standard uncertainty rests on.
    Normal {
        /// Infinite where it is known well.
        freedom: f64,
    },
    /// Anywhere between two limits with nothing to prefer.
    Rectangular,
    /// A third at each of two ends, a third anywhere between them: what happens as a burn begins, as it ends, or in it.
    Ends,
}

impl Term {
    /// A random term.
    #[must_use]
    pub fn random(source: impl Into<String>, u: f64) -> Self {
        Self {
            source: source.into(),
            kind: Kind::Random,
            u: u.abs(),
            shape: WELL_KNOWN,
            of_calibration: false,
        }
    }

    /// A systematic term.
    #[must_use]
    pub fn systematic(source: impl Into<String>, u: f64) -> Self {
        Self {
            source: source.into(),
            kind: Kind::Systematic,
            u: u.abs(),
            shape: WELL_KNOWN,
            of_calibration: false,
        }
    }

    /// A systematic term from what somebody stated; none where they did not say how sure they were.
    /// `sensitivity` is the change of the quantity for a unit of what was stated.
    #[must_use]
    pub fn stated<Q: Quantity>(
        source: impl Into<String>,
        given: &Given<Q>,
        sensitivity: f64,
    ) -> Option<Self> {
        let term = Self::systematic(source, sensitivity * given.standard_uncertainty()?);
        Some(match given.spread {
            Spread::Limits(_) => term.limits(),
            _ => term,
        })
    }

    /// The same as limits rather than a normal error.
    #[must_use]
    pub fn limits(mut self) -> Self {
        self.shape = Shape::Rectangular;
        self
    }

    /// The same as an error that is as likely at either of two ends as anywhere between them.
    #[must_use]
    pub fn ends(mut self) -> Self {
        self.shape = Shape::Ends;
        self
    }

    /// The same as an error of the calibration: firings that are reduced with one curve have it in common.
    #[must_use]
    pub fn of_calibration(mut self) -> Self {
        self.of_calibration = true;
        self
    }

    /// The same with a standard uncertainty that rests on few degrees of freedom.
    #[must_use]
    pub fn with_freedom(mut self, freedom: f64) -> Self {
        self.shape = Shape::Normal { freedom };
        self
    }

    /// The same term of the quantity times a factor.
    #[must_use]
    pub fn times(mut self, factor: f64) -> Self {
        self.u *= factor.abs();
        self
    }
}

const WELL_KNOWN: Shape = Shape::Normal {
    freedom: f64::INFINITY,
};

/// A value whose errors are the sum of independent terms, with the 95 % interval of that sum.
#[must_use]
pub(crate) fn measured(value: f64, terms: &[Term], unit: Unit) -> Measured {
    let (mut square, mut quartic) = (0.0, 0.0);
    let (mut rectangular, mut ends) = (Vec::new(), Vec::new());
    for term in terms {
        match term.shape {
            Shape::Rectangular => rectangular.push(term.u),
            Shape::Ends => ends.push(term.u),
            Shape::Normal { freedom } => {
                square += term.u * term.u;
                quartic += term.u.powi(4) / freedom;
            }
        }
    }
    let freedom = if quartic > 0.0 {
        square * square / quartic
    } else {
        f64::INFINITY
    };
    let stretch = coverage_factor(freedom.max(1.0)) / NORMAL_FACTOR;
    let expanded = expanded::expanded_uncertainty(square.sqrt() * stretch, &rectangular, &ends);
    Measured::interval(
        value,
        combined(terms),
        value - expanded,
        value + expanded,
        unit,
    )
}

/// Combined standard uncertainty of independent terms.
#[must_use]
pub(crate) fn combined(terms: &[Term]) -> f64 {
    terms.iter().map(|term| term.u * term.u).sum::<f64>().sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    // JCGM 100:2008, example H.1: u = 32 nm with 16 effective degrees of freedom. At 95 % t is 2.12
    // (table G.2), so the interval reaches 67 nm to either side; the degrees of freedom of the four
    // components (18, 25.6, infinite, 2) are the guide's, from memory, and give 16.7.
    #[test]
    fn the_guide_s_end_gauge_has_its_interval() {
        let terms = [(25.0, 18.0), (9.7, 25.6), (2.9, f64::INFINITY), (16.6, 2.0)]
            .map(|(u, freedom)| Term::systematic("component", u).with_freedom(freedom));
        let length = measured(0.0, &terms, Unit::Metre);
        assert_relative_eq!(length.high, 67.0, max_relative = 0.01);
    }

    #[test]
    fn limits_alone_reach_less_far_than_a_normal_error_of_the_same_u() {
        let mass = measured(20.0, &[Term::systematic("mass", 0.1).limits()], Unit::Gram);
        assert_relative_eq!(
            mass.high - 20.0,
            0.95 * 3.0_f64.sqrt() * 0.1,
            max_relative = 1e-4
        );
    }

    // JCGM 100:2008, example H.1 (end gauge): components 25, 9.7, 2.9 and 16.6 nm give 31.67 nm,
    // stated there as 32 nm.
    #[test]
    fn the_guide_s_end_gauge_budget_adds_up() {
        let terms: Vec<Term> = [25.0, 9.7, 2.9, 16.6]
            .iter()
            .map(|u| Term::systematic("component", *u))
            .collect();
        assert_relative_eq!(combined(&terms), 31.67, epsilon = 0.005);
        // Its second component is itself made of three: 5.8, 3.9 and 6.7 nm give 9.6819 nm.
        let comparison: Vec<Term> = [5.8, 3.9, 6.7]
            .iter()
            .map(|u| Term::random("comparison", *u))
            .collect();
        assert_relative_eq!(combined(&comparison), 9.6819, epsilon = 5e-5);
    }
}
