//! Simulated flights for a terminal.

use crate::flight::result::{AxisSimulation, FlightResult};
use crate::flight::{Many, Replay, SimulationFile};
use crate::render::number::significant;
use crate::render::verdict::{Judged, how_it_went, judged_axes, name_of, worst_of};
use crate::render::words::clean;

use super::findings::{Told, attention, finding};
use super::layout::{Ink, hanging, headed, table};
use super::{NARROWEST, Rows};

/// The simulation as text, at most `width` columns wide. The first line says how it went.
#[must_use]
pub fn flown(of: &SimulationFile, width: usize, colour: bool) -> String {
    let width = width.max(NARROWEST);
    let ink = Ink { colour };
    let judged = judged(of);
    let mut out = format!("{}\n", ink.outcome(worst_of(&judged), &says(&judged)));
    out += &attention(&judged, width, ink);
    for (name, axis) in &of.axes {
        let mut section = |heading: &str, rows: &Rows| {
            let heading = format!("Axis {}: {heading}", name_of(name));
            out += &format!("\n{}{}", headed(&heading, width, ink), table(rows, width));
        };
        let heading = axis.nominal.run.map_or_else(
            || "best estimate of everything".to_owned(),
            |run| format!("run {run}"),
        );
        section(&heading, &one(axis, &axis.nominal));
        if let Some(many) = &axis.many {
            section("everything drawn", &drawn(many));
        }
        if let Some(replay) = &axis.replay {
            section("the captive firing again", &again(replay));
        }
        out += &format!("\n{}\n", ink.heading("Findings"));
        for judged in &axis.findings {
            out += &finding(
                &format!("axis {}", name_of(name)),
                judged,
                Told::Whole,
                width,
                ink,
            );
        }
    }
    out += &format!("\n{}\n", ink.heading("Left out"));
    for what in &of.left_out {
        out += &hanging("  - ", &clean(what), width);
    }
    out += "\n";
    out += &hanging("", &clean(&of.caution), width);
    out
}

/// Everything judged; used by the page as well.
pub(in crate::render) fn judged(of: &SimulationFile) -> Vec<Judged<'_>> {
    judged_axes(
        of.axes
            .iter()
            .map(|(name, axis)| (name, &axis.findings[..])),
    )
}

/// How it went, as a sentence.
pub(in crate::render) fn says(judged: &[Judged<'_>]) -> String {
    how_it_went("Flown", judged)
}

/// One flight; used by the page as well.
pub(in crate::render) fn one(axis: &AxisSimulation, of: &FlightResult) -> Rows {
    let s = |value: f64| significant(value, 3);
    let mut rows: Rows = vec![
        (
            "released".into(),
            format!("{} s after ignition", s(axis.release_s)),
        ),
        (
            "largest tilt".into(),
            format!("{} deg", s(of.largest_tilt_deg)),
        ),
        (
            "tilt at the end of thrust".into(),
            format!("{} deg", s(of.last_tilt_deg)),
        ),
        (
            "largest command".into(),
            format!("{} deg", s(of.largest_command_deg)),
        ),
        (
            "command at its limit".into(),
            format!("{} % of ticks", s(100.0 * of.at_limit)),
        ),
    ];
    if let (Some(altitude), Some(drift)) = (of.altitude_m, of.drift_m) {
        rows.push((
            "altitude at the end of thrust".into(),
            format!("{} m", s(altitude)),
        ));
        rows.push((
            "drift at the end of thrust".into(),
            format!("{} m", s(drift)),
        ));
    }
    rows
}

/// Many flights; used by the page as well.
pub(in crate::render) fn drawn(of: &Many) -> Rows {
    let s = |value: f64| significant(value, 3);
    let of_100 = |p: &crate::flight::monte_carlo::Percentiles, unit: &str| {
        format!(
            "half below {}, 95 % below {}, one in a hundred above {}, largest {} {unit}",
            s(p.p50),
            s(p.p95),
            s(p.p99),
            s(p.largest)
        )
    };
    let mut rows: Rows = vec![
        (
            "beyond the limit".into(),
            format!(
                "{} of {} flights beyond {} deg: {} % ({} to {})",
                of.beyond,
                of.runs,
                s(of.tilt_limit_deg),
                s(100.0 * of.share_beyond),
                s(100.0 * of.share_interval[0]),
                s(100.0 * of.share_interval[1])
            ),
        ),
        ("largest tilt".into(), of_100(&of.largest_tilt_deg, "deg")),
    ];
    if let Some(drift) = &of.drift_m {
        rows.push(("drift".into(), of_100(drift, "m")));
    }
    rows.push((
        "worst flight".into(),
        format!("--seed {} --run {}", of.seed, of.worst_run),
    ));
    rows
}

/// The replay; used by the page as well.
pub(in crate::render) fn again(of: &Replay) -> Rows {
    let s = |value: f64| significant(value, 3);
    vec![
        (
            "recorded".into(),
            format!("up to {} deg of tilt", s(of.recorded_largest_deg)),
        ),
        (
            "recorded commands, ahead".into(),
            format!(
                "over {} s {} deg off (root mean square), {} deg when the rate is kept: {} % explained",
                s(of.horizon_s),
                s(of.ahead_rms_deg),
                s(of.keeps_rate_rms_deg),
                s(of.ahead_explains_percent)
            ),
        ),
        (
            "recorded commands, open loop".into(),
            format!(
                "{} deg off, {} % of the movement explained; a wrong first rate and a standing push leave {} \
                 deg of it",
                s(of.open_rms_deg),
                s(of.open_explains_percent),
                s(of.open_without_drift_rms_deg)
            ),
        ),
        (
            "with the measured push".into(),
            format!(
                "{} deg off; the push is {} rad/s2 in the mean, with a standard deviation of {} rad/s2",
                s(of.with_push_rms_deg),
                s(of.push_mean_rad_s2),
                s(of.push_sd_rad_s2)
            ),
        ),
        (
            "new gains under that push".into(),
            format!("up to {} deg of tilt", s(of.closed_largest_deg)),
        ),
    ]
}
