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
//! A firing read, reduced, and told: the verdict as the terminal says it, and the impulse as a number
//! with its standard uncertainty and the interval that covers the truth with 95 % probability. What
//! the record cannot tell is `None`.
//!
//! ```
//! use burnwright::{config, reduce, render};
//!
//! let path = std::path::Path::new("demo-data/twin-captive/firing.toml");
//! let firing = config::read_firing(path)?;
//! let result = reduce::reduce(&firing)?.result;
//!
//! println!("{}", render::text::verdict(&result));
//! let total = result.impulse.and_then(|impulse| impulse.total_ns);
//! if let Some(total) = &total {
//!     println!(
//!         "total impulse {:.2} {}, u {:.3}, {:.2} to {:.2}",
//!         total.value, total.unit, total.u, total.low, total.high
//!     );
//! }
//! for (name, motor) in result.motors.iter().flatten() {
//!     println!("{name}: {}, probability {:?}", motor.lit.word(), motor.probability);
//! }
//! assert!(total.is_some_and(|total| (total.value - 59.49).abs() < 0.05 && total.u < 0.02));
//! # Ok::<(), burnwright::diagnostic::Problems>(())
//! ```
//!
//! The whole page and every file of results come from [`render`]; the plant of each axis stands in
//! `result.plant`, and [`control`] and [`flight`] take it further.

pub mod burn;
pub mod calibration;
pub mod cautions;
pub mod cli;
pub mod compare;
pub mod config;
pub mod control;
pub mod diagnostic;
pub mod finding;
pub mod flight;
pub mod log;
pub mod look;
pub mod motors;
pub mod numeric;
pub mod plan;
pub mod plant;
pub mod plausible;
pub mod quantity;
pub mod reduce;
pub mod render;
pub mod series;
pub mod uncertainty;
pub mod view;

#[cfg(test)]
#[path = "../tests/suite/studies.rs"]
mod studies;
