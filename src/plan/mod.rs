//! Before the firing: what a planned firing would look like, what it could tell, and how to steer it so that it
//! tells most.
//!
//! ```text
//! firing file, logs that are there -> rest, expected -> rehearsed -> reduce -> prediction
//!                                                   `-> information          -> prediction, design
//! ```

pub(crate) mod design;
pub(crate) mod expected;
pub(crate) mod families;
mod information;
mod motion;
mod moves;
mod narrower;
mod options;
pub(crate) mod pattern;
mod pattern_file;
pub(crate) mod prediction;
pub(crate) mod rehearsal;
mod rehearsed;
pub(crate) mod rest;
mod search;
pub(crate) mod widths;

pub use design::design;
pub use options::PlanOptions;
pub use pattern::Design;
pub use prediction::{Prediction, plan};
