//! Gains for a terminal.

use crate::control::gains::{AxisGains, Robustness, RuleResult, Wobble};
use crate::control::margins::Margins;
use crate::control::{GainsFile, start_up::FirstTick};
use crate::render::number::{NOT_AVAILABLE, significant};
use crate::render::verdict::{Judged, how_it_went, judged_axes, name_of, worst_of};
use crate::render::words::clean;

use super::findings::{Told, attention, finding};
use super::layout::{Ink, hanging, headed, table};
use super::{NARROWEST, Rows};

/// The design as text, at most `width` columns wide. The first line says how it went.
#[must_use]
pub fn tuned(of: &GainsFile, width: usize, colour: bool) -> String {
    let width = width.max(NARROWEST);
    let ink = Ink { colour };
    let mut out = String::new();
    let judged = judged(of);
    out += &format!("{}\n", ink.outcome(worst_of(&judged), &says(&judged)));
    out += &attention(&judged, width, ink);
    for (name, axis) in &of.axes {
        let mut section = |heading: &str, rows: &Rows| {
            let heading = format!("Axis {}: {heading}", name_of(name));
            out += &format!("\n{}{}", headed(&heading, width, ink), table(rows, width));
        };
        section("gains", &gains(axis));
        for one in &axis.compared {
            let handed = if one.chosen { ", handed over" } else { "" };
            let rows = [robustness(one), bears(one)].concat();
            section(&format!("gains {}{handed}", one.gains), &rows);
        }
        section("wobble to expect", &wobbles(&axis.wobble));
        section("first command", &first(axis));
        section("published rules", &rules(&axis.rules));
        out += &format!("\n{}\n", ink.heading("Findings"));
        for one in &axis.findings {
            out += &finding(
                &format!("axis {}", name_of(name)),
                one,
                Told::Whole,
                width,
                ink,
            );
        }
    }
    out += "\n";
    out += &hanging("", &clean(&of.caution), width);
    out
}

/// Everything judged; used by the page as well.
pub(in crate::render) fn judged(of: &GainsFile) -> Vec<Judged<'_>> {
    judged_axes(
        of.axes
            .iter()
            .map(|(name, axis)| (name, &axis.findings[..])),
    )
}

