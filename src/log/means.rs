//! Readings that come faster than anything of a firing moves, as means of blocks.
//!
//! A recorder of 100 kHz writes what one of 10 kHz writes, ten times over: thrust, tilt and the ringing of a stand
//! are slower than a block, and only noise is not. A mean keeps the area under the readings, stands at the mean of
//! their times, and what noise is left in it is measured of the means themselves, so that noise which lasts over
//! several readings is not taken to average out. Outliers are taken out before. At a natural frequency of the stand
//! that is stated the mean of a block is at least 0.996 of a swing (sin x / x with 20 blocks in a period).
//!
//! Readings that hold until they change, such as commands and igniter lines, are not averaged: the changes are kept.
//!
//! Limits: a block ends at a hole in the record and at a restart of the clock, and may then be short; what is over in
//! less than a block is seen by its area alone.

use std::ops::Range;

use super::clock::GAP_STEPS;
use super::words::{count, short};
use super::{Record, outlier};
use crate::config::{AlignBy, Firing, Signal};
use crate::series::Series;

/// Means are taken down to about this rate, Hz: more than twenty of them lie on the steepest edge of a burn, and what a recorder of 10 kHz reads stays what it was.
const RATE_HZ: f64 = 10_000.0;

/// Means in a period of the stand's stated natural frequency.
const PER_PERIOD: f64 = 20.0;

/// Readings that change in more than this share of rows do not hold until they change.
const MOST_CHANGES: f64 = 0.05;

/// How the readings of a log are averaged.
pub(crate) struct Averaging<'a> {
    /// The rate that is needed, Hz.
    rate_hz: f64,
    /// Readings that make one mean, whatever the rate.
    group: Option<usize>,
    /// Columns that hold until they change: commands, igniter lines, edges that tie clocks.
    pub held: Vec<&'a str>,
    /// Columns whose outliers are taken out: those of load cells and of the pressure transducer.
    pub judged: Vec<&'a str>,
    /// Whether the range of each column is asked for.
    pub(super) ranges: bool,
}

impl<'a> Averaging<'a> {
    /// What the logs of a firing need.
    pub(super) fn new(firing: &'a Firing, log: &str) -> Self {
        let natural = firing.stand.natural_frequency.as_ref();
        let commands = firing.axes.values().map(|axis| &axis.command);
        let lines = firing
            .motors
            .values()
            .filter_map(|motor| motor.fire.as_ref());
        let pressure = firing.chamber.iter().map(|chamber| &chamber.pressure);
        let cells = firing.cells.values().map(|cell| &cell.signal);
        let in_log = |signal: &&Signal| signal.log.value == log;
        let column = |signal: &'a Signal| signal.column.value.as_str();
        let judged: Vec<&str> = cells.chain(pressure).filter(in_log).map(column).collect();
        let mut held: Vec<&str> = commands.chain(lines).filter(in_log).map(column).collect();
        for (name, other) in &firing.logs {
            let Some(align) = &other.align else { continue };
            if let AlignBy::Edge { here, there } = &align.by {
                held.extend((name == log).then_some(here.value.as_str()));
                held.extend((align.to.value == log).then_some(there.value.as_str()));
            }
        }
        held.retain(|column| !judged.contains(column));
        Self {
            group: None,
            ranges: false,
            rate_hz: natural.map_or(RATE_HZ, |hz| RATE_HZ.max(PER_PERIOD * hz.si())),
            held,
            judged,
        }
    }

