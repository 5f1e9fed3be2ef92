//! Texts, findings and warnings as the page writes them.

use maud::{Markup, html};

use crate::finding::Outcome;
use crate::render::number;
use crate::render::words;
use crate::view::Grade;
use crate::view::findings::{Judged, Noticed};
use crate::view::text::{Part, Shown, Text};

/// A text; an interval may move to the next line but is not torn.
pub(super) fn text(of: &Text) -> Markup {
    html! { @for part in &of.parts { (piece(part)) } }
}

fn piece(part: &Part) -> Markup {
    match part {
        Part::Judged(outcome, word) => html! { span class={ "word " (outcome.word()) } { (word) } },
        Part::Value {
            shown: Shown::Measured(measured),
            ..
        } => {
            let (value, interval) = number::parts(measured);
            html! {
                span.num.keep { (value) }
                @if let Some(interval) = interval { " " span.num.keep { (interval) } }
            }
        }
        Part::Value {
            shown: Shown::Customary(_),
            ..
        } => {
            let says = words::part(part);
            let (value, interval) = says.split_once(" (").unwrap_or((&says, ""));
            html! {
                span.num.us {
                    span.keep { (value) }
                    @if !interval.is_empty() { " " span.keep { "(" (interval) } }
                }
            }
        }
        other => {
            let says = words::part(other);
            html! { @if is_number(other) { span.num { (says) } } @else { (says) } }
        }
    }
}

fn is_number(part: &Part) -> bool {
    let Part::Value { shown, .. } = part else {
        return false;
    };
    !matches!(shown, Shown::Quote(_) | Shown::Name(_) | Shown::Missing(_))
}

/// Lines, each under the one before.
pub(super) fn lines(of: &[Text]) -> Markup {
    html! {
        @match of {
            [one] => (text(one)),
            several => @for line in several { div { (text(line)) } },
        }
    }
}

/// How a cell of a table is set: as a number, or as a text that needs room.
pub(super) fn kind(cell: &[Text]) -> &'static str {
    let mut parts = cell.iter().flat_map(|line| &line.parts);
    let number = |part: &Part| is_number(part) || matches!(part, Part::Words(_));
    if cell.len() == 1 && parts.all(number) {
        "num"
    } else {
        "text"
    }
}

/// The word of something that matters, in its colour.
pub(super) fn grade(of: Grade) -> Markup {
    let colour = of.colour().map_or("", Outcome::word);
    html! { span class={ "word " (colour) } { (of.word()) } }
}

/// One finding with its numbers, rule and source.
pub(super) fn finding(of: &Judged) -> Markup {
    html! {
        div class={ "finding " (of.outcome.word()) } {
            p {
                (grade(Grade::Judged(of.outcome))) " " (text(&of.claim))
                @if let Some(p) = &of.probability {
                    " " span.faint.num { "(probability " (text(p)) ")" }
                }
            }
            @if let Some(numbers) = &of.numbers { p.num.small { (text(numbers)) } }
            @if let Some(advice) = &of.advice { p.small { (text(advice)) "." } }
            details.rule {
                summary.small { "rule and source" }
                p.faint.small { "Rule: " (text(&of.rule)) ". Source: " (text(&of.source)) "." }
            }
        }
    }
}

/// One warning with its place and what to do.
pub(super) fn warning(of: &Noticed) -> Markup {
    html! {
        @if let Some(place) = &of.place { span.num { (text(place)) } ": " }
        (text(&of.says)) "."
        @if let Some(hint) = &of.hint { div.faint.small { (text(hint)) "." } }
    }
}
