//! The two blocks of a plant as data: the actuator, and the rig that its nozzle tilts.

use serde::{Deserialize, Serialize};

use crate::quantity::Measured;

/// Command to nozzle angle. Unknown values are `None`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
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
#[non_exhaustive]
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
#[non_exhaustive]
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