    /// For a look at all of some columns: means of so many readings, outliers taken out of all but the clock.
    pub(crate) fn at_a_glance(columns: &[&'a str], clock: Option<&str>, group: usize) -> Self {
        let judged = columns.iter().copied();
        Self {
            rate_hz: RATE_HZ,
            group: Some(group),
            held: columns.to_vec(),
            judged: judged.filter(|name| Some(*name) != clock).collect(),
            ranges: true,
        }
    }

    /// Readings at a step, s, that make one mean; `None` where they do not come faster than needed.
    pub(super) fn group(&self, step_s: f64) -> Option<usize> {
        if self.group.is_some() {
            return self.group.filter(|group| *group > 1);
        }
        let group = (1.0 / (self.rate_hz * step_s)).round();
        (group >= 2.0 && group.is_finite()).then_some(group as usize)
    }

    /// Takes the outliers out of a record, and makes its readings means where they come faster than needed.
    pub(super) fn judge_and_average(&self, record: &mut Record) {
        for column in &self.judged {
            outlier::take(record, column);
        }
        let step_s = record.tally.rate_hz.map_or(f64::INFINITY, f64::recip);
        let all: usize = record.segments.iter().map(ExactSizeIterator::len).sum();
        let Some(group) = self.group(step_s) else {
            return;
        };
        let mut means = Means::new(group, GAP_STEPS * step_s, record.columns.len());
        let mut segments = Vec::with_capacity(record.segments.len());
        for segment in &record.segments {
            let first = means.time_s.len();
            let rows = segment.clone();
            let values: Vec<&[f64]> = record
                .columns
                .values()
                .map(|one| &one[rows.clone()])
                .collect();
            means.extend(&record.time_s[rows.clone()], &record.line[rows], &values);
            means.end();
            segments.push(first..means.time_s.len());
        }
        let held = self.held.iter().filter_map(|name| {
            let values = record.columns.get(*name)?;
            let of_segment = |rows: &Range<usize>| {
                let mut out = Changes::default();
                out.extend(&record.time_s[rows.clone()], &values[rows.clone()]);
                out.end(rows.len())
            };
            let changes: Option<Vec<Series>> = record.segments.iter().map(of_segment).collect();
            Some(((*name).to_owned(), changes?))
        });
        record.changes = held.collect();
        record.notes.push(means.note(all));
        record.segments = segments;
        (record.time_s, record.line) = (means.time_s, means.line);
        for (column, means) in record.columns.values_mut().zip(means.columns) {
            *column = means;
        }
    }
}

/// Means of blocks, made as rows go by.
pub(super) struct Means {
    group: usize,
    /// A longer step ends a block, s.
    longest_s: f64,
    /// Rows of the block that is being made, and of the one before it.
    rows: usize,
    rows_before: usize,
    first_s: f64,
    last_s: f64,
    last_line: usize,
    /// Sums over it of times since its first, and of each column with the number of its readings.
    sum_s: f64,
    sums: Vec<(f64, f64)>,
    /// Times of the means, s.
    pub time_s: Vec<f64>,
    /// First line of each, and of the last of a segment its last line.
    pub line: Vec<usize>,
    /// The means.
    pub columns: Vec<Vec<f64>>,
}

impl Means {
    pub(super) fn new(group: usize, longest_s: f64, columns: usize) -> Self {
        Self {
            group,
            longest_s,
            rows: 0,
            rows_before: 0,
            first_s: 0.0,
            last_s: 0.0,
            last_line: 0,
            sum_s: 0.0,
            sums: vec![(0.0, 0.0); columns],
            time_s: Vec::new(),
            line: Vec::new(),
            columns: vec![Vec::new(); columns],
        }
    }

    /// Takes rows, by columns; a reading that is missing is NaN.
    pub(super) fn extend(&mut self, time_s: &[f64], line: &[usize], columns: &[&[f64]]) {
        let mut from = 0;
        while from < time_s.len() {
            if self.rows > 0 && time_s[from] - self.last_s > self.longest_s {
                self.end();
            }
            let rows = &time_s[from..time_s.len().min(from + self.group - self.rows)];
            let longer = |pair: &[f64]| pair[1] - pair[0] > self.longest_s;
            let hole = rows.windows(2).position(longer);
            let to = from + hole.map_or(rows.len(), |at| at + 1);
            self.add(
                &time_s[from..to],
                &line[from..to],
                columns.iter().map(|one| &one[from..to]),
            );
            from = to;
        }
    }

