//! The two blocks of a plant as data, the actuator and the rig that its nozzle tilts, and their parameters, each
//! named once.
//!
//! [`Parameter`] is the one list of what a fit may estimate. A row says how the parameter is named in files and in
//! words, its unit, the range in which a plant file may hold it, what a search starts from (typical size, bounds,
//! prior) and where in the plant it is kept; whatever runs over parameters runs over this list. The orders below
//! say which of them each measurement model searches for.
//!
//! To add one: a field of [`Actuator`] or [`Rig`], a row here and its place in the orders; its term in the equation
//! (`plant::actuator` or `plant::tilt_model`); and what is said of it once it is fitted (`plant::axis_plant`).

use serde::{Deserialize, Serialize};

use crate::quantity::{Measured, Unit};

/// Command to nozzle angle. Unknown values are `None`.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct Actuator {
    /// Nozzle angle per command.
    pub gain: Option<Measured>,
    /// Command that points the nozzle straight, with its sign turned.
    pub bias_deg: Option<Measured>,
    /// Lag: by how much the nozzle trails behind a steady movement, beside the dead time.
    pub lag_s: Option<Measured>,
    /// Damping ratio where the actuator is one of second order; `None` where it is one of first order.
    #[serde(default)]
    pub damping_ratio: Option<Measured>,
    /// Dead time.
    pub delay_s: Option<Measured>,
    /// Lag and dead time together: by how much the nozzle trails behind a steady movement. Known better than either, and
    /// all that is stated of them where the residuals follow the command, so that the model is not the actuator's.
    #[serde(default)]
    pub lag_plus_delay_s: Option<Measured>,
    /// Dead band.
    pub dead_band: DeadBand,
    /// Fastest nozzle movement, when the record shows one.
    pub slew_deg_s: Option<Measured>,
    /// Mechanical limit either side.
    pub travel_deg: Option<f64>,
}

/// Dead band of an actuator.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct DeadBand {
    /// Its kind; `None` when the record cannot tell.
    pub kind: Option<DeadBandKind>,
    /// Its total width, in degrees of command.
    pub width_deg: Option<Measured>,
}

/// Kinds of dead band.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum DeadBandKind {
    /// Every change arrives.
    #[default]
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
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
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

/// What is known of a parameter before any record.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Definition {
    /// Name in files; empty for a nuisance parameter, which is in none.
    pub key: &'static str,
    /// Unit of its value.
    pub unit: Unit,
    /// Words for tables and findings.
    pub label: &'static str,
    /// Values that a plant file may hold.
    pub range: (f64, f64),
    /// How large a step of a search is a large one.
    pub typical: Typical,
    /// What a search may try.
    pub bounds: Bounds,
    /// Standard deviation of the prior about zero where nothing better is given; 0 without one.
    pub prior_u: f64,
    /// Where in the plant it is kept.
    pub home: Home,
}

/// Typical size of a parameter in a search.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Typical {
    /// This much.
    Fixed(f64),
    /// This share of the command's widest movement.
    OfCommand(f64),
    /// As large as at the start, and at least this much.
    OfStart(f64),
    /// This share of the typical size of another parameter.
    Of(Parameter, f64),
}

/// Bounds of a parameter in a search.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Bounds {
    /// None.
    Free,
    /// From one value to another.
    Within(f64, f64),
    /// From zero to the command's widest movement: no wider dead band can be identified.
    ToWidestCommand,
}

/// A field of a block of the plant, to read and to write.
type Field<Block> = (
    fn(&Block) -> &Option<Measured>,
    fn(&mut Block) -> &mut Option<Measured>,
);

/// Where in a plant a parameter is kept.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Home {
    /// Command to nozzle angle.
    Actuator(Field<Actuator>),
    /// Nozzle angle to tilt, in the rig.
    Rig(Field<Rig>),
    /// Nowhere: what the maker knows only within limits, estimated so that it does not spoil the others.
    Nuisance,
}

