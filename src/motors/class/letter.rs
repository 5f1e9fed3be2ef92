//! Letter classes of total impulse.
//!
//! Upper limits from 1/8A to O by the NAR page "Standard Motor Codes"; each letter doubles the one
//! before. Printed ranges run x.01 to y.00, so a limit belongs to the class below it: 160.00 N s is
//! G, and anything above is H. P to S go on by doubling (amateur practice, secondary tables).

use serde::{Deserialize, Serialize};

use crate::quantity::Measured;

/// One class.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Class {
    /// Its letter.
    pub letter: &'static str,
    /// Lower limit, N s, not included.
    pub lower_ns: f64,
    /// Upper limit, N s, included.
    pub upper_ns: f64,
}

impl Class {
    /// Where in the class an impulse lies, in per cent: 0 at the floor, 100 at the top. Published
    /// certification reports count from the class floor, not from zero.
    #[must_use]
    pub fn percent(&self, impulse_ns: f64) -> f64 {
        100.0 * (impulse_ns - self.lower_ns) / (self.upper_ns - self.lower_ns)
    }
}

/// A letter and how probable it is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct LetterProbability {
    /// The letter.
    pub letter: String,
    /// Probability that the true impulse lies in its class.
    #[cfg_attr(test, schemars(range(min = 0.0, max = 1.0)))]
    pub probability: f64,
}

/// Letters less probable than this are not listed.
pub(crate) const LISTED_FROM: f64 = 1e-3;

/// The letters an impulse may have, most probable first.
#[must_use]
pub(crate) fn probabilities(impulse: &Measured) -> Vec<LetterProbability> {
    let probability_below = impulse.probabilities();
    let mut below = probability_below(0.0);
    let mut upper_ns = SMALLEST_NS;
    let mut out = Vec::new();
    for letter in LETTERS {
        let not_above = probability_below(upper_ns);
        let probability = not_above - below;
        if probability >= LISTED_FROM {
            let letter = letter.to_owned();
            out.push(LetterProbability {
                letter,
                probability,
            });
        }
        below = not_above;
        upper_ns *= 2.0;
    }
    out.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    out
}

const LETTERS: [&str; 22] = [
    "1/8A", "1/4A", "1/2A", "A", "B", "C", "D", "E", "F", "G", "H", "I", "J", "K", "L", "M", "N",
    "O", "P", "Q", "R", "S",
];

/// Upper limit of the smallest class, N s.
const SMALLEST_NS: f64 = 0.3125;

/// The class of a total impulse in N s; `None` when it is not above zero or beyond S.
#[must_use]
pub fn class_of(impulse_ns: f64) -> Option<Class> {
    if impulse_ns.is_nan() || impulse_ns <= 0.0 {
        return None;
    }
    let mut lower_ns = 0.0;
    let mut upper_ns = SMALLEST_NS;
    for letter in LETTERS {
        if impulse_ns <= upper_ns {
            return Some(Class {
                letter,
                lower_ns,
                upper_ns,
            });
        }
        lower_ns = upper_ns;
        upper_ns *= 2.0;
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Unit;
    use approx::{assert_abs_diff_eq, assert_relative_eq};

    // The table of the NAR page "Standard Motor Codes", as kept in tests/data/motor-classes.csv.
    #[test]
    fn every_published_boundary_belongs_to_the_class_below_it() {
        let table = include_str!("../../../tests/data/motor-classes.csv");
        let mut seen = 0;
        for line in table.lines().filter(|line| !line.starts_with(['#', 'l'])) {
            let fields: Vec<&str> = line.split(',').collect();
            let (lower, upper): (f64, f64) =
                (fields[1].parse().unwrap(), fields[2].parse().unwrap());
            let class = class_of(upper).unwrap();
            assert_eq!(
                (class.letter, class.lower_ns, class.upper_ns),
                (fields[0], lower, upper)
            );
            let next = class_of(upper + 0.01).map(|class| class.letter);
            assert_ne!(next, Some(fields[0]));
            seen += 1;
        }
        assert_eq!(seen, 22);
        assert_eq!(class_of(160.0).unwrap().letter, "G");
        assert_eq!(class_of(160.01).unwrap().letter, "H");
        assert_eq!(class_of(0.0), None);
        assert_eq!(class_of(f64::NAN), None);
    }

    // Canadian certification committee, test session of 2009: 246 458.92 N s printed as 50.4 % R.
    #[test]
    fn per_cent_of_class_counts_from_the_floor() {
        let class = class_of(246_458.92).unwrap();
        assert_eq!(class.letter, "R");
        assert_relative_eq!(class.percent(246_458.92), 50.4266, epsilon = 1e-4);
    }

    // One standard deviation above the top of E: the normal integral gives 0.1587 for E.
    #[test]
    fn a_borderline_impulse_has_two_letters() {
        let found = probabilities(&Measured::normal(40.4, 0.4, Unit::NewtonSecond));
        let letters: Vec<&str> = found.iter().map(|one| one.letter.as_str()).collect();
        assert_eq!(letters, ["F", "E"]);
        assert_relative_eq!(found[1].probability, 0.158_655, epsilon = 1e-6);
        assert_eq!(
            probabilities(&Measured::normal(29.8, 0.1, Unit::NewtonSecond)).len(),
            1
        );
    }

    // A hobby load-cell log as published: 30.74 lbf mean, 51.49 lbf s, 59.60 lbf peak, 155 samples, labelled
    // H136.7 by its author; and an old label, 0.7 lbf s in 0.9 s. Exact pound-force, NIST SP 811.
    #[test]
    fn published_numbers_in_pounds_are_those_in_newtons() {
        use crate::quantity::{Force, Impulse, Quantity, Time, given};
        fn si<Q: Quantity>(text: &str) -> f64 {
            given::parse::<Q>(text).unwrap().si()
        }
        let (mean_n, total_ns) = (si::<Force>("30.74 lbf"), si::<Impulse>("51.49 lbf s"));
        assert_relative_eq!(mean_n, 136.738_332, max_relative = 1e-8);
        assert_relative_eq!(total_ns, 229.038_931, max_relative = 1e-8);
        assert_relative_eq!(si::<Force>("59.60 lbf"), 265.114_008, max_relative = 1e-8);
        assert_abs_diff_eq!(total_ns / mean_n, 1.675, epsilon = 5e-4);
        assert_abs_diff_eq!(155.0 / (total_ns / mean_n), 92.54, epsilon = 5e-3);
        assert_eq!(class_of(total_ns).unwrap().letter, "H");
        let old_ns = si::<Impulse>("0.7 lbf s");
        assert_abs_diff_eq!(old_ns, 3.11, epsilon = 5e-3);
        assert_abs_diff_eq!(old_ns / si::<Time>("900 ms"), 3.46, epsilon = 5e-3);
    }
}
