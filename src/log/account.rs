//! What was found in a log: notes for the results, warnings for whoever reads them.

use super::Event;
use super::clock::Timeline;
use super::dialect::Dialect;
use super::lines::{LeftOut, Lines};
use super::rows::Rows;
use super::tally::{LongestGap, RowTally};
use super::time_steps::Steps;
use super::warning::{RecordWarning, WhyDropped};
use super::words::count;
use crate::diagnostic::{Diagnostic, Place};

/// Rows of one kind: how many, and where the first is.
#[derive(Debug, Default)]
pub(super) struct Kind {
    pub number: usize,
    pub first: Option<Place>,
}

impl Kind {
    /// Counts one.
    pub(super) fn add(&mut self, place: impl FnOnce() -> Place) {
        self.number += 1;
        self.first.get_or_insert_with(place);
    }
}

/// What was seen in a log, whether it was read whole or as it went by.
#[derive(Debug, Default)]
pub(super) struct Account {
    /// How it is written, in words.
    pub layout: String,
    /// Where its times come from, in words.
    pub time: String,
    /// Columns that share a name.
    pub same_name: Vec<RecordWarning>,
    /// Rows, and those that were kept.
    pub rows: usize,
    pub kept: usize,
    /// Names of the columns that were asked for, and readings missing in them.
    pub missing: Vec<(String, usize)>,
    pub steps: Option<Steps>,
    /// The longest gap, s, and the row behind it.
    pub longest: Option<(f64, Place)>,
    pub repeated: Kind,
    pub out_of_order: Kind,
    pub impossible: Kind,
    pub without_time: Kind,
    /// Rows before which the counter ran full.
    pub wraps: Kind,
    pub guessed_bits: Option<u32>,
    /// Rows that share a stamp with others.
    pub spread: usize,
    /// The first row of each segment.
    pub starts: Vec<Place>,
    /// Lines that are no rows, in words.
    pub aside: Option<String>,
    /// Events behind the first row, and those of them before the last.
    pub unreadable: usize,
    pub between: Kind,
    pub cut_off: Option<RecordWarning>,
    pub left_out: LeftOut,
}

impl Account {
    /// Looks at a log that has been read; `columns` names the first columns of the rows.
    #[must_use]
    pub(super) fn of_whole(
        (lines, dialect): (&Lines, &Dialect),
        time: &str,
        (rows, columns): (&Rows, &[&str]),
        timeline: &Timeline,
    ) -> Self {
        let whole_line = |at: usize| lines.place(at, 0..lines.get(at).len());
        let place = |row: usize| whole_line(rows.line[row]);
        let place_of_kept = |kept: usize| place(timeline.kept[kept]);
        let kind = |of: &[usize]| Kind {
            number: of.len(),
            first: of.first().map(|row| place(*row)),
        };
        let missing = columns.iter().zip(&rows.numbers).map(|(name, values)| {
            let missing = values.iter().filter(|value| value.is_nan()).count();
            ((*name).to_owned(), missing)
        });
        let steps = Steps::of(&timeline.time_s, &timeline.segments);
        let starts = timeline.segments.iter().map(|one| place_of_kept(one.start));
        let mut out = Self {
            layout: layout_note(dialect, rows.line.len(), lines.last_is_open()),
            time: time.to_owned(),
            same_name: same_name(lines, dialect),
            rows: rows.line.len(),
            kept: timeline.kept.len(),
            missing: missing.collect(),
            longest: steps
                .as_ref()
                .and_then(|steps| steps.longest)
                .map(|(length_s, row)| (length_s, place_of_kept(row))),
            steps,
            repeated: kind(&timeline.repeated),
            out_of_order: kind(&timeline.out_of_order),
            impossible: kind(&timeline.impossible),
            without_time: kind(&timeline.without_time),
            wraps: kind(&timeline.wraps),
            guessed_bits: timeline.guessed_bits,
            spread: timeline.spread,
            starts: starts.collect(),
            aside: aside_note(dialect.skip_lines.min(lines.len()), rows, rows.events.len()),
            cut_off: cut_off(lines, rows),
            left_out: lines.left_out(),
            ..Self::default()
        };
        out.count(&rows.events, lines.file());
        out
    }

    /// Counts the events.
    pub(super) fn count(&mut self, events: &[Event], file: &str) {
        for event in events.iter().filter(|event| event.rows_before > 0) {
            self.unreadable += 1;
            if event.rows_before < self.rows {
                self.between.add(|| Place {
                    file: file.to_owned(),
                    line: event.line,
                    column: 1,
                    width: event.text.chars().count(),
                    text: event.text.clone(),
                });
            }
        }
    }

