//! The plant as data: what `plant.json` holds.

use std::path::Path;

use indexmap::IndexMap;
use serde::{Deserialize, Serialize};

pub use super::parameter::{Actuator, DeadBand, DeadBandKind, Rig};
use super::parameter::{Home, Parameter};
use crate::config::json_file;
use crate::diagnostic::Error;
use crate::finding::Finding;
use crate::numeric::least_squares::Ended;
use crate::quantity::Measured;

/// Schema number of `plant.json`.
pub(crate) const SCHEMA: u32 = 1;

/// The whole file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct PlantFile {
    /// Schema number.
    #[cfg_attr(test, schemars(extend("const" = 1)))]
    pub schema: u32,
    /// Title and date of the firing.
    #[serde(default)]
    pub firing: String,
    /// Plant of each axis.
    pub axes: IndexMap<String, AxisPlant>,
    /// The thrust it was seen under, for simulation; `None` after a dry run.
    pub thrust: Option<SampledThrust>,
    /// What the file is, and is not.
    pub caution: String,
}

impl PlantFile {
    /// Reads a plant file.
    ///
    /// # Errors
    /// No such file, another kind of file, or numbers that no plant has, with their places.
    pub fn read(path: &Path) -> Result<Self, Error> {
        json_file::read(path, ("plant file", "reduce"))
    }
}

/// Thrust over time since ignition.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct SampledThrust {
    /// Seconds since ignition.
    pub time_s: Vec<f64>,
    /// Newtons.
    pub thrust_n: Vec<f64>,
}

/// One axis.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct AxisPlant {
    /// Command to nozzle angle.
    pub actuator: Actuator,
    /// Nozzle angle to tilt, in the rig; `None` after a dry run.
    pub rig: Option<Rig>,
    /// The same for the free rocket.
    pub flight: Option<Flight>,
    /// Covariance of the fitted parameters.
    pub covariance: Covariance,
    /// The part of it that another firing of this rig would share.
    #[serde(default)]
    pub systematic: Vec<SharedTerm>,
    /// How the fit went.
    pub fit: FitReport,
    /// What can be said of it.
    pub findings: Vec<Finding>,
}

/// The free rocket.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct Flight {
    /// Arm over inertia, 1/(kg m).
    pub effectiveness_per_kg_m: Option<Measured>,
    /// Moment of inertia about its centre of gravity, kg m2.
    pub inertia_kg_m2: Option<Measured>,
    /// Centre of gravity to swivel point, m.
    pub arm_m: Option<Measured>,
    /// Arm over inertia with all propellant burnt; `None` when what burns is not known.
    #[serde(default)]
    pub effectiveness_spent_per_kg_m: Option<Measured>,
}

/// Covariance matrix of parameters.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct Covariance<Name = Parameter> {
    /// The parameters, in the order of rows and columns.
    pub names: Vec<Name>,
    /// The matrix.
    pub matrix: Vec<Vec<f64>>,
}

/// One source of error that all firings of a rig share.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct SharedTerm {
    /// What it comes from.
    pub source: String,
    /// By how much one standard uncertainty of it moves each parameter.
    pub moves: IndexMap<Parameter, f64>,
}

impl AxisPlant {
    /// Whether any number of it is known.
    #[must_use]
    pub fn is_known(&self) -> bool {
        Parameter::ALL
            .iter()
            .any(|parameter| self.value(*parameter).is_some())
    }

    /// The value of a parameter; `None` when it is not identifiable from the record.
    #[must_use]
    pub fn value(&self, parameter: Parameter) -> Option<&Measured> {
        match parameter.definition().home {
            Home::Actuator((read, _)) => read(&self.actuator).as_ref(),
            Home::Rig((read, _)) => read(self.rig.as_ref()?).as_ref(),
            Home::Nuisance => None,
        }
    }

    /// Sets the value of a parameter.
    pub fn set_value(&mut self, parameter: Parameter, value: Option<Measured>) {
        match parameter.definition().home {
            Home::Actuator((_, write)) => *write(&mut self.actuator) = value,
            Home::Rig((_, write)) => {
                if let Some(rig) = &mut self.rig {
                    *write(rig) = value;
                }
            }
            Home::Nuisance => {}
        }
    }
}

/// How a fit went.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct FitReport {
    /// Measured signals it rests on: nozzle, tilt, rate.
    pub seen_from: Vec<String>,
    /// Number of readings used.
    pub samples: usize,
    /// Standard deviation of the residuals, by signal; the name ends in the unit.
    pub residual_sd: IndexMap<String, f64>,
    /// Validation fit: share of the movement explained on data not fitted (NRMSE), in per cent.
    #[serde(alias = "held_out_fit_percent")]
    pub validation_fit_percent: Option<f64>,
    /// Probability of residuals at least this correlated if they were white.
    #[cfg_attr(test, schemars(range(min = 0.0, max = 1.0)))]
    pub whiteness_p: Option<f64>,
    /// Probability of residuals that follow earlier commands at least this much by chance.
    #[cfg_attr(test, schemars(range(min = 0.0, max = 1.0)))]
    pub command_p: Option<f64>,
    /// Least standard uncertainty that any unbiased estimate from the same readings could have, by
    /// parameter (Cramér-Rao); what lies above it in a result is correlation, structure, clocks,
    /// geometry and thrust calibration.
    pub information_bound: IndexMap<Parameter, f64>,
    /// Structures tried.
    pub structures: Vec<Structure>,
    /// How the search ended.
    pub ended: Ended,
    /// Values that were assumed, not measured, in words.
    pub assumed: Vec<String>,
}

/// One structure that was tried.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct Structure {
    /// Its dead band.
    pub dead_band: DeadBandKind,
    /// Whether its actuator is one of second order.
    #[serde(default)]
    pub second_order: bool,
    /// Its score (Bayesian information criterion, the second order by its evidence; lower is better).
    pub score: f64,
    /// Whether it was taken.
    pub chosen: bool,
}
