//! The part of a very long log that matters: the burn and what lies around it.
//!
//! A fast recorder left running writes tens of millions of rows, and two seconds of them burn. Such a log is
//! looked at first: of every 64 KiB a few rows are read. Where a cell
//! stands off from its rest, something may burn; a column that ties the clock to another log's must be whole
//! wherever it moves. From well before the first such place to well after the last, every line is kept; the
//! others are left out and counted. Zero lines need less than that on either side ([`crate::burn::baseline`]), and
//! times still count from the first row of the file. What is estimated from the whole record, such as how its
//! readings scatter, then comes from a part: results move by hundredths of their standard uncertainty.
//!
//! A log is read whole when it is short, when a part of it was asked for by time, when its clock starts anew,
//! or when nothing stands out.
//!
//! Limit: a change that lasts less than a block, such as a pulse of some milliseconds far from the burn, may
//! be passed over.

use std::io::{Read, Seek, SeekFrom};
use std::ops::Range;

use super::clock::{Timeline, lay_out};
use super::dialect::{Dialect, Overrides};
use super::lines::{LeftOut, Lines};
use super::number::Reading;
use super::pieces::line_ends;
use super::source::Source;
use super::time_column::{self, TimeSource};
use crate::config::LogFile;
use crate::diagnostic::Error;
use crate::numeric::noise;

/// Logs up to this long are read whole, bytes: some hundred thousand rows.
pub(super) const SHORT: usize = 8 << 20;

/// The head of a file, in which its dialect is found, bytes.
pub(super) const HEAD: usize = 1 << 20;

/// A few rows of so many bytes are read.
const BLOCK: usize = 64 << 10;
/// The same in words.
pub(super) const BLOCK_WORDS: &str = "64 KiB";
const ROWS_OF_BLOCK: usize = 8;

/// They are sought in the first bytes of it, and in all of them where those hold fewer.
const BEGINNING: usize = 4 << 10;

/// A cell stands off from its rest by this share of the farthest ...
const STANDS_OFF: f64 = 0.02;

/// ... and so many times as far as neighbouring blocks at rest differ.
const SCATTERS: f64 = 10.0;

/// Kept on either side: this long, or so many times as long as something stands off, s.
const AROUND_S: f64 = 5.0;
const AROUND_LENGTHS: f64 = 2.0;

/// Nothing is left out for less than this share of the file.
const WORTH_IT: f64 = 0.2;

/// Lines that are held, and where time began.
#[derive(Debug)]
pub(crate) struct Excerpt {
    /// The lines.
    pub lines: Lines,
    /// Raw time of the first row of the file, on the count of wraps that begins with the first row held;
    /// `None` when that is the first row.
    pub origin: Option<f64>,
}

/// Reads a log's lines: all of them, or those that matter where `deciding` columns show it.
///
/// # Errors
/// The file cannot be read.
pub(crate) fn lines_of(
    log: &LogFile,
    file: &str,
    source: &Source,
    deciding: &[&str],
) -> Result<Excerpt, Error> {
    let start = source.bytes(Some(SHORT as u64 + 1))?;
    if start.len() <= SHORT {
        return Ok(whole(file, start));
    }
    let found = cut(log, file, source, deciding, start)?;
    found.map_or_else(|| Ok(whole(file, source.bytes(None)?)), Ok)
}

fn whole(file: &str, bytes: Vec<u8>) -> Excerpt {
    Excerpt {
        lines: Lines::new(file, bytes),
        origin: None,
    }
}

fn cut(
    log: &LogFile,
    file: &str,
    source: &Source,
    deciding: &[&str],
    start: Vec<u8>,
) -> Result<Option<Excerpt>, Error> {
    let Some(part) = part_of(log, file, source, deciding)? else {
        return Ok(None);
    };
    let mut bytes = first_lines(start, part.header);
    source.can_be_held(part.bytes.end - part.bytes.start)?;
    let mut reader = source.reader_from(part.bytes.start)?;
    reader
        .by_ref()
        .take(part.bytes.end - part.bytes.start)
        .read_to_end(&mut bytes)
        .map_err(|error| source.damaged(&error))?;
    let left_out = LeftOut {
        after: part.header,
        lines: line_ends_of(source, 0..part.bytes.start)?.saturating_sub(part.header),
        behind: line_ends_of(source, part.bytes.end..u64::MAX)?,
    };
    Ok(Some(Excerpt {
        origin: part.origin,
        lines: Lines::new(file, bytes).with_left_out(left_out),
    }))
}

