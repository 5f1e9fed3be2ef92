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
//!
//! How it is fitted, in the order of the data ([`fit_axis`]):
//!
//! 1. [`actuator`] solves command to nozzle angle exactly, [`dead_band`] included.
//! 2. [`measurement_model`] searches lag, delay and width over a grid and refines all parameters together;
//!    [`actuator_fit`] sees the actuator through a measured nozzle angle, [`tilt_model`] through the
//!    prediction errors of the Kalman filter in [`tilt`], whose [`noise`] is found by likelihood.
//! 3. [`structure`] weighs the kinds of dead band, [`slew`] whether a slew limit shows;
//!    [`uncertainty`] gives covariance and intervals.
//! 4. [`from_nozzle`] and [`from_tilt`] put the stages together for the two cases; [`actuator_parameters`] and [`rig`]
//!    say which numbers the record tells; [`flight`] carries the plant over to the free rocket.
//! 5. [`pool`] makes one plant of several firings.
//!
//! [`axes`] gathers the signals of a firing for the fit.

pub mod actuator;
pub mod actuator_fit;
pub mod actuator_parameters;
pub mod axes;
mod common;
pub mod dead_band;
pub mod excitation;
pub mod findings;
pub mod fit;
pub mod flight;
pub mod free_swing;
pub mod from_nozzle;
pub mod from_tilt;
pub mod input;
pub mod measurement_model;
pub mod noise;
pub mod parameters;
mod plausible;
pub mod pool;
pub mod progress;
pub mod residuals;
pub mod result;
pub mod rig;
pub mod slew;
pub mod structure;
pub mod tilt;
pub mod tilt_fit;
pub mod tilt_model;
pub mod uncertainty;

use crate::series::Series;

/// Points of the dead-band profile that is drawn.
const PROFILE_POINTS: usize = 11;

pub use axes::{AxesInput, fit_axes};
pub use common::{CommonPlant, fit};
pub use fit::{AxisFit, fit_axis, fit_axis_again};
pub use input::{AxisInput, BenchSweep, Estimate, UnlikeMotors, VehicleInput};
pub use result::{
    Actuator, AxisPlant, Covariance, DeadBand, DeadBandKind, FitReport, Flight, PlantFile, Rig,
    SampledThrust, SharedTerm, Structure,
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
