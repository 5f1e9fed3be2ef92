//! A first look at logs, with no firing file: what is in them, and where something burnt.
//!
//! [`look`] reads each log as a firing would ([`crate::log`]) but asks for every column that
//! holds numbers ([`census`]), says what each one does ([`levels`], [`burning`]), what it might be by its name ([`role`])
//! and by the lines above ([`preamble`]), which is the load cell ([`load_cell`]), and finds the lines that rise once in two logs, which would tie their
//! clocks. All of it is a proposal: raw counts are not newtons, no uncertainty is given, and an
//! onset is the first reading at or above 5 % of the peak, not an ignition time. `reduce` decides.

pub(crate) mod burning;
pub(crate) mod census;
pub(crate) mod levels;
mod load_cell;
mod log;
mod preamble;
mod relation;
pub(crate) mod role;

use std::path::PathBuf;

use serde::Serialize;

use crate::diagnostic::Warning;
use crate::log::RowTally;
use crate::series::Series;

pub use burning::BurnSeen;
pub(crate) use burning::UnclearSeen;
pub(crate) use levels::Kind;
pub(crate) use load_cell::CellSeen;
pub use log::look_at;
pub(crate) use role::{Role, Signal};

/// Version of the layout of `look --json`.
pub(crate) const SCHEMA: u32 = 1;

/// Everything seen in some logs of one firing.
#[derive(Debug, Clone, Default, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct Look {
    /// Version of the layout of `look --json`.
    #[cfg_attr(test, schemars(extend("const" = 1)))]
    pub schema: u32,
    /// The logs, in the order they were named.
    pub logs: Vec<LogLook>,
    /// What would tie the clock of each later log to that of the first.
    pub ties: Vec<Tie>,
    /// The columns that are load cells.
    pub cells: Vec<CellSeen>,
    /// Where that is not sure, the columns that could be.
    pub perhaps_cells: Vec<CellSeen>,
}

/// What was seen in one log.
#[derive(Debug, Clone, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct LogLook {
    /// The file, as it was named.
    pub file: String,
    /// Where it is.
    #[serde(skip)]
    pub path: PathBuf,
    /// SHA-256 of its bytes, in hexadecimal.
    #[cfg_attr(test, schemars(extend("pattern" = "^[0-9a-f]{64}$")))]
    pub sha256: String,
    /// Where its times come from.
    pub clock: Clock,
    /// How long its longest stretch of unbroken clock is, s.
    pub length_s: f64,
    /// Stretches between restarts of the clock; one when there was none.
    pub stretches: usize,
    /// The stretch that traces are taken from, from 1: the one that burns, else the longest.
    pub shown_stretch: usize,
    /// Its rows in numbers.
    pub tally: RowTally,
    /// What it is, where it is no log of a recorder.
    pub no_log: Option<&'static str>,
    /// Its columns, in the order of the file.
    pub columns: Vec<ColumnLook>,
    /// The first lines among the readings that are no readings.
    pub events: Vec<EventSeen>,
    /// What was found in the file, in words.
    pub notes: Vec<String>,
    /// What deserves attention.
    pub warnings: Vec<Warning>,
}

/// Where the times of a log come from.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(tag = "from", rename_all = "kebab-case")]
pub enum Clock {
    /// A column of numbers.
    Column {
        /// The column.
        column: String,
        /// Its unit.
        unit: String,
        /// Whether the unit was guessed from the steps; else the name says it.
        guessed: bool,
        /// Width of the counter, when it was seen to run full.
        counter_bits: Option<u32>,
    },
    /// A column of clock text.
    Text {
        /// The column.
        column: String,
        /// Its format.
        format: String,
    },
    /// No column: readings at a steady rate.
    Rate {
        /// The rate, Hz.
        rate_hz: f64,
        /// Whether somebody said so; else it is assumed, and all times with it.
        #[serde(rename = "told")]
        stated: bool,
        /// The line of the log that states it, from 1.
        line: Option<usize>,
    },
}

/// A line of a log that is not a row of readings.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct EventSeen {
    /// Line, from 1.
    pub line: usize,
    /// Its text.
    pub text: String,
}

