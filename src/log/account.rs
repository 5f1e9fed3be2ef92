//! What was found in a log: notes for the results, warnings for whoever reads them.

use super::clock::Timeline;
use super::dialect::Dialect;
use super::lines::{LeftOut, Lines};
use super::rows::Rows;
use super::tally::{LongestGap, RowTally};
use super::time_steps::Steps;
use super::warning::{RecordWarning, WhyDropped};
use super::words::count;
use crate::diagnostic::{Diagnostic, Place};

/// Everything an account of a log is drawn from.
#[derive(Debug)]
pub(crate) struct Account<'a> {
    lines: &'a Lines,
    dialect: &'a Dialect,
    rows: &'a Rows,
    timeline: &'a Timeline,
    steps: Option<Steps>,
}

impl<'a> Account<'a> {
    /// Looks at a log that has been read.
    #[must_use]
    pub(crate) fn new(
        lines: &'a Lines,
        dialect: &'a Dialect,
        rows: &'a Rows,
        timeline: &'a Timeline,
    ) -> Self {
        Self {
            lines,
            dialect,
            rows,
            timeline,
            steps: Steps::of(&timeline.time_s, &timeline.segments),
        }
    }

    /// What was found, in words; `time` says where the times come from, `columns` names the first
    /// columns of the rows.
    #[must_use]
    pub(crate) fn notes(&self, time: &str, columns: &[&str]) -> Vec<String> {
        let mut out = vec![
            layout_note(self.lines, self.dialect, self.rows.line.len()),
            time.to_owned(),
        ];
        if let Some(steps) = &self.steps {
            let line = steps.longest.map(|(_, row)| self.line_of_kept(row));
            out.push(steps.note(line));
        }
        for (name, values) in columns.iter().zip(&self.rows.numbers) {
            let missing = values.iter().filter(|value| value.is_nan()).count();
            if missing > 0 {
                let readings = count(missing, "missing reading");
                out.push(format!("column \"{name}\": {readings}"));
            }
        }
        for (why, rows) in self.dropped() {
            if let Some(first) = rows.first() {
                let line = self.lines.number(self.rows.line[*first]);
                let number = count(rows.len(), "row");
                out.push(format!(
                    "{number} {} dropped, first line {line}",
                    why.words()
                ));
            }
        }
        out.extend(self.clock_notes());
        out.extend(aside_note(self.lines, self.dialect, self.rows));
        out.extend(left_out_note(self.lines.left_out()));
        out
    }

    /// The same in numbers; `columns` is the number of leading columns of the rows that somebody
    /// asked for.
    #[must_use]
    pub(crate) fn tally(&self, columns: usize) -> RowTally {
        let (rows, timeline, steps) = (self.rows, self.timeline, self.steps.as_ref());
        let asked = rows.numbers.iter().take(columns).flatten();
        let after_rows = rows.events.iter().filter(|event| event.rows_before > 0);
        RowTally {
            rows_read: rows.line.len(),
            lines_left_out: self.lines.left_out().lines + self.lines.left_out().behind,
            rows_used: timeline.kept.len(),
            rate_hz: steps
                .filter(|steps| steps.median_s > 0.0)
                .map(|steps| 1.0 / steps.median_s),
            step_sd_s: steps.map(|steps| steps.jitter_s),
            longest_gap: steps
                .and_then(|steps| steps.longest)
                .map(|(length_s, row)| LongestGap {
                    length_s,
                    line: self.line_of_kept(row),
                }),
            duplicated: timeline.repeated.len(),
            out_of_order: timeline.out_of_order.len(),
            without_time: timeline.without_time.len(),
            missing_rows: steps.map_or(0, |steps| steps.missing),
            missing_readings: asked.filter(|value| value.is_nan()).count(),
            unreadable: after_rows.count(),
            outliers: timeline.impossible.len(),
        }
    }

    fn clock_notes(&self) -> Vec<String> {
        let mut out = Vec::new();
        if let Some(first) = self.timeline.wraps.first() {
            let times = count(self.timeline.wraps.len(), "time");
            let line = self.lines.number(self.rows.line[*first]);
            out.push(format!(
                "the counter ran full {times}, first before line {line}"
            ));
        }
        let segments = &self.timeline.segments;
        if segments.len() > 1 {
            let starts: Vec<String> = segments
                .iter()
                .map(|rows| format!("line {}", self.line_of_kept(rows.start)))
                .collect();
            out.push(format!(
                "{} segments, from {}",
                segments.len(),
                starts.join(", ")
            ));
        }
        out
    }

