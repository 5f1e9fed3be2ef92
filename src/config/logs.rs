//! Recorders: which file, which clock, how that clock is tied to the first one; and signals, the
//! columns that other tables refer to.

use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};

use indexmap::IndexMap;

use super::document::Table;
use crate::diagnostic::{Diagnostic, Located, Place};
use crate::quantity::unit::{Dimension, Unit};
use crate::quantity::{Frequency, Given, Ratio, Time};

/// One recorder's file.
#[derive(Debug, Clone)]
pub struct LogFile {
    /// The name of its table.
    pub name: String,
    /// Where the table stands.
    pub place: Place,
    /// Path of the file, and where it is named.
    pub file: Located<PathBuf>,
    /// Where its times come from; found from the file when absent.
    pub time: Option<TimeColumn>,
    /// How its clock is tied to another log's.
    pub align: Option<Align>,
    /// Field separator; found from the file when absent.
    pub delimiter: Option<char>,
    /// Decimal mark; found from the file when absent.
    pub decimal: Option<char>,
    /// What a comment line starts with.
    pub comment: Option<String>,
    /// Lines before the header that are not data.
    pub skip_lines: Option<usize>,
    /// Whether the first line names the columns; found from the file when absent.
    pub header: Option<bool>,
    /// Words that stand for a missing reading.
    pub missing: Vec<String>,
}

/// Where a log's times come from.
#[derive(Debug, Clone)]
pub enum TimeColumn {
    /// A column of numbers.
    Number {
        /// The column.
        column: Located<String>,
        /// Its unit.
        unit: Unit,
        /// Width of the counter that may wrap.
        counter_bits: Option<u32>,
    },
    /// A column of clock text.
    Clock {
        /// The column.
        column: Located<String>,
        /// Its format, in the usual `strptime` letters.
        format: Located<String>,
    },
    /// No column: readings at a steady rate.
    Rate(Given<Frequency>),
}

/// How a clock is tied to another.
#[derive(Debug, Clone)]
pub struct Align {
    /// The other log.
    pub to: Located<String>,
    /// The method.
    pub by: AlignBy,
    /// Where the method is named.
    pub place: Place,
}

/// Ways to tie two clocks together.
#[derive(Debug, Clone)]
pub enum AlignBy {
    /// First rise of one column in each log.
    Edge {
        /// Column of this log.
        here: Located<String>,
        /// Column of the other log.
        there: Located<String>,
    },
    /// A stated offset, and perhaps a drift.
    Offset {
        /// Offset: time on the other log when this one reads zero.
        offset: Given<Time>,
        /// Rate difference.
        drift: Option<Given<Ratio>>,
    },
    /// Two columns that move alike.
    Shape {
        /// Column of this log.
        here: Located<String>,
        /// Column of the other log.
        there: Located<String>,
    },
}

impl AlignBy {
    /// The word the firing file uses.
    #[must_use]
    pub const fn word(&self) -> &'static str {
        match self {
            Self::Edge { .. } => "edge",
            Self::Offset { .. } => "offset",
            Self::Shape { .. } => "shape",
        }
    }
}

/// A column of a log, and how its numbers are to be read.
#[derive(Debug, Clone)]
pub struct Signal {
    /// The log.
    pub log: Located<String>,
    /// The column, by name, or by number from 1 when the log has no header.
    pub column: Located<String>,
    /// Unit of its numbers; `None` for raw counts.
    pub unit: Option<Unit>,
    /// Points file that turns raw readings into the wanted quantity.
    pub points: Option<Located<PathBuf>>,
}

pub(super) fn read(name: &str, table: &mut Table<'_>, folder: &Path) -> Option<LogFile> {
    let file = table.need_text("file", "the name of the recorder's file");
    let time = table.table("time").and_then(|mut time| {
        let out = read_time(&mut time);
        time.finish();
        out
    });
    let align = table.table("align").and_then(|mut align| {
        let out = read_align(&mut align);
        align.finish();
        out
    });
    let delimiter = one_char(table, "delimiter");
    let decimal = one_char(table, "decimal");
    let comment = table.text("comment").map(|text| text.value);
    let skip_lines = table.count("skip_lines").map(|count| count.value as usize);
    let header = table.boolean("header");
    let missing = table.texts("missing").unwrap_or_default();
    let file = file?;
    Some(LogFile {
        name: name.to_owned(),
        place: table.place(),
        file: Located {
            value: folder.join(&file.value),
            place: file.place,
        },
        time,
        align,
        delimiter,
        decimal,
        comment,
        skip_lines,
        header,
        missing: missing.into_iter().map(|word| word.value).collect(),
    })
}

