//! A recorder at rest: its rate, its gaps, and the edge that will tie its clock.

use super::{plainly, undecided};
use crate::config::{AlignBy, Firing, LogFile};
use crate::finding::Finding;
use crate::numeric::noise::median;
use crate::plan::rest::AtRest;

/// How far the rate may lie off the one stated, as a share.
const RATE_SHARE: f64 = 0.05;
/// A step of so many median steps is a gap.
const GAP_STEPS: f64 = 4.5;
/// Rows that may be missing in gaps, as a share.
const GAP_SHARE: f64 = 0.01;
/// How far single steps may scatter about their median, as a share: the median absolute deviation.
const JITTER_SHARE: f64 = 0.25;

pub(super) fn findings(firing: &Firing, name: &str, log: &LogFile, rest: &AtRest) -> Vec<Finding> {
    let Some(record) = rest.record(name) else {
        return vec![undecided(
            "the recorder writes",
            "no recording of this log is at hand",
            "record ten seconds of the stand at rest, and give it with --rest",
        )];
    };
    let steps: Vec<f64> = record
        .segments
        .iter()
        .flat_map(|rows| {
            record.time_s[rows.clone()]
                .windows(2)
                .map(|pair| pair[1] - pair[0])
        })
        .collect();
    let mut out = Vec::new();
    let Some(step_s) = median(&steps).filter(|step| *step > 0.0) else {
        return vec![plainly(
            "the recorder's clock runs",
            false,
            "times must rise from row to row",
        )];
    };
    if let Some(stated) = firing.plan.rates_hz.get(name) {
        let holds = (1.0 / step_s / stated - 1.0).abs() <= RATE_SHARE;
        let rule = format!(
            "{:.1} Hz by the median step, {stated:.1} Hz stated; 5 % are allowed",
            1.0 / step_s
        );
        out.push(plainly("the recorder keeps its stated rate", holds, rule));
    }
    let missing: f64 = steps
        .iter()
        .filter(|step| **step > GAP_STEPS * step_s)
        .map(|step| step / step_s - 1.0)
        .sum();
    let share = missing / (steps.len() as f64 + missing);
    let rule = format!(
        "{:.2} % of the rows are missing in gaps; 1 % is allowed",
        100.0 * share
    );
    out.push(plainly(
        "the recorder leaves no gaps",
        share <= GAP_SHARE,
        rule,
    ));
    let off: Vec<f64> = steps.iter().map(|step| (step - step_s).abs()).collect();
    let jitter = median(&off).unwrap_or(0.0) / step_s;
    let rule = format!(
        "median deviation of a step {:.1} % of it; 25 % are allowed",
        100.0 * jitter
    );
    out.push(plainly(
        "the recorder's rows are even",
        jitter <= JITTER_SHARE,
        rule,
    ));
    let restarts = record.segments.len() - 1;
    let rule = format!("{restarts} restarts of the clock in the recording");
    out.push(plainly(
        "the recorder's clock does not restart",
        restarts == 0,
        rule,
    ));
    out.extend(edge(log, rest));
    out
}

/// Whether the edge that will tie the clocks shows in both logs.
fn edge(log: &LogFile, rest: &AtRest) -> Option<Finding> {
    let align = log.align.as_ref()?;
    let AlignBy::Edge { here, there } = &align.by else {
        return None;
    };
    let rises = |name: &str, column: &str| {
        let values = rest.record(name)?.columns.get(column)?;
        let known = values.iter().copied().filter(|value| value.is_finite());
        let (low, high) = known.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
            (low.min(value), high.max(value))
        });
        Some(high > low)
    };
    let both = [
        rises(&log.name, &here.value),
        rises(&align.to.value, &there.value),
    ];
    let claim = "the edge that ties the clocks shows in both logs";
    match both {
        [Some(true), Some(true)] => {
            Some(plainly(claim, true, "both columns rise in the recordings"))
        }
        [Some(one), Some(other)] if one != other => {
            let rule = "one column rises in the recordings, the other does not";
            Some(plainly(claim, false, rule).advice("look for a broken wire or a wrong column"))
        }
        _ => Some(undecided(
            claim,
            "no edge in the recordings",
            "pulse the fire line while both record, only with the igniters not connected and the interlock key out",
        )),
    }
}
