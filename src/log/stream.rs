//! A fast recorder's log read in one pass: means of blocks are made as the rows go by, and nothing is held whole.
//!
//! The file is taken in pieces of some megabytes. Of each piece rows are read, times unrolled, outliers judged by
//! their neighbours in the piece and some rows on either side of it, and what is left averaged ([`super::means`]). So
//! memory grows with the length of the record in seconds, not with its rate.
//!
//! Only a log that holds nothing but rows behind its head is read so, with a column of numbers that never falls but
//! where a counter of stated width runs full. At anything else the pass is given up, and [`super::read`] reads the log
//! whole and says what there is to say.
//!
//! Limit: the usual step is that of the first megabyte.

use std::io::Read;
use std::ops::Range;
use std::panic::resume_unwind;
use std::thread;

use indexmap::IndexMap;

use super::account::{cut_off, layout_note, left_out_note, same_name};
use super::clock::{GAP_STEPS, median_step};
use super::dialect::{Dialect, Overrides};
use super::excerpt::{HEAD, Part, SHORT, part_of};
use super::lines::{LeftOut, Lines};
use super::means::{Averaging, Changes, Means};
use super::rows::{Rows, read_rows};
use super::source::Source;
use super::tally::{LongestGap, RowTally};
use super::time_column::{self, Found, TimeSource, log_file_text};
use super::time_steps::Steps;
use super::warning::RecordWarning;
use super::words::count;
use super::{Outlier, Record, outlier, read};
use crate::config::LogFile;
use crate::diagnostic::{Error, Located, Place};

/// Bytes of a piece.
const PIECE: usize = 4 << 20;

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
    if source
        .plain_length()
        .is_some_and(|length| length <= SHORT as u64)
    {
        return Ok(None);
    }
    let mut head = source.bytes(Some(HEAD as u64))?;
    let whole_lines = memchr::memrchr(b'\n', &head).map_or(0, |at| at + 1);
    head.truncate(whole_lines);
    let file = log_file_text(log);
    let lines = Lines::new(&file, head);
    let Some(pass) = Pass::new(log, wanted, &lines, averaging) else {
        return Ok(None);
    };
    let part = part_of(log, &file, &source, deciding)?;
    thread::scope(|scope| {
        let hashed = scope.spawn(|| source.sha256());
        let record = pass.run(&source, part.as_ref());
        let sha256 = hashed.join().unwrap_or_else(|why| resume_unwind(why))?;
        Ok(record?.map(|record| Record { sha256, ..record }))
    })
}

/// What goes through the file.
struct Pass<'a> {
    log: &'a LogFile,
    head: &'a Lines,
    dialect: Dialect,
    found: Found,
    unit_s: f64,
    full: Option<f64>,
    columns: IndexMap<String, usize>,
    /// Which of the columns are judged.
    judged: Vec<usize>,
    clock: Clock,
    held: Vec<(usize, Changes)>,
    means: Means,
    /// Rows from some before those not yet taken in, on.
    waiting: Waiting,
    outliers: Vec<Outlier>,
    rows: usize,
    missing: Vec<usize>,
    cut_off: Option<RecordWarning>,
}

