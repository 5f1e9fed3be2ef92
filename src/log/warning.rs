//! Everything worth knowing about a recorder's file that was read, as facts; the words are all here.

use crate::diagnostic::{Code, Diagnostic, Place};

use super::words::{count, duration, short};

/// Something worth knowing about a recorder's file.
#[derive(Debug, Clone)]
pub(crate) enum RecordWarning {
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
        why: WhyDropped,
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
    /// Stamps that several rows share.
    CoarseStamps {
        /// The file.
        file: String,
        /// Rows that repeat the stamp before them.
        number: usize,
        /// All rows.
        rows: usize,
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
pub(crate) enum WhyDropped {
    /// Its time repeats the one before it.
    Repeated,
    /// Its time lies before the one before it.
    OutOfOrder,
    /// Its time is one jump that no clock makes.
    Impossible,
    /// It has no time.
    WithoutTime,
}

impl WhyDropped {
    /// What is the matter with such rows, after their number.
    #[must_use]
    pub(crate) const fn words(self) -> &'static str {
        match self {
            Self::Repeated => "repeating an earlier time",
            Self::OutOfOrder => "out of order in time",
            Self::Impossible => "with an impossible time",
            Self::WithoutTime => "without a time",
        }
    }
}

/// With more than this share of the rows repeated, the clock is too coarse for the rows.
const COARSE_SHARE: f64 = 0.1;

impl RecordWarning {
    /// The warning in words.
    #[must_use]
    pub(crate) fn diagnostic(&self) -> Diagnostic {
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
                Diagnostic::warning(Code::AssumedUnit, message)
                    .at(Place::file(file))
                    .hint(format!(
                        "add time = {{ column = \"{column}\", unit = \"{unit}\" }}"
                    ))
            }
            Self::GuessedCounter { place, bits } => {
                let message = format!("time drops as a {bits}-bit counter does when it runs full");
                Diagnostic::warning(Code::GuessedCounter, message)
                    .at(place.clone())
                    .hint(format!(
                        "if that is right, add counter_bits = {bits} to its time"
                    ))
            }
            Self::Restarts { place, segments } => {
                let message =
                    format!("the clock started anew: the log falls into {segments} segments");
                Diagnostic::warning(Code::ClockRestart, message)
                    .at(place.clone())
                    .label("the second one starts here")
            }
            Self::Gaps {
                place,
                number,
                longest_s,
                step_s,
            } => Diagnostic::warning(
                Code::ClockGap,
                format!(
                    "{} in time, the longest {} where {} is usual",
                    count(*number, "gap"),
                    duration(*longest_s),
                    duration(*step_s)
                ),
            )
            .at(place.clone())
            .label("the longest ends here"),
            Self::Dropped {
                place,
                why,
                number,
                rows,
            } => dropped(place, *why, *number, *rows),
            Self::CutOff { place } => {
                Diagnostic::warning(Code::CutOffLine, "the last line is cut off and was dropped")
                    .at(place.clone())
            }
            Self::CoarseStamps { file, number, rows } => Diagnostic::warning(
                Code::CoarseStamps,
                format!(
                    "{} of {rows} repeat the time before them: they were spread evenly up to the next one",
                    count(*number, "row")
                ),
            )
            .at(Place::file(file))
            .hint("times within a stamp are not known better than that; if rows came evenly, time = { rate = \"..\" } says so"),
            Self::BrokenRows { place, number } => Diagnostic::warning(
                Code::BrokenRows,
                format!(
                    "{} between the rows; if readings were lost there, times after them are early",
                    count(*number, "line")
                ),
            )
            .at(place.clone())
            .hint("a time column would tell"),
            Self::SameName { place, names } => Diagnostic::warning(
                Code::SameName,
                format!("columns share a name; they are called {}", names.join(", ")),
            )
            .at(place.clone()),
        }
    }
}

fn dropped(place: &Place, why: WhyDropped, number: usize, rows: usize) -> Diagnostic {
    let code = match why {
        WhyDropped::Repeated => Code::RepeatedTime,
        WhyDropped::OutOfOrder => Code::OutOfOrder,
        WhyDropped::Impossible => Code::WildTime,
        WhyDropped::WithoutTime => Code::NoTime,
    };
    let message = format!("{} {} dropped", count(number, "row"), why.words());
    let out = Diagnostic::warning(code, message)
        .at(place.clone())
        .label("the first one");
    if why == WhyDropped::Repeated && number as f64 > COARSE_SHARE * rows as f64 {
        return out
            .hint("this clock is coarser than the rows: time = { rate = \"..\" } keeps them all");
    }
    out
}
