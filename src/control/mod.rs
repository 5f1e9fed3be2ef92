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

pub(crate) mod axis_loop;
pub(crate) mod curves;
pub(crate) mod dead_band;
pub(crate) mod describing_function;
pub(crate) mod design;
pub(crate) mod findings;
pub(crate) mod gains;
mod harmonics;
pub(crate) mod limit_cycle;
pub(crate) mod margins;
pub(crate) mod model;
pub(crate) mod pid;
mod plausible;
pub(crate) mod robustness;
pub(crate) mod rules;
mod schedule;
pub(crate) mod specification;
pub(crate) mod start_up;
pub(crate) mod transfer_polynomial;
pub(crate) mod tune;
pub(crate) mod vectors;
pub(crate) mod zero_order_hold;

pub(crate) use gains::Schedule;
pub use gains::{AxisGains, GainsFile};
pub use specification::{Scheduling, Specification};
pub use tune::tune;
