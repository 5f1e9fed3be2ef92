//! What is said of the stand's ringing once the burn was measured: for the results, and whether the sources agree.
//!
//! Two sources of a mode agree when the part of the ringing that the wrong one would put back is below a tenth
//! (the head of [`super::stand`]).

use indexmap::IndexMap;

use super::measure::Burn;
use super::stand::Stand;
use super::{ModeFrom, StandReport};
use crate::diagnostic::{Code, Diagnostic};
use crate::finding::{COMMON_PRACTICE, Finding};
use crate::quantity::Measured;

/// Relative difference of two frequencies, and difference of two damping ratios, that put back a
/// tenth of the ringing.
const A_TENTH: f64 = 0.05;

/// For the results; `None` when nothing is known.
#[must_use]
pub(crate) fn report(stand: &Stand, burn: Option<&Burn>) -> Option<StandReport> {
    let record = burn.and_then(|burn| burn.ringing.as_ref());
    let known = stand.mode().map(|(_, from)| from);
    let from = known.or(record.map(|_| ModeFrom::Record))?;
    let source = match from {
        ModeFrom::Stated => None,
        ModeFrom::Tap => stand.tap.as_ref(),
        ModeFrom::Record => record,
    };
    let stated = || (stand.stated_hz.clone(), stand.damping().cloned());
    let (hz, damping) = source.map_or_else(stated, |ringing| {
        (
            Some(ringing.natural_hz.clone()),
            Some(ringing.damping.clone()),
        )
    });
    let correction = burn.and_then(|burn| burn.correction);
    Some(StandReport {
        natural_frequency_hz: hz,
        damping_ratio: damping,
        from,
        each_cell_hz: burn.map_or_else(IndexMap::new, |burn| burn.each_cell_hz.clone()),
        decays: source.map(|ringing| ringing.decays),
        decrement_damping_ratio: source.and_then(|ringing| ringing.decrement_damping),
        peak_changed_n: correction.map(|change| change.peak_n),
        ignition_changed_s: correction.and_then(|change| change.ignition_s),
        bandwidth_hz: burn.and_then(|burn| burn.description.correction.as_ref()?.bandwidth_hz()),
    })
}

/// Whether the sources agree.
#[must_use]
pub(crate) fn findings(stand: &Stand, burn: Option<&Burn>) -> Vec<Finding> {
    let record = burn.and_then(|burn| burn.ringing.as_ref());
    let mut out = Vec::new();
    let taps = stand.tap.as_ref().map(|tap| (tap, "the taps"));
    let record = record.map(|record| (record, "the ringing in the record"));
    for (seen, name) in [taps, record].into_iter().flatten() {
        if let Some(stated) = &stand.stated_hz {
            let within = A_TENTH * stated.value;
            let claim = format!("the stated natural frequency agrees with {name}");
            out.push(agrees(claim, stated, &seen.natural_hz, within));
        }
        if let Some(stated) = &stand.stated_damping {
            let claim = format!("the stated damping ratio agrees with {name}");
            out.push(agrees(claim, stated, &seen.damping, A_TENTH));
        }
    }
    out
}

/// A stated value against one that was seen.
pub(crate) fn agrees(claim: String, stated: &Measured, seen: &Measured, within: f64) -> Finding {
    let apart = Measured::normal(
        stated.value - seen.value,
        stated.u.hypot(seen.u),
        stated.unit,
    );
    Finding::within(
        claim,
        apart,
        [Some(-within), Some(within)],
        "stated less seen, within what puts back a tenth of the ringing",
        COMMON_PRACTICE,
    )
    .advice("tap the rig with the motors in it, at the place where they push")
}

/// Readings slower than this hardly show ringing beside their own step, s.
const FAST_STEP_S: f64 = 0.005;

/// Nothing is known of the stand, and the readings are fast enough to carry its ringing: intervals
/// of edges and peak then count only what swings beyond chance (docs/coverage.md).
#[must_use]
pub(crate) fn unknown(report: Option<&StandReport>, burn: Option<&Burn>) -> Option<Diagnostic> {
    let fast = burn?.trace.thrust.step_s()? < FAST_STEP_S;
    let message = "the stand's natural frequency is not known: burn times and peak may carry its \
                   ringing, of which their intervals count what the record shows";
    (report.is_none() && fast).then(|| {
        Diagnostic::warning(Code::StandUnknown, message).hint(
            "tap the rig, record it, and give tap = { log = \"..\", column = \"..\" } in [stand]",
        )
    })
}
