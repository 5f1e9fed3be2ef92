//! The first screen: what came of it in a sentence, what could hurt somebody, the picture, the numbers that
//! matter beside it, what needs attention.

use maud::{Markup, html};

use crate::finding::Outcome;
use crate::render::number::BRIEF_NOTATION;
use crate::render::words::plain;
use crate::view::{Attention, Content, Grade, Page, Place, Table};

use super::findings_id;
use super::parts::{grade, text};
use super::pictures::Draw;

pub(super) fn front(page: &Page, draw: Draw<'_>) -> Markup {
    let pictures: Vec<Markup> = (page.glance.iter())
        .filter_map(|one| match one {
            Content::Picture(picture, caption) => Some(draw(picture)?.figure(&plain(caption))),
            _ => None,
        })
        .collect();
    let beside: Vec<&Content> = (page.glance.iter())
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
            @if let Some(danger) = &page.danger { p.danger role="alert" { (text(danger)) } }
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

/// What needs attention; where there is nothing, that every finding holds, or what the verdict says.
fn attention(page: &Page) -> Markup {
    let nothing = page.attention.is_empty();
    html! {
        @if !nothing || page.outcome == Outcome::Holds {
            div.attention {
                h2 { "What needs attention" }
                @if nothing { p { "Nothing: every finding holds and there is no warning." } }
                ul { @for one in &page.attention { (entry(one)) } }
            }
        }
    }
}

fn entry(of: &Attention) -> Markup {
    let link = |place: &Place| match of.grade {
        Grade::Judged(_) => format!("#{}", findings_id(&place.section)),
        Grade::Failed | Grade::Noticed => format!("#{}", place.section),
    };
    let several = of.places.len() > 1;
    html! {
        li {
            (grade(of.grade)) " "
            span {
                @if several { (text(&of.says)) " (" }
                @for (nth, place) in of.places.iter().enumerate() {
                    @if nth > 0 { ", " }
                    @if several { a href=(link(place)) { (text(&place.about)) } }
                    @else {
                        a href=(link(place)) { (text(&of.says)) }
                        @if !place.about.is_empty() { " " span.faint { "(" (text(&place.about)) ")" } }
                    }
                }
                @if several { ")" }
                @if let Some(advice) = &of.advice { span.faint.small { (text(advice)) "." } }
            }
        }
    }
}
