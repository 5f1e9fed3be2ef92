//! An archive that is there already, read back from its JSON lines.

use std::collections::{HashMap, HashSet};
use std::fs::File;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::sync::Arc;

use serde_json::Value;

use super::found::unreadable;
use super::table::{Cell, Cells, Table};
use super::{Firing, rows};
use crate::diagnostic::{Code, Diagnostic, Error, Place};

/// The firings of an archive in a folder, in its order; none where there is no archive.
pub(super) fn read(folder: &Path) -> Result<Vec<Firing>, Error> {
    let mut known: HashMap<String, usize> = HashMap::new();
    let mut firings: Vec<Vec<Table>> = Vec::new();
    let mut texts = HashSet::new();
    for (nth, table) in rows::empty().iter().enumerate() {
        let path = folder.join(format!("{}.jsonl", table.name));
        if !path.exists() {
            continue;
        }
        let file = File::open(&path).map_err(|error| unreadable(&path, &error))?;
        for (line, text) in BufReader::new(file).lines().enumerate() {
            let text = text.map_err(|error| unreadable(&path, &error))?;
            let row: Value = serde_json::from_str(&text).unwrap_or_default();
            let Some(key) = row.get("firing").and_then(Value::as_str) else {
                return Err(not_a_row(&path, line + 1));
            };
            let at = match known.get(key) {
                Some(at) => *at,
                None if nth == 0 => {
                    known.insert(key.to_owned(), firings.len());
                    firings.push(rows::empty());
                    firings.len() - 1
                }
                // A row of no firing belongs to nothing.
                None => return Err(not_a_row(&path, line + 1)),
            };
            if let Some(own) = firings.get_mut(at).and_then(|tables| tables.get_mut(nth)) {
                push(own, &row, &mut texts);
            }
        }
    }
    Ok(firings.into_iter().map(Firing::new).collect())
}

/// Adds a row by the names of its columns; a text that comes again is kept once.
fn push(table: &mut Table, row: &Value, texts: &mut HashSet<Arc<str>>) {
    let mut kept = |text: &str| {
        if let Some(text) = texts.get(text) {
            return Arc::clone(text);
        }
        let text: Arc<str> = text.into();
        texts.insert(Arc::clone(&text));
        text
    };
    for column in &mut table.columns {
        let value = row.get(&column.name);
        let cell = match &column.cells {
            Cells::Text(_) => Cell::Text(value.and_then(Value::as_str).map(&mut kept)),
            Cells::Number(_) => Cell::Number(value.and_then(Value::as_f64)),
            Cells::Count(_) => Cell::Count(value.and_then(Value::as_i64)),
        };
        column.cells.push(cell);
    }
}

fn not_a_row(path: &Path, line: usize) -> Error {
    let says = format!("line {line} is no row of an archive");
    Diagnostic::error(Code::NotItsKind, says)
        .at(Place::file(path.display().to_string()))
        .hint("name another folder with --out, or move this file away")
        .into()
}
