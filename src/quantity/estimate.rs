//! A number known beforehand, with its standard uncertainty.

use super::{Given, Quantity};

/// A number known beforehand, in SI units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// Best estimate.
    pub value: f64,
    /// Standard uncertainty; 0 when none was stated.
    pub u: f64,
}

impl<Q: Quantity> From<&Given<Q>> for Estimate {
    fn from(given: &Given<Q>) -> Self {
        Self {
            value: given.si(),
            u: given.standard_uncertainty().unwrap_or(0.0),
        }
    }
}
