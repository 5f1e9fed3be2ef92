//! How wide intervals will be, over the draws of a case.

use indexmap::IndexMap;
use serde::Serialize;

use crate::plant::Parameter;
use crate::quantity::{Measured, Unit};
use crate::reduce::FiringResult;

/// One way the motors may light.
#[derive(Debug, Clone, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct Case {
    /// The motor that does not light.
    pub dead: Option<String>,
    /// Its draws.
    pub draws: usize,
    /// Draws that could not be reduced.
    pub refused: usize,
    /// Impulse, times, thrust.
    pub results: Vec<HalfWidth>,
    /// The plant of each axis.
    pub axes: IndexMap<String, Vec<HalfWidth>>,
    /// Each motor's verdict.
    pub motors: IndexMap<String, Decided>,
}

/// How wide an interval will be.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct HalfWidth {
    /// Of what.
    pub name: String,
    /// The unit of value and widths.
    pub unit: Unit,
    /// Median of the values.
    pub value: f64,
    /// Median of half the 95 % intervals' widths.
    pub median: f64,
    /// Their 5 % percentile.
    pub low: f64,
    /// Their 95 % percentile.
    pub high: f64,
    /// Draws in which it could be told.
    pub told: usize,
    /// The same from the fit's derivatives alone.
    pub information: Option<f64>,
}

/// How often a verdict is right.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct Decided {
    /// Draws in which it is decided as it was.
    pub right: usize,
    /// Draws in which it stays undecided.
    pub undecided: usize,
    /// Draws in which it is decided otherwise.
    pub wrong: usize,
}

/// One input bettered, and the result that gains most by it.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct Bettered {
    /// What would be better.
    pub change: String,
    /// Which result, with its axis.
    pub result: String,
    /// Its unit.
    pub unit: Unit,
    /// Median half width with it.
    pub half_width: f64,
    /// Without it, over the same draws.
    pub was: f64,
}

/// What is told of an axis.
pub(super) const OF_AXIS: [Parameter; 5] = [
    Parameter::Gain,
    Parameter::Lag,
    Parameter::Delay,
    Parameter::DeadBandWidth,
    Parameter::Effectiveness,
];

pub(super) type OfFiring = fn(&FiringResult) -> Option<Measured>;

/// What is told of a firing.
pub(super) const OF_FIRING: [(&str, OfFiring); 7] = [
    ("total impulse", |of| of.impulse.as_ref()?.total_ns.clone()),
    ("specific impulse", |of| {
        of.impulse.as_ref()?.specific_s.clone()
    }),
    ("ignition", |of| of.burn.as_ref()?.ignition_s.clone()),
    ("burn time", |of| of.burn.as_ref()?.burn_time_s.clone()),
    ("peak thrust", |of| of.thrust.as_ref()?.peak_n.clone()),
    ("average thrust", |of| of.thrust.as_ref()?.average_n.clone()),
    ("stagger", |of| of.ignition.as_ref()?.stagger_s.clone()),
];

pub(super) fn half_width(
    name: &str,
    results: &[&FiringResult],
    of: impl Fn(&FiringResult) -> Option<Measured>,
) -> Option<HalfWidth> {
    let told: Vec<Measured> = results.iter().filter_map(|result| of(result)).collect();
    let unit = told.first()?.unit;
    let sorted = |of: fn(&Measured) -> f64| {
        let mut all: Vec<f64> = told.iter().map(of).collect();
        all.sort_by(f64::total_cmp);
        all
    };
    let widths = sorted(|one| 0.5 * (one.high - one.low));
    Some(HalfWidth {
        name: name.to_owned(),
        unit,
        value: percentile(&sorted(|one| one.value), 0.5),
        median: percentile(&widths, 0.5),
        low: percentile(&widths, 0.05),
        high: percentile(&widths, 0.95),
        told: told.len(),
        information: None,
    })
}

/// Straight between the ranks of sorted numbers (Hyndman & Fan, The American Statistician 50, 1996, definition 7).
fn percentile(sorted: &[f64], share: f64) -> f64 {
    let at = share * sorted.len().saturating_sub(1) as f64;
    let below = at.floor() as usize;
    let (Some(low), Some(high)) = (sorted.get(below), sorted.get(at.ceil() as usize)) else {
        return f64::NAN;
    };
    low + (at - below as f64) * (high - low)
}

#[cfg(test)]
mod tests {
    use super::*;

    // Hyndman & Fan's definition 7 of 1, 2, 3, 4, 10: the 5 % percentile lies a fifth of the way to the second.
    #[test]
    fn percentiles_lie_straight_between_the_ranks() {
        let all = [1.0, 2.0, 3.0, 4.0, 10.0];
        assert!((percentile(&all, 0.05) - 1.2).abs() < 1e-12);
        assert!((percentile(&all, 0.5) - 3.0).abs() < 1e-12);
        assert!((percentile(&all, 0.95) - 8.8).abs() < 1e-12);
    }
}
