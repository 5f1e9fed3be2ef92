//! Burnwright reduces captive firings of finless model rockets that steer by swivelling their
//! motors: raw recorder files in; verdict, impulse, plant model and report out.
//!
//! # The pipeline
//!
//! ```text
//! firing.toml, logs, points, certified motors
//!      |
//!   firing        what was fired, on what rig, with which recorders
//!   record        each log read, each clock tied to the first one
//!   calibration   raw counts to newtons, with the curve's covariance
//!   burn          zero line, weight loss, thrust, when it began and ended
//!   impulse       area under thrust and its uncertainty budget
//!   chamber       pressure, characteristic velocity, thrust coefficient
//!   ignition      which motors lit, when, and what says so
//!   class         letter, and whether it is the motor on the label
//!   plant         command to nozzle angle to tilt: gain, lag, delay, dead band
//!      |
//!   reduction     calls the stages in order and gathers one result
//!      |
//!   compare       several firings of one motor side by side
//!   look          logs without a firing file: columns, clocks, where something burnt
//!      |
//!   control       plant to gains: margins, rules, wobble, first tick
//!   flight        plant and gains flown, once and many times
//!      |
//!   report        page, terminal text, JSON, CSV, C header: they format, they never compute
//! ```
//!
//! [`plan`] makes rehearsals: firings with known truth, in the same files a real one leaves. The
//! stages rest on [`numeric`] (methods that no library serves well), and on [`quantity`],
//! [`series`], [`uncertainty`], [`finding`] and [`diagnostic`].
//!
//! # Example
//!
//! ```
//! use burnwright::{firing, reduction};
//!
//! let path = std::path::Path::new("demo-data/twin-captive/firing.toml");
//! let firing = firing::read_firing(path)?;
//! let reduced = reduction::reduce(&firing)?;
//! let impulse = reduced.result.impulse.and_then(|impulse| impulse.total_ns);
//! assert!(impulse.is_some_and(|total| total.relative() < 0.01));
//! # Ok::<(), burnwright::diagnostic::Problems>(())
//! ```

pub mod burn;
pub mod calibration;
pub mod cautions;
pub mod chamber;
pub mod class;
pub mod cli;
pub mod compare;
pub mod control;
pub mod diagnostic;
pub mod finding;
pub mod firing;
pub mod flight;
pub mod ignition;
pub mod impulse;
pub mod look;
pub mod numeric;
pub mod plan;
pub mod plant;
pub mod quantity;
pub mod record;
pub mod reduction;
pub mod report;
pub mod series;
pub mod uncertainty;
