//! Everything that keeps a recorder's file from being read, as facts; the words are all here.

use crate::diagnostic::{Code, Diagnostic, Located, Place, nearest};

use super::words::{count, duration};

/// Something wrong with a recorder's file.
#[derive(Debug, Clone)]
pub(crate) enum RecordError {
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
        /// The file.
        file: String,
        /// Rows that were kept.
        kept: usize,
        /// Rows of the file.
        rows: usize,
    },
    /// A time column that begins anew all the time.
    Restless {
        /// Where it is named.
        place: Place,
        /// The file.
        file: String,
        /// Line at which it first begins anew, from 1.
        line: usize,
        /// How often.
        restarts: usize,
        /// Rows of the file.
        rows: usize,
    },
    /// A time column that runs backwards.
    Falls {
        /// Where it is named.
        place: Place,
        /// The file.
        file: String,
        /// The first line whose time lies before that of the line above, from 1.
        line: usize,
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
        /// The file.
        file: String,
        /// Median step, s.
        step_s: f64,
    },
}

impl RecordError {
    /// A wanted column that a log does not have.
    #[must_use]
    pub(crate) fn no_column(wanted: &Located<String>, log: &str, names: &[String]) -> Self {
        Self::NoColumn {
            place: wanted.place.clone(),
            column: wanted.value.clone(),
            log: log.to_owned(),
            names: names.to_vec(),
        }
    }

    /// The error in words.
    #[must_use]
    pub(crate) fn diagnostic(&self) -> Diagnostic {
        match self {
            Self::Empty { file } => Diagnostic::error(Code::EmptyLog, "the file is empty")
                .at(Place::file(file))
                .hint("the recorder may not have closed it: copy it from the card again"),
            Self::NoRows { place, lines } => no_rows(place, *lines),
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
                Diagnostic::error(Code::NotANumber, message).at(Place::file(file))
            }
            Self::NoTime { place, log, names } => no_time(place, log, names),
            Self::NotAClock {
                place,
                word,
                format,
                why,
            } => not_a_clock(place, word, format, why),
            Self::NoClock {
                place,
                file,
                kept,
                rows,
            } => {
                let message =
                    format!("this is no clock: it rises in {kept} of {rows} rows of {file}");
                Diagnostic::error(Code::NoClock, message)
                    .at(place.clone())
                    .hint("name another column, or time = { rate = \"80 Hz\" }")
            }
            Self::Restless {
                place,
                file,
                line,
                restarts,
                rows,
            } => {
                let message = format!(
                    "this is no clock: it begins anew {restarts} times in {rows} rows of {file}, first at line {line}"
                );
                Diagnostic::error(Code::NoClock, message)
                    .at(place.clone())
                    .hint("name another column, or time = { rate = \"80 Hz\" }")
            }
            Self::Falls { place, file, line } => {
                let message =
                    format!("the times of {file} fall from row to row, first at line {line}");
                Diagnostic::error(Code::FallingTimes, message)
                    .at(place.clone())
                    .hint("were the rows turned about? sort them by time, the earliest first")
            }
            Self::Unnamed {
                place,
                names,
                cells,
            } => unnamed(place, *names, *cells),
            Self::NotReadings { file, like, hint } => Diagnostic::error(
                Code::NotReadings,
                format!("this is no text of readings: {like}"),
            )
            .at(Place::file(file))
            .hint(*hint),
            Self::OddStep {
                place,
                file,
                step_s,
            } => odd_step(place, file, *step_s),
            Self::NoTimes { place, column } => no_times(place, column),
        }
    }
}

fn no_rows(place: &Place, lines: usize) -> Diagnostic {
    let message = format!("no row of readings in {}", count(lines, "line"));
    Diagnostic::error(Code::NoRows, message)
        .at(place.clone())
        .hint("a row is a line with a number in it, as many cells as most others have")
        .hint("if the separator is unusual, give delimiter = \"..\"")
}

fn no_time(place: &Place, log: &str, names: &[String]) -> Diagnostic {
    let message = format!("log `{log}` has no column that looks like a clock");
    Diagnostic::error(Code::NoTime, message)
        .at(place.clone())
        .hint("add time = { column = \"..\", unit = \"ms\" } or time = { rate = \"80 Hz\" }")
        .hint(format!("the columns of that file: {}", names.join(", ")))
}

fn unnamed(place: &Place, names: usize, cells: usize) -> Diagnostic {
    let message = format!("the rows have {cells} cells, and the header names {names}");
    Diagnostic::error(Code::UnnamedCells, message)
        .at(place.clone())
        .label("no name for this cell")
        .hint("if a comma stands within a number, write 81545 or 81.5, not 81,545 or 81,5")
        .hint("or name every column in the header")
}

fn odd_step(place: &Place, file: &str, step_s: f64) -> Diagnostic {
    let message = format!("readings of {file} would lie {} apart", duration(step_s));
    Diagnostic::error(Code::OddStep, message)
        .at(place.clone())
        .hint("is the unit of the time column right?")
}

fn no_times(place: &Place, column: &str) -> Diagnostic {
    let message = format!("no row has a time in column \"{column}\"");
    Diagnostic::error(Code::NoTime, message)
        .at(place.clone())
        .hint("name another column, or time = { rate = \"80 Hz\" }")
}

fn not_a_clock(place: &Place, word: &str, format: &str, why: &str) -> Diagnostic {
    Diagnostic::error(
        Code::NotATime,
        format!("`{word}` does not fit \"{format}\""),
    )
    .at(place.clone())
    .label("expected clock text")
    .hint(why)
}

fn no_column(place: &Place, column: &str, log: &str, names: &[String]) -> Diagnostic {
    let message = format!("there is no column \"{column}\" in {log}");
    let mut out = Diagnostic::error(Code::NoColumn, message).at(place.clone());
    if let Some(near) = nearest(column, names.iter().map(String::as_str)) {
        out = out.label(format!("did you mean \"{near}\"?"));
    }
    let nth = column
        .parse::<usize>()
        .ok()
        .and_then(|nth| nth.checked_sub(1));
    if let Some(name) = nth.and_then(|nth| names.get(nth)) {
        out = out.hint(format!(
            "this file has a header, so its columns go by their names: column {column} is \"{name}\""
        ));
    }
    out.hint(format!("the columns of that file: {}", names.join(", ")))
}

fn not_a_number(place: &Place, column: &str, word: &str, decimal: char) -> Diagnostic {
    let message = format!("`{word}` in column \"{column}\" is not a number");
    let out = Diagnostic::error(Code::NotANumber, message)
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
