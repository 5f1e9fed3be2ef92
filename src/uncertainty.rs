//! Terms of an uncertainty budget, random and systematic kept apart until it is closed.
//!
//! The law of propagation (JCGM 100:2008, 5.1.2 and 5.2.2): independent terms add in squares.

/// Whether a term changes from reading to reading or is common to the whole firing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
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
}

impl Term {
    /// A random term.
    #[must_use]
    pub fn random(source: impl Into<String>, u: f64) -> Self {
        Self {
            source: source.into(),
            kind: Kind::Random,
            u: u.abs(),
        }
    }

    /// A systematic term.
    #[must_use]
    pub fn systematic(source: impl Into<String>, u: f64) -> Self {
        Self {
            source: source.into(),
            kind: Kind::Systematic,
            u: u.abs(),
        }
    }
}

/// Combined standard uncertainty of independent terms.
#[must_use]
pub fn combined(terms: &[Term]) -> f64 {
    terms.iter().map(|term| term.u * term.u).sum::<f64>().sqrt()
}

/// Combined standard uncertainty of the terms of one kind.
#[must_use]
pub fn combined_of(terms: &[Term], kind: Kind) -> f64 {
    terms
        .iter()
        .filter(|term| term.kind == kind)
        .map(|term| term.u * term.u)
        .sum::<f64>()
        .sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    // JCGM 100:2008, example H.1 (end gauge): components 25, 9.7, 2.9 and 16.6 nm give 31.67 nm,
    // stated there as 32 nm.
    #[test]
    fn the_guide_s_end_gauge_budget_adds_up() {
        let terms: Vec<Term> = [25.0, 9.7, 2.9, 16.6]
            .iter()
            .map(|u| Term::systematic("component", *u))
            .collect();
        assert_relative_eq!(combined(&terms), 31.67, epsilon = 0.005);
        assert_relative_eq!(combined_of(&terms, Kind::Random), 0.0);
        // Its second component is itself made of three: 5.8, 3.9 and 6.7 nm give 9.6819 nm.
        let comparison: Vec<Term> = [5.8, 3.9, 6.7]
            .iter()
            .map(|u| Term::random("comparison", *u))
            .collect();
        assert_relative_eq!(combined(&comparison), 9.6819, epsilon = 5e-5);
    }
}
