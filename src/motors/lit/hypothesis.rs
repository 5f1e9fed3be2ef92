//! Hypotheses about which motors lit, and the weighing of evidence between them.
//!
//! With n motors there are 2^n subsets. A piece of evidence is the logarithm of the likelihood of
//! one measurement under each; independent pieces add. Beforehand every subset is as probable as any
//! other ([`crate::motors::bayes`]), so that each motor is as likely lit as not: a firing must speak for itself. For one motor
//! and one piece the log-likelihood ratio is that of the subsets with it against those without it,
//! the others averaged.

use crate::motors::bayes::{bounded, log_sum};

/// Most motors; the subsets of more would be too many to list.
pub(crate) const MOST_MOTORS: usize = crate::config::MOST_MOTORS;

/// A set of motors, one bit for each.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Subset(pub u32);

impl Subset {
    /// Whether a motor belongs to it.
    #[must_use]
    pub(crate) const fn has(self, motor: usize) -> bool {
        self.0 >> motor & 1 == 1
    }

    /// How many motors belong to it.
    #[must_use]
    pub(crate) const fn count(self) -> usize {
        self.0.count_ones() as usize
    }

    /// All subsets of n motors.
    pub(crate) fn all(motors: usize) -> impl Iterator<Item = Self> {
        (0..1_u32 << motors.min(MOST_MOTORS)).map(Self)
    }
}

/// One measurement's log-likelihood under each subset.
#[derive(Debug, Clone)]
pub(crate) struct EvidenceTerm {
    /// Where it comes from.
    pub from: String,
    /// What was measured, in words.
    pub says: String,
    /// One value for each subset.
    pub log_likelihood: Vec<f64>,
}

/// Probability of every subset, all pieces weighed together.
#[derive(Debug, Clone)]
pub(crate) struct Posterior {
    motors: usize,
    /// Probability of each subset.
    pub probability: Vec<f64>,
}

/// Likelihood floor relative to the best hypothesis: no single measurement counts for more than
/// this, because recorders and notes can be wrong in ways no model holds.
pub(super) const FLOOR_LOG: f64 = -30.0;

/// Lifts each value to the floor below the best one.
pub(super) fn floored(values: Vec<f64>) -> Vec<f64> {
    let best = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if !best.is_finite() {
        return vec![0.0; values.len()];
    }
    values
        .into_iter()
        .map(|value| value.max(best + FLOOR_LOG))
        .collect()
}

/// Whether a piece says something: every subset has a likelihood, and some subset explains what was seen.
fn says(piece: &&EvidenceTerm) -> bool {
    let each = piece.log_likelihood.iter();
    let best = each.clone().copied().fold(f64::NEG_INFINITY, f64::max);
    best.is_finite() && !each.clone().any(|one| one.is_nan())
}

/// Log-likelihood of every subset by all pieces of evidence that say something; none puts a subset beyond [`FLOOR_LOG`].
#[must_use]
pub(super) fn total(motors: usize, pieces: &[EvidenceTerm]) -> Vec<f64> {
    let mut out = vec![0.0; Subset::all(motors).count()];
    for piece in pieces.iter().filter(says) {
        let floored = floored(piece.log_likelihood.clone());
        for (sum, log) in out.iter_mut().zip(floored) {
            *sum += log;
        }
    }
    out
}

/// Weighs pieces of evidence.
#[must_use]
pub(crate) fn weigh(motors: usize, pieces: &[EvidenceTerm]) -> Posterior {
    let total = total(motors, pieces);
    let norm = log_sum(&total);
    Posterior {
        motors,
        probability: total.iter().map(|value| (value - norm).exp()).collect(),
    }
}

/// What is doubted is as likely wrong as this.
const DOUBT: f64 = 0.05;

impl Posterior {
    /// The same, where a motor may as well not be what it seems.
    #[must_use]
    pub(crate) fn doubting(mut self, motor: usize) -> Self {
        let seems = self.probability.clone();
        for (at, one) in self.probability.iter_mut().enumerate() {
            *one = (1.0 - DOUBT) * seems[at] + DOUBT * seems[at ^ (1 << motor)];
        }
        self
    }

    /// Probability that a motor lit, never surer than [`crate::motors::bayes::SUREST`].
    #[must_use]
    pub(crate) fn lit(&self, motor: usize) -> f64 {
        bounded(self.sum(|subset| subset.has(motor)))
    }

