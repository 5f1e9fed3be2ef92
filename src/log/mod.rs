//! Recorders' files: what is in them, and on which clock.
//!
//! [`read_record`] turns one log into a [`Record`]: the columns somebody asked for, the time of
//! each row, and everything that was noticed on the way. [`align`] ties the clocks together.
//!
//! A file goes through here in this order: bytes, unpacked ([`source`]), of a very long log those around
//! the burn ([`excerpt`]), to numbered lines ([`lines`]), how it is written ([`dialect`]), rows and whatever
//! is not a row ([`rows`], [`split`], [`number`]; `plain` takes most lines quickly; `file_kinds` tells files that are no logs), where its times come from ([`time_column`]), its clock with
//! wraps and restarts ([`clock`], [`time_steps`]), means of what comes faster than a burn moves (`means`; in one pass over pieces of the file where that will do: `stream`,
//! `pieces`, `running_clock`, `waiting`), what to say about it ([`account`], [`tally`], [`error`], [`warning`],
//! [`words`]); [`read`] calls them in turn. [`table`] reads small tables such as points files the same way.

pub(crate) mod account;
pub(crate) mod align;
pub(crate) mod channels;
pub(crate) mod clock;
mod coarse;
pub(crate) mod dialect;
pub(crate) mod error;
pub(crate) mod excerpt;
mod file_kinds;
pub(crate) mod lines;
pub(crate) mod means;
pub(crate) mod number;
pub(crate) mod outlier;
pub(crate) mod overlap;
mod pieces;
mod plain;
pub(crate) mod read;
pub(crate) mod rows;
mod running_clock;
pub(crate) mod source;
pub(crate) mod split;
pub(crate) mod stream;
pub(crate) mod table;
pub(crate) mod tally;
pub(crate) mod time_column;
pub(crate) mod time_steps;
mod waiting;
pub(crate) mod warning;
pub(crate) mod words;

use std::ops::Range;

use indexmap::IndexMap;
use serde::{Deserialize, Serialize};

use crate::diagnostic::Diagnostic;
use crate::quantity::Measured;
use crate::series::Series;

pub(crate) use align::{Clocks, align_clocks};
pub(crate) use channels::Channels;
pub use read::{deciding_columns, read_record, wanted_columns};
pub use table::RawTable;
pub(crate) use table::read_table;
pub use tally::{LongestGap, RowTally};

/// One log, read.
#[derive(Debug, Clone)]
pub struct Record {
    /// The name of its table in the firing file.
    pub name: String,
    /// The file, as the user named it.
    pub file: String,
    /// SHA-256 of the file's bytes, in hexadecimal.
    pub sha256: String,
    /// Names of all columns, in the order of the file.
    pub column_names: Vec<String>,
    /// The columns that were asked for; NaN where a reading is missing.
    pub columns: IndexMap<String, Vec<f64>>,
    /// Time of each row, s, zero at the first row of its segment.
    pub time_s: Vec<f64>,
    /// Line of each row, from 1.
    pub line: Vec<usize>,
    /// Stretches between restarts of the clock; one when there was none.
    pub segments: Vec<Range<usize>>,
    /// Readings that hold until they change, segment by segment, where those of the other columns are means.
    pub(crate) changes: IndexMap<String, Vec<Series>>,
    /// What the readings of each column span, outliers left out, where that was asked for.
    pub(crate) ranges: IndexMap<String, ReadingRange>,
    /// Rows that were read in each segment.
    pub(crate) rows: Vec<usize>,
    /// Readings that were taken out.
    pub(crate) outliers: Vec<Outlier>,
    /// Lines between the rows that are not readings.
    pub events: Vec<Event>,
    /// What was found in the file, in words: separator, header, rates, gaps, dropped rows.
    pub notes: Vec<String>,
    /// The same in numbers.
    pub tally: RowTally,
    /// What deserves attention.
    pub warnings: Vec<Diagnostic>,
}

/// A reading that was taken out of its column.
#[derive(Debug, Clone)]
pub(crate) struct Outlier {
    column: String,
    segment: usize,
    /// On its own log's clock, s.
    time_s: f64,
    reading: f64,
}

/// What some readings span.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct ReadingRange {
    /// How many they are.
    pub readings: usize,
    /// The least and the greatest.
    pub ends: Option<(f64, f64)>,
}

impl ReadingRange {
    /// Takes readings in; a missing one is NaN.
    fn take(&mut self, values: &[f64]) {
        self.readings += values.iter().filter(|value| !value.is_nan()).count();
        let from = self.ends.unwrap_or((f64::INFINITY, f64::NEG_INFINITY));
        let (low, high) = values.iter().fold(from, |(low, high), one| {
            let low = if *one < low { *one } else { low };
            (low, if *one > high { *one } else { high })
        });
        self.ends = (low <= high).then_some((low, high));
    }
}

/// A line of a log that is not a row of readings.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Event {
    /// Line, from 1.
    pub line: usize,
    /// Its text.
    pub text: String,
    /// Number of rows before it.
    pub rows_before: usize,
}

impl Record {
    /// Whether its readings are means of several.
    pub(crate) fn is_averaged(&self) -> bool {
        self.rows.iter().sum::<usize>() != self.time_s.len()
    }

    /// How many outliers were taken out of a column.
    pub(crate) fn outliers_of(&self, column: &str) -> usize {
        self.outliers
            .iter()
            .filter(|one| one.column == column)
            .count()
    }

    /// The finite readings of a column in one segment; `None` if the column was not asked for.
    #[must_use]
    pub fn series(&self, column: &str, segment: usize) -> Option<Series> {
        if let Some(changes) = self.changes.get(column) {
            return changes.get(segment).cloned();
        }
        let rows = self.segments.get(segment)?.clone();
        let values = self.columns.get(column)?;
        Some(Series::new(&self.time_s[rows.clone()], &values[rows]))
    }
}

/// One input file, as results name it.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct InputReport {
    /// The file, relative to the firing file as written there.
    pub file: String,
    /// SHA-256 of its bytes.
    #[cfg_attr(test, schemars(extend("pattern" = "^[0-9a-f]{64}$")))]
    pub sha256: String,
    /// Rows of readings that have a time.
    pub rows: usize,
    /// What its rows come to, in numbers.
    #[serde(flatten)]
    pub tally: RowTally,
    /// What was found in it, in words.
    pub notes: Vec<String>,
}

/// How one clock is tied to another, as results show it:
/// t_to = offset_s + (1 + drift_ppm 1e-6) t_log, each time counted from its own log's first row.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct ClockReport {
    /// The other log.
    pub to: String,
    /// Offset.
    pub offset_s: Option<Measured>,
    /// Rate difference; `None` when the method cannot see it.
    pub drift_ppm: Option<Measured>,
    /// The method: edge, offset or shape.
    pub by: String,
}
