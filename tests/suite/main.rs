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
mod bad_input;
mod browser;
mod budget;
mod calibrate;
mod chromium;
mod compare;
mod control;
mod coverage;
mod demo;
mod demo_data;
mod evidence;
mod faults;
mod fit;
mod fuzzed;
mod guide;
mod long_log;
mod look;
mod motor_curves;
mod odd_logs;
mod outputs;
mod pages;
mod properties;
mod published;
mod readme;
mod real_logs;
mod recorders;
mod rig_tests;
mod runner;
mod shell;
mod slew;
mod stand;
mod studies;
mod terminal;
mod wrong_motor;
