//! What can keep two clocks from being tied, as facts; the words are all here.

use crate::diagnostic::{Code, Diagnostic, Place};
use crate::log::words::{duration, short};

/// Why a column has no edge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum EdgeProblem {
    /// It never changes.
    Flat {
        /// The level it stays at; `None` without readings.
        level: Option<f64>,
    },
    /// It is high from the first row and falls, but never rises.
    OnlyFalls,
    /// It goes up and down through the middle of its range all the time.
    Noise {
        /// How often it rises.
        rises: usize,
    },
}

/// Why two columns cannot be matched.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum ShapeProblem {
    /// One of them is flat, or too short.
    Flat,
    /// They do not move alike at any shift.
    Unlike {
        /// The best correlation found.
        correlation: f64,
    },
    /// The fit of offset and drift did not settle.
    Unsettled,
}

/// A column in which something was looked for.
#[derive(Debug, Clone, Copy)]
pub(crate) struct SearchedColumn<'a> {
    /// Where the firing file names it.
    pub place: &'a Place,
    /// The column.
    pub column: &'a str,
    /// The file.
    pub file: &'a str,
    /// Number of segments of its log, and the one looked at, from 1.
    pub segments: (usize, usize),
}

impl EdgeProblem {
    /// The problem in words.
    #[must_use]
    pub(crate) fn diagnostic(&self, searched: SearchedColumn<'_>) -> Diagnostic {
        let SearchedColumn { column, file, .. } = searched;
        let (code, message) = match self {
            Self::Flat { level: None } => (
                Code::NoEdge,
                format!("column \"{column}\" of {file} holds no readings"),
            ),
            Self::Flat { level: Some(level) } => {
                let level = short(*level);
                (
                    Code::NoEdge,
                    format!("column \"{column}\" of {file} never rises: it is {level} throughout"),
                )
            }
            Self::OnlyFalls => (
                Code::NoEdge,
                format!("column \"{column}\" of {file} is high from its first row and never rises"),
            ),
            Self::Noise { rises } => (
                Code::NoEdge,
                format!(
                    "column \"{column}\" of {file} has no two levels: it crosses the middle of its range {rises} times"
                ),
            ),
        };
        with_segment(
            Diagnostic::error(code, message).at(searched.place.clone()),
            searched,
        )
        .hint("name a column that goes from low to high once, such as the igniter line")
        .hint("or give by = \"offset\", or by = \"shape\" with two columns that move alike")
    }
}

impl ShapeProblem {
    /// The problem in words.
    #[must_use]
    pub(crate) fn diagnostic(
        &self,
        here: SearchedColumn<'_>,
        there: SearchedColumn<'_>,
    ) -> Diagnostic {
        let pair = format!(
            "column \"{}\" of {} and column \"{}\" of {}",
            here.column, here.file, there.column, there.file
        );
        let (code, message) = match self {
            Self::Flat => (Code::NoShape, format!("{pair}: one of them hardly moves")),
            Self::Unlike { correlation } => {
                let correlation = short((100.0 * correlation).round() / 100.0);
                (
                    Code::NoShape,
                    format!("{pair} do not move alike: correlation {correlation} at best"),
                )
            }
            Self::Unsettled => (
                Code::NoShape,
                format!("{pair}: offset and drift did not settle"),
            ),
        };
        let problem = Diagnostic::error(code, message).at(here.place.clone());
        with_segment(with_segment(problem, here), there)
            .hint("name two columns that record the same motion, and check that the logs overlap")
            .hint("or give by = \"edge\" or by = \"offset\"")
    }
}

fn with_segment(problem: Diagnostic, searched: SearchedColumn<'_>) -> Diagnostic {
    let (number, used) = searched.segments;
    if number < 2 {
        return problem;
    }
    let file = searched.file;
    problem.hint(format!(
        "segment {used} of the {number} of {file} was looked at"
    ))
}

/// Another shift fits nearly as well.
#[must_use]
pub(crate) fn secondary_peak(place: &Place, offset_s: f64, secondary_peak_s: f64) -> Diagnostic {
    let message = format!(
        "an offset of {} fits nearly as well as {}",
        duration(secondary_peak_s),
        duration(offset_s)
    );
    Diagnostic::warning(Code::AmbiguousOffset, message)
        .at(place.clone())
        .hint("the motion repeats itself; tie the clocks by an edge if there is one")
}

/// The two columns move against each other.
#[must_use]
pub(crate) fn opposite(place: &Place) -> Diagnostic {
    Diagnostic::warning(
        Code::OppositeShape,
        "these two columns move against each other",
    )
    .at(place.clone())
    .hint("if one of them has its sign reversed this is right; if not, the offset is wrong")
}

/// An offset was given without an uncertainty.
#[must_use]
pub(crate) fn unstated(place: &Place, assumed_s: f64) -> Diagnostic {
    let assumed = duration(assumed_s);
    let message =
        format!("the offset has no uncertainty: {assumed} was taken, from the steps of both logs");
    Diagnostic::warning(Code::NoUncertainty, message)
        .at(place.clone())
        .hint("say how sure you are: offset = \"12.310 s u 2 ms\"")
}

/// A drift was given without an uncertainty.
#[must_use]
pub(crate) fn unstated_drift(place: &Place) -> Diagnostic {
    let message = "the drift has no uncertainty: limits of its own size were taken";
    Diagnostic::warning(Code::NoUncertainty, message)
        .at(place.clone())
        .hint("say how sure you are: drift = \"40 ppm u 5 ppm\"")
}
