//! A test pattern, and what others would have told.

use super::at::{At, at};
use super::text::{Text, text};
use super::{Content, Page, Picture, Row, Section, Table};
use crate::finding::Outcome;
use crate::plan::pattern::{Candidate, Design, DesignedAxis};
use crate::quantity::Unit;

/// Everything shown of a pattern; the paths are those of `pattern.json`.
#[must_use]
pub(crate) fn page(of: &Design) -> Page {
    let root = &At::root(of);
    let axes = of.axes.keys().zip(at!(root.axes).entries()).enumerate();
    let mut sections: Vec<Section> = axes
        .map(|(nth, (key, (name, axis)))| section(nth, key, name, &axis))
        .collect();
    sections.push(super::plan::premises(&at!(root.premises)));
    let says = text!["Designed the commands of ", at!(root.axes).size(), " axes."];
    Page {
        about: at!(root.title).quote(),
        sections,
        files: "pattern.json",
        glance: glance(root),
        ..Page::new("Test pattern", Outcome::Holds, says)
    }
}

/// Families for which one screen has room.
const MOST_FAMILIES: usize = 4;

fn glance(root: &At<'_, Design>) -> Vec<Content> {
    let each = at!(root.axes).entries().flat_map(|(name, axis)| {
        [
            Content::Note(text!["Axis ", name, ": ", kept(&axis)]),
            Content::Table(table(&axis, MOST_FAMILIES)),
        ]
    });
    each.collect()
}

fn kept(axis: &At<'_, DesignedAxis>) -> Text {
    text![
        at!(axis.within_tilt_limit).share(3),
        " of sampled flights stay within ",
        at!(axis.tilt_limit_deg).number(2, Unit::Degree),
        " of tilt"
    ]
}

/// Families down, what they tell across: half widths of 95 % intervals.
fn table(axis: &At<'_, DesignedAxis>, most: usize) -> Table {
    let candidates: Vec<At<'_, Candidate>> = at!(axis.candidates).each().take(most).collect();
    let first = candidates.first().map(|one| at!(one.half_widths));
    let names = first
        .iter()
        .flat_map(|all| all.each().map(|one| at!(one.name).quote()));
    let heads = std::iter::once("half width with".into()).chain(names);
    let rows = candidates.iter().map(|one| {
        let widths = at!(one.half_widths);
        let widths = widths
            .each()
            .map(|width| at!(width.half_width).number(2, width.of.unit));
        let largest = at!(one.amplitude_deg).number(2, Unit::Degree);
        let start = text![at!(one.family).quote(), ", ", largest];
        std::iter::once(start).chain(widths).collect()
    });
    Table::plain(heads, rows)
}

fn section(nth: usize, key: &str, name: Text, axis: &At<'_, DesignedAxis>) -> Section {
    let rows = at!(axis.commands).each().map(|one: At<'_, (f64, f64)>| {
        let (at_s, value) = one.of;
        Row::new(
            one.child("0", at_s).typed(3),
            one.child("1", value).typed(3),
        )
    });
    let rows = rows.collect();
    Section::new(format!("axis-{}", nth + 1), text!["Axis ", name])
        .read("The best first; it is the one in pattern.csv. Times in s after the fire command, commands in deg.")
        .note(kept(axis))
        .picture(Picture::Pattern(key.to_owned()), "Command, nozzle and tilt")
        .table(table(axis, usize::MAX))
        .fold("The commands")
        .rows(rows)
}
