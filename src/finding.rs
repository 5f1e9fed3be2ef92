//! A finding: one claim, the rule it was judged by, the numbers, the source, the outcome.
//!
//! Conformity follows JCGM 106:2012: the probability that the claim is true is computed from the
//! state of knowledge about the measured quantity, and the outcome follows from that probability.
//! "Undecided" is an answer.

use serde::{Deserialize, Serialize};

use crate::quantity::Measured;

/// Guard rule: a claim holds when it is at least this probable.
pub(crate) const HOLDS_FROM: f64 = 0.95;

/// Guard rule: a claim fails when it is at most this probable.
pub(crate) const FAILS_TO: f64 = 0.05;

/// How a claim was judged.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "lowercase")]
pub enum Outcome {
    /// The claim is true at the stated probability.
    Holds,
    /// The claim is false at the stated probability.
    Fails,
    /// The record cannot tell.
    #[default]
    Undecided,
}

impl Outcome {
    /// The outcome under the guard rule, from the probability that the claim is true.
    #[must_use]
    pub fn from_probability(probability: f64) -> Self {
        if probability >= HOLDS_FROM {
            Self::Holds
        } else if probability <= FAILS_TO {
            Self::Fails
        } else {
            Self::Undecided
        }
    }

    /// The word used in every output.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Holds => "holds",
            Self::Fails => "fails",
            Self::Undecided => "undecided",
        }
    }
}

/// Whether every finding holds: an undecided one does not.
pub(crate) fn all_hold<'a>(findings: impl IntoIterator<Item = &'a Finding>) -> bool {
    let mut all = findings.into_iter();
    all.all(|finding| finding.outcome == Outcome::Holds)
}

/// One judged claim.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Finding {
    /// What is claimed, as a sentence.
    pub claim: String,
    /// The outcome.
    pub outcome: Outcome,
    /// Probability that the claim is true; `None` when the rule is not probabilistic.
    #[cfg_attr(test, schemars(range(min = 0.0, max = 1.0)))]
    pub probability: Option<f64>,
    /// The measured quantity behind it.
    pub measured: Option<Measured>,
    /// Lower and upper limit, in the unit of `measured`; `None` for an open side.
    pub limits: [Option<f64>; 2],
    /// The rule, in words.
    pub rule: String,
    /// Where the rule comes from.
    pub source: String,
    /// What the reader should know or do.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub advice: Option<String>,
}

impl Finding {
    /// Judges whether a quantity lies between two limits.
    #[must_use]
    pub fn within(
        claim: impl Into<String>,
        measured: Measured,
        limits: [Option<f64>; 2],
        rule: impl Into<String>,
        source: impl Into<String>,
    ) -> Self {
        let below_high = limits[1].map_or(1.0, |high| measured.probability_below(high));
        let below_low = limits[0].map_or(0.0, |low| measured.probability_below(low));
        let probability = (below_high - below_low).clamp(0.0, 1.0);
        Self {
            claim: claim.into(),
            outcome: Outcome::from_probability(probability),
            probability: Some(probability),
            measured: Some(measured),
            limits,
            rule: rule.into(),
            source: source.into(),
            advice: None,
        }
    }

    /// A claim judged by a rule that is not about a limit on a number.
    #[must_use]
    pub fn plain(
        claim: impl Into<String>,
        outcome: Outcome,
        rule: impl Into<String>,
        source: impl Into<String>,
    ) -> Self {
        Self {
            claim: claim.into(),
            outcome,
            probability: None,
            measured: None,
            limits: [None, None],
            rule: rule.into(),
            source: source.into(),
            advice: None,
        }
    }

    /// Adds what the reader should know or do.
    #[must_use]
    pub fn advice(mut self, advice: impl Into<String>) -> Self {
        self.advice = Some(advice.into());
        self
    }
}

/// Source line for rules that nobody published.
pub(crate) const COMMON_PRACTICE: &str = "common practice, no source";

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Unit;

    #[test]
    fn a_value_on_the_limit_is_undecided_and_far_from_it_is_not() {
        let judge = |value: f64| {
            let measured = Measured::normal(value, 1.0, Unit::Newton);
            Finding::within("x", measured, [None, Some(80.0)], "r", "s").outcome
        };
        assert_eq!(judge(80.0), Outcome::Undecided);
        assert_eq!(judge(78.0), Outcome::Holds);
        assert_eq!(judge(82.0), Outcome::Fails);
    }
}
