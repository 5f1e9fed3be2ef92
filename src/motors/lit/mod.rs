//! Ignition: which motors lit, when, and what says so.
//!
//! [`gather`] collects what a firing has to say, `cells` what the cells read of the motors they carry. Every subset of the motors is a hypothesis. Each piece of evidence ([`evidence`]) gives the
//! likelihood of what was measured under each of them; [`hypothesis`] weighs them together, every
//! motor as likely lit as not beforehand. For motors that share cells, [`shape`] explains the course
//! of their thrust by the certified curves ([`part`]) of every set that may have lit: `onsets` finds
//! where each may begin and end, [`pieces`] fits and weighs with what was expected ([`prior`]). Where a certified curve is missing, [`thrust_steps`]
//! counts how often the thrust rises. [`curves`] then refines the times of the
//! set that lit; [`order`] says from the tilt which of two like motors was first. `doubt` keeps what a piece contradicts from being
//! stated, [`verdict`] puts it together, and `passed_over` tells of a motor that burns before the burn.

mod burst;
mod cells;
mod circumstance;
mod course;
pub(crate) mod curves;
mod doubt;
pub(crate) mod evidence;
mod firing_evidence;
mod from_recording;
mod group;
pub(crate) mod hypothesis;
pub(crate) mod input;
mod onsets;
pub(crate) mod order;
pub(crate) mod part;
mod passed_over;
pub(crate) mod pieces;
pub(crate) mod prior;
mod puff;
mod quiet;
#[cfg(test)]
mod search_tests;
pub(crate) mod shape;
pub(crate) mod thrust_steps;
mod timing;
pub(crate) mod torque;
pub(crate) mod verdict;

use serde::{Deserialize, Serialize};

use crate::finding::Outcome;
use crate::quantity::Measured;

pub(crate) use from_recording::gather;
pub(crate) use order::{AxisEvidence, AxisMotion};
pub(crate) use passed_over::burns_before;
pub(crate) use torque::StaggerTorque;
pub(crate) use verdict::{Verdict, decide};

/// Whether one motor lit.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum Lit {
    /// It delivered thrust.
    #[serde(rename = "lit")]
    Lit,
    /// It did not.
    #[serde(rename = "not lit")]
    NotLit,
    /// The record cannot tell.
    #[default]
    #[serde(rename = "undecided")]
    Undecided,
}

/// A motor counts as lit from this probability on.
pub(crate) const LIT_FROM: f64 = 0.99;

/// A motor counts as not lit up to this probability.
pub(crate) const NOT_LIT_TO: f64 = 0.01;

impl Lit {
    /// The verdict at the stated thresholds.
    #[must_use]
    pub fn from_probability(probability: f64) -> Self {
        if probability >= LIT_FROM {
            Self::Lit
        } else if probability <= NOT_LIT_TO {
            Self::NotLit
        } else {
            Self::Undecided
        }
    }

    /// The word used in every output.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Lit => "lit",
            Self::NotLit => "not lit",
            Self::Undecided => "undecided",
        }
    }
}

/// What is known of one motor.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct MotorReport {
    /// The verdict.
    pub lit: Lit,
    /// Probability that it lit.
    #[cfg_attr(test, schemars(range(min = 0.0, max = 1.0)))]
    pub probability: Option<f64>,
    /// When its own thrust first reached 5 % of its own peak, a puff that died included.
    pub ignition_s: Option<Measured>,
    /// When it lit again after such a puff; `None` where it burnt in one piece.
    #[serde(default)]
    pub relight_s: Option<Measured>,
    /// From its fire command to that.
    pub delay_s: Option<Measured>,
    /// Its own total impulse.
    pub total_ns: Option<Measured>,
    /// What says so.
    pub evidence: Vec<Evidence>,
}

/// One piece of evidence about one motor.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct Evidence {
    /// Where it comes from.
    pub from: String,
    /// What it says, in words.
    pub says: String,
    /// Log-likelihood ratio for lit against not lit; positive speaks for lit.
    pub weight: f64,
}

/// All motors together.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct IgnitionReport {
    /// Whether every motor lit.
    pub all_lit: Outcome,
    /// Probability that every motor lit.
    #[cfg_attr(test, schemars(range(min = 0.0, max = 1.0)))]
    pub probability: Option<f64>,
    /// Most probable number of lit motors.
    pub lit_count: usize,
    /// Time between the first and the last ignition.
    pub stagger_s: Option<Measured>,
    /// When motors lit, the first one first, where it is not known whose times these are; else empty.
    #[serde(default)]
    pub times_s: Vec<Measured>,
    /// What the stagger did to each axis beside which motors sit.
    #[serde(default)]
    pub stagger_torque: Vec<StaggerTorque>,
}
