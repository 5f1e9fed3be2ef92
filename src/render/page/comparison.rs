//! `compare.html`: several firings side by side.

use maud::{Markup, html};

use crate::compare::{Compared, Comparison};
use crate::render::number::{self, NOTATION};
use crate::render::plot::mean_curve::mean_curve;
use crate::render::text::comparison::{judged, says, scatter};
use crate::render::verdict::worst_of;
use crate::render::words::clean;

use super::front::{Front, front};
use super::parts::{chart, findings, quantity, rows, section, sheet, signed};

/// Quantities that stand at the top: the first are those that a maker asks for first.
const PLATES: usize = 3;

/// The text of `compare.html`.
#[must_use]
pub fn page(of: &Comparison) -> String {
    let judged = judged(of);
    let says = says(of, &judged);
    let top = Front {
        title: "Firings compared",
        about: "Mean, spread, drift, the odd one".to_owned(),
        outcome: worst_of(&judged),
        says: &says,
        plates: plates(of),
        judged,
    };
    let main = html! {
        (front(&top))
        p.faint.small style="margin-top:14px" { (NOTATION) }
        (firings(of))
        (curve(of))
        @for one in of.quantities.iter().filter(|one| one.of.iter().any(Option::is_some)) {
            (one_quantity(of, one))
        }
        (section("findings", "Findings", "Each claim with its rule and source.", &findings(&of.findings)))
        footer { "Written by burnwright. The same numbers, unrounded, are in compare.json." }
    };
    sheet("Firings compared", &main)
}

/// Each quantity with its mean and its spread.
fn plates(of: &Comparison) -> Vec<(String, Vec<(String, String)>)> {
    let with_spread = of.quantities.iter();
    with_spread
        .filter_map(|one| {
            let spread = one.spread.as_ref()?;
            let rows = vec![
                ("mean".to_owned(), number::measured(&spread.mean)),
                ("spread".to_owned(), number::measured(&spread.sample_sd)),
            ];
            Some((capital(&one.name), rows))
        })
        .take(PLATES)
        .collect()
}

fn firings(of: &Comparison) -> Markup {
    let content = html! {
        ol { @for one in &of.firings {
            li { (clean(&one.title)) @if let Some(date) = &one.date { ", " (clean(date)) } }
        } }
        @for one in &of.failed { p { (clean(&one.file)) " could not be reduced and is left out." } }
    };
    section(
        "firings",
        "Firings",
        "In the order they were named.",
        &content,
    )
}

fn curve(of: &Comparison) -> Markup {
    let picture = of.curve.as_ref().and_then(mean_curve);
    let content = html! { (chart("Mean thrust of all firings", picture.as_ref())) };
    if picture.is_none() {
        return html! {};
    }
    section(
        "curve",
        "Mean curve",
        "Every firing begins at its own ignition and counts the same. The band is one sample standard \
         deviation between firings either side.",
        &content,
    )
}

fn one_quantity(of: &Comparison, one: &Compared) -> Markup {
    let mut lines: Vec<(String, Markup)> = of
        .firings
        .iter()
        .zip(&one.of)
        .enumerate()
        .map(|(nth, (firing, value))| {
            let label = format!("{} {}", nth + 1, clean(&firing.title));
            (label, quantity(value.as_ref()))
        })
        .collect();
    if let Some(spread) = &one.spread {
        let more = scatter(spread);
        lines.extend(
            more.into_iter()
                .map(|(label, text)| (label, html! { (signed(&text)) })),
        );
    }
    let id = one.name.replace(' ', "-");
    section(
        &id,
        &capital(&one.name),
        "Between firings is the spread that measuring does not explain.",
        &rows(&lines),
    )
}

fn capital(name: &str) -> String {
    let mut letters = name.chars();
    letters.next().map_or_else(
        || number::NOT_AVAILABLE.to_owned(),
        |first| first.to_uppercase().chain(letters).collect(),
    )
}
