//! The plant as data: what `plant.json` holds.

use std::path::Path;

use indexmap::IndexMap;
use serde::{Deserialize, Serialize};

use crate::config::json_file;
use crate::diagnostic::Problems;
use crate::finding::Finding;
use crate::quantity::Measured;

/// Schema number of `plant.json`.
pub const SCHEMA: u32 = 1;

/// The whole file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct PlantFile {
    /// Schema number.
    #[cfg_attr(test, schemars(extend("const" = 1)))]
    pub schema: u32,
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
    pub fn read(path: &Path) -> Result<Self, Problems> {
        json_file::read(path, ("plant file", "reduce"))
    }
}

/// Thrust over time since ignition.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct SampledThrust {
    /// Seconds since ignition.
    pub time_s: Vec<f64>,
    /// Newtons.
    pub thrust_n: Vec<f64>,
}

/// One axis.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
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

/// Command to nozzle angle. Unknown values are `None`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Actuator {
    /// Nozzle angle per command.
    pub gain: Option<Measured>,
    /// Command that points the nozzle straight, with its sign turned.
    pub bias_deg: Option<Measured>,
    /// First-order lag.
    pub lag_s: Option<Measured>,
    /// Dead time.
    pub delay_s: Option<Measured>,
    /// Dead band.
    pub dead_band: DeadBand,
    /// Fastest nozzle movement, when the record shows one.
    pub slew_deg_s: Option<Measured>,
    /// Mechanical limit either side.
    pub travel_deg: Option<f64>,
}

/// Dead band of an actuator.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct DeadBand {
    /// Its kind; `None` when the record cannot tell.
    pub kind: Option<DeadBandKind>,
    /// Its total width, in degrees of command.
    pub width_deg: Option<Measured>,
}

/// Kinds of dead band.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum DeadBandKind {
    /// Every change arrives.
    None,
    /// Small commands do nothing.
    DeadZone,
    /// Mechanical backlash.
    Play,
}

impl DeadBandKind {
    /// The word used in files and outputs.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::DeadZone => "dead-zone",
            Self::Play => "play",
        }
    }
}

/// Nozzle angle to tilt, in the rig.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Rig {
    /// Tilt acceleration per newton of thrust and radian of nozzle angle, 1/(kg m).
    pub effectiveness_per_kg_m: Option<Measured>,
    /// Tilt acceleration per newton of thrust with the nozzle straight, 1/(kg m).
    pub thrust_bias_per_kg_m: Option<Measured>,
    /// Damping, 1/s.
    pub damping_per_s: Option<Measured>,
    /// Stiffness, 1/s2; positive when the centre of gravity is above the pivot.
    pub stiffness_per_s2: Option<Measured>,
    /// Dry friction, rad/s2.
    pub coulomb_rad_per_s2: Option<Measured>,
}

/// The free rocket.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
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

/// Covariance matrix of named parameters.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Covariance {
    /// Parameter names, in the order of rows and columns.
    pub names: Vec<String>,
    /// The matrix.
    pub matrix: Vec<Vec<f64>>,
}

/// One source of error that all firings of a rig share.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct SharedTerm {
    /// What it comes from.
    pub source: String,
    /// By how much one standard uncertainty of it moves each parameter.
    pub moves: IndexMap<String, f64>,
}

impl AxisPlant {
    /// The place of a number by its name in the covariance.
    fn place(&mut self, name: &str) -> Option<&mut Option<Measured>> {
        let actuator = &mut self.actuator;
        Some(match name {
            "gain" => &mut actuator.gain,
            "bias_deg" => &mut actuator.bias_deg,
            "lag_s" => &mut actuator.lag_s,
            "delay_s" => &mut actuator.delay_s,
            "dead_band.width_deg" => &mut actuator.dead_band.width_deg,
            "slew_deg_s" => &mut actuator.slew_deg_s,
            _ => {
                let rig = self.rig.as_mut()?;
                match name {
                    "effectiveness_per_kg_m" => &mut rig.effectiveness_per_kg_m,
                    "thrust_bias_per_kg_m" => &mut rig.thrust_bias_per_kg_m,
                    "damping_per_s" => &mut rig.damping_per_s,
                    "stiffness_per_s2" => &mut rig.stiffness_per_s2,
                    "coulomb_rad_per_s2" => &mut rig.coulomb_rad_per_s2,
                    _ => return None,
                }
            }
        })
    }

    /// A number by its name in the covariance; `None` when the record does not tell it.
    #[must_use]
    pub fn number(&self, name: &str) -> Option<Measured> {
        self.clone().place(name)?.clone()
    }

    /// Puts a number in its place.
    pub fn set_number(&mut self, name: &str, value: Option<Measured>) {
        if let Some(place) = self.place(name) {
            *place = value;
        }
    }
}

/// How a fit went.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct FitReport {
    /// Measured signals it rests on: nozzle, tilt, rate.
    pub seen_from: Vec<String>,
    /// Number of readings used.
    pub samples: usize,
    /// Standard deviation of the residuals, by signal; the name ends in the unit.
    pub residual_sd: IndexMap<String, f64>,
    /// Share of the movement explained on a part kept out of the fit, in per cent.
    pub held_out_fit_percent: Option<f64>,
    /// Probability of residuals at least this correlated if they were white.
    #[cfg_attr(test, schemars(range(min = 0.0, max = 1.0)))]
    pub whiteness_p: Option<f64>,
    /// Probability of residuals that follow earlier commands at least this much by chance.
    #[cfg_attr(test, schemars(range(min = 0.0, max = 1.0)))]
    pub command_p: Option<f64>,
    /// Least standard uncertainty that any unbiased estimate from the same readings could have, by
    /// parameter (Cramér-Rao); what lies above it in a result is correlation, structure, clocks,
    /// geometry and thrust calibration.
    pub information_bound: IndexMap<String, f64>,
    /// Structures tried.
    pub structures: Vec<Structure>,
    /// How the search ended.
    pub ended: String,
    /// Values that were assumed, not measured, in words.
    pub assumed: Vec<String>,
}

/// One structure that was tried.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Structure {
    /// Its dead band.
    pub dead_band: DeadBandKind,
    /// Its score (Bayesian information criterion; lower is better).
    pub score: f64,
    /// Whether it was taken.
    pub chosen: bool,
}
