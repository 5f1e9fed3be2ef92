//! What the fit of one axis rests on.

use crate::quantity::{Given, Quantity};
use crate::series::Series;

/// A number known beforehand, in SI units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// Best estimate.
    pub value: f64,
    /// Standard uncertainty; 0 when none was stated.
    pub u: f64,
}

impl<Q: Quantity> From<&Given<Q>> for Estimate {
    fn from(given: &Given<Q>) -> Self {
        Self {
            value: given.si(),
            u: given.standard_uncertainty().unwrap_or(0.0),
        }
    }
}

/// The free rocket.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct VehicleInput {
    /// Moment of inertia about its own centre of gravity, kg m2.
    pub inertia_kg_m2: Estimate,
    /// Centre of gravity to swivel point, m.
    pub arm_m: Estimate,
}

/// One axis: signals on one common clock, and what is known of the rig.
#[derive(Debug, Clone, Default)]
pub struct AxisInput {
    /// Name of the axis.
    pub name: String,
    /// Every logged command from the log's first row, deg; each in force until the next.
    pub command_deg: Series,
    /// Measured nozzle angle, rad.
    pub nozzle_rad: Option<Series>,
    /// Measured tilt, rad.
    pub tilt_rad: Option<Series>,
    /// Measured tilt rate, rad/s.
    pub rate_rad_s: Option<Series>,
    /// Standard uncertainty of the clock of the nozzle angle against that of the command, s.
    pub command_to_nozzle_u_s: f64,
    /// The same for the tilt.
    pub command_to_tilt_u_s: f64,
    /// The same for the tilt rate.
    pub command_to_rate_u_s: f64,
    /// Thrust, N; `None` for a dry run, where the actuator alone is fitted.
    pub thrust_n: Option<Series>,
    /// Relative standard uncertainty of the thrust that all its readings share.
    pub thrust_relative_u: f64,
    /// Share of the impulse delivered so far, 0 to 1.
    pub impulse_fraction: Option<Series>,
    /// The burn, s; for a dry run the whole record.
    pub window_s: (f64, f64),
    /// Mechanical limit of the nozzle either side, rad.
    pub travel_rad: Option<f64>,
    /// Rig pivot to nozzle swivel point, m.
    pub arm_m: Option<Estimate>,
    /// Moment of inertia of all that swings, about the rig pivot, at ignition, kg m2.
    pub inertia_kg_m2: Option<Estimate>,
    /// The same at burnout.
    pub inertia_spent_kg_m2: Option<Estimate>,
    /// The part of it that stays on the ground, kg m2.
    pub frame_inertia_kg_m2: Option<Estimate>,
    /// Pivot to centre of gravity, positive when the centre of gravity is above, m.
    pub pivot_to_cg_m: Option<Estimate>,
    /// Mass of all that swings, kg.
    pub swinging_mass_kg: Option<Estimate>,
    /// The free rocket.
    pub vehicle: Option<VehicleInput>,
}

impl AxisInput {
    /// Inertia at ignition over inertia now: by how much the same torque turns the rig faster.
    #[must_use]
    pub fn lightening_at(&self, time_s: f64) -> f64 {
        let (Some(first), Some(spent)) = (self.inertia_kg_m2, self.inertia_spent_kg_m2) else {
            return 1.0;
        };
        let share = self
            .impulse_fraction
            .as_ref()
            .and_then(|series| series.at(time_s));
        let now = first.value + (spent.value - first.value) * share.unwrap_or(0.0);
        if now > 0.0 { first.value / now } else { 1.0 }
    }
}