/// What was seen in one column.
#[derive(Debug, Clone, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct ColumnLook {
    /// Its name, or its number where the file has no header.
    pub name: String,
    /// What a line above the rows calls it, where it has no name of its own.
    pub title: Option<String>,
    /// What it does.
    pub kind: Kind,
    /// Readings in the rows that have a time.
    pub readings: usize,
    /// Words that stand for a missing reading and no log uses otherwise.
    pub missing_words: Vec<String>,
    /// Least reading.
    pub least: Option<f64>,
    /// Greatest reading.
    pub greatest: Option<f64>,
    /// Lone wild readings left out of all of this.
    pub wild: usize,
    /// Stretches that burn, in the order of the file.
    pub burns: Vec<BurnSeen>,
    /// What may be a burn, and why that is not sure.
    pub unclear: Vec<UnclearSeen>,
    /// It is all burn in some stretch, with no rest on either side to see its zero by.
    pub all_burn: bool,
    /// Times at which a line of two levels rises, s, in the shown stretch.
    pub rises_s: Vec<f64>,
    /// What it might be, by its name.
    pub role: Option<Role>,
    /// The column of the same log that it was computed from; it is no sensor of its own then.
    pub computed_from: Option<String>,
    /// The two columns of the same log that it is the sum of.
    pub sum_of: Vec<String>,
    /// The readings of the shown stretch.
    #[serde(skip)]
    pub trace: Series,
}

impl ColumnLook {
    /// The burn with the largest area.
    #[must_use]
    pub fn largest_burn(&self) -> Option<&BurnSeen> {
        let by_area = |a: &&BurnSeen, b: &&BurnSeen| a.area_raw_s.total_cmp(&b.area_raw_s);
        self.burns.iter().max_by(by_area)
    }

    /// The unit of force that its name or a line of units states.
    #[must_use]
    pub(crate) fn force_unit(&self) -> Option<&'static str> {
        let role = self.role.as_ref();
        role.filter(|role| role.signal == Signal::Force)?.unit
    }

    /// Whether it is a line of two levels that rises once.
    #[must_use]
    pub fn rises_once(&self) -> bool {
        self.kind == Kind::TwoLevels && self.rises_s.len() == 1
    }
}

impl LogLook {
    /// The columns that carry a burn.
    pub fn burning(&self) -> impl Iterator<Item = &ColumnLook> {
        self.columns.iter().filter(|one| one.kind == Kind::Burns)
    }

    /// The lines that rise once.
    pub fn lines(&self) -> impl Iterator<Item = &ColumnLook> {
        self.columns.iter().filter(|one| one.rises_once())
    }
}

impl Look {
    /// The column of a load cell, and its log.
    #[must_use]
    pub(crate) fn column(&self, cell: &CellSeen) -> Option<(&LogLook, &ColumnLook)> {
        let log = self.logs.get(cell.log)?;
        Some((log, log.columns.get(cell.column)?))
    }
}

/// Two lines that rise once each, one in the first log and one in another.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct Tie {
    /// The other log, by its place in the list from 0.
    pub log: usize,
    /// Its line.
    pub here: String,
    /// The line of the first log.
    pub there: String,
}

/// Puts what was seen in several logs together.
#[must_use]
pub fn look(logs: Vec<LogLook>) -> Look {
    let ties = logs
        .split_first()
        .map(|(first, others)| {
            let tie = |(at, log): (usize, &LogLook)| tie(first, log, at + 1);
            others.iter().enumerate().filter_map(tie).collect()
        })
        .unwrap_or_default();
    let load_cell::Choice { cells, perhaps } = load_cell::choose(&logs);
    Look {
        schema: SCHEMA,
        logs,
        ties,
        cells,
        perhaps_cells: perhaps,
    }
}

/// Lines of the same name first, then lines whose names speak of fire, and no others: two lines
/// that have nothing to do with each other would tie the clocks wrongly.
fn tie(first: &LogLook, other: &LogLook, log: usize) -> Option<Tie> {
    let pairs = || {
        other
            .lines()
            .flat_map(|a| first.lines().map(move |b| (a, b)))
    };
    let fires = |one: &ColumnLook| {
        one.role
            .as_ref()
            .is_some_and(|role| role.signal == Signal::Fire)
    };
    let (here, there) = pairs()
        .find(|(here, there)| here.name == there.name)
        .or_else(|| pairs().find(|(here, there)| fires(here) && fires(there)))?;
    Some(Tie {
        log,
        here: here.name.clone(),
        there: there.name.clone(),
    })
}