/// Rows that wait until their neighbours are known.
#[derive(Default)]
struct Waiting {
    time_s: Vec<f64>,
    line: Vec<usize>,
    columns: Vec<Vec<f64>>,
    /// Rows at the beginning that were taken in and stay as neighbours.
    taken: usize,
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
        let TimeSource::Number {
            column,
            unit_s,
            full,
        } = found.source
        else {
            return None;
        };
        let rows = read_rows(head, &dialect, &[column], None);
        let step_s = unit_s * median_step(rows.numbers.first()?);
        let group = averaging.group(step_s)?;
        let place = |name: &&str| columns.get_index_of(*name);
        let held = averaging.held.iter().filter_map(place);
        let judged = averaging.judged.iter().filter_map(place);
        Some(Self {
            clock: Clock::new(step_s),
            held: held.map(|column| (column, Changes::default())).collect(),
            judged: judged.collect(),
            means: Means::new(group, GAP_STEPS * step_s, columns.len()),
            waiting: Waiting {
                columns: vec![Vec::new(); columns.len()],
                ..Waiting::default()
            },
            missing: vec![0; columns.len()],
            rows: 0,
            outliers: Vec::new(),
            cut_off: None,
            log,
            head,
            dialect,
            found,
            unit_s,
            full,
            columns,
        })
    }

    /// Goes through the file, or a part of it; `None` where it holds something else than rows.
    fn run(mut self, source: &Source, part: Option<&Part>) -> Result<Option<Record>, Error> {
        let TimeSource::Number { column, .. } = self.found.source else {
            return Ok(None);
        };
        let mut numbers: Vec<usize> = self.columns.values().copied().collect();
        numbers.push(column);
        let mut dialect = self.dialect.clone();
        let mut before = 0;
        if let Some(part) = part {
            self.clock.origin = part.origin;
            before = part.header + part.before;
            dialect = behind_head(dialect);
        }
        let mut pieces = Pieces::new(source, part.map_or(0..u64::MAX, |part| part.bytes.clone()))?;
        while let Some(piece) = pieces.next(source)? {
            let left_out = LeftOut {
                lines: before,
                ..LeftOut::default()
            };
            let lines = Lines::new(self.head.file(), piece).with_left_out(left_out);
            let rows = read_rows(&lines, &dialect, &numbers, None);
            before += lines.len();
            if !self.take(&lines, &dialect, rows) {
                return Ok(None);
            }
            dialect = behind_head(dialect);
        }
        self.settle(0);
        Ok(self.record(part))
    }

    /// Takes the rows of a piece; false where it holds anything else.
    fn take(&mut self, lines: &Lines, dialect: &Dialect, mut rows: Rows) -> bool {
        if let Some(at) = rows.cut_off {
            self.cut_off = cut_off(lines, &rows);
            rows.events.retain(|event| event.line != lines.number(at));
        }
        let others = dialect.first_row + usize::from(rows.cut_off.is_some());
        let only_rows = rows.events.is_empty() && rows.line.len() + others == lines.len();
        let Some(raw) = rows
            .numbers
            .pop()
            .filter(|_| only_rows && rows.problem_count == 0)
        else {
            return false;
        };
        self.rows += raw.len();
        for (row, raw) in raw.into_iter().enumerate() {
            let at = rows.line[row];
            let place = || lines.place(at, 0..lines.get(at).len());
            let Some(time_s) = self.clock.rises(raw, (self.unit_s, self.full), &place) else {
                return false;
            };
            self.waiting.time_s.push(time_s);
            self.waiting.line.push(lines.number(at));
            for (column, values) in self.waiting.columns.iter_mut().zip(&rows.numbers) {
                column.push(values[row]);
            }
        }
        self.settle(BESIDE);
        true
    }

    /// Judges and averages the rows that have so many behind them.
    fn settle(&mut self, beside: usize) {
        let waiting = &mut self.waiting;
        let rows = waiting.taken..waiting.time_s.len().saturating_sub(beside);
        if rows.is_empty() {
            return;
        }
        for at in &self.judged {
            let out = outlier::marked(&waiting.columns[*at], self.clock.step_s);
            let name = self.columns.get_index(*at).map_or("", |(name, _)| name);
            for row in rows.clone().filter(|row| out[*row]) {
                self.outliers.push(Outlier {
                    column: name.to_owned(),
                    segment: 0,
                    time_s: waiting.time_s[row],
                    reading: waiting.columns[*at][row],
                });
                waiting.columns[*at][row] = f64::NAN;
            }
        }
        for (column, changes) in &mut self.held {
            for row in rows.clone() {
                changes.push(waiting.time_s[row], waiting.columns[*column][row]);
            }
        }
        let mut values = Vec::with_capacity(self.columns.len());
        for row in rows.clone() {
            values.clear();
            values.extend(waiting.columns.iter().map(|column| column[row]));
            for (missing, value) in self.missing.iter_mut().zip(&values) {
                *missing += usize::from(value.is_nan());
            }
            self.means
                .push(waiting.time_s[row], waiting.line[row], &values);
        }
        let gone = rows.end.saturating_sub(BESIDE);
        waiting.time_s.drain(..gone);
        waiting.line.drain(..gone);
        for column in &mut waiting.columns {
            column.drain(..gone);
        }
        waiting.taken = rows.end - gone;
    }

    fn record(mut self, part: Option<&Part>) -> Option<Record> {
        self.means.end();
        if self.means.time_s.is_empty() {
            return None;
        }
        let names: Vec<String> = self.columns.keys().cloned().collect();
        let held = self.held.into_iter().filter_map(|(column, changes)| {
            Some((names[column].clone(), vec![changes.end(self.rows)?]))
        });
        let steps = self.clock.steps();
        let missing: Vec<usize> = self.missing;
        let taken = self.outliers.len();
        let mut notes = vec![
            layout_note(self.head, &self.dialect, self.rows),
            self.found.note.clone(),
            steps.note(self.clock.longest.as_ref().map(|(_, place)| place.line)),
        ];
        notes.extend(left_out_note(
            part.map_or_else(LeftOut::default, Part::left_out),
        ));
        if let Some(first) = self.clock.wraps.first() {
            let times = count(self.clock.wraps.len(), "time");
            notes.push(format!(
                "the counter ran full {times}, first before line {first}"
            ));
        }
        notes.push(self.means.note(self.rows));
        let mut warnings =
            Vec::from_iter(self.found.assumed.as_ref().map(RecordWarning::diagnostic));
        let mut more = same_name(self.head, &self.dialect);
        more.extend(self.clock.gaps());
        more.extend(self.cut_off);
        warnings.extend(more.iter().map(RecordWarning::diagnostic));
        let left_out = part.map_or(0, |part| part.before + part.behind);
        Some(Record {
            name: self.log.name.clone(),
            file: self.head.file().to_owned(),
            sha256: String::new(),
            column_names: self.dialect.names.clone(),
            changes: held.collect(),
            columns: names.iter().cloned().zip(self.means.columns).collect(),
            segments: std::iter::once(0..self.means.time_s.len()).collect(),
            rows: vec![self.rows],
            time_s: self.means.time_s,
            line: self.means.line,
            outliers: self.outliers,
            events: Vec::new(),
            notes,
            tally: RowTally {
                rows_read: self.rows,
                lines_left_out: left_out,
                rows_used: self.rows,
                rate_hz: Some(1.0 / steps.median_s),
                step_sd_s: Some(steps.jitter_s),
                longest_gap: self.clock.longest.map(|(length_s, place)| LongestGap {
                    length_s,
                    line: place.line,
                }),
                missing_rows: steps.missing,
                missing_readings: missing.iter().sum::<usize>().saturating_sub(taken),
                ..RowTally::default()
            },
            warnings,
        })
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

/// Times as they go by, and what is to be said of their steps.
struct Clock {
    step_s: f64,
    /// Raw time at which time begins.
    origin: Option<f64>,
    /// What the counter's running full adds.
    turns: f64,
    last: Option<f64>,
    steps: usize,
    /// Sums of how far steps that are no gaps lie from the usual one, and of the squares.
    off_s: f64,
    squares_s2: f64,
    missing: usize,
    gaps: usize,
    longest: Option<(f64, Place)>,
    /// Lines before which the counter ran full.
    wraps: Vec<usize>,
}

impl Clock {
    fn new(step_s: f64) -> Self {
        Self {
            step_s,
            origin: None,
            turns: 0.0,
            last: None,
            steps: 0,
            off_s: 0.0,
            squares_s2: 0.0,
            missing: 0,
            gaps: 0,
            longest: None,
            wraps: Vec::new(),
        }
    }

    /// The time of a row, s; `None` for one that is missing, does not rise, or that the counter cannot show.
    fn rises(
        &mut self,
        raw: f64,
        (unit_s, full): (f64, Option<f64>),
        place: &dyn Fn() -> Place,
    ) -> Option<f64> {
        let within = full.is_none_or(|full| (0.0..full).contains(&raw));
        if !raw.is_finite() || !within {
            return None;
        }
        let mut time = raw + self.turns;
        if let (Some(last), Some(full)) = (self.last, full)
            && last - time > 0.5 * full
        {
            self.turns += full;
            time += full;
            self.wraps.push(place().line);
        }
        if let Some(last) = self.last {
            let step_s = (time - last) * unit_s;
            if step_s <= 0.0 {
                return None;
            }
            self.steps += 1;
            self.missing += (step_s / self.step_s).round().max(1.0) as usize - 1;
            if step_s > GAP_STEPS * self.step_s {
                self.gaps += 1;
                if self
                    .longest
                    .as_ref()
                    .is_none_or(|(longest_s, _)| step_s > *longest_s)
                {
                    self.longest = Some((step_s, place()));
                }
            } else {
                let off_s = step_s - self.step_s;
                self.off_s += off_s;
                self.squares_s2 += off_s * off_s;
            }
        }
        self.last = Some(time);
        Some((time - *self.origin.get_or_insert(time)) * unit_s)
    }

    fn steps(&self) -> Steps {
        let even = (self.steps - self.gaps).max(1) as f64;
        let mean_s = self.off_s / even;
        Steps {
            median_s: self.step_s,
            jitter_s: (self.squares_s2 / even - mean_s * mean_s).max(0.0).sqrt(),
            gaps: self.gaps,
            missing: self.missing,
            longest: self.longest.as_ref().map(|(longest_s, _)| (*longest_s, 0)),
        }
    }

    fn gaps(&self) -> Option<RecordWarning> {
        let (longest_s, place) = self.longest.clone()?;
        Some(RecordWarning::Gaps {
            place,
            number: self.gaps,
            longest_s,
            step_s: self.step_s,
        })
    }
}

/// A file in pieces of whole lines.
struct Pieces {
    reader: Box<dyn Read + Send>,
    /// The beginning of a line that goes on in the next piece.
    begun: Vec<u8>,
    ended: bool,
}

impl Pieces {
    fn new(source: &Source, bytes: Range<u64>) -> Result<Self, Error> {
        let reader = source.reader_from(bytes.start)?;
        Ok(Self {
            reader: Box::new(reader.take(bytes.end - bytes.start)),
            begun: Vec::new(),
            ended: false,
        })
    }

    fn next(&mut self, source: &Source) -> Result<Option<Vec<u8>>, Error> {
        if self.ended {
            return Ok(None);
        }
        let mut piece = std::mem::take(&mut self.begun);
        let read = self
            .reader
            .by_ref()
            .take(PIECE as u64)
            .read_to_end(&mut piece);
        self.ended = read.map_err(|error| source.damaged(&error))? < PIECE;
        // A line longer than a piece is no row, and is cut like one.
        if let (false, Some(end)) = (self.ended, memchr::memrchr(b'\n', &piece)) {
            self.begun = piece.split_off(end + 1);
        }
        Ok(Some(piece).filter(|piece| !piece.is_empty()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::{Firing, read_firing};

    /// Rows every 10 us of a cell that ramps up and down, a spike on it, a fire line, and a counter that runs full.
    fn firing(rows: usize, spoilt: Option<usize>) -> (tempfile::TempDir, Firing) {
        let folder = tempfile::tempdir().unwrap();
        let mut text = String::from("t_us,base,fire,idle\n");
        for at in 0..rows {
            let time = (4_294_000_000_u64 + 10 * at as u64) % (1 << 32);
            let ramp = (at as f64 / rows as f64 * 6.0).sin().max(0.0);
            let noise = (at * 7919 % 13) as f64;
            let base = if at == 70_001 {
                9e6
            } else {
                2e4 * ramp + noise
            };
            let word = if Some(at) == spoilt {
                "boot"
            } else {
                "0.0000000000000000"
            };
            text += &format!("{time},{base:.0},{},{word}\n", u8::from(at >= rows / 3));
            if Some(at) == spoilt {
                text += "started again\n";
            }
        }
        std::fs::write(folder.path().join("stand.csv"), text).unwrap();
        let path = folder.path().join("firing.toml");
        let toml = "title = \"Fast\"\n[log.stand]\nfile = \"stand.csv\"\n\
                    time = { column = \"t_us\", unit = \"us\", counter_bits = 32 }\n[cell.base]\n\
                    signal = { log = \"stand\", column = \"base\" }\nscale = \"1 N\"\nzero = 0\n\
                    [motor.one]\nfire = { log = \"stand\", column = \"fire\" }\n[stand]\nmount = \"level\"\n";
        std::fs::write(&path, toml).unwrap();
        let firing = read_firing(&path).unwrap_or_else(|problems| panic!("{problems}"));
        (folder, firing)
    }

    fn read(firing: &Firing) -> [Record; 2] {
        let averaging = Averaging::new(firing, "stand");
        let wanted = read::wanted_columns(firing, "stand");
        let log = &firing.logs["stand"];
        let one_pass = read_means(log, &wanted, &[], &averaging).unwrap();
        let mut whole = read::read_record(log, &wanted, &[]).unwrap();
        averaging.judge_and_average(&mut whole);
        [one_pass, whole]
    }

    #[test]
    fn one_pass_gives_what_the_whole_gives_averaged() {
        let (_folder, firing) = firing(300_000, None);
        let [one, whole] = read(&firing);
        assert_eq!(one.rows, [300_000]);
        assert_eq!((one.time_s.len(), one.line.len()), (30_000, 30_000));
        assert_eq!((&one.line, &one.sha256), (&whole.line, &whole.sha256));
        for (a, b) in [
            (&one.time_s, &whole.time_s),
            (&one.columns["base"], &whole.columns["base"]),
        ] {
            for (a, b) in a.iter().zip(b) {
                assert!((a - b).abs() < 1e-9 * b.abs().max(1.0), "{a} {b}");
            }
        }
        assert_eq!(one.changes, whole.changes);
        assert_eq!(one.changes["fire"][0].len(), 4);
        let outlier = |record: &Record| {
            record
                .outliers
                .iter()
                .map(|one| one.reading)
                .collect::<Vec<f64>>()
        };
        assert_eq!(outlier(&one), vec![9e6]);
        assert_eq!(outlier(&whole), vec![9e6]);
        assert_eq!(one.notes[..3], whole.notes[..3]);
        assert_eq!(one.tally.missing_rows, whole.tally.missing_rows);
        assert!((one.tally.rate_hz.unwrap() - 1e5).abs() < 1e-3);
        // By hand: the first block holds rows 0 to 9, whose middle is 45 us.
        assert!((one.time_s[0] - 45e-6).abs() < 1e-9);
    }

    #[test]
    fn a_log_with_other_lines_is_read_whole() {
        let (_folder, firing) = firing(300_000, Some(250_000));
        let [one, whole] = read(&firing);
        assert_eq!((one.events.len(), one.time_s.len()), (1, 300_000));
        assert_eq!(whole.time_s.len(), 30_000);
    }
}
