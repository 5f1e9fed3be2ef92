//! A fast recorder's log read in one pass: means of blocks are made as the rows go by, and nothing is held whole.
//!
//! The file is taken in pieces of a megabyte, and its digest with them. Of each piece rows are read, times laid out as they
//! go by ([`super::running_clock`]), outliers judged by their neighbours in the piece and some rows on either side of it, and
//! what is left averaged ([`super::means`]). So memory grows with the length of the record in seconds, not with its rate.
//!
//! Events among the rows, clocks that start anew, clock text and stated rates go by in the same way. The pass is given up
//! where only all rows together tell what is meant, or where something is wrong: words in place of numbers, stamps that several rows share. Then [`super::read`] reads the log whole and says what
//! there is to say.
//!
//! Limit: the usual step is that of the first megabyte.

use std::ops::Range;

use indexmap::IndexMap;

use super::account::{Account, Kind, aside_note, cut_off, layout_note, same_name};
use super::clock::{GAP_STEPS, median_step};
use super::coarse::is_coarse;
use super::dialect::{Dialect, Overrides};
use super::excerpt::{HEAD, Part, SHORT, first_lines, part_of};
use super::lines::{LeftOut, Lines};
use super::means::{Averaging, Changes, Means};
use super::pieces::{Pieces, line_ends};
use super::read::{FEWEST_KEPT, MOST_RESTARTS};
use super::rows::{Rows, read_rows};
use super::running_clock::{RunningClock, Timed};
use super::source::Source;
use super::time_column::{self, Found, TimeSource, log_file_text};
use super::waiting::{Times, Waiting};
use super::warning::{RecordWarning, WhyDropped};
use super::{Event, Outlier, ReadingRange, Record, outlier, read};
use crate::config::LogFile;
use crate::diagnostic::{Error, Located, Place};
use crate::series::Series;

/// Rows on either side of a piece by which its outliers are judged.
const BESIDE: usize = 64;

/// Reads one log, as means where it comes faster than is needed.
///
/// # Errors
/// As for [`super::read_record`].
pub(crate) fn read_means(
    log: &LogFile,
    wanted: &[&Located<String>],
    deciding: &[&str],
    averaging: &Averaging<'_>,
) -> Result<Record, Error> {
    match in_one_pass(log, wanted, deciding, averaging) {
        Ok(Some(record)) => {
            read::every_name_once(log, wanted, &record)?;
            Ok(record)
        }
        // Whatever is the matter is said by the reading of the whole.
        Ok(None) | Err(_) => read::read_record(log, wanted, deciding),
    }
}

fn in_one_pass(
    log: &LogFile,
    wanted: &[&Located<String>],
    deciding: &[&str],
    averaging: &Averaging<'_>,
) -> Result<Option<Record>, Error> {
    if log.held.is_some() {
        return Ok(None);
    }
    let source = Source::open(&log.file.value)?;
    let Some(lines) = head_of_long(&source, &log_file_text(log))? else {
        return Ok(None);
    };
    let Some(pass) = Pass::new(log, wanted, &lines, averaging) else {
        return Ok(None);
    };
    let part = part_of(log, lines.file(), &source, deciding)?;
    pass.run(&source, part.as_ref())
}

/// The whole lines at the beginning of a file that is too long to be read whole without need.
///
/// # Errors
/// The file cannot be read.
pub(crate) fn head_of_long(source: &Source, file: &str) -> Result<Option<Lines>, Error> {
    let length = source.plain_length();
    if length.is_some_and(|length| length <= SHORT as u64) {
        return Ok(None);
    }
    let mut head = source.bytes(Some(HEAD as u64))?;
    let whole_lines = memchr::memrchr(b'\n', &head).map_or(0, |at| at + 1);
    head.truncate(whole_lines);
    Ok(Some(Lines::new(file, head)))
}

