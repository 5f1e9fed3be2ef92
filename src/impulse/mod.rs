//! Impulse: the area under thrust, what it says of the propellant, and how sure it is.

use serde::{Deserialize, Serialize};

use crate::quantity::Measured;

/// What was delivered.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ImpulseReport {
    /// From first to last measurable thrust.
    pub total_ns: Option<Measured>,
    /// Over the burn.
    pub burn_window_ns: Option<Measured>,
    /// Total impulse over propellant weight at standard gravity.
    pub specific_s: Option<Measured>,
    /// Total impulse over propellant mass.
    pub exhaust_velocity_m_s: Option<Measured>,
    /// Where the uncertainty of the total comes from.
    pub budget: Vec<BudgetLine>,
}

/// One source of uncertainty of the total impulse.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BudgetLine {
    /// What it is.
    pub source: String,
    /// `random` or `systematic`.
    pub kind: String,
    /// Its standard uncertainty, N s.
    pub u_ns: f64,
    /// Its share of the variance, 0 to 1.
    pub share: f64,
}
