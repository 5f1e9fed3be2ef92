//! What a picture to share tells of a firing beside its verdict: six numbers.

use crate::reduce::FiringResult;
use crate::view::at::{At, at};
use crate::view::text::{Text, text};

/// Most of them.
const MOST: usize = 6;

/// Each with its name: of the burn, or of the steering where nothing burnt.
pub(crate) fn numbers(root: &At<'_, FiringResult>) -> Vec<(Text, Text)> {
    let mut out: Vec<(Text, Text)> = Vec::new();
    if let Some(of) = at!(root.impulse).some() {
        out.push(("impulse".into(), at!(of.total_ns).compact()));
        out.push(("specific impulse".into(), at!(of.specific_s).compact()));
    }
    if let Some(of) = at!(root.burn).some() {
        out.push(("burn time".into(), at!(of.burn_time_s).compact()));
    }
    if let Some(of) = at!(root.thrust).some() {
        out.push(("average thrust".into(), at!(of.average_n).compact()));
        out.push(("peak thrust".into(), at!(of.peak_n).compact()));
    }
    if let Some(of) = at!(root.class).some() {
        out.push(("class, all motors together".into(), at!(of.letter).name()));
    }
    if out.is_empty() {
        for (name, axis) in at!(root.plant).entries() {
            let of = at!(axis.actuator);
            let dead_band = at!(of.dead_band);
            out.push((text!["gain, ", name.clone()], at!(of.gain).compact()));
            out.push((text!["lag, ", name.clone()], at!(of.lag_s).compact()));
            out.push((
                text!["dead band, ", name],
                at!(dead_band.width_deg).compact(),
            ));
        }
    }
    out.truncate(MOST);
    out
}
