//! The integration suite: one binary, one module for each subject.

mod architecture;
mod bad_input;
mod demo;
mod demo_data;
mod motor_curves;
mod odd_logs;
mod outputs;
mod published;
mod readme;
mod real_logs;
mod runner;
