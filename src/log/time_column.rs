//! Where a log's times come from: what the firing file says, or else what the file suggests.
//!
//! A column whose name speaks of time comes first, then clock text, then the first column that rises steadily.
//! The unit is that of the name's ending, or the one under which the steps make a believable rate; the
//! latter is an assumption and is reported as one.

use jiff::fmt::strtime;
use jiff::tz::TimeZone;

use super::clock::{DAY_S, median_step};
use super::dialect::Dialect;
use super::error::RecordError;
use super::lines::{Lines, to_text};
use super::number::Reading;
use super::warning::RecordWarning;
use crate::config::{LogFile, TimeColumn};
use crate::diagnostic::Error;

/// Where times come from.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum TimeSource {
    /// A column of numbers.
    Number {
        /// Index of the column.
        column: usize,
        /// Size of a raw step, s.
        unit_s: f64,
        /// Raw value at which the counter starts at zero again.
        full: Option<f64>,
    },
    /// A column of clock text.
    Clock {
        /// Index of the column.
        column: usize,
        /// Format of the text.
        format: String,
    },
    /// A steady rate, Hz.
    Rate(f64),
}

/// A time source, and how it was come by.
#[derive(Debug)]
pub(crate) struct Found {
    /// The source.
    pub source: TimeSource,
    /// In words, for the notes.
    pub note: String,
    /// What had to be assumed.
    pub assumed: Option<RecordWarning>,
}

/// First words of a name that speaks of time, in the languages seen on loggers.
const TIME_WORDS: [&str; 12] = [
    "t",
    "time",
    "timestamp",
    "times",
    "clock",
    "elapsed",
    "uptime",
    "tempo",
    "zeit",
    "tiempo",
    "temps",
    "tid",
];

/// Words for units of time, and their size in seconds.
const UNIT_WORDS: [(&str, &str, f64); 18] = [
    ("s", "s", 1.0),
    ("sec", "s", 1.0),
    ("secs", "s", 1.0),
    ("second", "s", 1.0),
    ("seconds", "s", 1.0),
    ("ms", "ms", 1e-3),
    ("msec", "ms", 1e-3),
    ("milli", "ms", 1e-3),
    ("millis", "ms", 1e-3),
    ("milliseconds", "ms", 1e-3),
    ("us", "us", 1e-6),
    ("µs", "us", 1e-6),
    ("μs", "us", 1e-6),
    ("usec", "us", 1e-6),
    ("micros", "us", 1e-6),
    ("microseconds", "us", 1e-6),
    ("ns", "ns", 1e-9),
    ("min", "min", 60.0),
];

/// Formats that are tried on clock text when none is given.
const CLOCK_FORMATS: [&str; 4] = [
    "%H:%M:%S%.f",
    "%Y-%m-%d %H:%M:%S%.f",
    "%Y-%m-%dT%H:%M:%S%.f",
    "%Y-%m-%dT%H:%M:%S%.f%:z",
];

/// Rows looked at to see whether a column is a clock.
const ROWS_LOOKED_AT: usize = 200;

/// Share of the steps that must rise for a column to be taken for a clock.
const RISING_SHARE: f64 = 0.95;

/// Share of the steps that must not stand still: stamps to the whole second in a log of eighty rows a second.
const LEAST_RISING: f64 = 0.01;

/// Finds where the times of a log come from.
///
/// # Errors
/// The time column that the firing file names is not there, or none could be found.
pub(crate) fn find(log: &LogFile, lines: &Lines, dialect: &Dialect) -> Result<Found, Error> {
    let index = |column: &crate::diagnostic::Located<String>| {
        dialect.column(&column.value).ok_or_else(|| {
            Error::from(
                RecordError::no_column(column, &log_file_text(log), &dialect.names).diagnostic(),
            )
        })
    };
    match &log.time {
        None => guess(log, lines, dialect),
        Some(TimeColumn::Rate(rate)) => Ok(Found {
            source: TimeSource::Rate(rate.si()),
            note: stated_rate_note(rate.si()),
            assumed: None,
        }),
        Some(TimeColumn::Clock { column, format }) => Ok(Found {
            source: TimeSource::Clock {
                column: index(column)?,
                format: format.value.clone(),
            },
            note: format!("time from column \"{}\", clock text", column.value),
            assumed: None,
        }),
        Some(TimeColumn::Number {
            column,
            unit,
            counter_bits,
        }) => Ok(Found {
            source: TimeSource::Number {
                column: index(column)?,
                unit_s: unit.factor,
                full: counter_bits.map(|bits| 2.0_f64.powi(bits.min(MOST_BITS) as i32)),
            },
            note: format!("time from column \"{}\" in {}", column.value, unit.name),
            assumed: None,
        }),
    }
}

