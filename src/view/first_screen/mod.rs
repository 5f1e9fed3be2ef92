//! What is wanted of each result in one glance: with the verdict it fits a screen of 24 lines of 80 columns.

pub(super) mod calibration;
pub(super) mod comparison;
pub(super) mod firing;
pub(super) mod gains;
pub(super) mod look;
pub(super) mod pooled_plant;
pub(super) mod simulation;

use super::Attention;
use super::at::At;
use super::findings::{Judged, Noticed, open};
use super::text::{Text, text};
use crate::quantity::Measured;

/// What gains and flights are not.
const NO_CLEARANCE: &str = "A model from one rig on one day, not a clearance to fly.";

/// What does not hold, what reads alike told once; then what was noticed.
fn attention(judged: &[Judged], noticed: Vec<Noticed>) -> Vec<Attention> {
    let mut out: Vec<Attention> = Vec::new();
    for one in open(judged) {
        let numbers = one.numbers.clone().map(|numbers| text![": ", numbers]);
        let says = text![one.claim.clone(), numbers];
        let about = (!one.about.is_empty()).then(|| one.about.clone());
        tell_once(
            &mut out,
            Attention {
                outcome: Some(one.outcome),
                about: about.into_iter().collect(),
                says,
            },
        );
    }
    out.extend(noticed.into_iter().map(|one| Attention {
        outcome: None,
        about: one.place.into_iter().collect(),
        says: one.says,
    }));
    out
}

/// Adds what needs attention; where the same is said already, only of what it is said.
pub(super) fn tell_once(all: &mut Vec<Attention>, one: Attention) {
    let same =
        |other: &&mut Attention| other.outcome == one.outcome && other.says.reads_as(&one.says);
    match all.iter_mut().find(same) {
        Some(known) => known.about.extend(one.about),
        None => all.push(one),
    }
}

/// A result in a table.
pub(super) fn cell(value: &At<'_, Option<Measured>>) -> Text {
    value
        .some()
        .map_or_else(|| value.missing("-"), |value| value.compact())
}
