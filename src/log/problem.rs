//! Everything that can be wrong with a recorder's file, as facts; the words are all here.

use crate::diagnostic::{Diagnostic, Located, Place, nearest};

use super::words::{count, duration, short};

/// Something wrong with, or worth knowing about, a recorder's file.
#[derive(Debug, Clone)]
pub enum RecordProblem {
    /// The file holds nothing.
    Empty {
        /// The file.
        file: String,
    },
    /// No line looks like a row of readings.
    NoRows {
        /// The first line that says anything, or the file as a whole.
        place: Place,
        /// Number of lines.
        lines: usize,
    },
    /// A column that another table needs is not there.
    NoColumn {
        /// Where the column is named.
        place: Place,
        /// Its name.
        column: String,
        /// The log, or the file when no log is meant.
        log: String,
        /// The columns there are.
        names: Vec<String>,
    },
    /// A word where a number should stand.
    NotANumber {
        /// The cell.
        place: Place,
        /// The column.
        column: String,
        /// The word.
        word: String,
        /// The decimal mark in use.
        decimal: char,
    },
    /// More of the same than is worth listing.
    MoreWords {
        /// The file.
        file: String,
        /// How many are not listed.
        more: usize,
    },
    /// No time column, and none could be found.
    NoTime {
        /// The log's table.
        place: Place,
        /// The log.
        log: String,
        /// The columns there are.
        names: Vec<String>,
    },
    /// A clock text that does not fit its format.
    NotAClock {
        /// The cell.
        place: Place,
        /// The text.
        word: String,
        /// The format.
        format: String,
        /// Why not.
        why: String,
    },
    /// No row is left that has a time.
    NoTimes {
        /// The first row.
        place: Place,
        /// The time column.
        column: String,
    },
    /// The time column hardly ever rises.
    NoClock {
        /// Where it is named.
        place: Place,
        /// Rows that were kept.
        kept: usize,
        /// Rows of the file.
        rows: usize,
    },
    /// A time column that begins anew all the time.
    Restless {
        /// Where it is named.
        place: Place,
        /// How often.
        restarts: usize,
        /// Rows of the file.
        rows: usize,
    },
    /// A time column that runs backwards.
    Falls {
        /// Where it is named.
        place: Place,
    },
    /// Rows with a cell that the header has no name for.
    Unnamed {
        /// The first such cell.
        place: Place,
        /// Names in the header.
        names: usize,
        /// Cells of a row.
        cells: usize,
    },
    /// Bytes that are no text of readings, and what they look like.
    NotReadings {
        /// The file.
        file: String,
        /// What it looks like.
        like: &'static str,
        /// What to do.
        hint: &'static str,
    },
    /// Steps that no recorder of firings makes.
    OddStep {
        /// Where the time column is named.
        place: Place,
        /// Median step, s.
        step_s: f64,
    },
    /// The unit of the time column was assumed.
    AssumedUnit {
        /// The file.
        file: String,
        /// The column.
        column: String,
        /// The unit.
        unit: &'static str,
        /// Median step, in that unit.
        step: f64,
    },
    /// The width of a counter was guessed from its running full.
    GuessedCounter {
        /// The first row after it ran full.
        place: Place,
        /// Its width.
        bits: u32,
    },
    /// The clock started anew.
    Restarts {
        /// The first row of the second segment.
        place: Place,
        /// Number of segments.
        segments: usize,
    },
    /// Steps much longer than the median.
    Gaps {
        /// The row after the longest.
        place: Place,
        /// How many.
        number: usize,
        /// The longest, s.
        longest_s: f64,
        /// Median step, s.
        step_s: f64,
    },
    /// Rows dropped because their time does not rise or is missing.
    Dropped {
        /// The first of them.
        place: Place,
        /// Why.
        why: Drop,
        /// How many.
        number: usize,
        /// Rows of the file.
        rows: usize,
    },
    /// The last line was cut off while being written.
    CutOff {
        /// The line.
        place: Place,
    },
    /// Lines between the rows of a log without a time column: each may be a lost reading.
    BrokenRows {
        /// The first of them.
        place: Place,
        /// How many.
        number: usize,
    },
    /// Two columns have the same name.
    SameName {
        /// The header.
        place: Place,
        /// What the later ones are called now.
        names: Vec<String>,
    },
}

/// Why a row was dropped.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Drop {
    /// Its time repeats the one before it.
    Repeated,
    /// Its time lies before the one before it.
    OutOfOrder,
    /// Its time is one wild jump.
    Wild,
    /// It has no time.
    WithoutTime,
}

