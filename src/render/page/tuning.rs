//! `gains.html`: how it went, the gains, what they bear, what the first tick and the dead band will do.

use maud::{Markup, html};

use crate::control::GainsFile;
use crate::control::gains::{AxisGains, Robustness};
use crate::control::margins::Margins;
use crate::render::number::{NOT_AVAILABLE, significant};
use crate::render::plot::loops;
use crate::render::text::tuning::{first, gains, judged, robustness, rules, says, wobbles};
use crate::render::verdict::{name_of, worst_of};
use crate::render::words::clean;

use super::front::{Front, front};
use super::parts::{chart, findings, rows, section, sheet, signed};

/// The text of `gains.html`.
#[must_use]
pub fn page(of: &GainsFile) -> String {
    let judged = judged(of);
    let top = Front {
        title: "Gains",
        about: format!("for the plant in {}", of.plant),
        outcome: worst_of(&judged),
        says: &says(&judged),
        plates: of
            .axes
            .iter()
            .map(|(name, axis)| plate(name, axis))
            .collect(),
        judged,
    };
    let content = html! {
        (front(&top))
        @for (nth, (name, axis)) in of.axes.iter().enumerate() { (one(nth, name, axis)) }
        p { (clean(&of.caution)) }
    };
    document("Gains", "gains.json", &content)
}

/// A page of its own around some content.
pub(super) fn document(title: &str, json: &str, content: &Markup) -> String {
    let main = html! {
        (content)
        footer { "Written by burnwright. The same numbers, unrounded, are in " (json) "." }
    };
    sheet(title, &main)
}

/// Rows of text as a table.
pub(super) fn told(of: Vec<(String, String)>) -> Markup {
    let lines: Vec<(String, Markup)> = of
        .into_iter()
        .map(|(label, text)| (label, html! { (signed(&text)) }))
        .collect();
    rows(&lines)
}

fn plate(name: &str, axis: &AxisGains) -> (String, Vec<(String, String)>) {
    let of = &axis.controller;
    let s = |value: f64| significant(value, 4);
    let mut out = vec![
        ("kp".to_owned(), s(of.kp)),
        ("ki".to_owned(), format!("{} 1/s", s(of.ki_per_s))),
        ("kd".to_owned(), format!("{} s", s(of.kd_s))),
    ];
    if let Some(chosen) = axis.compared.iter().find(|one| one.chosen) {
        let phase = chosen.fifth_percentile.phase_deg;
        let text = phase
            .filter(|_| chosen.fifth_percentile.stable)
            .map_or_else(
                || NOT_AVAILABLE.to_owned(),
                |deg| format!("{} deg for 95 % of plants", significant(deg, 3)),
            );
        out.push(("gains".to_owned(), clean(&chosen.gains)));
        out.push(("phase margin".to_owned(), text));
    }
    if let Some(own) = axis.first_tick.iter().find(|one| one.start == axis.start) {
        let text = format!(
            "{} deg, {} % initialisation",
            significant(own.command_deg, 3),
            significant(100.0 * own.initialisation_share, 3)
        );
        out.push(("first command".to_owned(), text));
    }
    (format!("Axis {}", name_of(name)), out)
}

fn one(nth: usize, name: &str, axis: &AxisGains) -> Markup {
    let content = html! {
        (told(gains(axis)))
        (chart("Gain of the open loop against its phase", loops::open_loop(axis).as_ref()))
        (chart(
            "Tilt after a steady push as large as one degree of nozzle",
            loops::push(axis).as_ref(),
        ))
        @for one in &axis.compared {
            h3 { "Gains " (clean(&one.gains)) @if one.chosen { ", handed over" } }
            (margins(one))
            (told(robustness(one)))
        }
        h3 { "First command, by way of starting" }
        (chart("The first commands in the closed loop", loops::first(axis).as_ref()))
        (told(first(axis)))
        h3 { "Wobble to expect from the dead band" }
        (told(wobbles(&axis.wobble)))
        h3 { "Published rules" }
        (told(rules(&axis.rules)))
        h3 id={ "findings-" (nth + 1) } { "Findings" }
        (findings(&axis.findings))
    };
    section(
        &format!("axis-{}", nth + 1),
        &format!("Axis {}", name_of(name)),
        "Margins are of the sampled loop with its delay, each at the worst thrust of the range: of the \
         best estimate, of 95 % of plants drawn from the covariance, and the worst of all. In the picture \
         of gain against phase the loop has to pass around the diamond.",
        &content,
    )
}

/// Margin, least, best estimate, 95 % of plants, worst.
fn margins(of: &Robustness) -> Markup {
    type Get = fn(&Margins) -> Option<f64>;
    let lines: [(&str, &str, &str, Get); 5] = [
        ("phase", "deg", "at least 30 deg", |of| of.phase_deg),
        ("gain up", "", "at least 2", |of| of.gain_up),
        ("gain down", "", "at most two thirds", |of| of.gain_down),
        ("delay", "s", "at least one period", |of| of.delay_s),
        ("sensitivity peak", "", "at most 2", |of| {
            Some(of.sensitivity_peak)
        }),
    ];
    let cell = |of: &Margins, get: Get, unit: &str| {
        if !of.stable {
            return "not stable".to_owned();
        }
        let text = get(of).map_or_else(|| "any".to_owned(), |value| significant(value, 3));
        format!("{text} {unit}").trim_end().to_owned()
    };
    html! {
        div.scroll {
            table.columns {
                thead {
                    tr { th { "margin" } th { "best estimate" } th { "95 % of plants" } th { "worst" } }
                }
                tbody {
                    @for (label, unit, least, get) in lines {
                        tr {
                            td { (label) br; span.faint.small { (least) } }
                            @for margins in [&of.nominal, &of.fifth_percentile, &of.worst] {
                                td.num { (signed(&cell(margins, get, unit))) }
                            }
                        }
                    }
                }
            }
        }
    }
}
