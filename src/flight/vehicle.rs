//! The vehicle: what is flown besides plant and gains.

use indexmap::IndexMap;

use super::monte_carlo::Spreads;
use super::scenario::{Air, Sensors, Wind};
use crate::quantity::STANDARD_GRAVITY_M_S2;

/// One motor of the vehicle.
#[derive(Debug, Clone, PartialEq)]
pub struct VehicleMotor {
    /// Its name.
    pub name: String,
    /// Share of the record's thrust that is its own.
    pub share: f64,
    /// How much later it lights than in the record, s.
    pub later_s: f64,
    /// Its axis from the rocket's axis, m, by axis name.
    pub offsets_m: IndexMap<String, f64>,
    /// Whether it lights.
    pub lights: bool,
}

impl VehicleMotor {
    /// All motors as one.
    pub(super) fn all() -> Self {
        Self {
            name: "all".to_owned(),
            share: 1.0,
            later_s: 0.0,
            offsets_m: IndexMap::new(),
            lights: true,
        }
    }

    /// Tilt torque per newton on an axis, m.
    #[must_use]
    pub fn offset_m(&self, axis: &str) -> f64 {
        self.offsets_m.get(axis).copied().unwrap_or(0.0)
    }
}

/// What the file says.
#[derive(Debug, Clone, PartialEq)]
pub struct Vehicle {
    /// Mass at ignition, kg.
    pub mass_kg: Option<f64>,
    /// Propellant, kg.
    pub propellant_kg: f64,
    /// Moment of inertia, kg m2; that of the plant when absent.
    pub inertia_kg_m2: Option<f64>,
    /// Gravity, m/s2.
    pub gravity_m_s2: f64,
    /// Tilt at release, deg.
    pub tilt_deg: f64,
    /// Rate at release, deg/s.
    pub rate_deg_s: f64,
    /// When it is let go, s after ignition; when thrust first lifts it if absent.
    pub release_s: Option<f64>,
    /// Wind.
    pub wind: Wind,
    /// Sensors.
    pub sensors: Sensors,
    /// Air.
    pub air: Air,
    /// What differs from flight to flight.
    pub spreads: Spreads,
    /// Motors.
    pub motors: Vec<VehicleMotor>,
}

impl Default for Vehicle {
    fn default() -> Self {
        Self {
            mass_kg: None,
            propellant_kg: 0.0,
            inertia_kg_m2: None,
            gravity_m_s2: STANDARD_GRAVITY_M_S2,
            tilt_deg: 3.0,
            rate_deg_s: 0.0,
            release_s: None,
            wind: Wind {
                gust_lasts_s: 0.3,
                ..Wind::default()
            },
            sensors: Sensors {
                tilt_noise_deg: 0.1,
                rate_noise_deg_s: 0.5,
                rate_bias_deg_s: 0.0,
            },
            air: Air::default(),
            spreads: Spreads::default(),
            motors: vec![VehicleMotor::all()],
        }
    }
}