fn one_char(table: &mut Table<'_>, key: &'static str) -> Option<char> {
    let text = table.text(key)?;
    let word = if text.value == "\\t" || text.value == "tab" {
        "\t"
    } else {
        text.value.as_str()
    };
    let mut chars = word.chars();
    match (chars.next(), chars.next()) {
        (Some(one), None) if one.is_ascii() => Some(one),
        _ => {
            table.mistake(
                Diagnostic::error("wrong-kind", format!("`{key}` must be one plain character"))
                    .at(text.place)
                    .hint("for a tabulator write \"\\t\""),
            );
            None
        }
    }
}

/// Slowest recorder, Hz: a burn lasts seconds.
const SLOWEST_HZ: f64 = 0.1;
/// Fastest recorder, Hz.
const FASTEST_HZ: f64 = 1e7;
/// Largest offset between two logs of one firing, s, either way: a year.
const LARGEST_OFFSET_S: f64 = 3.2e7;
/// Largest rate difference of two clocks, as a fraction: worse is no clock.
const LARGEST_DRIFT: f64 = 0.1;
/// Narrowest and widest counter, bits.
const COUNTER_BITS: RangeInclusive<u64> = 8..=64;

fn read_time(table: &mut Table<'_>) -> Option<TimeColumn> {
    if table.has("rate") {
        let believable = |rate_hz: f64| (SLOWEST_HZ..=FASTEST_HZ).contains(&rate_hz);
        let rate = table.bounded("rate", believable, "must lie between 0.1 Hz and 10 MHz")?;
        return Some(TimeColumn::Rate(rate));
    }
    let column = table.need_text("column", "the name of the time column, or rate = \"80 Hz\"");
    if table.has("format") {
        let format = table.text("format")?;
        return Some(TimeColumn::Clock {
            column: column?,
            format,
        });
    }
    if !table.has("unit") {
        table.missing("unit", "the unit of the time column, such as unit = \"ms\"");
    }
    let unit = table.unit("unit");
    let counter_bits = table.count("counter_bits").and_then(|bits| {
        if COUNTER_BITS.contains(&bits.value) {
            return Some(bits.value as u32);
        }
        let message = "a counter has between 8 and 64 bits";
        table.mistake(Diagnostic::error("out-of-range", message).at(bits.place));
        None
    });
    let unit = unit?;
    if unit.value.dimension != Dimension::TIME {
        table.mistake(
            Diagnostic::error(
                "wrong-unit",
                format!("`{}` is not a unit of time", unit.value.name),
            )
            .at(unit.place)
            .hint("use one of s, ms, us, min"),
        );
        return None;
    }
    Some(TimeColumn::Number {
        column: column?,
        unit: unit.value,
        counter_bits,
    })
}

#[derive(Clone, Copy)]
enum Method {
    Edge,
    Offset,
    Shape,
}

fn read_align(table: &mut Table<'_>) -> Option<Align> {
    let place = table.place();
    let to = table.need_text("to", "the log whose clock this one is tied to");
    if !table.has("by") {
        table.missing("by", "by = \"edge\", \"offset\" or \"shape\"");
    }
    let words = [
        ("edge", Method::Edge),
        ("offset", Method::Offset),
        ("shape", Method::Shape),
    ];
    let Some(method) = table.choice("by", &words) else {
        // What belongs to the method is no unknown key, though the method is.
        for key in ["here", "there", "offset", "drift"] {
            table.has(key);
        }
        return None;
    };
    let by = match method {
        Method::Offset => {
            if !table.has("offset") {
                table.missing("offset", "a time such as offset = \"12.310 s u 2 ms\"");
            }
            let offset = table.bounded(
                "offset",
                |offset_s| offset_s.abs() <= LARGEST_OFFSET_S,
                "is more than a year",
            );
            let drift = table.bounded(
                "drift",
                |drift| drift.abs() <= LARGEST_DRIFT,
                "is more than a tenth: that is no clock",
            );
            AlignBy::Offset {
                offset: offset?,
                drift,
            }
        }
        method => {
            let here = table.need_text("here", "a column of this log");
            let there = table.need_text("there", "the matching column of the other log");
            let (here, there) = (here?, there?);
            match method {
                Method::Shape => AlignBy::Shape { here, there },
                _ => AlignBy::Edge { here, there },
            }
        }
    };
    Some(Align { to: to?, by, place })
}