/// The note on a log whose rate was stated.
pub(crate) fn stated_rate_note(rate_hz: f64) -> String {
    format!("no time column: readings at the stated {rate_hz} Hz")
}

/// Counters wider than this do not run full in a lifetime.
const MOST_BITS: u32 = 64;

fn guess(log: &LogFile, lines: &Lines, dialect: &Dialect) -> Result<Found, Error> {
    for (column, name) in dialect.names.iter().enumerate() {
        let words = words_of(name);
        let unit = words.last().and_then(|word| unit_of(word));
        let first = words.first().map_or("", String::as_str);
        if TIME_WORDS.contains(&first) || (words.len() == 1 && unit.is_some()) {
            if let Some(found) = clock_text(lines, dialect, column) {
                return Ok(found);
            }
            let raw = numbers(lines, dialect, column);
            if rises(&raw) {
                return Ok(number_column(log, dialect, column, unit, &raw));
            }
        }
    }
    if let Some(found) = (0..dialect.names.len()).find_map(|at| clock_text(lines, dialect, at)) {
        return Ok(found);
    }
    if let Some(found) = risen(log, lines, dialect) {
        return Ok(found);
    }
    Err(RecordError::NoTime {
        place: log.place.clone(),
        log: log.name.clone(),
        names: dialect.names.clone(),
    }
    .diagnostic()
    .into())
}

/// The column that rises from row to row as a clock does; one that counts rows only if it is the first.
fn risen(log: &LogFile, lines: &Lines, dialect: &Dialect) -> Option<Found> {
    let rising: Vec<(usize, Vec<f64>)> = (0..dialect.names.len())
        .map(|column| (column, numbers(lines, dialect, column)))
        .filter(|(_, raw)| rises(raw))
        .collect();
    let (column, raw) = rising
        .iter()
        .find(|(column, raw)| *column == 0 || !counts_rows(raw))?;
    let mut found = number_column(log, dialect, *column, None, raw);
    let others: Vec<String> = rising
        .iter()
        .filter(|(other, _)| other != column)
        .map(|(other, _)| format!("\"{}\"", dialect.names[*other]))
        .collect();
    let why = if others.is_empty() {
        "the only one that rises from row to row".to_owned()
    } else {
        format!(
            "the first that rises from row to row; {} could be the clock too",
            others.join(", ")
        )
    };
    found.note = format!("{} ({why})", found.note);
    Some(found)
}

/// Whether a column counts the rows by ones.
fn counts_rows(raw: &[f64]) -> bool {
    raw.windows(2).all(|pair| pair[1] - pair[0] == 1.0)
}

