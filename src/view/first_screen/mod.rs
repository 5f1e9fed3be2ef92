//! What is wanted of each result in one glance: with the verdict it fits a screen of 24 lines of 80 columns.

pub(super) mod calibration;
pub(super) mod comparison;
pub(super) mod firing;
pub(super) mod gains;
pub(super) mod look;
pub(super) mod plan;
pub(super) mod pooled_plant;
pub(super) mod simulation;
#[cfg(feature = "report")]
pub(crate) mod strip;

use super::at::At;
use super::text::Text;
use crate::quantity::Measured;

/// What gains and flights are not.
const NO_CLEARANCE: &str = "A model from one rig on one day, not a clearance to fly.";

/// A result in a table.
pub(super) fn cell(value: &At<'_, Option<Measured>>) -> Text {
    value
        .some()
        .map_or_else(|| value.missing("-"), |value| value.compact())
}
