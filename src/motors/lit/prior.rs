//! What is expected of a motor that lit, before its thrust is looked at.
//!
//! Each parameter is normal, so that the integral over one that the record says nothing of is its
//! probability and no more. A motor burns in one of several ways: at once or late; as certified, weakly,
//! or until it goes out early. The probabilities of the ways are common practice, no source.

use std::f64::consts::TAU;

use super::part::{Burning, Pattern};

/// Probability that a motor that lights is unlike its certificate, and that it goes out early.
const WEAK: f64 = 0.08;
const GOES_OUT: f64 = 0.05;

/// Such a motor, weak for the most part, now and then strong, delivers about this share of its certificate, with this
/// standard deviation.
const WEAK_SHARE: (f64, f64) = (0.75, 0.35);

/// Least and most share that it delivers; below, it is a puff that nobody calls lit.
const WEAK_ENDS: (f64, f64) = (0.02, 1.6);

/// Motors of one fire command begin so long after the first of them, with this standard deviation, s ...
const PROMPT_S: (f64, f64) = (0.02, 0.05);

/// ... but for this probability: then they hang fire, by any time that the burn shows.
const LATE: f64 = 0.1;

/// A motor counts as late from this on, s.
const LATE_FROM_S: f64 = 0.15;

/// What holds one parameter: a normal density, and what the search may do with it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Hold {
    pub mean: f64,
    pub sd: f64,
    pub typical: f64,
    pub low: f64,
    pub high: f64,
}

impl Hold {
    fn log_density(&self, x: f64) -> f64 {
        let z = (x - self.mean) / self.sd;
        -0.5 * z * z - (self.sd * TAU.sqrt()).ln()
    }
}

/// Expectation of the motors of one firing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Prior {
    /// Beginning and end of the burn, s.
    pub window_s: (f64, f64),
    /// Motor-to-motor spread of impulse and of length, relative.
    pub spread: f64,
}

impl Prior {
    /// Holds of onset, relative impulse, stretch, and the time of going out where there is one.
    pub(super) fn holds(&self, one: &Burning, pattern: &Pattern) -> Vec<Hold> {
        let mut out = vec![
            self.onset(one.part.onset_s),
            self.impulse(one.weak),
            Hold {
                mean: 1.0,
                sd: self.spread,
                typical: self.spread,
                low: 0.2,
                high: 5.0,
            },
        ];
        let duration = pattern.duration_s();
        out.extend(one.part.out_s.map(|_| Hold {
            mean: 0.5 * duration,
            sd: 0.4 * duration,
            typical: 0.02,
            low: 0.01,
            high: 1.5 * duration,
        }));
        out
    }

    /// Logarithm of the probability of a way to burn.
    pub(super) fn log_way(&self, one: &Burning) -> f64 {
        let late = if self.is_late(one.part.onset_s) {
            LATE
        } else {
            1.0 - LATE
        };
        let weak = if one.weak { WEAK } else { 1.0 - WEAK };
        let goes_out = match one.part.out_s {
            Some(_) => GOES_OUT,
            None => 1.0 - GOES_OUT,
        };
        (late * weak * goes_out).ln()
    }

    /// Logarithm of the density of a way to burn and of its parameters.
    pub(super) fn log_density(&self, one: &Burning, pattern: &Pattern, x: &[f64]) -> f64 {
        let holds = self.holds(one, pattern);
        let each = holds.iter().zip(x).map(|(hold, x)| hold.log_density(*x));
        self.log_way(one) + each.sum::<f64>()
    }

    fn is_late(&self, onset_s: f64) -> bool {
        onset_s - self.window_s.0 > LATE_FROM_S
    }

    /// What holds an onset that is near a time.
    pub(super) fn onset(&self, near_s: f64) -> Hold {
        let (from, to) = self.window_s;
        let (mean, sd) = if self.is_late(near_s) {
            (0.5 * (from + to), 0.5 * (to - from))
        } else {
            (from + PROMPT_S.0, PROMPT_S.1)
        };
        Hold {
            mean,
            sd,
            typical: 0.01,
            low: from - LATE_FROM_S,
            high: to,
        }
    }

    /// What holds the impulse relative to the certificate.
    pub(super) fn impulse(&self, weak: bool) -> Hold {
        let (mean, sd, low, high) = if weak {
            (WEAK_SHARE.0, WEAK_SHARE.1, WEAK_ENDS.0, WEAK_ENDS.1)
        } else {
            (1.0, self.spread, WEAK_ENDS.0, 2.0)
        };
        Hold {
            mean,
            sd,
            typical: self.spread,
            low,
            high,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::part::Part;
    use super::*;
    use crate::series::Series;
    use approx::assert_relative_eq;

    #[test]
    fn the_probabilities_of_all_ways_add_up_to_one() {
        let prior = Prior {
            window_s: (2.0, 4.0),
            spread: 0.05,
        };
        let mut sum = 0.0;
        for onset_s in [2.0, 3.0] {
            for weak in [false, true] {
                for out_s in [None, Some(0.5)] {
                    let part = Part {
                        onset_s,
                        height: 1.0,
                        stretch: 1.0,
                        out_s,
                    };
                    sum += prior.log_way(&Burning { part, weak }).exp();
                }
            }
        }
        assert_relative_eq!(sum, 1.0, max_relative = 1e-12);
    }

    // Where the record says nothing, density times room is one: sd sqrt(2 pi) / (sd sqrt(2 pi)).
    #[test]
    fn a_parameter_that_the_record_says_nothing_of_weighs_nothing() {
        let prior = Prior {
            window_s: (2.0, 4.0),
            spread: 0.05,
        };
        let curve = Pattern::new(&Series::new(&[0.0, 1.0], &[1.0, 1.0])).unwrap();
        let part = Part {
            onset_s: 2.02,
            height: 1.0,
            stretch: 1.0,
            out_s: None,
        };
        let one = Burning { part, weak: false };
        let room: f64 = prior
            .holds(&one, &curve)
            .iter()
            .map(|hold| (hold.sd * TAU.sqrt()).ln())
            .sum();
        let weight = prior.log_density(&one, &curve, &[2.02, 1.0, 1.0]) + room;
        assert_relative_eq!(weight, prior.log_way(&one), max_relative = 1e-12);
    }
}