macro_rules! field {
    ($block:ident, $($field:ident).+) => {
        Home::$block((|of| &of.$($field).+, |of| &mut of.$($field).+))
    };
}

macro_rules! parameters {
    ($($(#[$meta:meta])+ $name:ident: $definition:expr;)+) => {
        /// A quantity that a fit may estimate.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
        #[serde(into = "String", try_from = "String")]
        pub enum Parameter {
            $($(#[$meta])+ $name,)+
        }

        impl Parameter {
            /// All of them, in the order of the equations.
            pub const ALL: &[Self] = &[$(Self::$name),+];

            /// What is known of it before any record.
            #[must_use]
            pub(crate) const fn definition(self) -> Definition {
                match self {
                    $(Self::$name => $definition,)+
                }
            }
        }
    };
}

/// Longest lag and delay that are searched, s: slower than any servo that could steer.
const LONGEST_S: f64 = 1.0;

/// A parameter in no file, without bounds and prior; what a row does not say is as here.
const NUISANCE: Definition = Definition {
    key: "",
    unit: Unit::One,
    label: "",
    range: (f64::NEG_INFINITY, f64::INFINITY),
    typical: Typical::Fixed(1e-3),
    bounds: Bounds::Free,
    prior_u: 0.0,
    home: Home::Nuisance,
};

parameters! {
    /// Nozzle angle per command.
    Gain: Definition {
        key: "gain",
        unit: Unit::One,
        label: "gain",
        range: (-1e3, 1e3),
        typical: Typical::OfStart(0.01),
        home: field!(Actuator, gain),
        ..NUISANCE
    };
    /// Command added behind the dead band, deg.
    Bias: Definition {
        key: "bias_deg",
        unit: Unit::Degree,
        label: "bias",
        range: (-90.0, 90.0),
        typical: Typical::OfCommand(0.2),
        home: field!(Actuator, bias_deg),
        ..NUISANCE
    };
    /// Lag, s; a tenth of a millisecond is faster than any servo.
    Lag: Definition {
        key: "lag_s",
        unit: Unit::Second,
        label: "lag",
        range: (0.0, 10.0),
        typical: Typical::Fixed(0.02),
        bounds: Bounds::Within(1e-4, LONGEST_S),
        home: field!(Actuator, lag_s),
        ..NUISANCE
    };
    /// Damping ratio of a second-order actuator; in a vector of a search 0 stands for one of first order, which is the
    /// limit of a large one.
    DampingRatio: Definition {
        key: "damping_ratio",
        label: "damping ratio",
        range: (0.01, 100.0),
        typical: Typical::Fixed(0.3),
        bounds: Bounds::Within(0.2, 5.0),
        home: field!(Actuator, damping_ratio),
        ..NUISANCE
    };
    /// Dead time, s.
    Delay: Definition {
        key: "delay_s",
        unit: Unit::Second,
        label: "delay",
        range: (0.0, 2.0),
        typical: Typical::Fixed(0.01),
        bounds: Bounds::Within(0.0, LONGEST_S),
        home: field!(Actuator, delay_s),
        ..NUISANCE
    };
    /// Total width of the dead band, deg of command.
    DeadBandWidth: Definition {
        key: "dead_band.width_deg",
        unit: Unit::Degree,
        label: "dead band",
        range: (0.0, 90.0),
        typical: Typical::OfCommand(0.1),
        bounds: Bounds::ToWidestCommand,
        home: field!(Actuator, dead_band.width_deg),
        ..NUISANCE
    };
    /// Fastest nozzle movement, deg/s (seen from tilt alone, of a nozzle with a gain of 1); slower than the lower
    /// bound could not steer.
    Slew: Definition {
        key: "slew_deg_s",
        unit: Unit::DegreePerSecond,
        label: "slew limit",
        range: (1e-3, 1e6),
        typical: Typical::OfStart(1.0),
        bounds: Bounds::Within(1.0, f64::INFINITY),
        home: field!(Actuator, slew_deg_s),
        ..NUISANCE
    };
    /// Tilt acceleration per newton of thrust and radian of nozzle angle (seen from tilt alone, times the gain).
    Effectiveness: Definition {
        key: "effectiveness_per_kg_m",
        unit: Unit::PerKilogramMetre,
        label: "effectiveness",
        range: (-1e6, 1e6),
        typical: Typical::OfStart(0.1),
        home: field!(Rig, effectiveness_per_kg_m),
        ..NUISANCE
    };
    /// Tilt acceleration per newton of thrust with the nozzle straight.
    ThrustBias: Definition {
        key: "thrust_bias_per_kg_m",
        unit: Unit::PerKilogramMetre,
        label: "thrust bias",
        range: (-1e6, 1e6),
        typical: Typical::Of(Effectiveness, 0.05),
        home: field!(Rig, thrust_bias_per_kg_m),
        ..NUISANCE
    };
    /// Damping; the prior: rig bearings damp within a second at most.
    Damping: Definition {
        key: "damping_per_s",
        unit: Unit::PerSecond,
        label: "damping",
        range: (-1e4, 1e4),
        typical: Typical::Fixed(0.5),
        prior_u: 1.0,
        home: field!(Rig, damping_per_s),
        ..NUISANCE
    };
    /// Stiffness; the prior where geometry does not give it: a centre of gravity a few millimetres to centimetres
    /// off the pivot.
    Stiffness: Definition {
        key: "stiffness_per_s2",
        unit: Unit::PerSecondSquared,
        label: "stiffness",
        range: (-1e6, 1e6),
        typical: Typical::Fixed(1.0),
        prior_u: 10.0,
        home: field!(Rig, stiffness_per_s2),
        ..NUISANCE
    };
    /// Dry friction; the prior: ball bearings and a cable rub with a few millinewton metres, which is a tenth of
    /// this on a rig of 0.1 kg m2. Common practice, no source.
    DryFriction: Definition {
        key: "coulomb_rad_per_s2",
        unit: Unit::RadianPerSecondSquared,
        label: "dry friction",
        range: (0.0, 1e4),
        typical: Typical::Fixed(0.1),
        prior_u: 0.3,
        home: field!(Rig, coulomb_rad_per_s2),
        ..NUISANCE
    };
    /// Nozzle angle at the first command.
    StartAngle: Definition {
        unit: Unit::Degree,
        label: "start angle",
        typical: Typical::OfCommand(0.2),
        ..NUISANCE
    };
    /// By how much the readings of one motion sensor are late against the other's.
    SensorClock: Definition {
        unit: Unit::Second,
        label: "clock of tilt against rate",
        ..NUISANCE
    };
    /// By how much a known nozzle angle is late against the motion.
    NozzleClock: Definition {
        unit: Unit::Second,
        label: "clock of the nozzle angle",
        ..NUISANCE
    };
    /// What inertia at burnout over that at ignition is more than stated.
    InertiaAtBurnout: Definition {
        label: "inertia at burnout over that at ignition",
        typical: Typical::Fixed(0.01),
        ..NUISANCE
    };
    /// How much later motors on one side light than on the other, times their lever over inertia.
    UnequalIgnition: Definition {
        unit: Unit::SecondPerKilogramMetre,
        label: "unequal ignition",
        ..NUISANCE
    };
    /// How much longer they burn, as a share, times their lever over inertia.
    UnequalBurnTime: Definition {
        unit: Unit::PerKilogramMetre,
        label: "unequal burn time",
        typical: Typical::Fixed(0.01),
        ..NUISANCE
    };
}

use Parameter::{
    Bias, Damping, DampingRatio, DeadBandWidth, Delay, DryFriction, Effectiveness, Gain,
    InertiaAtBurnout, Lag, NozzleClock, SensorClock, Slew, StartAngle, Stiffness, ThrustBias,
    UnequalBurnTime, UnequalIgnition,
};

/// The actuator's parameters.
pub(crate) const ACTUATOR: [Parameter; 7] =
    [Gain, Bias, Lag, Delay, DeadBandWidth, DampingRatio, Slew];
/// The rig's parameters.
pub(crate) const RIG: [Parameter; 5] = [Effectiveness, ThrustBias, Damping, Stiffness, DryFriction];

/// What the model of a measured nozzle angle searches for. Each order begins with a coefficient of the nozzle, a
/// constant, lag, delay and dead-band width.
pub(crate) const NOZZLE_ORDER: [Parameter; 8] = [
    Gain,
    Bias,
    Lag,
    Delay,
    DeadBandWidth,
    DampingRatio,
    Slew,
    StartAngle,
];
/// What the model of tilt and rate searches for.
pub(crate) const TILT_ORDER: [Parameter; 15] = [
    Effectiveness,
    ThrustBias,
    Lag,
    Delay,
    DeadBandWidth,
    Damping,
    Stiffness,
    DryFriction,
    SensorClock,
    NozzleClock,
    InertiaAtBurnout,
    UnequalIgnition,
    UnequalBurnTime,
    DampingRatio,
    Slew,
];
/// Those of them that have a prior, a row of its own among the residuals.
pub(crate) const WITH_PRIOR: [Parameter; 8] = [
    Damping,
    Stiffness,
    DryFriction,
    SensorClock,
    NozzleClock,
    InertiaAtBurnout,
    UnequalIgnition,
    UnequalBurnTime,
];

/// Place of a parameter in an order; the order's length when it is not in it.
#[must_use]
pub(crate) const fn place(order: &[Parameter], parameter: Parameter) -> usize {
    let mut at = 0;
    while at < order.len() && order[at] as usize != parameter as usize {
        at += 1;
    }
    at
}

impl Parameter {
    /// Name in files.
    #[must_use]
    pub const fn key(self) -> &'static str {
        self.definition().key
    }

    /// The parameter that files call so.
    #[must_use]
    pub fn from_key(key: &str) -> Option<Self> {
        let named = |parameter: &&Self| !key.is_empty() && parameter.key() == key;
        Self::ALL.iter().find(named).copied()
    }

    /// Words for tables and findings.
    #[must_use]
    pub const fn label(self) -> &'static str {
        self.definition().label
    }

    /// Unit of its value.
    #[must_use]
    pub const fn unit(self) -> Unit {
        self.definition().unit
    }
}

impl From<Parameter> for String {
    fn from(parameter: Parameter) -> Self {
        parameter.key().to_owned()
    }
}

impl TryFrom<String> for Parameter {
    type Error = String;

    fn try_from(key: String) -> Result<Self, String> {
        Self::from_key(&key).ok_or_else(|| format!("`{key}` is no parameter of a plant"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_key_is_that_of_one_parameter_with_a_home() {
        for parameter in Parameter::ALL {
            let nuisance = matches!(parameter.definition().home, Home::Nuisance);
            assert_eq!(nuisance, parameter.key().is_empty(), "{parameter:?}");
            let found = Parameter::from_key(parameter.key());
            assert_eq!(found, (!nuisance).then_some(*parameter));
        }
    }

    #[test]
    fn what_a_plant_holds_is_in_one_block_and_in_the_orders() {
        for parameter in Parameter::ALL {
            let blocks = [ACTUATOR.contains(parameter), RIG.contains(parameter)];
            let home = match parameter.definition().home {
                Home::Actuator(_) => [true, false],
                Home::Rig(_) => [false, true],
                Home::Nuisance => [false, false],
            };
            assert_eq!(blocks, home, "{parameter:?}");
            assert!(NOZZLE_ORDER.contains(parameter) || TILT_ORDER.contains(parameter));
        }
        assert!(WITH_PRIOR.iter().all(|one| TILT_ORDER.contains(one)));
    }
}