fn number_column(
    log: &LogFile,
    dialect: &Dialect,
    column: usize,
    unit: Option<(&'static str, f64)>,
    raw: &[f64],
) -> Found {
    let name = &dialect.names[column];
    let (word, unit_s) = unit.unwrap_or_else(|| believable_unit(raw));
    let (note, assumed) = if unit.is_some() {
        (
            format!("time from column \"{name}\" in {word}, by its name"),
            None,
        )
    } else {
        let problem = RecordWarning::AssumedUnit {
            file: log_file_text(log),
            column: name.clone(),
            unit: word,
            step: median_step(raw),
        };
        (
            format!("time from column \"{name}\", {word} assumed from its steps"),
            Some(problem),
        )
    };
    Found {
        source: TimeSource::Number {
            column,
            unit_s,
            full: None,
        },
        note,
        assumed,
    }
}

/// The file of a log as the firing file writes it.
#[must_use]
pub(crate) fn log_file_text(log: &LogFile) -> String {
    let place = &log.file.place;
    let written: String = place
        .text
        .chars()
        .skip(place.column.saturating_sub(1))
        .take(place.width)
        .collect();
    let written = written.trim_matches(['"', '\'']).to_owned();
    if !written.is_empty() && log.file.value.ends_with(&written) {
        return written;
    }
    let name = log.file.value.file_name();
    name.map_or_else(
        || log.name.clone(),
        |name| name.to_string_lossy().into_owned(),
    )
}

/// `time (ms)` is `time`, `ms`; `Tempo_s` is `tempo`, `s`.
fn words_of(name: &str) -> Vec<String> {
    name.split(|ch: char| !ch.is_alphanumeric())
        .filter(|word| !word.is_empty())
        .map(str::to_lowercase)
        .collect()
}

fn unit_of(word: &str) -> Option<(&'static str, f64)> {
    let known = UNIT_WORDS.iter().find(|(known, ..)| *known == word)?;
    Some((known.1, known.2))
}

fn numbers(lines: &Lines, dialect: &Dialect, column: usize) -> Vec<f64> {
    dialect
        .first_cells(lines, column, ROWS_LOOKED_AT)
        .iter()
        .filter_map(|cell| match dialect.numerals.read(cell) {
            Reading::Number(number) => Some(number),
            _ => None,
        })
        .collect()
}

fn rises(raw: &[f64]) -> bool {
    let steps = || raw.windows(2).map(|pair| pair[1] - pair[0]);
    // Stamps to the whole second, or of rows written in bursts, repeat; a clock never stands still for long.
    let kept = steps().filter(|step| *step >= 0.0).count();
    let rising = steps().filter(|step| *step > 0.0).count();
    let all = raw.len().saturating_sub(1) as f64;
    raw.len() > 1 && kept as f64 >= RISING_SHARE * all && rising as f64 >= LEAST_RISING * all
}

/// Below this step a column of fractions counts seconds: 2 readings a second are the fewest that a
/// firing can be told from.
const LONGEST_STEP_S: f64 = 0.5;

/// From this step on whole numbers count microseconds: in milliseconds it would be 2 readings a
/// second, in microseconds it is 2000.
const SHORTEST_STEP_US: f64 = 500.0;

/// Shortest log that somebody keeps, s: nobody records for less than the blink of an eye, so few rows
/// far apart in numbers are milliseconds.
const SHORTEST_LOG_S: f64 = 0.1;

fn believable_unit(raw: &[f64]) -> (&'static str, f64) {
    let step = median_step(raw);
    let length_if_us = step * raw.len() as f64 * 1e-6;
    if step <= LONGEST_STEP_S {
        ("s", 1.0)
    } else if step < SHORTEST_STEP_US || length_if_us < SHORTEST_LOG_S {
        ("ms", 1e-3)
    } else {
        ("us", 1e-6)
    }
}

fn clock_text(lines: &Lines, dialect: &Dialect, column: usize) -> Option<Found> {
    let cells = dialect.first_cells(lines, column, ROWS_LOOKED_AT);
    let format = CLOCK_FORMATS.iter().find(|format| {
        !cells.is_empty()
            && cells
                .iter()
                .all(|cell| clock_seconds(&to_text(cell), format).is_ok())
    })?;
    Some(Found {
        source: TimeSource::Clock {
            column,
            format: (*format).to_owned(),
        },
        note: format!(
            "time from column \"{}\", clock text like \"{format}\"",
            dialect.names[column]
        ),
        assumed: None,
    })
}

/// What a clock text says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum ClockTime {
    /// Time of the day, s; a drop of more than half a day is midnight.
    OfDay(f64),
    /// Time since a fixed date, ns.
    Dated(i128),
}

/// Reads a clock text. A comma before the fraction is read as a point.
///
/// # Errors
/// Why the text does not fit the format.
pub(crate) fn clock_seconds(text: &str, format: &str) -> Result<ClockTime, String> {
    let parsed = strtime::parse(format, text)
        .or_else(|error| match text.rfind(',') {
            Some(_) => strtime::parse(format, text.replace(',', ".")),
            None => Err(error),
        })
        .map_err(|error| error.to_string())?;
    if let Ok(stamp) = parsed.to_timestamp() {
        return Ok(ClockTime::Dated(stamp.as_nanosecond()));
    }
    if let Ok(date) = parsed.to_datetime() {
        let stamp = TimeZone::UTC.to_timestamp(date);
        return stamp
            .map(|stamp| ClockTime::Dated(stamp.as_nanosecond()))
            .map_err(|error| error.to_string());
    }
    let time = parsed.to_time().map_err(|error| error.to_string())?;
    let whole = f64::from(time.hour()) * 3600.0
        + f64::from(time.minute()) * 60.0
        + f64::from(time.second());
    Ok(ClockTime::OfDay(
        whole + f64::from(time.subsec_nanosecond()) * 1e-9,
    ))
}

