//! Class: the letter, the label, and whether the firing agrees with it.
//!
//! [`letter`] holds the published classes, [`designation`] the name on a label, [`label`] the
//! comparisons with certified values, [`limits`] those with the limits of model rockets,
//! [`comparison`] measured against certified thrust, [`recognise`] which motor was in the tube.

pub mod comparison;
pub mod designation;
pub mod label;
pub mod letter;
pub mod limits;
pub mod recognise;

use indexmap::IndexMap;
use serde::{Deserialize, Serialize};

use crate::finding::Finding;
use crate::firing::Motor;
use crate::quantity::Measured;
use comparison::CurveComparison;
use letter::Chance;
use recognise::Recognised;

/// What class the firing was.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ClassReport {
    /// Letter of the impulse of all motors together.
    pub letter: Option<String>,
    /// Probability that the impulse of all motors together lies in that class.
    pub probability: Option<f64>,
    /// Every letter that is not improbable, most probable first.
    #[serde(default)]
    pub letters: Vec<Chance>,
    /// Letter of each motor.
    pub per_motor: Vec<MotorClass>,
    /// Measured against certified thrust; `None` without certified curves of all that lit.
    #[serde(default)]
    pub comparison: Option<CurveComparison>,
    /// Which motors explain the record; `None` without certified curves of all that lit.
    #[serde(default)]
    pub recognised: Option<Recognised>,
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
    /// Every letter that is not improbable, most probable first.
    #[serde(default)]
    pub letters: Vec<Chance>,
    /// Designation on its label.
    pub designation: Option<String>,
    /// Designation by this firing, without delay; `None` where its average thrust was not measured.
    #[serde(default)]
    pub measured_designation: Option<String>,
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
        .map(|(name, motor)| motor_class(delivered, name, motor))
        .collect();
    let mut findings = label::compare(delivered, motors, impulse_tolerance);
    findings.extend(limits::findings(delivered, motors));
    ClassReport {
        letter: class.map(|(class, _)| class.letter.to_owned()),
        probability: class.map(|(class, total)| {
            total.probability_below(class.upper_ns) - total.probability_below(class.lower_ns)
        }),
        letters: delivered.total_ns.map(letter::chances).unwrap_or_default(),
        per_motor,
        comparison: None,
        recognised: None,
        findings,
    }
}

fn motor_class(delivered: &Delivered<'_>, name: &str, motor: &Motor) -> MotorClass {
    let total = delivered.motor_ns.get(name).and_then(Option::as_ref);
    let class = total.and_then(|total| letter::of(total.value));
    let only = delivered.lit.len() == 1 && delivered.lit.iter().any(|lit| lit == name);
    let average = delivered.average_n.filter(|_| only);
    MotorClass {
        motor: name.to_owned(),
        letter: class.map(|class| class.letter.to_owned()),
        letters: total.map(letter::chances).unwrap_or_default(),
        designation: motor.certified.as_ref().and_then(|c| c.designation.clone()),
        measured_designation: total.zip(average).and_then(|(total, average)| {
            designation::designation(total.value, average.value, None)
        }),
        percent_of_class: class
            .zip(total)
            .map(|(class, total)| class.percent(total.value)),
    }
}
