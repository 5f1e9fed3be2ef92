//! From plant to controller: gains, margins, and what the dead band and the first tick will do.
//!
//! 1. [`model`] takes the numbers of an axis from the plant file: best estimate, or drawn.
//! 2. [`axis_loop`] closes the sampled loop with its delay ([`sampled`], [`transfer_polynomial`]) around the
//!    controller in [`pid`]; [`margins`] says what it bears.
//! 3. [`rules`] are the published settings, refused where their assumptions fail.
//! 4. [`describing_function`] (with `harmonics`) predicts the wobble of the dead band, [`start_up`] the first command;
//!    [`curves`] are what pictures of the loop are drawn from.
//! 5. [`design`] looks for gains, [`judge`] says what they bear over thrust and covariance, [`tune()`]
//!    calls them in order and gathers a [`GainsFile`].

pub mod axis_loop;
pub mod curves;
pub mod describing_function;
pub mod design;
pub mod gains;
mod harmonics;
pub mod judge;
pub mod margins;
pub mod model;
pub mod pid;
mod plausible;
pub mod rules;
pub mod sampled;
pub mod start_up;
pub mod transfer_polynomial;
pub mod tune;
pub mod vectors;

pub use gains::{AxisGains, GainsFile, Schedule};
pub use tune::{Scheduling, Wishes, tune};
