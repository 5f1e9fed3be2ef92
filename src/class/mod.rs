//! Class: the letter, the label, and whether the firing agrees with it.
//!
//! [`letter`] holds the published classes, [`label`] the comparisons with certified values.

pub mod label;
pub mod letter;

use indexmap::IndexMap;
use serde::{Deserialize, Serialize};

use crate::finding::Finding;
use crate::firing::Motor;
use crate::quantity::Measured;

/// What class the firing was.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ClassReport {
    /// Letter of the impulse of all motors together.
    pub letter: Option<String>,
    /// Probability that the impulse of all motors together lies in that class.
    pub probability: Option<f64>,
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

/// What class needs to know of the firing.
#[derive(Debug, Clone)]
pub struct Delivered<'a> {
    /// Total impulse of all motors.
    pub total_ns: Option<&'a Measured>,
    /// Impulse of each motor, where it can be told.
    pub motor_ns: IndexMap<String, Option<Measured>>,
    /// Motors that count as lit.
    pub lit: Vec<String>,
    /// Average thrust over the burn.
    pub average_n: Option<&'a Measured>,
    /// Burn time.
    pub burn_time_s: Option<&'a Measured>,
    /// Time between first and last ignition.
    pub stagger_s: Option<&'a Measured>,
}

/// Classifies a firing.
#[must_use]
pub fn classify(
    delivered: &Delivered<'_>,
    motors: &IndexMap<String, Motor>,
    impulse_tolerance: f64,
) -> ClassReport {
    let class = delivered
        .total_ns
        .and_then(|total| letter::of(total.value).map(|c| (c, total)));
    let per_motor = motors
        .iter()
        .map(|(name, motor)| {
            let total = delivered.motor_ns.get(name).and_then(Option::as_ref);
            let class = total.and_then(|total| letter::of(total.value));
            MotorClass {
                motor: name.clone(),
                letter: class.map(|class| class.letter.to_owned()),
                designation: motor.certified.as_ref().and_then(|c| c.designation.clone()),
                percent_of_class: class
                    .zip(total)
                    .map(|(class, total)| class.percent(total.value)),
            }
        })
        .collect();
    ClassReport {
        letter: class.map(|(class, _)| class.letter.to_owned()),
        probability: class.map(|(class, total)| {
            total.probability_below(class.upper_ns) - total.probability_below(class.lower_ns)
        }),
        per_motor,
        findings: label::compare(delivered, motors, impulse_tolerance),
    }
}
