//! Which column of a log is taken for the load cell, and why.

use super::Row;
use super::at::{At, at};
use super::text::{Text, text};
use crate::look::{CellSeen, ColumnLook, LogLook, Look};

/// The column of a load cell, and its log.
pub(super) fn cell_column<'a>(
    root: &At<'a, Look>,
    cell: &CellSeen,
) -> Option<(At<'a, LogLook>, At<'a, ColumnLook>)> {
    root.of.column(cell)?;
    let log: At<'a, LogLook> = at!(root.logs).nth(cell.log);
    let column = at!(log.columns).nth(cell.column);
    Some((log, column))
}

/// What the readings of a column count: its unit of force, where that is known.
pub(crate) fn counts(column: &ColumnLook) -> &'static str {
    column.force_unit().unwrap_or("raw counts")
}

/// Which column is taken for the load cell, and why; or which could be.
pub(super) fn cells(root: &At<'_, Look>) -> Vec<Row> {
    let several = root.of.logs.len() > 1;
    let told = |cell: At<'_, CellSeen>| {
        let (log, column) = cell_column(root, cell.of)?;
        let of = several.then(|| text![" of ", at!(log.file).quote()]);
        Some(text![
            at!(column.name).name(),
            of,
            ", ",
            cell.of.why.words()
        ])
    };
    let sure: Vec<Text> = at!(root.cells).each().filter_map(told).collect();
    if !sure.is_empty() {
        return vec![Row::new("load cell", Text::joined(sure, "; "))];
    }
    let open: Vec<Text> = at!(root.perhaps_cells).each().filter_map(told).collect();
    if open.is_empty() {
        return vec![];
    }
    vec![Row::new(
        "load cell",
        text!["not sure: ", Text::joined(open, "; ")],
    )]
}
