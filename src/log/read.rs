//! One log, from its path to a [`Record`].

use std::panic::resume_unwind;
use std::thread;

use indexmap::IndexMap;

use super::account::Account;
use super::clock::{Timeline, at_rate, lay_out, median_step};
use super::dialect::{Dialect, Overrides};
use super::error::RecordError;
use super::excerpt::{Excerpt, lines_of};
use super::file_kinds;
use super::lines::{Lines, to_text};
use super::number::Reading;
use super::rows::{Rows, read_rows};
use super::source::{Source, sha256};
use super::split::unquoted;
use super::time_column::{self, TimeSource, clock_column, log_file_text};
use super::warning::RecordWarning;
use super::{Event, Record};
use crate::config::logs::Held;
use crate::config::{AlignBy, Firing, LogFile, TimeColumn};
use crate::diagnostic::{Code, Diagnostic, Error, Located};

/// The columns of a log that a firing file refers to, each where it is named: signals of cells,
/// motors and axes, and both ends of the ties between clocks.
#[must_use]
pub fn wanted_columns<'a>(firing: &'a Firing, log: &str) -> Vec<&'a Located<String>> {
    let signals = firing.signals().filter(|signal| signal.log.value == log);
    let mut out: Vec<&Located<String>> = signals.map(|signal| &signal.column).collect();
    out.extend(ties(firing, log));
    out
}

/// The columns by which a log's clock and those of others are tied together.
fn ties<'a>(firing: &'a Firing, log: &str) -> impl Iterator<Item = &'a Located<String>> {
    firing.logs.iter().flat_map(move |(name, other)| {
        let align = other.align.as_ref();
        let ends = align.and_then(|align| match &align.by {
            AlignBy::Edge { here, there } | AlignBy::Shape { here, there } => {
                Some([(name == log, here), (align.to.value == log, there)])
            }
            _ => None,
        });
        let ends = ends.into_iter().flatten();
        ends.filter_map(|(of_log, column)| of_log.then_some(column))
    })
}

/// The columns that show which part of a very long log matters: those of its load cells, and those by which
/// its clock is tied to another. None where the whole log is needed: it has no cell, a stretch of time was
/// asked for, or it has taps or swings besides the burn.
#[must_use]
pub fn deciding_columns<'a>(firing: &'a Firing, log: &str) -> Vec<&'a str> {
    let cells = firing.cells.values().map(|cell| &cell.signal);
    let mut out: Vec<&str> = cells
        .filter(|signal| signal.log.value == log)
        .map(|signal| signal.column.value.as_str())
        .collect();
    let taps = firing.stand.tap.iter().map(|tap| &tap.signal);
    let swings = firing.axes.values().filter_map(|axis| axis.swing.as_ref());
    let beside = taps.chain(swings).any(|signal| signal.log.value == log);
    if out.is_empty() || beside || firing.reduce.window_s.is_some() {
        return vec![];
    }
    out.extend(ties(firing, log).map(|column| column.value.as_str()));
    out
}

/// Reads one log.
///
/// `wanted` are the columns that other tables need, each with the place where the firing file names
/// it. Whatever else was noticed is in the notes and warnings of the record. Of a very long log only the
/// part is read in which one of the `deciding` columns moves ([`super::excerpt`]); with none, all of it.
///
/// # Errors
/// The file is missing, empty or holds no rows; a wanted column is not there; a word stands where
/// a number should; no time column could be found or read.
pub fn read_record(
    log: &LogFile,
    wanted: &[&Located<String>],
    deciding: &[&str],
) -> Result<Record, Error> {
    let path = &log.file.value;
    let file = log_file_text(log);
    let named = |problems: Error| problems.where_named(&log.file.place, path);
    if let Some(Held(bytes)) = &log.held {
        return record_of_bytes(log, wanted, bytes);
    }
    thread::scope(|scope| {
        let source = Source::open(path).map_err(named)?;
        // The digest takes longer than the lines: rows are read beside it.
        let hashed = scope.spawn({
            let source = source.clone();
            move || source.sha256()
        });
        let lines = lines_of(log, &file, &source, deciding).map_err(named)?;
        let record = record_of_lines(log, wanted, &lines).and_then(|record| {
            every_name_once(log, wanted, &record)?;
            Ok(record)
        });
        let sha256 = hashed.join().unwrap_or_else(|why| resume_unwind(why));
        Ok(Record {
            sha256: sha256.map_err(named)?,
            ..record.map_err(|problems| problems.at_path(&file, path))?
        })
    })
}

