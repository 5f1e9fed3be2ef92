//! The integration suite: one binary, one module for each subject.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "a test stops on the first surprise; that is what it is for"
)]

mod architecture;
mod archive;
mod bad_input;
mod browser;
mod budget;
mod calibrate;
mod chromium;
mod compare;
#[cfg(feature = "internals")]
mod control;
#[cfg(feature = "internals")]
mod coverage;
mod demo;
#[cfg(feature = "internals")]
mod demo_data;
mod desk;
mod evidence;
mod faults;
mod fit;
#[cfg(feature = "internals")]
mod fuzzed;
mod guide;
mod long_log;
mod look;
#[cfg(feature = "internals")]
mod motor_curves;
mod odd_logs;
mod outputs;
mod pages;
mod plan;
#[cfg(feature = "internals")]
mod plant_steps;
#[cfg(feature = "internals")]
mod properties;
mod published;
mod readme;
mod real_logs;
mod recorders;
mod rig_tests;
mod runner;
mod served;
mod shell;
#[cfg(feature = "internals")]
mod slew;
mod stand;
mod studies;
mod terminal;
mod verdicts;
mod watch;
#[cfg(feature = "internals")]
mod wrong_motor;
