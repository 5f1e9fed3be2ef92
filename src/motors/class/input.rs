//! The class of a firing: what each motor delivered against its label, its certified curve and other motors.

use std::collections::BTreeMap;

use super::comparison::{self, Sides};
use super::recognition::{self, Design, MotorPosition, RecognitionInput};
use super::{ClassReport, Delivered, classify};
use crate::burn::Burn;
use crate::config::{Certified, Firing};
use crate::motors::lit::{Lit, Verdict};

/// The class of a firing, once it is known which motors lit.
#[must_use]
pub(crate) fn classify_firing(
    firing: &Firing,
    verdict: &Verdict,
    burn: Option<&Burn>,
) -> ClassReport {
    let delivered = delivered(verdict, burn);
    let tolerance = firing.reduce.impulse_tolerance;
    let mut class = classify(&delivered, &firing.motors, tolerance);
    if let Some(burn) = burn {
        add_curves(firing, verdict, burn, &mut class);
    }
    class
}

fn delivered<'a>(verdict: &'a Verdict, burn: Option<&'a Burn>) -> Delivered<'a> {
    let motor_ns = verdict
        .motors
        .iter()
        .map(|(name, motor)| {
            // The impulse is a motor's own only where it is known to be the one that lit.
            let only =
                verdict.lit.len() == 1 && verdict.lit.contains(name) && motor.lit == Lit::Lit;
            let total = burn
                .and_then(|burn| burn.impulse.total_ns.clone())
                .filter(|_| only);
            (name.clone(), motor.total_ns.clone().or(total))
        })
        .collect();
    Delivered {
        total_ns: burn.and_then(|burn| burn.impulse.total_ns.as_ref()),
        motor_ns,
        lit: verdict.lit.clone(),
        average_n: burn.and_then(|burn| burn.description.thrust.average_n.as_ref()),
        burn_time_s: burn.and_then(|burn| burn.description.report.burn_time_s.as_ref()),
        stagger_s: verdict.ignition.stagger_s.as_ref(),
    }
}

/// Compares with the certified curves, and weighs which motors explain the record. Both need a certified curve
/// of every motor that lit.
fn add_curves(firing: &Firing, verdict: &Verdict, burn: &Burn, class: &mut ClassReport) {
    let lit: Option<Vec<(&str, &Certified)>> = verdict
        .lit
        .iter()
        .map(|name| {
            let certified = firing.motors.get(name)?.certified.as_ref()?;
            certified.thrust_curve.as_ref()?;
            Some((name.as_str(), certified))
        })
        .collect();
    let Some(lit) = lit.filter(|lit| !lit.is_empty()) else {
        return;
    };
    class.comparison = compared(firing, verdict, burn, &lit);
    class.recognised = recognition::recognise(&RecognitionInput {
        thrust: &burn.trace.thrust,
        window_s: burn.window_s(),
        positions: positions(verdict, &lit),
        designs: firing.curves.iter().filter_map(design).collect(),
        spread: firing.reduce.motor_spread,
    });
    if let Some(recognised) = &class.recognised {
        class.findings.insert(0, recognised.finding());
    }
}

fn design(certified: &Certified) -> Option<Design<'_>> {
    Some(Design {
        name: &certified.name,
        curve: certified.thrust_curve.as_ref()?,
    })
}

fn positions<'a>(verdict: &Verdict, lit: &[(&'a str, &'a Certified)]) -> Vec<MotorPosition<'a>> {
    let at = |name: &str| Some(verdict.motors.get(name)?.ignition_s.as_ref()?.value);
    let times: BTreeMap<&str, f64> = lit
        .iter()
        .filter_map(|(name, _)| Some((*name, at(name)?)))
        .collect();
    let first = times.values().copied().fold(f64::INFINITY, f64::min);
    let all_known = times.len() == lit.len();
    lit.iter()
        .filter_map(|(motor, certified)| {
            Some(MotorPosition {
                motor,
                label: design(certified)?,
                later_s: times
                    .get(motor)
                    .filter(|_| all_known)
                    .map_or(0.0, |time| time - first),
            })
        })
        .collect()
}

fn compared(
    firing: &Firing,
    verdict: &Verdict,
    burn: &Burn,
    lit: &[(&str, &Certified)],
) -> Option<comparison::CurveComparison> {
    let certified: Option<f64> = lit
        .iter()
        .map(|(_, certified)| certified.total_impulse_ns())
        .sum();
    let ignition = burn.description.report.ignition_s.as_ref();
    comparison::compare(&Sides {
        measured_n: &burn.trace.thrust,
        u_n: burn.trace.u_n(),
        certified_n: verdict.certified_n.as_ref()?,
        total_ns: burn.impulse.total_ns.as_ref().zip(certified),
        window_s: burn.window_s(),
        ignition_u_s: ignition.map_or(0.0, |ignition| ignition.u),
        spread: firing.reduce.motor_spread,
    })
}