/// All number columns of a long log, as so few means as `averaging` says; `None` where it is to be read whole.
///
/// # Errors
/// The file cannot be read.
pub(crate) fn glance(
    log: &LogFile,
    (source, head): (&Source, &Lines),
    wanted: &[&Located<String>],
    averaging: &Averaging<'_>,
) -> Result<Option<Record>, Error> {
    match Pass::new(log, wanted, head, averaging) {
        Some(pass) => pass.run(source, None),
        None => Ok(None),
    }
}

/// What goes through the file.
struct Pass<'a> {
    log: &'a LogFile,
    head: &'a Lines,
    dialect: Dialect,
    found: Found,
    times: Times,
    columns: IndexMap<String, usize>,
    /// Which of the columns are judged.
    judged: Vec<usize>,
    clock: RunningClock,
    held: Vec<Held>,
    means: Means,
    /// Means and rows of each segment so far, and rows of this one.
    segments: Vec<Range<usize>>,
    rows: Vec<usize>,
    rows_here: usize,
    /// Rows from some before those not yet taken in, on.
    waiting: Waiting,
    outliers: Vec<Outlier>,
    /// Of each column, where somebody asks.
    ranges: Vec<ReadingRange>,
    account: Account,
    /// Rows that were dropped, and lines that are no rows.
    dropped: Vec<usize>,
    aside: Rows,
    /// The piece before this one, and this one.
    pieces: [Option<Lines>; 2],
}

/// A column that holds until it changes.
struct Held {
    column: usize,
    changes: Changes,
    /// Of each segment before this; `None` where it changes too often.
    before: Vec<Option<Series>>,
}

impl<'a> Pass<'a> {
    fn new(
        log: &'a LogFile,
        wanted: &[&Located<String>],
        head: &'a Lines,
        averaging: &Averaging<'_>,
    ) -> Option<Self> {
        let dialect = Dialect::find(head, &Overrides::of(log))?;
        if dialect.unnamed(head).is_some() {
            return None;
        }
        let mut columns = IndexMap::new();
        for column in wanted {
            columns.insert(column.value.clone(), dialect.column(&column.value)?);
        }
        let found = time_column::find(log, head, &dialect).ok()?;
        let (unit_s, full) = match &found.source {
            TimeSource::Number { unit_s, full, .. } => (*unit_s, *full),
            TimeSource::Clock { .. } | TimeSource::Rate(_) => (1.0, None),
        };
        let mut times = Times::new(&found.source);
        let (numbers, text) = time_cells(&found.source);
        let mut rows = read_rows(head, &dialect, &numbers, text);
        let raw = times.of_rows(0, head, &dialect, &mut rows)?;
        let step_s = unit_s * median_step(&raw);
        let group = averaging.group(step_s)?;
        let place = |name: &&str| columns.get_index_of(*name);
        let held = averaging.held.iter().filter_map(place).map(|column| Held {
            column,
            changes: Changes::default(),
            before: Vec::new(),
        });
        let judged = averaging.judged.iter().filter_map(place);
        Some(Self {
            clock: RunningClock::new(step_s, unit_s, full),
            held: held.collect(),
            judged: judged.collect(),
            means: Means::new(group, GAP_STEPS * step_s, columns.len()),
            waiting: Waiting {
                columns: vec![Vec::new(); columns.len()],
                ..Waiting::default()
            },
            account: Account {
                time: found.note.clone(),
                same_name: same_name(head, &dialect),
                missing: columns.keys().map(|name| (name.clone(), 0)).collect(),
                ..Account::default()
            },
            segments: Vec::new(),
            rows: Vec::new(),
            rows_here: 0,
            outliers: Vec::new(),
            ranges: match averaging.ranges {
                true => vec![ReadingRange::default(); columns.len()],
                false => vec![],
            },
            dropped: Vec::new(),
            aside: Rows::default(),
            pieces: [None, None],
            times,
            log,
            head,
            dialect,
            found,
            columns,
        })
    }