/// Reads a signal table under a key.
pub(super) fn read_signal(
    table: &mut Table<'_>,
    key: &'static str,
    folder: &Path,
) -> Option<Signal> {
    let mut table = table.table(key)?;
    let out = signal_in(&mut table, folder);
    table.finish();
    out
}

fn signal_in(table: &mut Table<'_>, folder: &Path) -> Option<Signal> {
    let log = table.need_text("log", "the log that holds the column");
    let column = table.need_text("column", "the name of the column");
    let unit = table.unit("unit").map(|unit| unit.value);
    let points = table.text("points").map(|file| Located {
        value: folder.join(&file.value),
        place: file.place,
    });
    Some(Signal {
        log: log?,
        column: column?,
        unit,
        points,
    })
}

/// Reads a signal whose unit must be of one kind, unless a points file gives it.
pub(super) fn read_signal_of(
    table: &mut Table<'_>,
    key: &'static str,
    folder: &Path,
    dimension: Dimension,
    units: &str,
) -> Option<Signal> {
    let mut table = table.table(key)?;
    let signal = signal_in(&mut table, folder);
    table.finish();
    let signal = signal?;
    let path = table.name();
    let message = match &signal.unit {
        Some(unit) if unit.dimension == dimension => return Some(signal),
        None if signal.points.is_some() => return Some(signal),
        Some(unit) => format!("`{path}` cannot be in `{}`", unit.name),
        None => format!("`{path}` needs the unit of its column"),
    };
    // A unit that could not be read has been complained of already.
    let unit_place = table.place_of("unit");
    if signal.unit.is_some() || unit_place.is_none() {
        table.mistake(
            Diagnostic::error("wrong-unit", message)
                .at(unit_place.unwrap_or_else(|| signal.column.place.clone()))
                .hint(format!("use one of {units}, or a points file")),
        );
    }
    None
}

/// Every log but the first must be tied to the first, and never in a circle; `alone` needs no tie.
pub(super) fn check_alignment(logs: &IndexMap<String, LogFile>, alone: &[&str]) -> Vec<Diagnostic> {
    let mut out = Vec::new();
    let Some((first, first_log)) = logs.first() else {
        return out;
    };
    if alone.contains(&first.as_str()) && logs.len() > 1 {
        let message = "the first log sets the clock of the results, but this one holds only taps";
        let hint = "let the log of the load cells come first";
        let place = first_log.place.clone();
        return vec![Diagnostic::error("tap-first", message).at(place).hint(hint)];
    }
    let others = logs.iter().skip(1);
    for (name, log) in others.filter(|(name, _)| !alone.contains(&name.as_str())) {
        let mut seen = vec![name.as_str()];
        let mut at = log;
        loop {
            let Some(align) = &at.align else {
                out.push(
                    Diagnostic::error(
                        "no-alignment",
                        format!("the clock of log `{}` is not tied to that of `{first}`", at.name),
                    )
                    .at(at.place.clone())
                    .hint(format!(
                        "add align = {{ to = \"{first}\", by = \"edge\", here = \"..\", there = \"..\" }}"
                    )),
                );
                break;
            };
            let to = align.to.value.as_str();
            if to == first {
                break;
            }
            if seen.contains(&to) {
                out.push(
                    Diagnostic::error("cyclic-alignment", "these clocks are tied in a circle")
                        .at(align.to.place.clone())
                        .hint(format!("tie one of them to `{first}`")),
                );
                break;
            }
            seen.push(to);
            match logs.get(to) {
                Some(next) => at = next,
                None => break,
            }
        }
    }
    out.dedup_by(|a, b| a.place == b.place && a.code == b.code);
    out
}
