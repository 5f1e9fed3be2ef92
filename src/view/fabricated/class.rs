//! A made-up class, every part of it there.

use super::{MOTORS, q};
use crate::finding::{COMMON_PRACTICE, Finding};
use crate::motors::class::comparison::CurveComparison;
use crate::motors::class::letter::LetterProbability;
use crate::motors::class::recognition::{Explanation, Recognition};
use crate::motors::class::{ClassReport, MotorClass};
use crate::quantity::{Measured, Unit};

fn letters(of: &[(&str, f64)]) -> Vec<LetterProbability> {
    of.iter()
        .map(|(letter, probability)| LetterProbability {
            letter: (*letter).to_owned(),
            probability: *probability,
        })
        .collect()
}

fn comparison() -> CurveComparison {
    CurveComparison {
        parts_s: Some(1.417),
        largest_n: -7.31,
        largest_at_s: 1.683,
        band_n: 2.94,
        largest_percent_of_certified_peak: -14.6,
        beyond_percent_of_burn: 23.0,
        impulse_ns: q(-3.27, 0.41, Unit::NewtonSecond),
        impulse_percent_of_certified: Some(-5.49),
        pieces: Vec::new(),
    }
}

fn recognised() -> Recognition {
    let explained = |design: Option<&str>, probability, log10_odds| Explanation {
        design: design.map(str::to_owned),
        in_place_of: MOTORS.map(str::to_owned).to_vec(),
        every_one: false,
        probability,
        log10_odds,
    };
    let mut labels = explained(Some("Finch 24"), 0.0413, 0.0);
    labels.in_place_of.clear();
    Recognition {
        designs: vec!["Finch 24".to_owned(), "Siskin 24".to_owned()],
        as_labelled: 0.0413,
        explanations: vec![
            explained(Some("Siskin 24"), 0.9411, 1.357),
            labels,
            explained(None, 0.0176, -0.371),
        ],
    }
}

/// A class with a stranger in one tube.
pub(super) fn class() -> ClassReport {
    let per_motor = |nth: usize| MotorClass {
        motor: MOTORS[nth].to_owned(),
        letter: Some("E".to_owned()),
        letters: letters(&[("E", 0.9993)]),
        designation: Some("E14-4".to_owned()),
        measured_designation: Some("E14".to_owned()),
        percent_of_class: Some([48.1, 47.4][nth]),
        ..MotorClass::default()
    };
    ClassReport {
        letter: Some("F".to_owned()),
        probability: Some(0.9999),
        letters: letters(&[("F", 0.9712), ("E", 0.0288)]),
        per_motor: vec![per_motor(0), per_motor(1)],
        comparison: Some(comparison()),
        recognised: Some(recognised()),
        findings: vec![
            Finding::within(
                "Motor left delivers the impulse on its certificate",
                Measured::normal(29.61, 0.24, Unit::NewtonSecond),
                [Some(26.82), Some(32.78)],
                "within 10 % of the certified 29.8 N s",
                COMMON_PRACTICE,
            ),
            Finding::within(
                "Peak thrust agrees with the certified curve",
                Measured::normal(51.2, 0.3, Unit::Newton),
                [Some(46.8), Some(51.5)],
                "certified peak of the motors that lit, with 10 % either side",
                COMMON_PRACTICE,
            )
            .advice("compare the sample rate with the one of the certifying stand"),
        ],
        ..ClassReport::default()
    }
}
