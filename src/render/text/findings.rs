//! Findings and warnings as a terminal shows them.

use crate::finding::Outcome;
use crate::render::words::plain;
use crate::view::Page;
use crate::view::findings::{Judged, Noticed};

use super::Style;
use super::layout::{hanging, hanging_at};

/// Columns of an outcome and the space around it.
pub(super) const LEAD: usize = 13;

/// An outcome before what it is about; for what has none, that it was noticed.
pub(super) fn lead(outcome: Option<Outcome>, style: Style) -> String {
    let word = outcome.map_or("noticed", Outcome::word);
    let gap = " ".repeat(LEAD - 2 - word.len());
    let word = outcome.map_or_else(
        || word.to_owned(),
        |outcome| style.ink.outcome(outcome, word),
    );
    format!("  {word}{gap}")
}

/// The claim with what it is about.
fn claim(one: &Judged) -> String {
    if one.about.is_empty() {
        return plain(&one.claim);
    }
    format!("{}: {}", plain(&one.about), plain(&one.claim))
}

/// One finding: outcome, claim, numbers, rule and, unless it holds, what to do.
fn finding(one: &Judged, style: Style) -> String {
    let width = style.width;
    let mut says = claim(one);
    if let Some(p) = &one.probability {
        says += &format!(" (probability {})", plain(p));
    }
    let mut out = hanging_at(&lead(Some(one.outcome), style), LEAD, &says, width);
    let indent = " ".repeat(LEAD);
    if let Some(numbers) = &one.numbers {
        out += &hanging(&indent, &plain(numbers), width);
    }
    let rule = format!("rule: {} [{}]", plain(&one.rule), plain(&one.source));
    out += &hanging(&indent, &rule, width);
    if let Some(advice) = &one.advice
        && one.outcome != Outcome::Holds
    {
        out += &hanging(&format!("{indent}note: "), &plain(advice), width);
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
    for (_, one) in &judged {
        out += &finding(one, style);
    }
    out
}

/// What does not hold, in short; nothing when all holds.
pub(super) fn attention(page: &Page, style: Style) -> String {
    let mut body = String::new();
    for (_, one) in page.judged() {
        if one.outcome != Outcome::Holds {
            body += &hanging_at(
                &lead(Some(one.outcome), style),
                LEAD,
                &claim(one),
                style.width,
            );
        }
    }
    if body.is_empty() {
        return body;
    }
    let heading = style.ink.heading("What needs attention");
    format!("\n{heading}\n{body}")
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
