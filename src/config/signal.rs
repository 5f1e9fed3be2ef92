//! Signals: columns of a log that other tables refer to.

use std::path::PathBuf;

use super::keys::Table;
use crate::diagnostic::Located;
use crate::quantity::WrittenUnit;

/// A column of a log, and how its numbers are to be read.
#[derive(Debug, Clone)]
pub struct Signal {
    /// The log.
    pub log: Located<String>,
    /// The column, by name, or by number from 1 when the log has no header.
    pub column: Located<String>,
    /// Unit of its numbers; `None` for raw counts.
    pub unit: Option<WrittenUnit>,
    /// Points file that turns raw readings into the wanted quantity.
    pub points: Option<Located<PathBuf>>,
}

impl Signal {
    /// Reads the signal under a key.
    pub(super) fn read(table: &Table<'_>, key: &str) -> Option<Self> {
        let signal = table.table(key)?;
        Some(Self {
            log: signal.text("log")?,
            column: signal.text("column")?,
            unit: signal.unit("unit").map(|unit| unit.value),
            points: signal.path("points"),
        })
    }
}
