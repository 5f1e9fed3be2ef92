//! The integration suite: one binary, one module for each subject.

mod demo_data;
mod motor_curves;
