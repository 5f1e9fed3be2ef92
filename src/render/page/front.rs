//! The first screen: what came of it in a sentence, what could hurt somebody, the picture, the numbers that
//! matter beside it, what needs attention.

use maud::{Markup, html};

use crate::finding::Outcome;
use crate::render::number::BRIEF_NOTATION;
use crate::render::words::plain;
use crate::view::text::Text;
use crate::view::{Content, Page, Table};

use super::findings_id;
use super::parts::{outcome, text};
use super::pictures::Draw;

pub(super) fn front(page: &Page, draw: Draw<'_>) -> Markup {
    let contents = &page.first.contents;
    let pictures: Vec<Markup> = contents
        .iter()
        .filter_map(|one| match one {
            Content::Picture(picture, caption) => Some(draw(picture)?.figure(&plain(caption))),
            _ => None,
        })
        .collect();
    let beside: Vec<&Content> = contents
        .iter()
        .filter(|one| !matches!(one, Content::Picture(..)))
        .collect();
    html! {
        div.opening #answer {
            p.faint.small { (text(&page.about)) }
            h1 { (text(&page.title)) }
            p class={ "verdict " (page.outcome.word()) } {
                span { (plain(&page.says)) }
                @if let Some(delivered) = &page.delivered { " " span.keep-in { (plain(delivered)) } }
            }
            @if let Some(danger) = &page.first.danger { p.danger role="alert" { (text(danger)) } }
            // Two pictures fill a screen: what needs attention must not lie behind them.
            @if pictures.len() > 1 { (attention(page)) }
            div.glance.plain[pictures.is_empty()] {
                @if !pictures.is_empty() { div.pictures { @for one in &pictures { (one) } } }
                div.beside {
                    @for one in beside { (numbers(one)) }
                    @if page.intervals { p.faint.small { (BRIEF_NOTATION) } }
                }
            }
            @if pictures.len() <= 1 { (attention(page)) }
        }
    }
}

/// Numbers that stand beside the picture: a table of one row as names and values.
fn numbers(of: &Content) -> Markup {
    match of {
        Content::Table(table) if table.rows.len() == 1 && table.heads.len() > 2 => plates(table),
        Content::Table(table) if table.rows.len() <= 2 && table.heads.len() > 4 => turned(table),
        other => super::content("", other, &|_| None),
    }
}

fn plates(table: &Table) -> Markup {
    html! {
        dl.plates {
            @for (head, cell) in table.heads.iter().zip(table.rows.iter().flatten()) {
                div { dt { (text(head)) } dd.num { (super::parts::lines(cell)) } }
            }
        }
    }
}

/// A wide table of few rows on its side: beside a picture there is room for it.
fn turned(table: &Table) -> Markup {
    html! {
        div.scroll {
            table.turned {
                tbody {
                    @for (nth, head) in table.heads.iter().enumerate() {
                        tr {
                            th scope="row" { (text(head)) }
                            @for row in &table.rows {
                                @if let Some(cell) = row.get(nth) { td { (super::parts::lines(cell)) } }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// One thing that needs attention, with where it is told: once for each of what it is about.
struct Open<'a> {
    word: Option<Outcome>,
    says: &'a Text,
    advice: Option<&'a Text>,
    places: Vec<(&'a Text, String)>,
}

/// What does not hold and what was noticed; what reads alike is told once.
fn open(page: &Page) -> Vec<Open<'_>> {
    let mut out: Vec<Open<'_>> = Vec::new();
    for (section, one) in page.judged() {
        let place = (&one.about, findings_id(&section.id));
        let alike = |other: &&mut Open<'_>| {
            let advice = match (other.advice, &one.advice) {
                (Some(a), Some(b)) => a.reads_as(b),
                (a, b) => a.is_none() && b.is_none(),
            };
            advice && other.word == Some(one.outcome) && other.says.reads_as(&one.claim)
        };
        match out.iter_mut().find(alike) {
            _ if one.outcome == Outcome::Holds => {}
            Some(known) => known.places.push(place),
            None => out.push(Open {
                word: Some(one.outcome),
                says: &one.claim,
                advice: one.advice.as_ref(),
                places: vec![place],
            }),
        }
    }
    out.extend(page.noticed().map(|(section, one)| Open {
        word: None,
        says: &one.says,
        advice: one.hint.as_ref(),
        places: vec![(&one.says, section.id.clone())],
    }));
    out
}

fn attention(page: &Page) -> Markup {
    let open = open(page);
    html! {
        div.attention {
            h2 { "What needs attention" }
            @if open.is_empty() { p { "Nothing: every finding holds and there is no warning." } }
            ul { @for one in &open { (entry(one)) } }
        }
    }
}

fn entry(of: &Open<'_>) -> Markup {
    html! {
        li {
            @match of.word {
                Some(word) => (outcome(word)),
                None => span.word { "warning" },
            }
            " "
            span {
                @for (nth, (about, id)) in of.places.iter().enumerate() {
                    @if of.places.len() == 1 {
                        a href={ "#" (id) } { (text(of.says)) }
                        @if of.word.is_some() && !about.is_empty() { " " span.faint { "(" (text(about)) ")" } }
                    } @else {
                        @if nth == 0 { (text(of.says)) " (" }
                        a href={ "#" (id) } { (text(about)) }
                        @if nth + 1 == of.places.len() { ")" } @else { ", " }
                    }
                }
                @if let Some(advice) = of.advice { span.faint.small { (text(advice)) "." } }
            }
        }
    }
}