    /// What was found, in words.
    #[must_use]
    pub(super) fn notes(&self) -> Vec<String> {
        let mut out = vec![self.layout.clone(), self.time.clone()];
        if let Some(steps) = &self.steps {
            out.push(steps.note(self.longest.as_ref().map(|(_, place)| place.line)));
        }
        for (name, missing) in self.missing.iter().filter(|(_, missing)| *missing > 0) {
            let readings = count(*missing, "missing reading");
            out.push(format!("column \"{name}\": {readings}"));
        }
        for (why, rows) in self.dropped() {
            if let Some(first) = &rows.first {
                let number = count(rows.number, "row");
                let (why, line) = (why.words(), first.line);
                out.push(format!("{number} {why} dropped, first line {line}"));
            }
        }
        if let Some(first) = &self.wraps.first {
            let times = count(self.wraps.number, "time");
            let line = first.line;
            out.push(format!(
                "the counter ran full {times}, first before line {line}"
            ));
        }
        if self.starts.len() > 1 {
            let starts = self
                .starts
                .iter()
                .map(|start| format!("line {}", start.line));
            let starts: Vec<String> = starts.collect();
            out.push(format!(
                "{} segments, from {}",
                starts.len(),
                starts.join(", ")
            ));
        }
        out.extend(self.aside.clone());
        out.extend(left_out_note(self.left_out));
        out
    }

    /// The same in numbers.
    #[must_use]
    pub(super) fn tally(&self) -> RowTally {
        let steps = self.steps.as_ref();
        RowTally {
            rows_read: self.rows,
            lines_left_out: self.left_out.lines + self.left_out.behind,
            rows_used: self.kept,
            rate_hz: steps
                .filter(|steps| steps.median_s > 0.0)
                .map(|steps| 1.0 / steps.median_s),
            step_sd_s: steps.map(|steps| steps.jitter_s),
            longest_gap: self.longest.as_ref().map(|(length_s, place)| LongestGap {
                length_s: *length_s,
                line: place.line,
            }),
            duplicated: self.repeated.number,
            out_of_order: self.out_of_order.number,
            without_time: self.without_time.number,
            missing_rows: steps.map_or(0, |steps| steps.missing),
            missing_readings: self.missing.iter().map(|(_, missing)| missing).sum(),
            unreadable: self.unreadable,
            outliers: self.impossible.number,
        }
    }

    /// What deserves attention; `by_count` says that times come from counting rows.
    #[must_use]
    pub(super) fn warnings(&self, file: &str, by_count: bool) -> Vec<Diagnostic> {
        let mut out = self.same_name.clone();
        if let (Some(bits), Some(place)) = (self.guessed_bits, self.wraps.first.clone()) {
            out.push(RecordWarning::GuessedCounter { place, bits });
        }
        if let [_, second, ..] = self.starts.as_slice() {
            out.push(RecordWarning::Restarts {
                place: second.clone(),
                segments: self.starts.len(),
            });
        }
        if self.spread > 0 {
            out.push(RecordWarning::CoarseStamps {
                file: file.to_owned(),
                number: self.spread,
                rows: self.rows,
            });
        }
        if let (Some(steps), Some((longest_s, place))) = (&self.steps, self.longest.clone()) {
            out.push(RecordWarning::Gaps {
                place,
                number: steps.gaps,
                longest_s,
                step_s: steps.median_s,
            });
        }
        for (why, rows) in self.dropped() {
            out.extend(rows.first.clone().map(|place| RecordWarning::Dropped {
                place,
                why,
                number: rows.number,
                rows: self.rows,
            }));
        }
        out.extend(self.cut_off.clone());
        if let (true, Some(place)) = (by_count, self.between.first.clone()) {
            out.push(RecordWarning::BrokenRows {
                place,
                number: self.between.number,
            });
        }
        out.iter().map(RecordWarning::diagnostic).collect()
    }

    fn dropped(&self) -> [(WhyDropped, &Kind); 4] {
        [
            (WhyDropped::Repeated, &self.repeated),
            (WhyDropped::OutOfOrder, &self.out_of_order),
            (WhyDropped::Impossible, &self.impossible),
            (WhyDropped::WithoutTime, &self.without_time),
        ]
    }
}

/// How the file is written and how many rows it has.
#[must_use]
pub(crate) fn layout_note(dialect: &Dialect, rows: usize, is_open: bool) -> String {
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
    if is_open {
        out += ", no line end after the last line, so its last cell is not taken";
    }
    out
}

/// Lines that were not read.
fn left_out_note(left_out: LeftOut) -> Option<String> {
    let (before, behind) = (left_out.lines, left_out.behind);
    (before + behind > 0).then(|| {
        format!(
            "{before} lines before these and {behind} behind them lie far from anything that burnt: a \
             few of each {} were looked at",
            super::excerpt::BLOCK_WORDS
        )
    })
}

/// Lines that are not rows: so many were passed over as told, and so many kept as events.
#[must_use]
pub(crate) fn aside_note(skipped: usize, rows: &Rows, events: usize) -> Option<String> {
    let parts = [
        (
            skipped,
            "line passed over as told",
            "lines passed over as told",
        ),
        (rows.comments, "comment line", "comment lines"),
        (rows.blank, "blank line", "blank lines"),
        (
            events,
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
