//! From plant to controller: gains, margins, limit cycle, start-up transient.
//!
//! 1. [`model`] takes the numbers of an axis from the plant file: best estimate, or sampled.
//! 2. [`axis_loop`] closes the discrete loop with its delay ([`zero_order_hold`], [`transfer_polynomial`])
//!    around the controller in [`pid`]; [`margins`] are its margins.
//! 3. [`rules`] are the published settings for a double integrator.
//! 4. [`describing_function`] and `harmonics` predict the limit cycle of the dead band ([`limit_cycle`]),
//!    [`start_up`] the first commands; [`curves`] are what pictures of the loop are drawn from.
//! 5. [`design`] looks for gains that meet a [`specification`], [`robustness`] looks at them over thrust and
//!    covariance, [`tune()`] calls them in order and gathers a [`GainsFile`] with its [`findings`].

pub mod axis_loop;
pub mod curves;
pub(crate) mod dead_band;
pub mod describing_function;
pub mod design;
pub mod findings;
pub mod gains;
mod harmonics;
pub mod limit_cycle;
pub mod margins;
pub mod model;
pub mod pid;
mod plausible;
pub mod robustness;
pub mod rules;
mod schedule;
pub mod specification;
pub mod start_up;
pub mod transfer_polynomial;
pub mod tune;
pub mod vectors;
pub mod zero_order_hold;

pub use gains::{AxisGains, GainsFile, Schedule};
pub use specification::{Scheduling, Specification};
pub use tune::tune;