    /// Goes through the file, of which a part may be all that matters; `None` where it is to be read whole.
    fn run(mut self, source: &Source, part: Option<&Part>) -> Result<Option<Record>, Error> {
        let mut left_out = LeftOut::default();
        let mut dialect = self.dialect.clone();
        let mut matters = 0..u64::MAX;
        if let Some(part) = part {
            self.clock.origin = part.origin;
            matters = part.bytes.clone();
            left_out.after = part.header;
            let head = first_lines(self.head.bytes().to_vec(), part.header);
            self.take(Lines::new(self.head.file(), head), &dialect);
            dialect = behind_head(dialect);
        }
        let mut lines_before = 0;
        let mut pieces = Pieces::new(source)?;
        while let Some((from, mut piece)) = pieces.next()? {
            let within = |at: u64| at.saturating_sub(from).min(piece.len() as u64) as usize;
            let (start, end) = (within(matters.start), within(matters.end));
            left_out.lines += line_ends(&piece[..start]);
            left_out.behind += line_ends(&piece[end..]);
            if start == end {
                continue;
            }
            piece.truncate(end);
            piece.drain(..start);
            let before = LeftOut {
                lines: left_out.lines + lines_before,
                ..LeftOut::default()
            };
            let lines = Lines::new(self.head.file(), piece).with_left_out(before);
            lines_before += lines.len();
            if !self.take(lines, &dialect) {
                return Ok(None);
            }
            dialect = behind_head(dialect);
        }
        left_out.lines = left_out.lines.saturating_sub(left_out.after);
        self.account.left_out = left_out;
        if !self.lay_out(true) || !self.is_plain_clock() {
            return Ok(None);
        }
        self.end_segment();
        let sha256 = pieces.sha256()?;
        Ok(self.record().map(|record| Record { sha256, ..record }))
    }

    /// Takes the lines of a piece; false where the log is to be read whole.
    fn take(&mut self, lines: Lines, dialect: &Dialect) -> bool {
        let (time, text) = time_cells(&self.found.source);
        let numbers: Vec<usize> = self.columns.values().copied().chain(time).collect();
        let mut rows = read_rows(&lines, dialect, &numbers, text);
        let rows_before = self.account.rows;
        let raw = self.times.of_rows(rows_before, &lines, dialect, &mut rows);
        let Some(raw) = raw.filter(|_| rows.problem_count == 0) else {
            return false;
        };
        if let Times::Text(reader) = &self.times {
            self.clock.full = reader.full;
        }
        if matches!(self.times, Times::Column) && !self.clock.see(&raw) {
            return false;
        }
        let warning = cut_off(&lines, &rows);
        self.account.cut_off = warning.or(self.account.cut_off.take());
        self.aside.comments += rows.comments;
        self.aside.blank += rows.blank;
        let events = rows.events.into_iter().map(|event| Event {
            rows_before: rows_before + event.rows_before,
            ..event
        });
        self.aside.events.extend(events);
        self.account.rows += raw.len();
        let numbers = rows.line.iter().map(|at| lines.number(*at));
        self.waiting.line.extend(numbers);
        if self.waiting.raw.is_empty() {
            self.waiting.raw = raw;
        } else {
            self.waiting.raw.extend(raw);
        }
        let columns = self.waiting.columns.iter_mut().zip(&rows.numbers);
        for ((column, values), (_, missing)) in columns.zip(&mut self.account.missing) {
            column.extend_from_slice(values);
            *missing += values.iter().filter(|value| value.is_nan()).count();
        }
        let [_, last] = &mut self.pieces;
        self.pieces = [last.take(), Some(lines)];
        let laid_out = self.lay_out(false) && !is_coarse(self.clock.repeated, self.account.rows);
        self.settle(BESIDE);
        laid_out && self.segments.len() <= MOST_RESTARTS
    }

