//! Findings about the firing as a whole, warnings, cautions.

use maud::{Markup, html};

use crate::diagnostic::Warning;
use crate::reduce::FiringResult;
use crate::render::words::clean;

use super::parts::{self, missing, section};

pub(super) fn findings(result: &FiringResult) -> Markup {
    let content = html! {
        @if result.findings.is_empty() { (missing("There are none beside those above.")) }
        (parts::findings(&result.findings))
    };
    section(
        "findings",
        "Findings",
        "A claim holds when it is true with at least 95 % probability and fails when it is false \
         with at least 95 %. In between the record cannot tell.",
        &content,
    )
}

pub(super) fn warnings(result: &FiringResult) -> Markup {
    let content = html! {
        @if result.warnings.is_empty() { (missing("There are none.")) }
        ul.plain { @for warning in &result.warnings { (one(warning)) } }
    };
    section(
        "warnings",
        "Warnings",
        "What was noticed on the way. The numbers stand, but look at these before you trust them.",
        &content,
    )
}

fn one(warning: &Warning) -> Markup {
    html! {
        li {
            @if let Some(file) = &warning.file {
                span.num {
                    (clean(file))
                    @if let Some(line) = warning.line { ", line " (line) }
                } ": "
            }
            (clean(&warning.text)) "."
            @if let Some(hint) = &warning.hint { div.faint.small { "To do: " (clean(hint)) "." } }
        }
    }
}

pub(super) fn cautions(result: &FiringResult) -> Markup {
    let content = html! {
        ul.plain {
            @for caution in &result.cautions {
                li { (clean(&caution.text)) " " span.faint.small { (clean(&caution.source)) } }
            }
        }
    };
    section(
        "cautions",
        "Cautions",
        "Quoted practice, never permission.",
        &content,
    )
}