/// Clock texts as raw seconds, and the raw value at which they start anew.
///
/// # Errors
/// The number of the first text that does not fit, and why; a missing one is NaN.
pub(crate) fn clock_column(
    texts: impl Iterator<Item = Option<String>>,
    format: &str,
) -> Result<(Vec<f64>, Option<f64>), (usize, String)> {
    let mut reader = ClockReader::new(format);
    let raw = texts.enumerate().map(|(row, text)| match text {
        Some(text) => reader.raw(&text).map_err(|why| (row, why)),
        None => Ok(f64::NAN),
    });
    let raw = raw.collect::<Result<_, _>>()?;
    Ok((raw, reader.full))
}

/// Reads clock texts one after the other.
pub(super) struct ClockReader {
    format: String,
    /// The raw value at which they start anew.
    pub full: Option<f64>,
    /// The first one's, for texts with a date.
    origin_ns: Option<i128>,
}

impl ClockReader {
    pub(super) fn new(format: &str) -> Self {
        Self {
            format: format.to_owned(),
            full: None,
            origin_ns: None,
        }
    }

    /// Raw seconds; why the text does not fit, if it does not.
    pub(super) fn raw(&mut self, text: &str) -> Result<f64, String> {
        Ok(match clock_seconds(text, &self.format)? {
            ClockTime::OfDay(time_s) => {
                self.full = Some(DAY_S);
                time_s
            }
            ClockTime::Dated(time_ns) => {
                // The difference is taken in whole nanoseconds: an f64 since 1970 has only 200 ns.
                (time_ns - *self.origin_ns.get_or_insert(time_ns)) as f64 * 1e-9
            }
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn column(texts: &[&str], format: &str) -> (Vec<f64>, Option<f64>) {
        clock_column(texts.iter().map(|text| Some((*text).to_owned())), format).unwrap()
    }

    #[test]
    fn names_that_speak_of_time_give_their_unit() {
        for (name, unit) in [
            ("t_us", "us"),
            ("time (ms)", "ms"),
            ("Tempo_s", "s"),
            ("Time [s]", "s"),
            ("µs", "us"),
        ] {
            let words = words_of(name);
            assert_eq!(unit_of(words.last().unwrap()).unwrap().0, unit, "{name}");
        }
        assert_eq!(unit_of("t"), None);
    }

    #[test]
    fn steps_choose_the_unit_that_gives_a_believable_rate() {
        let rows = |step: f64, count: u32| -> Vec<f64> {
            (0..count).map(|row| step * f64::from(row)).collect()
        };
        let unit = |step: f64| believable_unit(&rows(step, 200)).0;
        assert_eq!([unit(0.001), unit(11.0), unit(1000.0)], ["s", "ms", "us"]);
        // Five rows 547 apart would be over within 3 ms.
        assert_eq!(believable_unit(&rows(547.0, 5)).0, "ms");
    }

    #[test]
    fn clock_text_is_seconds_of_the_day_or_since_the_first_row() {
        let (raw, full) = column(&["23:59:59.5", "00:00:00,5"], "%H:%M:%S%.f");
        assert_eq!((raw.as_slice(), full), (&[86_399.5, 0.5][..], Some(DAY_S)));
        let format = "%Y-%m-%d %H:%M:%S%.f";
        let dated = column(&["2026-03-14 23:59:59.5", "2026-03-15 00:00:00.5"], format);
        assert_eq!(dated, (vec![0.0, 1.0], None));
        let wrong = clock_column(std::iter::once(Some("noon".to_owned())), "%H:%M:%S");
        assert_eq!(wrong.unwrap_err().0, 0);
    }
}
