//! A season's archive: how many firings, what was left out.

use super::at::{At, at};
use super::attention::sorted;
use super::comparison::{failures, left_out};
use super::text::text;
use super::{Content, Page, Table};
use crate::archive::{Archive, TableSize};
use crate::compare::Failed;
use crate::finding::Outcome;

/// Everything shown of an archive.
#[must_use]
pub(crate) fn page(of: &Archive) -> Page {
    let root = &At::root(of);
    let more = text![
        "; ",
        at!(root.kept).count(),
        " kept from before, ",
        at!(root.replaced).count(),
        " written anew"
    ];
    let out = text!["; ", at!(root.left_out).length::<Failed>(), " left out"];
    let says = text![
        at!(root.found).count(),
        " firings found",
        (of.kept + of.replaced > 0).then_some(more),
        (!of.left_out.is_empty()).then_some(out),
        "."
    ];
    let outcome = if of.left_out.is_empty() {
        Outcome::Holds
    } else {
        Outcome::Undecided
    };
    let rows = at!(root.tables).each().map(|one: At<'_, TableSize>| {
        vec![
            at!(one.name).name(),
            at!(one.rows).count(),
            at!(one.columns).count(),
        ]
    });
    let table = Table::plain(["table", "rows", "columns"], rows.collect::<Vec<_>>());
    let mut page = Page {
        closing: vec![left_out(&at!(root.left_out), "Results left out")],
        files: "season",
        glance: vec![Content::Table(table)],
        ..Page::new("Archive", outcome, says)
    };
    page.attention = sorted(failures(&at!(root.left_out), "was left out"));
    page
}
