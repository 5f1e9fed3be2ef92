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
//!    [`nozzle_model`] sees the actuator through a measured nozzle angle, [`tilt_model`] through the
//!    prediction errors of the Kalman filter in [`kalman_filter`], whose noise [`noise_likelihood`] is found by likelihood.
//! 3. [`structure`] weighs the kinds of dead band, [`slew`] whether a slew limit shows;
//!    [`fit_uncertainty`] gives covariance and intervals.
//! 4. [`nozzle_fit`] and [`tilt_only_fit`] put the stages together for the two cases; [`actuator_estimates`] and [`rig_estimates`]
//!    say which numbers the record tells; [`free_rocket`] carries the plant over to the free rocket.
//! 5. [`pool`] makes one plant of several firings.
//!
//! [`axes`] gathers the signals of a firing for the fit.

pub mod actuator;
pub mod actuator_estimates;
pub mod axes;
mod axis_plant;
pub mod blocks;
mod common;
pub mod dead_band;
pub mod excitation;
pub mod findings;
pub mod fit;
pub mod fit_uncertainty;
pub mod free_rocket;
pub mod free_swing;
pub mod input;
pub mod kalman_filter;
pub mod measurement_model;
pub mod noise_likelihood;
pub mod nozzle_fit;
pub mod nozzle_model;
pub mod parameter;
pub mod parameter_estimates;
mod plausible;
pub mod pool;
pub mod progress;
pub mod residuals;
pub mod result;
pub mod rig_estimates;
pub mod slew;
pub mod structure;
pub mod tilt_fit;
pub mod tilt_model;
pub mod tilt_only_fit;
pub mod trace;

pub use axes::{AxesInput, fit_axes};
pub use common::{CommonPlant, fit};
pub use fit::AxisFit;
pub use input::{AxisInput, BenchSweep, Estimate, FreeSwing};
pub use parameter::Parameter;
pub use result::{
    Actuator, AxisPlant, Covariance, DeadBand, DeadBandKind, FitReport, Flight, PlantFile, Rig,
    SampledThrust, SharedTerm, Structure,
};
pub use trace::AxisTrace;

#[cfg(test)]
mod fit_tests;