impl Drop {
    /// What is the matter with such rows, after their number.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Repeated => "repeating an earlier time",
            Self::OutOfOrder => "out of order in time",
            Self::Wild => "with a wild time",
            Self::WithoutTime => "without a time",
        }
    }
}

/// With more than this share of the rows repeated, the clock is too coarse for the rows.
const COARSE_SHARE: f64 = 0.1;

impl RecordProblem {
    /// A wanted column that a log does not have.
    #[must_use]
    pub fn no_column(wanted: &Located<String>, log: &str, names: &[String]) -> Self {
        Self::NoColumn {
            place: wanted.place.clone(),
            column: wanted.value.clone(),
            log: log.to_owned(),
            names: names.to_vec(),
        }
    }

    /// The problem in words.
    #[must_use]
    pub fn diagnostic(&self) -> Diagnostic {
        match self {
            Self::Empty { .. }
            | Self::NoRows { .. }
            | Self::NoColumn { .. }
            | Self::NotANumber { .. }
            | Self::MoreWords { .. }
            | Self::NoTime { .. }
            | Self::NotAClock { .. }
            | Self::NoClock { .. }
            | Self::Restless { .. }
            | Self::Falls { .. }
            | Self::Unnamed { .. }
            | Self::NotReadings { .. }
            | Self::OddStep { .. }
            | Self::NoTimes { .. } => self.error(),
            _ => self.warning(),
        }
    }

    fn error(&self) -> Diagnostic {
        match self {
            Self::Empty { file } => Diagnostic::error("empty-log", "the file is empty")
                .at(Place::file(file))
                .hint("the recorder may not have closed it: copy it from the card again"),
            Self::NoRows { place, lines } => {
                let message = format!("no row of readings in {}", count(*lines, "line"));
                Diagnostic::error("no-rows", message)
                    .at(place.clone())
                    .hint("a row is a line with a number in it, as many cells as most others have")
                    .hint("if the separator is unusual, give delimiter = \"..\"")
            }
            Self::NoColumn {
                place,
                column,
                log,
                names,
            } => no_column(place, column, log, names),
            Self::NotANumber {
                place,
                column,
                word,
                decimal,
            } => not_a_number(place, column, word, *decimal),
            Self::MoreWords { file, more } => {
                let message = format!("{} more like these", count(*more, "cell"));
                Diagnostic::error("not-a-number", message).at(Place::file(file))
            }
            Self::NoTime { place, log, names } => {
                let message = format!("log `{log}` has no column that looks like a clock");
                Diagnostic::error("no-time", message)
                    .at(place.clone())
                    .hint("add time = { column = \"..\", unit = \"ms\" } or time = { rate = \"80 Hz\" }")
                    .hint(format!("the columns of that file: {}", names.join(", ")))
            }
            Self::NotAClock {
                place,
                word,
                format,
                why,
            } => Diagnostic::error("not-a-time", format!("`{word}` does not fit \"{format}\""))
                .at(place.clone())
                .label("expected clock text")
                .hint(why.clone()),
            Self::NoClock { place, kept, rows } => {
                let message = format!("this is no clock: it rises in {kept} of {rows} rows");
                Diagnostic::error("no-clock", message)
                    .at(place.clone())
                    .hint("name another column, or time = { rate = \"80 Hz\" }")
            }
            Self::Restless {
                place,
                restarts,
                rows,
            } => {
                let message =
                    format!("this is no clock: it begins anew {restarts} times in {rows} rows");
                Diagnostic::error("no-clock", message)
                    .at(place.clone())
                    .hint("name another column, or time = { rate = \"80 Hz\" }")
            }
            Self::Falls { place } => {
                Diagnostic::error("falling-times", "the times fall from row to row")
                    .at(place.clone())
                    .hint("were the rows turned about? sort them by time, the earliest first")
            }
            Self::Unnamed {
                place,
                names,
                cells,
            } => {
                let message = format!("the rows have {cells} cells, and the header names {names}");
                Diagnostic::error("unnamed-cells", message)
                    .at(place.clone())
                    .label("no name for this cell")
                    .hint("if a comma stands within a number, write 81545 or 81.5, not 81,545 or 81,5")
                    .hint("or name every column in the header")
            }
            Self::NotReadings { file, like, hint } => Diagnostic::error(
                "not-readings",
                format!("this is no text of readings: {like}"),
            )
            .at(Place::file(file))
            .hint(*hint),
            Self::OddStep { place, step_s } => {
                let message = format!("readings would lie {} apart", duration(*step_s));
                Diagnostic::error("odd-step", message)
                    .at(place.clone())
                    .hint("is the unit of the time column right?")
            }
            Self::NoTimes { place, column } => {
                let message = format!("no row has a time in column \"{column}\"");
                Diagnostic::error("no-time", message)
                    .at(place.clone())
                    .hint("name another column, or time = { rate = \"80 Hz\" }")
            }
            other => other.warning(),
        }
    }

