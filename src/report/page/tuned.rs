//! `gains.html`: the gains, what they bear, what the first tick and the dead band will do.

use maud::{Markup, html};

use crate::control::GainsFile;
use crate::control::gains::AxisGains;
use crate::report::text::tuned::{first, gains, robustness, rules, wobbles};
use crate::report::verdict::name_of;
use crate::report::words::clean;

use super::parts::{findings, rows, section, sheet, signed};

/// The text of `gains.html`.
#[must_use]
pub fn page(of: &GainsFile) -> String {
    let content = html! {
        @for (nth, (name, axis)) in of.axes.iter().enumerate() { (one(nth, name, axis)) }
        p { (clean(&of.caution)) }
    };
    document("Gains", "gains.json", &content)
}

/// A page of its own around some content.
pub(super) fn document(title: &str, json: &str, content: &Markup) -> String {
    let main = html! {
        h1 { (title) }
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

fn one(nth: usize, name: &str, axis: &AxisGains) -> Markup {
    let content = html! {
        (told(gains(axis)))
        @for one in &axis.compared {
            h3 { "Gains " (clean(&one.gains)) @if one.chosen { ", handed over" } }
            (told(robustness(one)))
        }
        h3 { "Wobble to expect from the dead band" }
        (told(wobbles(&axis.wobble)))
        h3 { "First command, by way of starting" }
        (told(first(&axis.first_tick)))
        h3 { "Published rules" }
        (told(rules(&axis.rules)))
        (findings(&axis.findings))
    };
    section(
        &format!("axis-{}", nth + 1),
        &format!("Axis {}", name_of(name)),
        "Margins are of the sampled loop with its delay, each at the worst thrust of the range: of the \
         best estimate, of 95 in 100 plants drawn from the covariance, and the worst of all.",
        &content,
    )
}