/// How it went, as a sentence.
pub(in crate::render) fn says(judged: &[Judged<'_>]) -> String {
    how_it_went("Gains found", judged)
}

/// The controller; used by the page as well.
pub(in crate::render) fn gains(axis: &AxisGains) -> Rows {
    let of = &axis.controller;
    let s = |value: f64| significant(value, 4);
    let mut rows: Rows = vec![
        ("for the".into(), axis.body.word().into()),
        ("kp".into(), format!("{} deg per deg", s(of.kp))),
        ("ki".into(), format!("{} 1/s", s(of.ki_per_s))),
        ("kd".into(), format!("{} s", s(of.kd_s))),
        ("derivative from".into(), of.derivative.word().into()),
        ("filter".into(), format!("{} s", s(of.filter_s))),
        ("period".into(), format!("{} s", s(of.period_s))),
        (
            "limit".into(),
            format!("{} deg either side", s(of.limit_deg)),
        ),
        ("tracking time".into(), format!("{} s", s(of.tracking_s))),
        ("start fades in".into(), format!("{} s", s(of.glide_s))),
        (
            "thrust".into(),
            format!("{} to {} N", s(axis.thrust_n[0]), s(axis.thrust_n[1])),
        ),
    ];
    if let Some(slew) = of.slew_deg_s {
        rows.push(("fastest change".into(), format!("{} deg/s", s(slew))));
    }
    if let Some(schedule) = &axis.schedule {
        let text = format!("follow thrust, 1 at {} N", s(schedule.reference_n));
        rows.push(("gains".into(), text));
    }
    for what in &axis.left_out {
        rows.push(("left out, not known".into(), clean(what)));
    }
    rows
}

/// Margins in one line.
pub(in crate::render) fn margins(of: &Margins) -> String {
    if !of.stable {
        return "not stable".to_owned();
    }
    let or =
        |value: Option<f64>| value.map_or_else(|| NOT_AVAILABLE.to_owned(), |v| significant(v, 3));
    format!(
        "phase {} deg, gain up {} down {}, delay {} s, sensitivity peak {}",
        or(of.phase_deg),
        or(of.gain_up),
        or(of.gain_down),
        or(of.delay_s),
        significant(of.sensitivity_peak, 3)
    )
}

/// What gains bear, line by line; the page has a table of it.
fn bears(of: &Robustness) -> Rows {
    vec![
        ("best estimate".into(), margins(&of.nominal)),
        ("95 % of plants".into(), margins(&of.fifth_percentile)),
        ("worst".into(), margins(&of.worst)),
    ]
}

/// A design besides its margins; used by the page as well.
pub(in crate::render) fn robustness(of: &Robustness) -> Rows {
    let c = &of.controller;
    let mut rows: Rows = vec![
        (
            "kp, ki, kd".into(),
            format!(
                "{}, {} 1/s, {} s",
                significant(c.kp, 4),
                significant(c.ki_per_s, 4),
                significant(c.kd_s, 4)
            ),
        ),
        (
            "plants drawn".into(),
            format!(
                "{}, share stable {}",
                of.draws,
                significant(of.stable_share, 4)
            ),
        ),
        (
            "tilt after a push".into(),
            format!(
                "{} deg s^(1/2) for one degree of nozzle",
                significant(of.disturbance, 3)
            ),
        ),
    ];
    if let Some(corner) = &of.unstable_corner {
        rows.push(("unstable".into(), clean(corner)));
    }
    rows
}

/// The wobble; used by the page as well.
pub(in crate::render) fn wobbles(of: &[Wobble]) -> Rows {
    of.iter()
        .map(|one| {
            let text = match (&one.cycle, one.tilt_deg) {
                (Some(cycle), Some(tilt_deg)) => format!(
                    "tilt {} deg, command {} deg, {} rad/s",
                    significant(tilt_deg, 3),
                    significant(cycle.command_deg, 3),
                    significant(cycle.rad_s, 3)
                ),
                _ => "none".to_owned(),
            };
            (format!("at {} N", significant(one.thrust_n, 3)), text)
        })
        .collect()
}

/// First commands; used by the page as well.
pub(in crate::render) fn first(axis: &AxisGains) -> Rows {
    let one = |of: &FirstTick| {
        let text = format!(
            "{} deg at a tilt of {} deg ({} % of the limit), {} % of it initialisation, which tilts by {} deg",
            significant(of.command_deg, 3),
            significant(of.tilt_deg, 3),
            significant(100.0 * of.share_of_limit, 3),
            significant(100.0 * of.initialisation_share, 3),
            significant(of.kick_tilt_deg, 2)
        );
        let chosen = if of.start == axis.start {
            ", judged"
        } else {
            ""
        };
        (format!("{}{chosen}", of.start.words()), text)
    };
    axis.first_tick.iter().map(one).collect()
}

/// Published rules; used by the page as well. Those refused for the same reason share a line.
pub(in crate::render) fn rules(of: &[RuleResult]) -> Rows {
    let mut out: Rows = vec![];
    for one in of {
        let (label, text) = rule(one);
        match out.last_mut() {
            Some((labels, before)) if one.refused.is_some() && *before == text => {
                *labels += &format!(", {label}");
            }
            _ => out.push((label, text)),
        }
    }
    out
}

fn rule(of: &RuleResult) -> (String, String) {
    let time = |value: Option<f64>| {
        value.map_or_else(
            || "none".to_owned(),
            |value| format!("{} s", significant(value, 4)),
        )
    };
    let text = match (&of.settings, &of.refused, &of.margins) {
        (Some(ideal), _, Some(found)) => format!(
            "K {}, Ti {}, Td {}; {}",
            significant(ideal.kp, 4),
            time(ideal.ti_s),
            time(ideal.td_s),
            margins(found)
        ),
        (_, Some(why), _) => format!("refused: {}", clean(why)),
        _ => NOT_AVAILABLE.to_owned(),
    };
    (clean(&of.rule), text)
}
