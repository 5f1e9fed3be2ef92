//! What the rows of a log come to, in numbers: the typed side of its notes.

use serde::{Deserialize, Serialize};

/// Numbers of rows and of whatever is the matter with them, and how steady the clock is.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct RowTally {
    /// Lines that are rows of readings.
    pub rows_read: usize,
    /// Lines of a very long log, far from anything that burnt, that were not read.
    #[serde(default)]
    pub lines_left_out: usize,
    /// Rows in the segment of the log that the results rest on.
    pub rows_used: usize,
    /// Rate, from the median step, Hz; `None` when there is no step.
    pub rate_hz: Option<f64>,
    /// Standard deviation of the steps that are no gaps, s.
    pub step_sd_s: Option<f64>,
    /// The longest gap; `None` when there is none.
    pub longest_gap: Option<LongestGap>,
    /// Rows dropped because their time repeats an earlier one.
    pub duplicated: usize,
    /// Rows dropped because their time lies before an earlier one.
    pub out_of_order: usize,
    /// Rows dropped because they have no time.
    pub without_time: usize,
    /// Rows that the steps between the others leave room for.
    pub missing_rows: usize,
    /// Readings missing in the columns that are used, in rows that are there.
    pub missing_readings: usize,
    /// Lines after the first row that are no rows: event lines, broken rows, a last line cut off.
    pub unreadable: usize,
    /// Rows dropped for an impossible time, and outliers of the cells left out.
    #[serde(rename = "wild")]
    pub outliers: usize,
}

/// The longest gap between two rows.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct LongestGap {
    /// Its length, s.
    pub length_s: f64,
    /// Line of the row after it, from 1.
    pub line: usize,
}