    /// Gives rows that wait their times, as far as can be told before more are known; false where the log is to be read whole.
    fn lay_out(&mut self, ended: bool) -> bool {
        let raw = std::mem::take(&mut self.waiting.raw);
        let first = self.account.rows - raw.len();
        // A row stands where it was read until those before it that are dropped make room.
        let mut from = self.waiting.time_s.len();
        let mut at = 0;
        while at < raw.len() {
            let to = self.waiting.time_s.len();
            if let Some(time_s) = self.clock.goes_on(raw[at]) {
                if from > to {
                    self.waiting.put(from, to);
                }
                self.waiting.time_s.push(time_s);
                (at, from) = (at + 1, from + 1);
                continue;
            }
            let line = self.waiting.line[from];
            let place = || place_of(&self.pieces, self.head.file(), line);
            let (to, time_s) = match self.clock.judge(&raw[at..], ended, &place) {
                Timed::Kept(time_s) => (to, time_s),
                Timed::InPlace(time_s) => {
                    let held = self.pieces.iter().flatten();
                    let wild = self.waiting.line[to - 1];
                    let Some(place) = held.rev().find_map(|one| one.place_of_number(wild)) else {
                        return false;
                    };
                    self.account.impossible.add(|| place);
                    let row = last_kept(&self.dropped, first + at);
                    self.dropped.push(row);
                    self.waiting.time_s.pop();
                    (to - 1, time_s)
                }
                Timed::Anew(time_s) => {
                    self.account.starts.push(place());
                    self.waiting.drain(to..from);
                    self.end_segment();
                    from = 0;
                    (0, time_s)
                }
                Timed::Dropped(why) => {
                    kind(&mut self.account, why).add(place);
                    self.dropped.push(first + at);
                    (at, from) = (at + 1, from + 1);
                    continue;
                }
                Timed::Unsure => break,
                Timed::Unclear => return false,
            };
            if self.account.starts.is_empty() {
                let place = || place_of(&self.pieces, self.head.file(), line);
                self.account.starts.push(place());
            }
            self.waiting.put(from, to);
            self.waiting.time_s.push(time_s);
            (at, from) = (at + 1, from + 1);
        }
        let laid = self.waiting.time_s.len();
        self.waiting.drain(laid..from);
        self.waiting.raw = raw[at..].to_vec();
        true
    }

    /// Judges and averages the rows with a time that have so many behind them.
    fn settle(&mut self, beside: usize) {
        let waiting = &mut self.waiting;
        let laid = waiting.time_s.len();
        let rows = waiting.taken..laid.saturating_sub(beside);
        if rows.is_empty() {
            return;
        }
        for at in &self.judged {
            let out = outlier::marked(&waiting.columns[*at][..laid], self.clock.step_s);
            let name = self.columns.get_index(*at).map_or("", |(name, _)| name);
            for row in rows.clone().filter(|row| out[*row]) {
                self.outliers.push(Outlier {
                    column: name.to_owned(),
                    segment: self.segments.len(),
                    time_s: waiting.time_s[row],
                    reading: waiting.columns[*at][row],
                });
                waiting.columns[*at][row] = f64::NAN;
            }
        }
        let time_s = &waiting.time_s[rows.clone()];
        let columns = waiting.columns.iter().map(|one| &one[rows.clone()]);
        let columns: Vec<&[f64]> = columns.collect();
        for held in &mut self.held {
            held.changes.extend(time_s, columns[held.column]);
        }
        for (range, values) in self.ranges.iter_mut().zip(&columns) {
            range.take(values);
        }
        self.means
            .extend(time_s, &waiting.line[rows.clone()], &columns);
        self.rows_here += rows.len();
        let gone = rows.end.saturating_sub(BESIDE);
        waiting.time_s.drain(..gone);
        waiting.drain(0..gone);
        waiting.taken = rows.end - gone;
    }

    /// Ends a stretch of the clock, with all rows that have a time.
    fn end_segment(&mut self) {
        self.settle(0);
        self.means.end();
        let first = self.segments.last().map_or(0, |before| before.end);
        self.segments.push(first..self.means.time_s.len());
        let rows = std::mem::take(&mut self.rows_here);
        self.rows.push(rows);
        for held in &mut self.held {
            let changes = std::mem::take(&mut held.changes);
            held.before.push(changes.end(rows));
        }
        let laid = self.waiting.time_s.len();
        self.waiting.time_s.clear();
        self.waiting.drain(0..laid);
        self.waiting.taken = 0;
    }

