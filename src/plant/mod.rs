//! The plant: how the rocket answers a steering command.
//!
//! For one axis, with command u (deg), nozzle angle d (rad), thrust T (N) and tilt a (rad):
//!
//! ```text
//! v     = command held between updates, delayed by delay_s
//! w     = v through the dead band
//! d_dem = gain (pi/180) (w + bias_deg), limited to travel
//! (lag_s / (2 damping_ratio))^2 d'' + lag_s d' + d = d_dem       (first order: no d'', but |d'| <= slew)
//! a''   = effectiveness T sin d + thrust_bias T - damping a' + stiffness a - coulomb sign(a')
//! ```
//!
//! How it is fitted, in the order of the data ([`fit::refit_axis`]):
//!
//! 1. [`actuator`] solves command to nozzle angle exactly, [`dead_band`] and [`second_order`] included.
//! 2. [`measurement_model`] searches lag, delay and width over a grid and refines all parameters together;
//!    [`nozzle_model`] sees the actuator through a measured nozzle angle, [`tilt_model`] through the
//!    prediction errors of the Kalman filter in [`kalman_filter`], whose noise [`noise_likelihood`] is found by likelihood.
//! 3. [`structure`] weighs the kinds of dead band, [`order`] one pole against two, [`slew`] whether a slew limit shows;
//!    [`fit_uncertainty`] gives covariance and intervals.
//! 4. [`nozzle_fit`] and [`tilt_only_fit`] put the stages together for the two cases; [`actuator_estimates`] and [`rig_estimates`]
//!    say which numbers the record tells; [`free_rocket`] carries the plant over to the free rocket.
//! 5. [`pool`] makes one plant of several firings.
//!
//! [`axes`] gathers the signals of a firing for the fit.

pub(crate) mod actuator;
pub(crate) mod actuator_estimates;
pub(crate) mod axes;
mod axis_plant;
mod common;
pub(crate) mod dead_band;
pub(crate) mod excitation;
pub(crate) mod findings;
pub(crate) mod fit;
pub(crate) mod fit_uncertainty;
pub(crate) mod free_rocket;
pub(crate) mod free_swing;
pub(crate) mod input;
pub(crate) mod instants;
pub(crate) mod kalman_filter;
pub(crate) mod measurement_model;
pub(crate) mod noise_likelihood;
mod noise_search;
pub(crate) mod nozzle_fit;
pub(crate) mod nozzle_model;
pub(crate) mod order;
pub(crate) mod parameter;
pub(crate) mod parameter_estimates;
mod plausible;
pub(crate) mod pool;
pub(crate) mod prior;
pub(crate) mod progress;
pub(crate) mod residuals;
pub(crate) mod result;
pub(crate) mod rig_estimates;
mod second_order;
pub(crate) mod sensitivity;
pub(crate) mod slew;
pub(crate) mod structure;
pub(crate) mod tilt_fit;
pub(crate) mod tilt_model;
pub(crate) mod tilt_only_fit;
pub(crate) mod trace;

pub(crate) use axes::AxesInput;
pub use axes::fit_axes;
pub use common::{CommonPlant, fit};
pub(crate) use fit::AxisFit;
pub use input::AxisInput;
pub(crate) use input::{BenchSweep, Estimate, FreeSwing};
pub use parameter::Parameter;
pub use result::{
    Actuator, AxisPlant, Covariance, DeadBand, DeadBandKind, FitReport, Flight, PlantFile, Rig,
    SampledThrust, SharedTerm, Structure,
};
pub use trace::AxisTrace;

#[cfg(test)]
mod fit_tests;
