//! What came of the flights, as data: what `simulation.json` holds.

use indexmap::IndexMap;
use serde::{Deserialize, Serialize};

use super::monte_carlo::MonteCarloResult;
use super::replay::Replay;
use crate::control::model::Body;
use crate::finding::{self, Finding};

/// Schema number of `simulation.json`.
pub(crate) const SCHEMA: u32 = 1;

/// The whole file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct SimulationFile {
    /// Schema number.
    #[cfg_attr(test, schemars(extend("const" = 1)))]
    pub schema: u32,
    /// The plant file, as named.
    pub plant: String,
    /// The gains file, as named.
    pub gains: String,
    /// Each axis flown.
    pub axes: IndexMap<String, AxisSimulation>,
    /// What the simulation leaves out.
    pub left_out: Vec<String>,
    /// What the file is, and is not.
    pub caution: String,
}

impl SimulationFile {
    /// Whether every finding holds.
    #[must_use]
    pub fn every_finding_holds(&self) -> bool {
        finding::all_hold(self.axes.values().flat_map(|axis| &axis.findings))
    }
}

/// One axis.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct AxisSimulation {
    /// Which body turns.
    pub body: Body,
    /// When it is let go, s after ignition.
    pub release_s: f64,
    /// The flight with the best estimate of everything and no noise.
    pub nominal: FlightResult,
    /// Monte Carlo flights; `None` when none were asked for.
    #[serde(rename = "many")]
    pub monte_carlo: Option<MonteCarloResult>,
    /// The captive firing, replayed; `None` when none was asked for.
    pub replay: Option<Replay>,
    /// What can be said of it.
    pub findings: Vec<Finding>,
}

/// One flight.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct FlightResult {
    /// Number of the run; `None` for the nominal one.
    pub run: Option<u64>,
    /// Largest tilt after release, deg.
    pub largest_tilt_deg: f64,
    /// Tilt at the end of thrust, deg.
    pub last_tilt_deg: f64,
    /// Largest command, deg.
    pub largest_command_deg: f64,
    /// Share of ticks with the command at its limit.
    pub at_limit: f64,
    /// Altitude at the end of thrust, m; `None` without a mass.
    pub altitude_m: Option<f64>,
    /// Drift at the end of thrust, m; `None` without a mass.
    pub drift_m: Option<f64>,
    /// The flight itself, thinned.
    pub track: Track,
}

/// A flight over time.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct Track {
    /// Seconds since ignition.
    pub time_s: Vec<f64>,
    /// Tilt, deg.
    pub tilt_deg: Vec<f64>,
    /// Nozzle angle, deg.
    pub nozzle_deg: Vec<f64>,
    /// Command, deg.
    pub command_deg: Vec<f64>,
    /// Altitude, m.
    pub altitude_m: Vec<f64>,
    /// Drift, m.
    pub drift_m: Vec<f64>,
}
