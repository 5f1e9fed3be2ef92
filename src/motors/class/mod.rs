//! Class: the letter, the label, and whether the firing agrees with it.
//!
//! [`letter`] holds the published classes, [`designation`] the name on a label, [`label`] the
//! comparisons with certified values, [`limits`] those with the limits of model rockets,
//! [`comparison`] measured against certified thrust, [`recognition`] which motor it was.

pub(crate) mod comparison;
pub(crate) mod designation;
mod input;
pub(crate) mod label;
pub(crate) mod letter;
pub(crate) mod limits;
pub(crate) mod recognition;

use indexmap::IndexMap;
use serde::{Deserialize, Serialize};

use crate::config::Motor;
use crate::finding::Finding;
use crate::quantity::Measured;
use comparison::CurveComparison;
use letter::LetterProbability;
use recognition::Recognition;

pub(crate) use input::classify_firing;

/// What class the firing was.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct ClassReport {
    /// Letter of the impulse of all motors together.
    pub letter: Option<String>,
    /// Probability that the impulse of all motors together lies in that class.
    #[cfg_attr(test, schemars(range(min = 0.0, max = 1.0)))]
    pub probability: Option<f64>,
    /// Every letter that is not improbable, most probable first.
    #[serde(default)]
    pub letters: Vec<LetterProbability>,
    /// Letter of each motor.
    pub per_motor: Vec<MotorClass>,
    /// Measured against certified thrust; `None` without certified curves of all that lit.
    #[serde(default)]
    pub comparison: Option<CurveComparison>,
    /// Which motors explain the record; `None` without certified curves of all that lit.
    #[serde(default)]
    pub recognised: Option<Recognition>,
    /// Comparisons with the certified values.
    pub findings: Vec<Finding>,
    /// On which side of the limits of model rockets it lies: beyond them lies high power, which is no fault.
    #[serde(default)]
    pub limits: Vec<Finding>,
}

/// What class one motor was.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct MotorClass {
    /// The motor's name in the firing file.
    pub motor: String,
    /// Letter of its measured impulse.
    pub letter: Option<String>,
    /// Every letter that is not improbable, most probable first.
    #[serde(default)]
    pub letters: Vec<LetterProbability>,
    /// Designation on its label.
    pub designation: Option<String>,
    /// Designation by this firing, without delay; `None` where its average thrust was not measured.
    #[serde(default)]
    pub measured_designation: Option<String>,
    /// Where in the class it lies: 0 at the floor, 100 at the top.
    pub percent_of_class: Option<f64>,
}

/// What class needs to know of the firing.
#[derive(Debug, Clone, Default)]
pub(crate) struct Delivered<'a> {
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
pub(crate) fn classify(
    delivered: &Delivered<'_>,
    motors: &IndexMap<String, Motor>,
    impulse_tolerance: f64,
) -> ClassReport {
    let class = delivered
        .total_ns
        .and_then(|total| letter::class_of(total.value).map(|c| (c, total)));
    let per_motor = motors
        .iter()
        .map(|(name, motor)| motor_class(delivered, name, motor))
        .collect();
    ClassReport {
        letter: class.map(|(class, _)| class.letter.to_owned()),
        probability: class.map(|(class, total)| {
            total.probability_below(class.upper_ns) - total.probability_below(class.lower_ns)
        }),
        letters: delivered
            .total_ns
            .map(letter::probabilities)
            .unwrap_or_default(),
        per_motor,
        comparison: None,
        recognised: None,
        findings: label::compare(delivered, motors, impulse_tolerance),
        limits: limits::findings(delivered, motors),
    }
}

fn motor_class(delivered: &Delivered<'_>, name: &str, motor: &Motor) -> MotorClass {
    let total = delivered.motor_ns.get(name).and_then(Option::as_ref);
    let class = total.and_then(|total| letter::class_of(total.value));
    let only = delivered.lit.len() == 1 && delivered.lit.iter().any(|lit| lit == name);
    let average = delivered.average_n.filter(|_| only);
    MotorClass {
        motor: name.to_owned(),
        letter: class.map(|class| class.letter.to_owned()),
        letters: total.map(letter::probabilities).unwrap_or_default(),
        designation: motor.certified.as_ref().and_then(|c| c.designation.clone()),
        measured_designation: total
            .zip(average)
            .and_then(|(total, average)| designation::designation(total.value, average.value)),
        percent_of_class: class
            .zip(total)
            .map(|(class, total)| class.percent(total.value)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Unit;
    use approx::assert_relative_eq;

    // Class F: above 40 N s up to 80 N s. At the limit half of a normal distribution lies below.
    #[test]
    fn a_class_comes_with_its_probability_and_an_average_with_one_motor_only() {
        let classified = |total_ns: f64, lit: &[&str]| {
            let total = Measured::normal(total_ns, 0.5, Unit::NewtonSecond);
            let average = Measured::normal(20.3, 0.1, Unit::Newton);
            let delivered = Delivered {
                total_ns: Some(&total),
                motor_ns: ["a", "b"]
                    .map(|name| {
                        (
                            name.to_owned(),
                            Some(Measured::normal(50.0, 0.1, Unit::NewtonSecond)),
                        )
                    })
                    .into(),
                lit: lit.iter().map(|name| (*name).to_owned()).collect(),
                average_n: Some(&average),
                ..Delivered::default()
            };
            let motor = || Motor {
                place: crate::diagnostic::Place::file("firing.toml"),
                certified: None,
                propellant: crate::config::motors::Propellant::default(),
                fire: None,
                igniter: None,
                offset: IndexMap::new(),
            };
            let motors = IndexMap::from(["a", "b"].map(|name| (name.to_owned(), motor())));
            classify(&delivered, &motors, 0.1)
        };
        let found = classified(80.0, &["a", "b"]);
        assert_eq!(found.letter.as_deref(), Some("F"));
        assert_relative_eq!(found.probability.unwrap(), 0.5, max_relative = 1e-6);
        assert!(
            found
                .per_motor
                .iter()
                .all(|one| one.measured_designation.is_none())
        );
        let found = classified(50.0, &["b"]);
        assert_relative_eq!(found.probability.unwrap(), 1.0, max_relative = 1e-6);
        let named: Vec<_> = found
            .per_motor
            .iter()
            .map(|one| one.measured_designation.as_deref())
            .collect();
        assert_eq!(named, [None, Some("F20")]);
        assert_relative_eq!(
            found.per_motor[1].percent_of_class.unwrap(),
            25.0,
            max_relative = 1e-9
        );
    }
}