/// Reads one log from its bytes; see [`read_record`].
///
/// # Errors
/// As for [`read_record`], but for a file that cannot be read.
pub fn record_of_bytes(
    log: &LogFile,
    wanted: &[&Located<String>],
    bytes: &[u8],
) -> Result<Record, Error> {
    let excerpt = Excerpt {
        lines: Lines::new(log_file_text(log), bytes),
        origin: None,
    };
    Ok(Record {
        sha256: sha256(bytes),
        ..record_of_lines(log, wanted, &excerpt)?
    })
}

/// The digest is not known here.
fn record_of_lines(
    log: &LogFile,
    wanted: &[&Located<String>],
    excerpt: &Excerpt,
) -> Result<Record, Error> {
    let file = log_file_text(log);
    let Excerpt { lines, origin } = excerpt;
    let dialect = find_dialect(lines, &Overrides::of(log))?;
    let columns = find_columns(log, wanted, &dialect)?;
    let found = time_column::find(log, lines, &dialect)?;
    let mut numbers: Vec<usize> = columns.values().copied().collect();
    let text = match found.source {
        TimeSource::Number { column, .. } => {
            numbers.push(column);
            None
        }
        TimeSource::Clock { column, .. } => Some(column),
        TimeSource::Rate(_) => None,
    };
    let rows = read_rows(lines, &dialect, &numbers, text);
    every_number_read(&rows, &file)?;
    let timeline = lay_out_times(&found.source, &rows, lines, &dialect, *origin)?;
    check_times(log, &found.source, lines, &rows, &timeline)?;
    let names: Vec<&str> = columns.keys().map(String::as_str).collect();
    let account = Account::of_whole((lines, &dialect), &found.note, (&rows, &names), &timeline);
    let mut warnings: Vec<Diagnostic> = found
        .assumed
        .iter()
        .map(RecordWarning::diagnostic)
        .collect();
    warnings.extend(account.warnings(&file, matches!(found.source, TimeSource::Rate(_))));
    Ok(Record {
        name: log.name.clone(),
        sha256: String::new(),
        column_names: dialect.names.clone(),
        columns: names
            .iter()
            .zip(&rows.numbers)
            .map(|(name, values)| ((*name).to_owned(), pick(values, &timeline.kept)))
            .collect(),
        line: timeline
            .kept
            .iter()
            .map(|row| lines.number(rows.line[*row]))
            .collect(),
        events: events_among(&rows.events, &timeline.kept),
        notes: account.notes(),
        tally: account.tally(),
        warnings,
        time_s: timeline.time_s,
        rows: timeline
            .segments
            .iter()
            .map(ExactSizeIterator::len)
            .collect(),
        segments: timeline.segments,
        changes: IndexMap::new(),
        ranges: IndexMap::new(),
        outliers: Vec::new(),
        file,
    })
}

/// Finds how a file is written, or says that there is nothing in it.
///
/// # Errors
/// The file is empty, or no line of it looks like a row.
pub(crate) fn find_dialect(lines: &Lines, overrides: &Overrides) -> Result<Dialect, Error> {
    let spoken = (0..lines.len()).find(|at| !lines.get(*at).trim_ascii().is_empty());
    let Some(first) = spoken else {
        let file = lines.file().to_owned();
        return Err(RecordError::Empty { file }.diagnostic().into());
    };
    // Of a packed file a few bytes may read as a row by chance.
    let dialect = Dialect::find(lines, overrides).filter(|_| !file_kinds::is_marked(lines));
    let Some(dialect) = dialect else {
        let problem = file_kinds::not_readings(lines).unwrap_or_else(|| RecordError::NoRows {
            place: lines.place(first, 0..lines.get(first).len()),
            lines: lines.len(),
        });
        return Err(problem.diagnostic().into());
    };
    match dialect.unnamed(lines) {
        Some(problem) => Err(problem.diagnostic().into()),
        None => Ok(dialect),
    }
}

