//! Tables as JSON lines: each row an object on a line of its own, null where nothing is known. Numbers are written so that
//! they read back to the last bit.

use serde_json::Value;

use crate::archive::Table;
use crate::archive::table::Cell;

/// The text of a table.
#[must_use]
pub(crate) fn text(table: &Table) -> String {
    use std::fmt::Write;
    let mut out = String::new();
    for at in 0..table.rows() {
        for (nth, column) in table.columns.iter().enumerate() {
            let before = if nth == 0 { '{' } else { ',' };
            let value = match column.cells.get(at) {
                Some(Cell::Text(Some(text))) => Value::from(&*text),
                Some(Cell::Number(Some(number))) => Value::from(number),
                Some(Cell::Count(Some(count))) => Value::from(count),
                _ => Value::Null,
            };
            // Writing to a string cannot fail.
            let _ = write!(out, "{before}{}:{value}", Value::from(&*column.name));
        }
        out += "}\n";
    }
    out
}
