//! The units that a reader likes, set behind those of the SI: every text of a page is walked through once.

use super::text::{Part, Shown, Text};
use super::{Content, Page, Section};
use crate::quantity::Units;

impl Page {
    /// The same in the units that are asked for.
    #[must_use]
    pub(crate) fn shown_in(mut self, units: Units) -> Self {
        if units == Units::Us {
            each_text(&mut self, &mut customary);
        }
        self
    }
}

/// Sets the US customary unit behind each value that has one.
fn customary(text: &mut Text) {
    let mut out = Vec::with_capacity(text.parts.len());
    for part in std::mem::take(&mut text.parts) {
        let beside = match &part {
            Part::Value { path, shown } if shown.is_customary() => Some(Part::Value {
                path: path.clone(),
                shown: Shown::Customary(Box::new(shown.clone())),
            }),
            _ => None,
        };
        out.push(part);
        if let Some(beside) = beside {
            out.extend([Part::Words(" "), beside]);
        }
    }
    text.parts = out;
}

/// Hands on every text of a page.
pub(super) fn each_text(page: &mut Page, to: &mut impl FnMut(&mut Text)) {
    to(&mut page.title);
    to(&mut page.about);
    to(&mut page.says);
    page.delivered.iter_mut().for_each(&mut *to);
    page.danger.iter_mut().for_each(&mut *to);
    for one in &mut page.attention {
        one.advice.iter_mut().for_each(&mut *to);
        to(&mut one.says);
        to(&mut one.brief);
        for place in &mut one.places {
            place.numbers.iter_mut().for_each(&mut *to);
            to(&mut place.about);
        }
    }
    for content in &mut page.glance {
        texts_in(content, to);
    }
    for section in page.sections.iter_mut().chain(&mut page.closing) {
        texts_of(section, to);
    }
}

fn texts_of(section: &mut Section, to: &mut impl FnMut(&mut Text)) {
    to(&mut section.title);
    for content in &mut section.contents {
        texts_in(content, to);
    }
}

fn texts_in(content: &mut Content, to: &mut impl FnMut(&mut Text)) {
    match content {
        Content::Heading(text)
        | Content::Fold(text)
        | Content::Note(text)
        | Content::Picture(_, text) => to(text),
        Content::Rows(rows) => {
            for row in rows {
                to(&mut row.label);
                row.lines
                    .iter_mut()
                    .chain(&mut row.notes)
                    .for_each(&mut *to);
            }
        }
        Content::Table(table) => {
            let cells = table.rows.iter_mut().flatten().flatten();
            cells.chain(&mut table.heads).for_each(&mut *to);
        }
        Content::List(lines) => lines.iter_mut().for_each(&mut *to),
        Content::Findings(all) => {
            for one in all {
                let some = [&mut one.probability, &mut one.numbers, &mut one.advice];
                some.into_iter().flatten().for_each(&mut *to);
                let rest = [&mut one.about, &mut one.claim];
                rest.into_iter().for_each(&mut *to);
                to(&mut one.rule);
                to(&mut one.source);
            }
        }
        Content::Warnings(all) => {
            for one in all {
                let some = [&mut one.place, &mut one.hint];
                some.into_iter().flatten().for_each(&mut *to);
                to(&mut one.says);
            }
        }
    }
}

#[cfg(test)]
mod tests;