/// Index of each wanted column, every name once.
fn find_columns(
    log: &LogFile,
    wanted: &[&Located<String>],
    dialect: &Dialect,
) -> Result<IndexMap<String, usize>, Error> {
    let mut problems = Vec::new();
    let mut out = IndexMap::new();
    for column in wanted {
        match dialect.column(&column.value) {
            Some(index) => {
                out.insert(column.value.clone(), index);
            }
            None => {
                let file = log_file_text(log);
                problems.push(RecordError::no_column(column, &file, &dialect.names).diagnostic());
            }
        }
    }
    Error::if_any(problems)?;
    Ok(out)
}

/// Refuses a column that is meant by a name which two of its log have.
pub(super) fn every_name_once(
    log: &LogFile,
    wanted: &[&Located<String>],
    record: &Record,
) -> Result<(), Error> {
    let time = match &log.time {
        Some(TimeColumn::Number { column, .. } | TimeColumn::Clock { column, .. }) => Some(column),
        Some(TimeColumn::Rate(_)) | None => None,
    };
    let names = &record.column_names;
    let mut problems: Vec<Diagnostic> = Vec::new();
    for column in wanted.iter().copied().chain(time) {
        let copy = format!("{} (column ", column.value);
        let first = names.iter().position(|name| *name == column.value);
        let copies: Vec<&String> = names
            .iter()
            .filter(|name| name.starts_with(&copy))
            .collect();
        if let (Some(first), false) = (first, copies.is_empty()) {
            let others: Vec<String> = copies.iter().map(|name| format!("\"{name}\"")).collect();
            let message = format!(
                "{} columns of {} are called \"{}\"",
                copies.len() + 1,
                record.file,
                column.value
            );
            let hint = format!(
                "say which: \"{copy}{})\" or {}",
                first + 1,
                others.join(" or ")
            );
            let problem = Diagnostic::error(Code::SameName, message).at(column.place.clone());
            problems.push(problem.hint(hint));
        }
    }
    problems.dedup();
    Error::if_any(problems)
}

/// Refuses rows with words in place of numbers: the first of them, and how many more there are.
pub(super) fn every_number_read(rows: &Rows, file: &str) -> Result<(), Error> {
    let mut out: Vec<Diagnostic> = rows.problems.iter().map(RecordError::diagnostic).collect();
    let more = rows.problem_count - rows.problems.len();
    if more > 0 {
        let file = file.to_owned();
        out.push(RecordError::MoreWords { file, more }.diagnostic());
    }
    Error::if_any(out)
}

fn lay_out_times(
    source: &TimeSource,
    rows: &Rows,
    lines: &Lines,
    dialect: &Dialect,
    origin: Option<f64>,
) -> Result<Timeline, Error> {
    let (timeline, column) = match source {
        TimeSource::Rate(rate_hz) => return Ok(at_rate(rows.line.len(), *rate_hz)),
        TimeSource::Number {
            column,
            unit_s,
            full,
        } => {
            let raw = rows.numbers.last().map_or(&[][..], Vec::as_slice);
            (lay_out(raw, *unit_s, *full, origin), *column)
        }
        TimeSource::Clock { column, format } => {
            let (raw, full) = read_clock(rows, lines, dialect, format)?;
            (lay_out(&raw, 1.0, full, None), *column)
        }
    };
    if timeline.kept.is_empty() {
        let at = rows.line.first().copied().unwrap_or(dialect.first_row);
        let problem = RecordError::NoTimes {
            place: lines.place(at, 0..lines.get(at).len()),
            column: dialect.names[column].clone(),
        };
        return Err(problem.diagnostic().into());
    }
    Ok(timeline)
}

/// Longest step between readings, s: a whole burn would pass unseen.
const LONGEST_STEP_S: f64 = 10.0;
/// Shortest step between readings, s.
const SHORTEST_STEP_S: f64 = 1e-7;
/// A clock that keeps fewer rows than this of a longer log does not tell its rows apart.
pub(super) const FEWEST_KEPT: usize = 5;