    /// What deserves attention; `by_count` says that times come from counting rows.
    #[must_use]
    pub(crate) fn warnings(&self, by_count: bool) -> Vec<Diagnostic> {
        let mut out = same_name(self.lines, self.dialect);
        let timeline = self.timeline;
        if let (Some(bits), Some(row)) = (timeline.guessed_bits, timeline.wraps.first()) {
            let place = self.place_of(self.rows.line[*row]);
            out.push(RecordWarning::GuessedCounter { place, bits });
        }
        if let [_, second, ..] = timeline.segments.as_slice() {
            out.push(RecordWarning::Restarts {
                place: self.place_of(self.index_of_kept(second.start)),
                segments: timeline.segments.len(),
            });
        }
        if timeline.spread > 0 {
            out.push(RecordWarning::CoarseStamps {
                file: self.lines.file().to_owned(),
                number: timeline.spread,
                rows: self.rows.line.len(),
            });
        }
        if let Some((steps, (longest_s, row))) = self
            .steps
            .as_ref()
            .and_then(|steps| Some((steps, steps.longest?)))
        {
            out.push(RecordWarning::Gaps {
                place: self.place_of(self.index_of_kept(row)),
                number: steps.gaps,
                longest_s,
                step_s: steps.median_s,
            });
        }
        for (why, rows) in self.dropped() {
            out.extend(rows.first().map(|row| RecordWarning::Dropped {
                place: self.place_of(self.rows.line[*row]),
                why,
                number: rows.len(),
                rows: self.rows.line.len(),
            }));
        }
        out.extend(cut_off(self.lines, self.rows));
        let between: Vec<usize> = self.lines_between().collect();
        if let (true, Some(first)) = (by_count, between.first()) {
            out.push(RecordWarning::BrokenRows {
                place: self.place_of(*first),
                number: between.len(),
            });
        }
        out.iter().map(RecordWarning::diagnostic).collect()
    }

    /// Lines between the rows, from 0.
    fn lines_between(&self) -> impl Iterator<Item = usize> {
        let rows = self.rows.line.len();
        self.rows
            .events
            .iter()
            .filter(move |event| event.rows_before > 0 && event.rows_before < rows)
            .map(|event| event.line - 1)
    }

    fn dropped(&self) -> [(WhyDropped, &'a [usize]); 4] {
        [
            (WhyDropped::Repeated, &self.timeline.repeated),
            (WhyDropped::OutOfOrder, &self.timeline.out_of_order),
            (WhyDropped::Impossible, &self.timeline.impossible),
            (WhyDropped::WithoutTime, &self.timeline.without_time),
        ]
    }

    fn line_of_kept(&self, kept: usize) -> usize {
        self.lines.number(self.index_of_kept(kept))
    }

    fn index_of_kept(&self, kept: usize) -> usize {
        self.rows.line[self.timeline.kept[kept]]
    }

    fn place_of(&self, line: usize) -> Place {
        self.lines.place(line, 0..self.lines.get(line).len())
    }
}

/// How the file is written and how many rows it has.
#[must_use]
pub(crate) fn layout_note(lines: &Lines, dialect: &Dialect, rows: usize) -> String {
    let mut out = format!("separator {}", dialect.separator.words());
    if dialect.numerals.decimal != b'.' {
        out += &format!(", decimal \"{}\"", char::from(dialect.numerals.decimal));
    }
    match (dialect.header, dialect.units) {
        (Some(header), Some(units)) => {
            out += &format!(
                ", header on line {}, units on line {}",
                header + 1,
                units + 1
            );
        }
        (Some(header), None) => out += &format!(", header on line {}", header + 1),
        (None, _) => out += ", no header",
    }
    out += &format!(", {}", count(rows, "row"));
    if lines.last_is_open() {
        out += ", no line end after the last line, so its last cell is not taken";
    }
    out
}

/// Lines that were not read.
pub(super) fn left_out_note(left_out: LeftOut) -> Option<String> {
    let (before, behind) = (left_out.lines, left_out.behind);
    (before + behind > 0).then(|| {
        format!(
            "{before} lines before these and {behind} behind them lie far from anything that burnt: a \
             few of each {} were looked at",
            super::excerpt::BLOCK_WORDS
        )
    })
}

/// Lines that are not rows.
#[must_use]
pub(crate) fn aside_note(lines: &Lines, dialect: &Dialect, rows: &Rows) -> Option<String> {
    let blank = |at: &usize| lines.get(*at).trim_ascii().is_empty();
    let skipped = dialect.skip_lines.min(lines.len());
    let blank = (skipped..lines.len()).filter(blank).count();
    let parts = [
        (
            skipped,
            "line passed over as told",
            "lines passed over as told",
        ),
        (rows.comments, "comment line", "comment lines"),
        (blank, "blank line", "blank lines"),
        (
            rows.events.len(),
            "other line kept as event",
            "other lines kept as events",
        ),
    ];
    let said: Vec<String> = parts
        .iter()
        .filter(|(number, ..)| *number > 0)
        .map(|(number, one, many)| format!("{number} {}", if *number == 1 { one } else { many }))
        .collect();
    (!said.is_empty()).then(|| said.join(", "))
}

/// The last line, if it was cut off.
#[must_use]
pub(crate) fn cut_off(lines: &Lines, rows: &Rows) -> Option<RecordWarning> {
    let at = rows.cut_off?;
    let place = lines.place(at, 0..lines.get(at).len());
    Some(RecordWarning::CutOff { place })
}

/// Columns that share a name.
#[must_use]
pub(crate) fn same_name(lines: &Lines, dialect: &Dialect) -> Vec<RecordWarning> {
    let renamed = |name: &&String| name.ends_with(')') && name.contains(" (column ");
    let names: Vec<String> = dialect.names.iter().filter(renamed).cloned().collect();
    match dialect.header {
        Some(at) if !names.is_empty() => {
            let place = lines.place(at, 0..lines.get(at).len());
            vec![RecordWarning::SameName { place, names }]
        }
        _ => vec![],
    }
}