    fn warning(&self) -> Diagnostic {
        match self {
            Self::AssumedUnit {
                file,
                column,
                unit,
                step,
            } => {
                let step = short(*step);
                let message = format!(
                    "the unit of time column \"{column}\" was assumed: steps of {step} {unit}"
                );
                Diagnostic::warning("assumed-unit", message)
                    .at(Place::file(file))
                    .hint(format!(
                        "add time = {{ column = \"{column}\", unit = \"{unit}\" }}"
                    ))
            }
            Self::GuessedCounter { place, bits } => {
                let message = format!("time drops as a {bits}-bit counter does when it runs full");
                Diagnostic::warning("guessed-counter", message)
                    .at(place.clone())
                    .hint(format!(
                        "if that is right, add counter_bits = {bits} to its time"
                    ))
            }
            Self::Restarts { place, segments } => {
                let message =
                    format!("the clock started anew: the log falls into {segments} segments");
                Diagnostic::warning("clock-restart", message)
                    .at(place.clone())
                    .label("the second one starts here")
            }
            Self::Gaps {
                place,
                number,
                longest_s,
                step_s,
            } => Diagnostic::warning(
                "clock-gap",
                format!(
                    "{} in time, the longest {} where {} is usual",
                    count(*number, "gap"),
                    duration(*longest_s),
                    duration(*step_s)
                ),
            )
            .at(place.clone())
            .label("the longest ends here"),
            other => other.line_warning(),
        }
    }

    fn line_warning(&self) -> Diagnostic {
        match self {
            Self::Dropped {
                place,
                why,
                number,
                rows,
            } => dropped(place, *why, *number, *rows),
            Self::CutOff { place } => {
                Diagnostic::warning("cut-off-line", "the last line is cut off and was dropped")
                    .at(place.clone())
            }
            Self::BrokenRows { place, number } => Diagnostic::warning(
                "broken-rows",
                format!(
                    "{} between the rows; if readings were lost there, times after them are early",
                    count(*number, "line")
                ),
            )
            .at(place.clone())
            .hint("a time column would tell"),
            Self::SameName { place, names } => Diagnostic::warning(
                "same-name",
                format!("columns share a name; they are called {}", names.join(", ")),
            )
            .at(place.clone()),
            other => other.error(),
        }
    }
}

fn no_column(place: &Place, column: &str, log: &str, names: &[String]) -> Diagnostic {
    let message = format!("there is no column \"{column}\" in {log}");
    let mut out = Diagnostic::error("no-column", message).at(place.clone());
    if let Some(near) = nearest(column, names.iter().map(String::as_str)) {
        out = out.label(format!("did you mean \"{near}\"?"));
    }
    out.hint(format!("the columns of that file: {}", names.join(", ")))
}

fn not_a_number(place: &Place, column: &str, word: &str, decimal: char) -> Diagnostic {
    let message = format!("`{word}` in column \"{column}\" is not a number");
    let out = Diagnostic::error("not-a-number", message)
        .at(place.clone())
        .label("expected a number");
    let other = if decimal == '.' { ',' } else { '.' };
    let digits = |ch: char| ch.is_ascii_digit() || ch == other || ch == '-';
    if word.contains(other) && word.chars().all(digits) {
        out.hint(format!(
            "the decimal mark of this file was taken to be \"{decimal}\"; decimal = \"..\" sets it"
        ))
    } else {
        out.hint(format!(
            "if it stands for a missing reading, list it: missing = [\"{word}\"]"
        ))
    }
}

fn dropped(place: &Place, why: Drop, number: usize, rows: usize) -> Diagnostic {
    let code = match why {
        Drop::Repeated => "repeated-time",
        Drop::OutOfOrder => "out-of-order",
        Drop::Wild => "wild-time",
        Drop::WithoutTime => "no-time",
    };
    let message = format!("{} {} dropped", count(number, "row"), why.words());
    let out = Diagnostic::warning(code, message)
        .at(place.clone())
        .label("the first one");
    if why == Drop::Repeated && number as f64 > COARSE_SHARE * rows as f64 {
        return out
            .hint("this clock is coarser than the rows: time = { rate = \"..\" } keeps them all");
    }
    out
}
