//! Findings and warnings as a terminal shows them.

use crate::diagnostic::Warning;
use crate::finding::{Finding, Outcome};
use crate::render::number;
use crate::render::verdict::{Judged, numbers_of};
use crate::render::words::clean;

use super::layout::{Ink, hanging, hanging_at};

/// How much is told of a finding that holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Told {
    /// Rule and source, too.
    Whole,
    /// Claim and numbers; a page beside the summary has the rest.
    InShort,
}

/// One finding: outcome, claim, numbers, rule and, unless it holds, what to do.
pub(super) fn finding(
    about: &str,
    finding: &Finding,
    told: Told,
    width: usize,
    ink: Ink,
) -> String {
    let word = finding.outcome.word();
    let lead = format!("  {}{}", ink.outcome(finding.outcome, word), {
        " ".repeat(11 - word.len())
    });
    let lead_width = 13;
    let mut claim = clean(&finding.claim);
    if !about.is_empty() {
        claim = format!("{about}: {claim}");
    }
    if let Some(p) = finding.probability {
        claim += &format!(" (probability {})", number::probability(p));
    }
    let mut out = hanging_at(&lead, lead_width, &claim, width);
    let indent = " ".repeat(lead_width);
    if let Some(numbers) = numbers_of(finding) {
        out += &hanging(&indent, &numbers, width);
    }
    if told == Told::InShort && finding.outcome == Outcome::Holds {
        return out;
    }
    let rule = format!(
        "rule: {} [{}]",
        clean(&finding.rule),
        clean(&finding.source)
    );
    out += &hanging(&indent, &rule, width);
    if let Some(advice) = finding
        .advice
        .as_ref()
        .filter(|_| finding.outcome != Outcome::Holds)
    {
        out += &hanging(&format!("{indent}note: "), &clean(advice), width);
    }
    out
}

/// What does not hold, in short; nothing when all holds.
pub(super) fn attention(judged: &[Judged<'_>], width: usize, ink: Ink) -> String {
    let open = judged
        .iter()
        .filter(|one| one.finding.outcome != Outcome::Holds);
    let mut body = String::new();
    for one in open {
        let word = one.finding.outcome.word();
        let gap = " ".repeat(11 - word.len());
        let lead = format!("  {}{gap}", ink.outcome(one.finding.outcome, word));
        let text = format!("{}: {}", one.about, clean(&one.finding.claim));
        body += &hanging_at(&lead, 13, &text, width);
    }
    if body.is_empty() {
        return body;
    }
    format!("\n{}\n{body}", ink.heading("What needs attention"))
}

/// Warnings with their places and what to do.
pub(super) fn warnings(all: &[Warning], width: usize) -> String {
    let mut body = String::new();
    for warning in all {
        let place = match (&warning.file, warning.line) {
            (Some(file), Some(line)) => format!("{}, line {line}: ", clean(file)),
            (Some(file), None) => format!("{}: ", clean(file)),
            (None, _) => String::new(),
        };
        let text = format!("{place}{}", clean(&warning.text));
        body += &hanging("  - ", &text, width);
        if let Some(hint) = &warning.hint {
            body += &hanging("    to do: ", &clean(hint), width);
        }
    }
    body
}
