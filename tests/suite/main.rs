//! The integration suite: one binary, one module for each subject.

mod architecture;
mod demo;
mod demo_data;
mod motor_curves;
mod outputs;
mod readme;
mod runner;