    /// Probability that all motors lit, never surer than [`crate::motors::bayes::SUREST`].
    #[must_use]
    pub(crate) fn all_lit(&self) -> f64 {
        bounded(self.sum(|subset| subset.count() == self.motors))
    }

    /// Most probable number of lit motors.
    #[must_use]
    pub(crate) fn count(&self) -> usize {
        (0..=self.motors)
            .max_by(|a, b| {
                let probability = |count: usize| self.sum(|subset| subset.count() == count);
                probability(*a).total_cmp(&probability(*b))
            })
            .unwrap_or(0)
    }

    /// Probability that so many motors lit, never surer than [`crate::motors::bayes::SUREST`].
    #[must_use]
    pub(crate) fn count_probability(&self, count: usize) -> f64 {
        bounded(self.sum(|subset| subset.count() == count))
    }

    /// Most probable subset with that many motors.
    #[must_use]
    pub(crate) fn best(&self, count: usize) -> Subset {
        Subset::all(self.motors)
            .filter(|subset| subset.count() == count)
            .max_by(|a, b| {
                self.probability[a.0 as usize].total_cmp(&self.probability[b.0 as usize])
            })
            .unwrap_or(Subset(0))
    }

    fn sum(&self, keep: impl Fn(Subset) -> bool) -> f64 {
        let kept = Subset::all(self.motors).filter(|subset| keep(*subset));
        kept.map(|subset| self.probability[subset.0 as usize])
            .sum::<f64>()
            .min(1.0)
    }
}

/// Log-likelihood ratio of one piece for one motor, lit against not lit.
#[must_use]
pub(crate) fn weight(motors: usize, piece: &EvidenceTerm, motor: usize) -> f64 {
    let side = |lit: bool| {
        let kept = Subset::all(motors).filter(|subset| subset.has(motor) == lit);
        let values: Vec<f64> = kept
            .map(|subset| piece.log_likelihood[subset.0 as usize])
            .collect();
        log_sum(&values)
    };
    side(true) - side(false)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn piece(values: [f64; 4]) -> EvidenceTerm {
        EvidenceTerm {
            from: "x".into(),
            says: "y".into(),
            log_likelihood: values.to_vec(),
        }
    }

    #[test]
    fn a_sum_that_cannot_tell_two_like_motors_apart_still_counts_them() {
        // Subsets: none, first, second, both. One motor's worth of impulse was seen.
        let seen = piece([-50.0, 0.0, 0.0, -12.0]);
        let weighed = weigh(2, std::slice::from_ref(&seen));
        assert_relative_eq!(weighed.lit(0), 0.5, epsilon = 1e-5);
        assert_eq!(weighed.count(), 1);
        assert!(weighed.count_probability(1) > 0.99);
        assert!(weighed.all_lit() < 1e-3);
        assert_relative_eq!(weight(2, &seen, 0), 0.0, epsilon = 1e-4);
    }

    #[test]
    fn a_piece_that_is_no_number_decides_nothing() {
        for nothing in [f64::NAN, f64::NEG_INFINITY, f64::INFINITY] {
            let weighed = weigh(2, &[piece([-50.0, 0.0, -9.0, -12.0]), piece([nothing; 4])]);
            assert!(weighed.lit(0) > 0.999 && weighed.lit(1) < 0.001);
            assert_relative_eq!(weigh(2, &[piece([nothing; 4])]).lit(0), 0.5);
        }
    }

    // By hand: 0.95 of sure and 0.05 of the opposite; the other motor stays what it was.
    #[test]
    fn a_doubted_motor_is_undecided_and_the_other_is_not() {
        let weighed = weigh(2, &[piece([-90.0, 0.0, -90.0, -90.0])]).doubting(1);
        assert_relative_eq!(weighed.lit(1), 0.05, max_relative = 1e-9);
        assert!(weighed.lit(0) > 0.999);
        assert_relative_eq!(weighed.all_lit(), 0.05, max_relative = 1e-9);
    }

    #[test]
    fn two_pieces_together_name_the_dead_motor() {
        let sum = piece([-50.0, 0.0, 0.0, -12.0]);
        let torque = piece([0.0, 0.0, -20.0, -5.0]);
        let weighed = weigh(2, &[sum, torque]);
        assert!(weighed.lit(0) > 0.999 && weighed.lit(1) < 0.001);
        assert_eq!(weighed.best(1), Subset(1));
    }
}
