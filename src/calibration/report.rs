//! Everything that speaks for or against a curve, as plain data: what `burnwright calibrate` shows.
//!
//! Values are in the unit of the results, N, deg or kPa (`unit`); readings are raw. R squared is shown because
//! people ask for it, and decides nothing: a straight line through the load cell of NIST/SEMATECH e-Handbook
//! 4.6.1 has 0.99999 and misses its points by fourteen times their scatter.

use serde::{Deserialize, Serialize};

use super::degree::DegreeReport;
use super::e74::LowerLimit;
use super::inverse_prediction::InversePrediction;
use super::points::{Direction, LoadKind};
use super::reversibility::Hysteresis;
use super::saturation::Saturated;
use super::sweep::Sweep;
use crate::diagnostic::Warning;
use crate::finding::{self, Finding};
use crate::quantity::Unit;

/// Schema number of the judgement.
pub(super) const SCHEMA: u32 = 1;

/// What R squared is worth, said wherever it is shown.
pub(super) const R_SQUARED_DECIDES: &str =
    "R squared decides nothing: a wrong curve can have 0.99999";

/// A curve judged. Every number that `burnwright calibrate` prints is in it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct Judgement {
    /// Schema number.
    pub schema: u32,
    /// The points file.
    pub file: String,
    /// What the points' known values are.
    pub quantity: LoadKind,
    /// Unit of every load: N, deg or kPa.
    pub unit: Unit,
    /// Number of points.
    pub points: usize,
    /// Number of distinct loads.
    pub levels: usize,
    /// Number of runs that the file names; 0 when it names none.
    pub runs: usize,
    /// Smallest and largest known load.
    pub range: [f64; 2],
    /// Gravity that turned masses into forces, m/s2; `None` when no mass was given.
    pub gravity_m_s2: Option<f64>,
    /// Relative standard uncertainty that all loads share (weights, gravity).
    pub shared_relative_u: f64,
    /// Whether directions were found from the order of the rows.
    pub direction_found: bool,
    /// Degree chosen.
    pub degree: usize,
    /// Why.
    pub why: String,
    /// What R squared is worth.
    pub r_squared_note: String,
    /// Each degree that the points allow.
    pub degrees: Vec<DegreeReport>,
    /// Coefficients of the chosen curve: raw for each power of load, constant first.
    pub coefficients: Vec<f64>,
    /// Their covariance, random part, row by row.
    pub covariance: Vec<Vec<f64>>,
    /// Standard deviation of the readings about the curve, raw.
    pub residual_sd_raw: Option<f64>,
    /// The same as load.
    pub residual_sd: Option<f64>,
    /// Step that all readings are multiples of, raw; `None` when none shows.
    pub resolution_raw: Option<f64>,
    /// One slope and one zero in place of the curve; for forces only.
    pub single_slope: Option<SingleSlope>,
    /// How small a force can be trusted; for forces only.
    pub e74: Option<LowerLimit>,
    /// How sure one new reading's load is.
    #[serde(rename = "read_back")]
    pub inverse_predictions: Vec<InversePrediction>,
    /// Difference between going up and coming down; `None` when not read both ways.
    pub hysteresis: Option<Hysteresis>,
    /// Largest less smallest run at one force and one way; `None` with one run, and for angles, which
    /// hardly come back to the same value.
    #[serde(rename = "between_runs")]
    pub repeatability: Option<f64>,
    /// Last reading without load less the first; `None` when no run came back.
    pub zero_return: Option<f64>,
    /// Readings at a full-scale code of the converter.
    #[serde(rename = "stuck")]
    pub saturated: Vec<Saturated>,
    /// Gain, offset and loop width; for angles read both ways.
    pub sweep: Option<Sweep>,
    /// What the curve misses at each point.
    pub residuals: Vec<Residual>,
    /// The largest of them, without sign.
    pub largest_residual: f64,
    /// What was judged.
    pub findings: Vec<Finding>,
    /// What deserves attention.
    pub warnings: Vec<Warning>,
}

/// One slope in place of a curve: what a firing file may state as `scale` and `zero`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct SingleSlope {
    /// Force for each raw step, N.
    pub scale_n: f64,
    /// Reading without load by the line, raw.
    pub zero_raw: f64,
    /// Standard deviation of what it misses, N.
    pub residual_sd_n: Option<f64>,
    /// The most that it misses at any point, N.
    pub largest_residual_n: f64,
}

/// What the curve misses at one point.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct Residual {
    /// Known load.
    pub load: f64,
    /// Load by the curve minus known load; `None` when the curve has no load for the reading.
    pub residual: Option<f64>,
    /// Which way the load, or for a sweep raw, was going.
    pub direction: Option<Direction>,
}

impl Judgement {
    /// Whether every finding holds.
    #[must_use]
    pub fn every_finding_holds(&self) -> bool {
        finding::all_hold(&self.findings)
    }
}
