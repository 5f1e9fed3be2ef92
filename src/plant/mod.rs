//! The plant: how the rocket answers a steering command.
//!
//! For one axis, with command u (deg), nozzle angle d (rad), thrust T (N) and tilt a (rad):
//!
//! ```text
//! v     = command held between updates, delayed by delay_s
//! w     = v through the dead band
//! d_dem = gain (pi/180) (w + bias_deg), limited to travel
//! lag_s d' + d = d_dem, |d'| <= slew
//! a''   = effectiveness T sin d + thrust_bias T - damping a' + stiffness a - coulomb sign(a')
//! ```

pub mod actuator;
pub mod actuator_fit;
pub mod core;
pub mod dead_band;
pub mod excitation;
pub mod findings;
pub mod fit;
pub mod flight;
pub mod from_nozzle;
pub mod from_tilt;
pub mod input;
pub mod noise;
pub mod parameters;
pub mod result;
pub mod structure;
pub mod tilt;
pub mod tilt_fit;
pub mod tilt_view;
pub mod uncertainty;
pub mod view;

use crate::series::Series;

/// Points of the dead-band profile that is drawn.
const PROFILE_POINTS: usize = 11;

pub use fit::{AxisFit, fit_axis};
pub use input::{AxisInput, Estimate, VehicleInput};
pub use result::{
    Actuator, AxisPlant, Covariance, DeadBand, DeadBandKind, FitReport, Flight, PlantFile, Rig,
    SampledThrust, Structure,
};

/// What one axis did, and what the model makes of it.
#[derive(Debug, Clone, Default)]
pub struct AxisTrace {
    /// Command in force, deg.
    pub command_deg: Series,
    /// Nozzle angle as measured, deg.
    pub nozzle_deg: Option<Series>,
    /// Nozzle angle of the model, deg.
    pub nozzle_model_deg: Series,
    /// Tilt as measured, deg.
    pub tilt_deg: Option<Series>,
    /// Tilt one step ahead by the model, deg.
    pub tilt_model_deg: Option<Series>,
    /// Tilt rate as measured, deg/s.
    pub rate_deg_s: Option<Series>,
    /// Autocorrelation of the residuals, by lag in samples from 0, of the main signal.
    pub residual_autocorrelation: Vec<f64>,
    /// Dead-band width, deg, and how much worse the fit is there (twice the log-likelihood lost).
    pub dead_band_profile: Vec<(f64, f64)>,
}

#[cfg(test)]
mod fit_tests;
#[cfg(test)]
mod simulated;