/// Line ends in some bytes of a file.
fn line_ends_of(source: &Source, bytes: Range<u64>) -> Result<usize, Error> {
    let mut reader = source
        .reader_from(bytes.start)?
        .take(bytes.end - bytes.start);
    let (mut block, mut ends) = (vec![0; HEAD], 0);
    loop {
        let read = reader.read(&mut block);
        match read.map_err(|error| source.damaged(&error))? {
            0 => return Ok(ends),
            read => ends += line_ends(&block[..read]),
        }
    }
}

/// The part of a file that matters: whole lines behind its head.
#[derive(Debug)]
pub(super) struct Part {
    /// Its bytes.
    pub bytes: Range<u64>,
    /// Lines of the head.
    pub header: usize,
    /// As in [`Excerpt`].
    pub origin: Option<f64>,
}

/// Finds the part of a log that matters; `None` where that is all of it.
///
/// # Errors
/// The file cannot be read.
pub(super) fn part_of(
    log: &LogFile,
    file: &str,
    source: &Source,
    deciding: &[&str],
) -> Result<Option<Part>, Error> {
    let start = source.bytes(Some(HEAD as u64))?;
    let wide = matches!(start.as_slice(), [0xff, 0xfe, ..] | [0xfe, 0xff, ..]);
    if deciding.is_empty() || wide || !start.contains(&b'\n') {
        return Ok(None);
    }
    let Some(view) = View::new(log, &Lines::new(file, start.clone()), deciding) else {
        return Ok(None);
    };
    let blocks = survey(source, &view)?;
    let Some(part) = view.part(&blocks) else {
        return Ok(None);
    };
    let header = view.dialect.first_row;
    let whole_head = first_lines(start, header).len() as u64;
    let block = BLOCK as u64;
    // The first line of a block began before, and the last goes on behind.
    let from = match part.start {
        0 => Some(whole_head),
        start => next_line(source, start as u64 * block)?,
    };
    let to = if part.end == blocks.len() {
        Some(blocks.len() as u64 * block)
    } else {
        next_line(source, part.end as u64 * block)?
    };
    let (Some(from), Some(to)) = (from, to) else {
        return Ok(None);
    };
    Ok(Some(Part {
        bytes: from..to,
        header,
        origin: (part.start > 0).then(|| view.origin(&blocks, part.start)),
    }))
}

/// Where the first line begins that begins behind a place of a file; `None` where none does for long.
fn next_line(source: &Source, from: u64) -> Result<Option<u64>, Error> {
    let mut bytes = Vec::new();
    let mut reader = source.reader_from(from)?;
    reader
        .by_ref()
        .take(BLOCK as u64)
        .read_to_end(&mut bytes)
        .map_err(|error| source.damaged(&error))?;
    let end = memchr::memchr(b'\n', &bytes);
    Ok(end.map(|end| from + end as u64 + 1))
}

/// So many lines of a file with their ends.
pub(super) fn first_lines(mut bytes: Vec<u8>, lines: usize) -> Vec<u8> {
    let last = lines.checked_sub(1);
    let end = last.and_then(|last| memchr::memchr_iter(b'\n', &bytes).nth(last));
    bytes.truncate(end.map_or(0, |at| at + 1));
    bytes
}

/// What was seen of one block.
#[derive(Debug, Clone, Default)]
struct Block {
    /// Rows that were read.
    rows: usize,
    /// Raw time of its first row.
    time: f64,
    /// Mean of each deciding column over its rows.
    means: Vec<f64>,
}

/// The columns to look at.
struct View {
    dialect: Dialect,
    /// The time column, then the deciding ones.
    columns: Vec<usize>,
    unit_s: f64,
    full: Option<f64>,
    first_time: f64,
}

