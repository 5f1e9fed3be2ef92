//! The gains as data: what `gains.json` holds.

use std::path::Path;

use indexmap::IndexMap;
use serde::{Deserialize, Serialize};

use super::curves::{DisturbanceResponse, OpenLoop};
use super::describing_function::LimitCycle;
use super::margins::Margins;
use super::model::Body;
use super::pid::{Controller, Ideal};
use super::start_up::{Start, StartUpTransient};
use crate::config::json_file;
use crate::diagnostic::Error;
use crate::finding::{self, Finding};

/// Schema number of `gains.json`.
pub(crate) const SCHEMA: u32 = 1;

/// The whole file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct GainsFile {
    /// Schema number.
    #[cfg_attr(test, schemars(extend("const" = 1)))]
    pub schema: u32,
    /// Title and date of the firing that the plant is from.
    #[serde(default)]
    pub firing: String,
    /// The plant file, as named.
    pub plant: String,
    /// SHA-256 of its bytes, in hexadecimal; `None` where it was no file.
    #[serde(default)]
    pub plant_sha256: Option<String>,
    /// Gains of each axis.
    pub axes: IndexMap<String, AxisGains>,
    /// What the file is, and is not.
    pub caution: String,
}

impl GainsFile {
    /// Reads a gains file.
    ///
    /// # Errors
    /// No such file, another kind of file, or numbers that no controller has, with their places.
    pub fn read(path: &Path) -> Result<Self, Error> {
        json_file::read(path, ("gains file", "tune PLANT.json"))
    }

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
pub struct AxisGains {
    /// Which body the gains are for.
    pub body: Body,
    /// The controller.
    pub controller: Controller,
    /// Gains by thrust; `None` for fixed gains.
    pub schedule: Option<Schedule>,
    /// Lowest and highest thrust of the design, N.
    pub thrust_n: [f64; 2],
    /// Latency from reading the sensors to the command's leaving, s.
    #[serde(rename = "late_s")]
    pub latency_s: f64,
    /// Numbers that are not identifiable in the plant file and were left out.
    pub left_out: Vec<String>,
    /// Published rules for a double integrator, each with its settings or the reason for none.
    pub rules: Vec<RuleResult>,
    /// Fixed gains and gains by thrust, side by side.
    pub compared: Vec<Robustness>,
    /// The limit cycle that the dead band will keep up, at each end of the thrust range.
    pub limit_cycles: Vec<ExpectedLimitCycle>,
    /// How the firmware starts the controller.
    pub start: Start,
    /// Start-up transient of each way of starting.
    #[serde(rename = "first_tick")]
    pub start_up: Vec<StartUpTransient>,
    /// The open loop of the best estimate: under the lowest and the highest thrust with fixed gains,
    /// once with gains by thrust.
    pub open_loop: Vec<OpenLoop>,
    /// Disturbance response of the best estimate, at each end of the thrust range.
    #[serde(rename = "push")]
    pub disturbance_response: Vec<DisturbanceResponse>,
    /// What can be said of it.
    pub findings: Vec<Finding>,
}

/// A published rule on this plant.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct RuleResult {
    /// Its name.
    pub rule: String,
    /// Its source.
    pub source: String,
    /// Its settings; `None` when it was refused.
    pub settings: Option<Ideal>,
    /// Why it was refused.
    pub refused: Option<String>,
    /// Margins at the middle of the thrust range.
    pub margins: Option<Margins>,
}

/// Margins of a set of gains over thrust and sampled plants.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Robustness {
    /// `fixed` or `by thrust`.
    pub gains: String,
    /// The controller.
    pub controller: Controller,
    /// Whether it is the one handed over.
    pub chosen: bool,
    /// Best estimate of the plant, worst thrust of the range.
    pub nominal: Margins,
    /// Worst over all sampled plants and thrusts.
    pub worst: Margins,
    /// Met or passed by 95 % of the sampled plants, each at its worst thrust.
    pub fifth_percentile: Margins,
    /// Number of sampled plants.
    pub draws: usize,
    /// Share of them that is stable at every thrust.
    pub stable_share: f64,
    /// Where it was unstable, in words; `None` when nowhere.
    pub unstable_corner: Option<String>,
    /// Disturbance response as a norm: root of the squared area of tilt after a step disturbance of one
    /// degree of nozzle, of the best estimate at the worst thrust, deg s^(1/2).
    pub disturbance: f64,
}

/// A limit cycle to expect.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct ExpectedLimitCycle {
    /// Under which thrust, N.
    pub thrust_n: f64,
    /// The limit cycle; `None` when the loop comes to rest.
    pub cycle: Option<LimitCycle>,
    /// Amplitude of the tilt, deg.
    pub tilt_deg: Option<f64>,
}

/// Factor of all gains over time since ignition: reference thrust over the thrust of the record,
/// straight lines between the points.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Schedule {
    /// Thrust at which the factor is 1, N.
    pub reference_n: f64,
    /// Seconds since ignition.
    pub time_s: Vec<f64>,
    /// Factor.
    pub factor: Vec<f64>,
}

impl Schedule {
    /// The factor at a time; before the first point and behind the last it stays.
    #[must_use]
    pub fn factor(&self, time_s: f64) -> f64 {
        let after = self.time_s.partition_point(|t| *t <= time_s);
        let (Some(first), Some(last)) = (self.factor.first(), self.factor.last()) else {
            return 1.0;
        };
        if after == 0 {
            return *first;
        }
        if after >= self.time_s.len() {
            return *last;
        }
        let (t0, t1) = (self.time_s[after - 1], self.time_s[after]);
        let (f0, f1) = (self.factor[after - 1], self.factor[after]);
        f0 + (f1 - f0) * (time_s - t0) / (t1 - t0)
    }
}
