//! What waits while a log goes by: rows whose neighbours are not known, and raw times of the next.

use std::ops::Range;

use super::dialect::Dialect;
use super::lines::Lines;
use super::read::clock_text;
use super::rows::Rows;
use super::time_column::{ClockReader, TimeSource};

/// Rows that wait until their neighbours are known.
#[derive(Default)]
pub(super) struct Waiting {
    pub time_s: Vec<f64>,
    pub line: Vec<usize>,
    pub columns: Vec<Vec<f64>>,
    /// Raw times of the last of them, which are not laid out yet.
    pub raw: Vec<f64>,
    /// Rows at the beginning that were taken in and stay as neighbours.
    pub taken: usize,
}

impl Waiting {
    /// Puts a row into another's place.
    pub(super) fn put(&mut self, from: usize, to: usize) {
        self.line[to] = self.line[from];
        for column in &mut self.columns {
            column[to] = column[from];
        }
    }

    /// Takes rows out.
    pub(super) fn drain(&mut self, rows: Range<usize>) {
        self.line.drain(rows.clone());
        for column in &mut self.columns {
            column.drain(rows.clone());
        }
    }
}

/// Where times come from, piece by piece.
pub(super) enum Times {
    Column,
    Text(ClockReader),
    /// Hz.
    Rate(f64),
}

impl Times {
    pub(super) fn new(source: &TimeSource) -> Self {
        match source {
            TimeSource::Number { .. } => Self::Column,
            TimeSource::Clock { format, .. } => Self::Text(ClockReader::new(format)),
            TimeSource::Rate(rate_hz) => Self::Rate(*rate_hz),
        }
    }

    /// Raw times of the rows of a piece, so many rows before it; `None` where one cannot be read.
    pub(super) fn of_rows(
        &mut self,
        before: usize,
        lines: &Lines,
        dialect: &Dialect,
        rows: &mut Rows,
    ) -> Option<Vec<f64>> {
        match self {
            Self::Column => rows.numbers.pop(),
            Self::Rate(rate_hz) => {
                let all = before..before + rows.line.len();
                Some(all.map(|row| row as f64 / *rate_hz).collect())
            }
            Self::Text(reader) => {
                let cells = rows.line.iter().zip(&rows.text);
                let raw = cells.map(|(at, cell)| match clock_text(lines, dialect, *at, cell) {
                    Some(text) => reader.raw(&text).ok(),
                    None => Some(f64::NAN),
                });
                raw.collect()
            }
        }
    }
}