impl View {
    fn new(log: &LogFile, head: &Lines, deciding: &[&str]) -> Option<Self> {
        let dialect = Dialect::find(head, &Overrides::of(log))?;
        let TimeSource::Number {
            column,
            unit_s,
            full,
        } = time_column::find(log, head, &dialect).ok()?.source
        else {
            return None;
        };
        let mut columns = vec![column];
        for name in deciding {
            columns.push(dialect.column(name)?);
        }
        let mut view = Self {
            dialect,
            columns,
            unit_s,
            full,
            first_time: f64::NAN,
        };
        let mut first = Vec::new();
        for at in view.dialect.first_row..head.len() {
            if view.read(head.get(at), &mut Vec::new(), &mut first) {
                view.first_time = first[0];
                break;
            }
        }
        view.first_time.is_finite().then_some(view)
    }

    /// Reads the columns of a line; false when it is no row or a reading is missing.
    fn read(&self, line: &[u8], cells: &mut Vec<Range<usize>>, out: &mut Vec<f64>) -> bool {
        self.dialect.separator.split(line, cells);
        out.clear();
        if cells.len() != self.dialect.width {
            return false;
        }
        for column in &self.columns {
            match self.dialect.numerals.read(&line[cells[*column].clone()]) {
                Reading::Number(number) => out.push(number),
                _ => return false,
            }
        }
        true
    }

    fn block(&self, bytes: &[u8]) -> Block {
        let mut out = Block {
            rows: 0,
            time: f64::NAN,
            means: vec![f64::NAN; self.columns.len() - 1],
        };
        let (mut cells, mut readings) = (Vec::new(), Vec::new());
        // The first line of a block began in the block before.
        let mut ends = memchr::memchr_iter(b'\n', bytes);
        let mut from = ends.next().map_or(bytes.len(), |at| at + 1);
        for to in ends.take(4 * ROWS_OF_BLOCK) {
            let line = bytes[from..to].trim_ascii_end();
            from = to + 1;
            if !self.read(line, &mut cells, &mut readings) {
                continue;
            }
            if out.rows == 0 {
                out.time = readings[0];
                out.means.fill(0.0);
            }
            out.rows += 1;
            for (mean, reading) in out.means.iter_mut().zip(&readings[1..]) {
                *mean += (reading - *mean) / out.rows as f64;
            }
            if out.rows >= ROWS_OF_BLOCK {
                break;
            }
        }
        out
    }

    /// Times of the blocks, s since the first; `None` for a clock that does not run through.
    fn times_s(&self, blocks: &[Block]) -> Option<Vec<f64>> {
        let timeline = self.laid_out(blocks);
        let through = timeline.segments.len() == 1 && timeline.kept.len() == blocks.len();
        through.then_some(timeline.time_s)
    }

    fn laid_out(&self, blocks: &[Block]) -> Timeline {
        let raw: Vec<f64> = blocks.iter().map(|block| block.time).collect();
        lay_out(&raw, self.unit_s, self.full, None)
    }

    /// Raw time of the first row on the count of wraps that begins with a block.
    fn origin(&self, blocks: &[Block], with: usize) -> f64 {
        let timeline = self.laid_out(blocks);
        let bits = timeline.guessed_bits.map(|bits| 2.0_f64.powi(bits as i32));
        let full = self.full.or(bits).unwrap_or(0.0);
        let wraps = timeline.wraps.iter().filter(|row| **row <= with).count();
        // The first row of the first block is the first or second of the file.
        let at_once = usize::from(blocks[0].time < self.first_time);
        self.first_time - (wraps + at_once) as f64 * full
    }

