//! The top of a page: what came of it in a sentence, the numbers that matter, what needs attention.

use maud::{Markup, html};

use crate::finding::Outcome;
use crate::render::verdict::Judged;
use crate::render::words::clean;

use super::parts::{outcome, signed};

/// What stands at the top of a page.
pub(super) struct Front<'a> {
    /// What the page is.
    pub title: &'a str,
    /// Of what.
    pub about: String,
    /// How it went.
    pub outcome: Outcome,
    /// The same as a sentence.
    pub says: &'a str,
    /// Each axis with a few numbers.
    pub plates: Vec<(String, Vec<(String, String)>)>,
    /// Everything judged.
    pub judged: Vec<Judged<'a>>,
}

pub(super) fn front(of: &Front<'_>) -> Markup {
    html! {
        div.opening {
            h1 { (of.title) }
            p.faint.small { (clean(&of.about)) }
            p class={ "verdict " (of.outcome.word()) } { span { (of.says) } }
            dl.plates.axes {
                @for (label, numbers) in &of.plates { (plate(label, &small_table(numbers))) }
            }
            (attention(&of.judged, &html! {}, "Nothing: every finding holds."))
        }
    }
}

/// A label with something under it.
pub(super) fn plate(label: &str, content: &Markup) -> Markup {
    html! { div.plate { dt { (label) } dd { (content) } } }
}

fn small_table(of: &[(String, String)]) -> Markup {
    html! {
        table {
            tbody {
                @for (label, value) in of {
                    tr { th scope="row" { (label) } td { (signed(value)) } }
                }
            }
        }
    }
}

/// What does not hold, each with a link to where it is told, and other list items.
pub(super) fn attention(judged: &[Judged<'_>], others: &Markup, nothing: &str) -> Markup {
    let open = || {
        let all = judged.iter();
        all.filter(|one| one.finding.outcome != Outcome::Holds)
    };
    html! {
        div.attention {
            h2 { "What needs attention" }
            @if open().next().is_none() && others.0.is_empty() {
                p { (nothing) }
            }
            ul {
                @for one in open() {
                    li {
                        (outcome(one.finding.outcome)) " "
                        span {
                            a href=(one.anchor) { (clean(&one.finding.claim)) } " "
                            span.faint { "(" (one.about) ")" }
                            @if let Some(advice) = &one.finding.advice {
                                span.faint.small { "Note: " (clean(advice)) "." }
                            }
                        }
                    }
                }
                (others)
            }
        }
    }
}
