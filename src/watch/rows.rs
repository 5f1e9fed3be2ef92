//! A log that is still being written, read row by row as bytes come in.
//!
//! How it is written and where its times come from are found once, from its first lines, by what finds them in a whole file
//! ([`crate::log`]). From then on each complete line is a row, or is passed over. Times count from the first row; where they
//! fall, a counter ran full or the recorder was started anew, and they go on from where they were. Limits: one byte for
//! each letter, lines that end in a line feed, no packed files.

use crate::config::LogFile;
use crate::diagnostic::Error;
use crate::log::dialect::{Dialect, Overrides};
use crate::log::lines::Lines;
use crate::log::number::Reading;
use crate::log::read::find_dialect;
use crate::log::time_column::{ClockTime, TimeSource, clock_seconds, find};

/// Complete lines from which it is found how a log is written.
const FIRST_LINES: usize = 24;
/// Bytes in which that has to succeed.
const FIRST_BYTES: usize = 1 << 16;

/// One row.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Row {
    /// Time since the first row, s.
    pub time_s: f64,
    /// A reading for each wanted column; NaN where it is missing.
    pub values: Vec<f64>,
}

/// A log as far as it was read.
#[derive(Debug)]
pub(super) struct Rows {
    log: LogFile,
    wanted: Vec<String>,
    /// Lines before it is known how they are written, then the unfinished one.
    held: Vec<u8>,
    layout: Option<Layout>,
}

#[derive(Debug)]
struct Layout {
    dialect: Dialect,
    time: TimeSource,
    columns: Vec<Option<usize>>,
    rows: usize,
    /// The last raw time, s, and what is added to it.
    last_s: Option<f64>,
    added_s: f64,
}

impl Rows {
    pub(super) const fn new(log: LogFile, wanted: Vec<String>) -> Self {
        Self {
            log,
            wanted,
            held: Vec::new(),
            layout: None,
        }
    }

    /// The rows that some more bytes complete.
    ///
    /// # Errors
    /// The first lines do not show how the log is written.
    pub(super) fn feed(&mut self, bytes: &[u8]) -> Result<Vec<Row>, Error> {
        self.held.extend_from_slice(bytes);
        let Some(end) = memchr::memrchr(b'\n', &self.held) else {
            return Ok(vec![]);
        };
        let rest = self.held.split_off(end + 1);
        let whole = std::mem::replace(&mut self.held, rest);
        let mut from = 0;
        if self.layout.is_none() {
            let lines = Lines::new(self.log.file.value.display().to_string(), &whole[..]);
            let found = (lines.len() >= FIRST_LINES).then(|| self.find(&lines));
            match found {
                Some(Ok(layout)) => {
                    from = layout.dialect.first_row;
                    self.layout = Some(layout);
                }
                Some(Err(why)) if whole.len() > FIRST_BYTES => return Err(why),
                _ => {
                    self.held.splice(0..0, whole);
                    return Ok(vec![]);
                }
            }
        }
        let Some(layout) = &mut self.layout else {
            return Ok(vec![]);
        };
        let lines = whole.split(|byte| *byte == b'\n').skip(from);
        let rows = lines.filter_map(|line| layout.row(line.trim_ascii_end()));
        Ok(rows.collect())
    }

    fn find(&self, lines: &Lines) -> Result<Layout, Error> {
        let dialect = find_dialect(lines, &Overrides::of(&self.log))?;
        let time = find(&self.log, lines, &dialect)?.source;
        let columns = self.wanted.iter().map(|name| dialect.column(name));
        Ok(Layout {
            columns: columns.collect(),
            dialect,
            time,
            rows: 0,
            last_s: None,
            added_s: 0.0,
        })
    }
}

impl Layout {
    fn row(&mut self, line: &[u8]) -> Option<Row> {
        if self.dialect.is_silent(line) {
            return None;
        }
        let mut cells = Vec::with_capacity(self.dialect.width);
        self.dialect.separator.split(line, &mut cells);
        if !self.dialect.is_row(line, &cells) {
            return None;
        }
        let number = |column: usize| match self.dialect.numerals.read(&line[cells[column].clone()])
        {
            Reading::Number(number) => number,
            Reading::Missing | Reading::Word => f64::NAN,
        };
        let reading = |column: &Option<usize>| column.map_or(f64::NAN, number);
        let values = self.columns.iter().map(reading).collect();
        let (raw_s, full_s) = match &self.time {
            TimeSource::Number {
                column,
                unit_s,
                full,
            } => (number(*column) * unit_s, full.map(|full| full * unit_s)),
            TimeSource::Rate(rate_hz) => (self.rows as f64 / rate_hz, None),
            TimeSource::Clock { column, format } => {
                let text = std::str::from_utf8(&line[cells[*column].clone()]).ok()?;
                match clock_seconds(text, format).ok()? {
                    ClockTime::OfDay(time_s) => (time_s, Some(86_400.0)),
                    ClockTime::Dated(time_ns) => (time_ns as f64 * 1e-9, None),
                }
            }
        };
        if !raw_s.is_finite() {
            return None;
        }
        self.rows += 1;
        match self.last_s {
            None => self.added_s = -raw_s,
            Some(last_s) if raw_s < last_s => self.added_s += full_s.unwrap_or(last_s - raw_s),
            Some(_) => {}
        }
        self.last_s = Some(raw_s);
        Some(Row {
            time_s: raw_s + self.added_s,
            values,
        })
    }
}