    /// Whether all is as on most clocks: what is not is for the reading of the whole to judge.
    fn is_plain_clock(&self) -> bool {
        let kept = self.account.rows - self.dropped.len();
        kept >= FEWEST_KEPT.max(self.account.rows / 2)
    }

    fn record(mut self) -> Option<Record> {
        if self.means.time_s.is_empty() {
            return None;
        }
        let file = self.head.file();
        let by_count = matches!(self.times, Times::Rate(_));
        let is_open = self.pieces[1].as_ref().is_some_and(Lines::last_is_open);
        let events = std::mem::take(&mut self.aside.events);
        let account = &mut self.account;
        account.kept = account.rows - self.dropped.len();
        account.layout = layout_note(&self.dialect, account.rows, is_open);
        account.aside = aside_note(self.dialect.skip_lines, &self.aside, events.len());
        let (steps, longest) = self.clock.steps();
        (account.steps, account.longest) = (Some(steps), longest);
        account.wraps = self.clock.wraps;
        account.guessed_bits = self.clock.guessed_bits;
        account.count(&events, file);
        let mut notes = account.notes();
        notes.push(self.means.note(account.kept));
        let assumed = self.found.assumed.as_ref().map(RecordWarning::diagnostic);
        let mut warnings = Vec::from_iter(assumed);
        warnings.extend(account.warnings(file, by_count));
        self.dropped.sort_unstable();
        let dropped = |rows: usize| self.dropped.partition_point(|row| *row < rows);
        let events = events.into_iter().map(|event| Event {
            rows_before: event.rows_before - dropped(event.rows_before),
            ..event
        });
        let names: Vec<String> = self.columns.keys().cloned().collect();
        let held = self.held.into_iter().filter_map(|held| {
            let series = held.before.into_iter().collect::<Option<_>>()?;
            Some((names[held.column].clone(), series))
        });
        Some(Record {
            name: self.log.name.clone(),
            file: file.to_owned(),
            sha256: String::new(),
            column_names: self.dialect.names.clone(),
            changes: held.collect(),
            ranges: names.iter().cloned().zip(self.ranges).collect(),
            columns: names.iter().cloned().zip(self.means.columns).collect(),
            segments: self.segments,
            rows: self.rows,
            time_s: self.means.time_s,
            line: self.means.line,
            outliers: self.outliers,
            events: events.collect(),
            notes,
            tally: account.tally(),
            warnings,
        })
    }
}

/// The columns of numbers and of text that times come from.
fn time_cells(source: &TimeSource) -> (Vec<usize>, Option<usize>) {
    match source {
        TimeSource::Number { column, .. } => (vec![*column], None),
        TimeSource::Clock { column, .. } => (vec![], Some(*column)),
        TimeSource::Rate(_) => (vec![], None),
    }
}

/// The place of a line of one of these pieces.
fn place_of(pieces: &[Option<Lines>; 2], file: &str, line: usize) -> Place {
    let held = pieces.iter().flatten();
    let place = held.rev().find_map(|lines| lines.place_of_number(line));
    place.unwrap_or_else(|| Place {
        line,
        ..Place::file(file)
    })
}

/// The last row before another that was not dropped.
fn last_kept(dropped: &[usize], row: usize) -> usize {
    let mut last = row - 1;
    for out in dropped.iter().rev() {
        last -= usize::from(*out == last);
    }
    last
}

/// The rows of an account that were dropped for some reason.
fn kind(account: &mut Account, why: WhyDropped) -> &mut Kind {
    match why {
        WhyDropped::Repeated => &mut account.repeated,
        WhyDropped::OutOfOrder => &mut account.out_of_order,
        WhyDropped::Impossible => &mut account.impossible,
        WhyDropped::WithoutTime => &mut account.without_time,
    }
}

/// How lines behind the head of a file are read.
fn behind_head(dialect: Dialect) -> Dialect {
    Dialect {
        skip_lines: 0,
        header: None,
        units: None,
        first_row: 0,
        ..dialect
    }
}

#[cfg(test)]
#[path = "stream_tests.rs"]
mod tests;
