//! Class: the letter, the label, and whether the firing agrees with it.

use serde::{Deserialize, Serialize};

use crate::finding::Finding;

/// What class the firing was.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ClassReport {
    /// Letter of the impulse of all motors together.
    pub letter: Option<String>,
    /// Letter of each motor.
    pub per_motor: Vec<MotorClass>,
    /// Comparisons with the certified values.
    pub findings: Vec<Finding>,
}

/// What class one motor was.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MotorClass {
    /// The motor's name in the firing file.
    pub motor: String,
    /// Letter of its measured impulse.
    pub letter: Option<String>,
    /// Designation on its label.
    pub designation: Option<String>,
    /// Where in the class it lies: 0 at the floor, 100 at the top.
    pub percent_of_class: Option<f64>,
}