/// More restarts than this, one for so few rows, and it is no clock.
pub(super) const MOST_RESTARTS: usize = 20;
const ROWS_OF_RESTART: usize = 50;

/// Times that cannot be meant: a unit that is wrong by thousands, a column that is no clock.
fn check_times(
    log: &LogFile,
    source: &TimeSource,
    lines: &Lines,
    rows: &Rows,
    timeline: &Timeline,
) -> Result<(), Error> {
    let file = log_file_text(log);
    let line_of = |row: usize| rows.line.get(row).map_or(0, |at| lines.number(*at));
    let place = match &log.time {
        Some(TimeColumn::Number { column, .. } | TimeColumn::Clock { column, .. }) => &column.place,
        _ => &log.place,
    };
    if timeline.kept.len() < FEWEST_KEPT && rows.line.len() >= 2 * FEWEST_KEPT {
        return Err(RecordError::NoClock {
            place: place.clone(),
            file,
            kept: timeline.kept.len(),
            rows: rows.line.len(),
        }
        .diagnostic()
        .into());
    }
    if let TimeSource::Number { .. } = source {
        let raw = rows.numbers.last().map_or(&[][..], Vec::as_slice);
        let falls: Vec<usize> = (1..raw.len())
            .filter(|row| raw[*row] < raw[row - 1])
            .collect();
        if let Some(first) = falls.first()
            && raw.len() >= 2 * FEWEST_KEPT
            && falls.len() > raw.len() * 9 / 10
        {
            let (place, line) = (place.clone(), line_of(*first));
            return Err(RecordError::Falls { place, file, line }.diagnostic().into());
        }
    }
    let restarts = timeline.segments.len().saturating_sub(1);
    if restarts > MOST_RESTARTS && restarts * ROWS_OF_RESTART > rows.line.len() {
        return Err(RecordError::Restless {
            place: place.clone(),
            file,
            line: line_of(timeline.kept[timeline.segments[1].start]),
            restarts,
            rows: rows.line.len(),
        }
        .diagnostic()
        .into());
    }
    let step_s = median_step(&timeline.time_s);
    let believable = (SHORTEST_STEP_S..=LONGEST_STEP_S).contains(&step_s) || step_s == 0.0;
    if believable || !matches!(source, TimeSource::Number { .. }) {
        return Ok(());
    }
    let place = place.clone();
    Err(RecordError::OddStep {
        place,
        file,
        step_s,
    }
    .diagnostic()
    .into())
}

fn read_clock(
    rows: &Rows,
    lines: &Lines,
    dialect: &Dialect,
    format: &str,
) -> Result<(Vec<f64>, Option<f64>), Error> {
    let cells = rows.line.iter().zip(&rows.text);
    let texts = cells.map(|(at, cell)| clock_text(lines, dialect, *at, cell));
    clock_column(texts, format).map_err(|(row, why)| {
        let (at, cell) = (rows.line[row], rows.text[row].clone());
        let problem = RecordError::NotAClock {
            word: to_text(&unquoted(&lines.get(at)[cell.clone()])),
            place: lines.place(at, cell),
            format: format.to_owned(),
            why,
        };
        problem.diagnostic().into()
    })
}

/// A clock text; `None` for one that is missing.
pub(super) fn clock_text(
    lines: &Lines,
    dialect: &Dialect,
    line: usize,
    cell: &std::ops::Range<usize>,
) -> Option<String> {
    let cell = &lines.get(line)[cell.clone()];
    let missing = dialect.numerals.read(cell) == Reading::Missing;
    (!missing).then(|| to_text(&unquoted(cell)))
}

fn pick(values: &[f64], rows: &[usize]) -> Vec<f64> {
    rows.iter().map(|row| values[*row]).collect()
}

/// Events with the number of kept rows before them.
fn events_among(events: &[Event], kept: &[usize]) -> Vec<Event> {
    let kept_before = |event: &Event| kept.partition_point(|row| *row < event.rows_before);
    events
        .iter()
        .map(|event| Event {
            rows_before: kept_before(event),
            ..event.clone()
        })
        .collect()
}

#[cfg(test)]
#[path = "read_tests.rs"]
mod tests;