    /// Takes rows of one block.
    fn add<'a>(
        &mut self,
        time_s: &[f64],
        line: &[usize],
        columns: impl Iterator<Item = &'a [f64]>,
    ) {
        let ([first_s, ..], [.., last_s]) = (time_s, time_s) else {
            return;
        };
        if self.rows == 0 {
            (self.first_s, self.sum_s) = (*first_s, 0.0);
            self.sums.fill((0.0, 0.0));
            self.line.push(line[0]);
        }
        self.rows += time_s.len();
        let first_s = self.first_s;
        self.sum_s = time_s
            .iter()
            .fold(self.sum_s, |sum, time_s| sum + (time_s - first_s));
        for ((sum, count), values) in self.sums.iter_mut().zip(columns) {
            let all = values.iter().fold(*sum, |sum, value| sum + value);
            if all.is_nan() {
                for value in values.iter().filter(|value| !value.is_nan()) {
                    (*sum, *count) = (*sum + value, *count + 1.0);
                }
            } else {
                (*sum, *count) = (all, *count + values.len() as f64);
            }
        }
        (self.last_s, self.last_line) = (*last_s, line[line.len() - 1]);
        if self.rows == self.group {
            self.close();
        }
    }

    fn close(&mut self) {
        self.time_s
            .push(self.first_s + self.sum_s / self.rows as f64);
        for (out, (sum, count)) in self.columns.iter_mut().zip(&self.sums) {
            out.push(sum / count);
        }
        (self.rows_before, self.rows) = (self.rows, 0);
    }

    /// Ends a stretch without holes: what is left over goes to the block before it, unless it is half of one or there is
    /// none.
    pub(super) fn end(&mut self) {
        let rows = self.rows;
        if rows > 0 {
            let before = (2 * rows < self.group).then_some(self.rows_before as f64);
            self.close();
            if let Some(before) = before.filter(|before| *before > 0.0) {
                self.line.pop();
                let both = |of: &mut Vec<f64>, weight: f64| {
                    if let (Some(last), Some(mean)) = (of.pop(), of.last_mut()) {
                        *mean += (last - *mean) * weight;
                    }
                };
                let weight = rows as f64 / (rows as f64 + before);
                both(&mut self.time_s, weight);
                self.columns
                    .iter_mut()
                    .for_each(|column| both(column, weight));
            }
        }
        if self.rows_before > 0 && self.line.len() > 1 {
            // The last line of a segment is told.
            let last = self.line.len() - 1;
            self.line[last] = self.last_line;
        }
        self.rows_before = 0;
    }

    /// What was averaged, in words.
    pub(super) fn note(&self, rows: usize) -> String {
        let means = self.time_s.len();
        let rows = count(rows, "row");
        format!(
            "{rows} averaged to {}, {} in each",
            count(means, "mean"),
            short(self.group as f64)
        )
    }
}

/// A column that holds until it changes: every change, the reading before it, the first and the last.
#[derive(Debug, Default)]
pub(super) struct Changes {
    kept: Series,
    last: Option<(f64, f64)>,
    /// Whether there were so many that none is kept.
    too_many: bool,
}

impl Changes {
    pub(super) fn extend(&mut self, time_s: &[f64], value: &[f64]) {
        self.too_many |= self.kept.len() > MOST_KEPT;
        if self.too_many {
            self.kept = Series::default();
            return;
        }
        let mut at = 0;
        while at < time_s.len() {
            if let Some((last_s, last)) = &mut self.last {
                let same = value[at..].iter().take_while(|one| **one == *last).count();
                if same > 0 {
                    at += same;
                    *last_s = time_s[at - 1];
                }
            }
            if at < time_s.len() {
                self.push(time_s[at], value[at]);
                at += 1;
            }
        }
    }

    fn push(&mut self, time_s: f64, value: f64) {
        if value.is_nan() {
            return;
        }
        if self.last.is_none_or(|last| last.1 != value) {
            if let Some((time_s, value)) = self.last {
                self.kept.push(time_s, value);
            }
            self.kept.push(time_s, value);
        }
        self.last = Some((time_s, value));
    }

    /// What changed in so many rows; `None` where that is too often.
    pub(super) fn end(mut self, rows: usize) -> Option<Series> {
        if let Some((time_s, value)) = self.last {
            self.kept.push(time_s, value);
        }
        let most = (MOST_CHANGES * rows as f64).max(FEW);
        (!self.too_many && self.kept.len() as f64 <= most).then_some(self.kept)
    }
}

/// No more changes than this are kept, however long the log.
const MOST_KEPT: usize = 1 << 20;

/// So few changes are kept in any case.
const FEW: f64 = 100.0;
