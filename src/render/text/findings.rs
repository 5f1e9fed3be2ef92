//! Findings and warnings as a terminal shows them.

use crate::finding::Outcome;
use crate::render::words::plain;
use crate::view::findings::{Judged, Noticed};
use crate::view::{Grade, Page};

use super::Style;
use super::layout::{hanging, hanging_at};

/// Columns of an outcome and the space around it.
pub(super) const LEAD: usize = 13;

/// How much something matters, before what it is about.
pub(super) fn lead(grade: Grade, style: Style) -> String {
    let word = grade.word();
    let gap = " ".repeat(LEAD - 2 - word.len());
    let colour = grade.colour();
    let word = colour.map_or_else(|| word.to_owned(), |of| style.ink.outcome(of, word));
    format!("  {word}{gap}")
}

/// One finding: outcome, claim, numbers, rule and, unless it holds, what to do.
fn finding(one: &Judged, style: Style) -> String {
    let width = style.width;
    let mut says = plain(&one.claim);
    if !one.about.is_empty() {
        says = format!("{}: {says}", plain(&one.about));
    }
    if let Some(p) = &one.probability {
        says += &format!(" (probability {})", plain(p));
    }
    let mut out = hanging_at(&lead(Grade::Judged(one.outcome), style), LEAD, &says, width);
    let indent = " ".repeat(LEAD);
    if let Some(numbers) = &one.numbers {
        out += &hanging(&indent, &plain(numbers), width);
    }
    let rule = format!("rule: {} [{}]", plain(&one.rule), plain(&one.source));
    out += &hanging(&indent, &rule, width);
    if let Some(advice) = &one.advice
        && one.outcome != Outcome::Holds
    {
        out += &hanging(&indent, &plain(advice), width);
    }
    out
}

/// Every finding, worst first.
pub(super) fn findings(page: &Page, style: Style) -> String {
    let judged = page.judged();
    if judged.is_empty() {
        return String::new();
    }
    let mut out = format!("\n{}\n", style.ink.heading("Findings"));
    for one in judged {
        out += &finding(one, style);
    }
    out
}

/// Warnings with their places and what to do.
pub(super) fn warnings(all: &[Noticed], width: usize) -> String {
    let mut out = String::new();
    for one in all {
        let says = match &one.place {
            Some(place) => format!("{}: {}", plain(place), plain(&one.says)),
            None => plain(&one.says),
        };
        out += &hanging("  - ", &says, width);
        if let Some(hint) = &one.hint {
            out += &hanging("    to do: ", &plain(hint), width);
        }
    }
    out
}