    /// The blocks to keep; `None` when all of them should be.
    fn part(&self, blocks: &[Block]) -> Option<Range<usize>> {
        // The last block may end within its first line.
        let seen = match blocks {
            [seen @ .., last] if last.time.is_nan() => seen,
            all => all,
        };
        let times_s = self.times_s(seen)?;
        let mut first = seen.len();
        let mut last = 0;
        for column in 0..self.columns.len() - 1 {
            let means: Vec<f64> = seen.iter().map(|block| block.means[column]).collect();
            let off = standing_off(&means)?;
            if !off.is_empty() {
                first = first.min(off.start);
                last = last.max(off.end);
            }
        }
        if first >= last {
            return None;
        }
        let length_s = times_s[last - 1] - times_s[first];
        let around_s = AROUND_S.max(AROUND_LENGTHS * length_s);
        let from = times_s.partition_point(|time| *time < times_s[first] - around_s);
        let to = times_s.partition_point(|time| *time < times_s[last - 1] + around_s);
        // A block is told by its first row: one more on either side.
        let from = from.saturating_sub(1);
        let to = if to < seen.len() {
            to + 1
        } else {
            blocks.len()
        };
        let left_out = 1.0 - (to - from) as f64 / blocks.len() as f64;
        (left_out >= WORTH_IT).then_some(from..to)
    }
}

/// From the first to the last block in which a column stands off from its rest; empty when none does.
/// `None` when a block has no reading.
fn standing_off(means: &[f64]) -> Option<Range<usize>> {
    if means.iter().any(|mean| !mean.is_finite()) {
        return None;
    }
    let rest = resting(means)?;
    let steps: Vec<f64> = means
        .windows(2)
        .map(|two| (two[1] - two[0]).abs())
        .collect();
    let scatter = noise::median(&steps)?;
    let far: Vec<f64> = means
        .iter()
        .enumerate()
        .map(|(at, mean)| (mean - rest(at)).abs())
        .collect();
    let farthest = far.iter().copied().fold(0.0, f64::max);
    let level = (STANDS_OFF * farthest).max(SCATTERS * scatter);
    let off = |far: &f64| *far > level;
    let first = far.iter().position(off).unwrap_or(0);
    let end = far.iter().rposition(off).map_or(0, |at| at + 1);
    Some(first..end)
}

/// A line through the medians of the first and the last third: a cell drifts. `None` when there is none.
fn resting(means: &[f64]) -> Option<impl Fn(usize) -> f64> {
    let third = means.len().div_ceil(3);
    let first = noise::median(means.get(..third)?)?;
    let last = noise::median(&means[means.len() - third..])?;
    let apart = (means.len() - third) as f64;
    let slope = if apart > 0.0 {
        (last - first) / apart
    } else {
        0.0
    };
    let middle = 0.5 * (third as f64 - 1.0);
    Some(move |at: usize| first + slope * (at as f64 - middle))
}

/// Looks at all blocks of a file: at their beginnings, where any byte can be reached and those hold enough rows.
fn survey(source: &Source, view: &View) -> Result<Vec<Block>, Error> {
    let Some(length) = source.plain_length() else {
        return blocks_in_turn(source, view);
    };
    let mut file = source.file()?;
    let mut out = Vec::with_capacity((length as usize).div_ceil(BLOCK));
    let mut bytes = Vec::with_capacity(BLOCK);
    let mut read = |from: u64, most: usize, bytes: &mut Vec<u8>| {
        bytes.clear();
        file.seek(SeekFrom::Start(from))?;
        file.by_ref()
            .take((length - from).min(most as u64))
            .read_to_end(bytes)
    };
    for from in (0..length).step_by(BLOCK) {
        let mut block = Block::default();
        for most in [BEGINNING, BLOCK] {
            if block.rows < ROWS_OF_BLOCK {
                read(from, most, &mut bytes).map_err(|error| source.damaged(&error))?;
                block = view.block(&bytes);
            }
        }
        out.push(block);
    }
    Ok(out)
}

fn blocks_in_turn(source: &Source, view: &View) -> Result<Vec<Block>, Error> {
    let mut reader = source.reader_from(0)?;
    let mut out = Vec::new();
    let mut block = Vec::with_capacity(BLOCK);
    loop {
        block.clear();
        reader
            .by_ref()
            .take(BLOCK as u64)
            .read_to_end(&mut block)
            .map_err(|error| source.damaged(&error))?;
        if block.is_empty() {
            return Ok(out);
        }
        out.push(view.block(&block));
    }
}
