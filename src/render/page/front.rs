//! The first screen: what came of it in a sentence, the numbers that matter, what needs attention.

use maud::{Markup, html};

use crate::finding::Outcome;
use crate::render::number::NOTATION;
use crate::render::words::plain;
use crate::view::{Content, Depth, Page, Row, Section};

use super::findings_id;
use super::parts::{large, lines, outcome, text};

pub(super) fn front(page: &Page) -> Markup {
    let answers: Vec<Markup> = page.sections.iter().filter_map(answer).collect();
    let keys: Vec<Markup> = page.sections.iter().filter_map(key_numbers).collect();
    html! {
        div.opening {
            h1 { (text(&page.title)) }
            p.faint.small { (text(&page.about)) }
            p class={ "verdict " (page.outcome.word()) } { span { (plain(&page.says)) } }
            @if !answers.is_empty() { dl.plates { @for one in &answers { (one) } } }
            @if !keys.is_empty() { dl.plates.axes { @for one in &keys { (one) } } }
            (attention(page))
            @if page.intervals { p.faint.small style="margin-top:14px" { (NOTATION) } }
        }
    }
}

/// The rows of a section that are wanted as soon as this.
fn rows(section: &Section, depth: Depth) -> impl Iterator<Item = &Row> {
    section
        .blocks
        .iter()
        .flat_map(|block| match &block.content {
            Content::Rows(rows) => rows.as_slice(),
            _ => &[],
        })
        .filter(move |row| row.depth == depth)
}

fn plate(label: &Markup, content: &Markup) -> Markup {
    html! { div.plate { dt { (label) } dd { (content) } } }
}

/// The answer that a section is there for, large.
fn answer(section: &Section) -> Option<Markup> {
    let answer = rows(section, Depth::Answer).next()?;
    let more = rows(section, Depth::Key);
    let content = html! {
        @for line in &answer.lines { (large(line)) }
        ul { @for row in more { li { (text(&row.label)) ": " (lines(&row.lines)) } } }
    };
    Some(plate(&text(&answer.label), &content))
}

/// The key numbers of a section that has no single answer.
fn key_numbers(section: &Section) -> Option<Markup> {
    rows(section, Depth::Key).next()?;
    if rows(section, Depth::Answer).next().is_some() {
        return None;
    }
    let content = html! {
        table {
            tbody {
                @for row in rows(section, Depth::Key) {
                    tr { th scope="row" { (text(&row.label)) } td { (lines(&row.lines)) } }
                }
            }
        }
    };
    Some(plate(&text(&section.title), &content))
}

/// What does not hold and what was noticed, each with a link to where it is told.
fn attention(page: &Page) -> Markup {
    let judged = page.judged();
    let open: Vec<_> = judged
        .iter()
        .filter(|(_, one)| one.outcome != Outcome::Holds)
        .collect();
    let noticed: Vec<_> = page.noticed().collect();
    html! {
        div.attention {
            h2 { "What needs attention" }
            @if open.is_empty() && noticed.is_empty() {
                p { "Nothing: every finding holds and there is no warning." }
            }
            ul {
                @for (section, one) in open {
                    li {
                        (outcome(one.outcome)) " "
                        span {
                            a href={ "#" (findings_id(&section.id)) } { (text(&one.claim)) }
                            @if !one.about.is_empty() { " " span.faint { "(" (text(&one.about)) ")" } }
                            @if let Some(advice) = &one.advice {
                                span.faint.small { "Note: " (text(advice)) "." }
                            }
                        }
                    }
                }
                @for (section, one) in noticed {
                    li {
                        span.word { "warning" } " "
                        span { a href={ "#" (section.id) } { (text(&one.says)) } }
                    }
                }
            }
        }
    }
}
