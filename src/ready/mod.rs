//! Findings on a short recording of the armed stand at rest, before the motors are spent.
//!
//! Each looks for one thing that has spoilt firings: a dead or swapped column, noise or drift too large for the
//! interval that is wanted, a peak beyond the cell or the recorder, gaps, hum, a gyro that wanders, a clock that
//! nothing will tie. What needs more than rest (a known weight laid on and off, the nozzle wiggled, the rig tilted by hand)
//! is judged from recordings of that, and is undecided without them. Nothing here is a permission: the findings
//! are about the record, and the cautions stand beside them.

mod cell;
mod motion;
mod recorder;
mod stand;

use std::path::{Path, PathBuf};

use indexmap::IndexMap;
use serde::Serialize;

use crate::calibration::calibrate_cells;
use crate::cautions::{self, Caution};
use crate::config::Firing;
use crate::diagnostic::Error;
use crate::finding::{self, Finding, Outcome};
use crate::plan::rest::AtRest;
use crate::quantity::{Given, Mass};
use crate::reduce::Tool;

/// Schema number of `ready.json`.
const SCHEMA: u32 = 1;

/// The recordings.
#[derive(Debug, Clone, Default)]
pub struct ReadyOptions {
    /// At rest, one for each recorder; where one is missing, the log that the firing file names, if it is there.
    pub rest: Vec<PathBuf>,
    /// A known weight laid on and taken off again.
    pub weight: Option<(PathBuf, Given<Mass>)>,
    /// The nozzle wiggled by command, and the rig tilted by hand.
    pub wiggle: Vec<PathBuf>,
    /// The rig tapped.
    pub tap: Option<PathBuf>,
    /// Files that are being written while this runs.
    pub growing: Vec<PathBuf>,
}

/// What the stand shows.
#[derive(Debug, Clone, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct Readiness {
    /// Schema number.
    #[cfg_attr(test, schemars(extend("const" = 1)))]
    pub schema: u32,
    /// The program that made it.
    pub tool: Tool,
    /// Title of the firing.
    pub title: String,
    /// Findings, by what they are about.
    pub findings: IndexMap<String, Vec<Finding>>,
    /// How to stay unhurt.
    pub cautions: Vec<Caution>,
}

impl Readiness {
    /// Whether every finding holds.
    #[must_use]
    pub fn every_finding_holds(&self) -> bool {
        finding::all_hold(self.findings.values().flatten())
    }
}

/// Judges the stand.
///
/// # Errors
/// Recordings and calibrations that cannot be read.
pub fn ready(firing: &Firing, options: &ReadyOptions) -> Result<Readiness, Error> {
    let recordings: Vec<&Path> = options.rest.iter().map(PathBuf::as_path).collect();
    let rest = AtRest::read(firing, &recordings)?;
    let wiggle = AtRest::only(firing, &options.wiggle)?;
    let weight = match &options.weight {
        Some((file, mass)) => Some((AtRest::only(firing, std::slice::from_ref(file))?, mass)),
        None => None,
    };
    let tap = options.tap.as_ref();
    let tap = tap.map(|file| AtRest::only(firing, std::slice::from_ref(file)));
    let tap = tap.transpose()?;
    let cells = calibrate_cells(firing)?;
    let mut findings: IndexMap<String, Vec<Finding>> = IndexMap::new();
    for (name, log) in &firing.logs {
        findings.insert(
            format!("log {name}"),
            recorder::findings(firing, name, log, &rest),
        );
    }
    for (name, calibrated) in &cells {
        let one = cell::AtWork {
            firing,
            cell: &firing.cells[name],
            curve: &calibrated.curve,
            range_n: calibrated.report.range_n,
            name,
        };
        let mut own = one.at_rest(&rest);
        own.push(one.polarity(weight.as_ref().map(|(rest, mass)| (rest, mass.si()))));
        findings.insert(format!("cell {name}"), own);
    }
    for (name, axis) in &firing.axes {
        findings.insert(
            format!("axis {name}"),
            motion::findings((name, axis), firing, &rest, &wiggle),
        );
    }
    if let Some(taps) = stand::taps(firing, tap.as_ref()) {
        findings.insert("stand".to_owned(), vec![taps]);
    }
    findings.insert("files".to_owned(), stand::files(firing, &options.growing));
    Ok(Readiness {
        schema: SCHEMA,
        tool: Tool::this(),
        title: firing.title.clone(),
        findings,
        cautions: cautions::of_a_firing(),
    })
}

/// A finding that the recordings at hand do not allow.
fn undecided(claim: &str, why: &str, advice: &str) -> Finding {
    Finding::plain(claim, Outcome::Undecided, why, finding::COMMON_PRACTICE).advice(advice)
}

/// A claim that is plainly so or not.
fn plainly(claim: impl Into<String>, holds: bool, rule: impl Into<String>) -> Finding {
    let outcome = if holds {
        Outcome::Holds
    } else {
        Outcome::Fails
    };
    Finding::plain(claim, outcome, rule, finding::COMMON_PRACTICE)
}

#[cfg(test)]
mod tests;
