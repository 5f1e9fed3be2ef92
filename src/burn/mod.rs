//! The burn: zero line, thrust, when it began and when it ended.
//!
//! - [`lone`] takes lone wild readings out.
//! - [`load`] adds the cells up to one load over time.
//! - [`apart`] tells several firings in one record apart, [`search`] finds the stretch that burns.
//! - [`zero`] finds rest before and after it, and the noise; [`wander`] makes a zero line of it.
//! - [`thrust`] takes the zero line and the weight loss off, and can carry the uncertainty of every
//!   reading into any weighted sum of them.
//! - [`rough`] sees whether the readings follow the flicker of the burn.
//! - [`dynamics`] takes the ringing of the stand off, for edges and peak only.
//! - [`crossing`] says when thrust passed a level, [`peak`] how high it went, [`rate`] whether the
//!   recorder was fast enough for either.
//! - [`describe`] puts the times, the peak and their uncertainties together.

pub mod apart;
pub mod crossing;
pub mod describe;
pub mod dynamics;
pub mod load;
pub mod lone;
pub mod peak;
pub mod rate;
pub mod rough;
pub mod search;
pub mod thrust;
pub mod wander;
pub mod zero;

use serde::{Deserialize, Serialize};

use crate::quantity::Measured;

/// When it burnt.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BurnReport {
    /// The rule that begins and ends the burn.
    pub rule: String,
    /// First crossing of the rule's share of peak.
    pub ignition_s: Option<Measured>,
    /// Last crossing of it.
    pub burnout_s: Option<Measured>,
    /// Between the two.
    pub burn_time_s: Option<Measured>,
    /// The same at 10 % of peak.
    pub action_time_s: Option<Measured>,
}

/// How hard it pushed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ThrustReport {
    /// Largest thrust.
    pub peak_n: Option<Measured>,
    /// Burn-window impulse over burn time.
    pub average_n: Option<Measured>,
}
