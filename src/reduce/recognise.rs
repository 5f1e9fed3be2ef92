//! Measured against certified thrust, and which motors explain the record.

use std::collections::BTreeMap;

use super::Burnt;
use crate::config::{Certified, Firing};
use crate::motors::class::ClassReport;
use crate::motors::class::comparison::{self, Sides};
use crate::motors::class::recognise::{self, Design, Sight, Tube};
use crate::motors::lit::Verdict;

/// Adds both to the class. They need a certified curve of every motor that lit.
pub(super) fn add(firing: &Firing, verdict: &Verdict, burnt: &Burnt, class: &mut ClassReport) {
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
    class.comparison = compared(firing, verdict, burnt, &lit);
    class.recognised = recognise::recognise(&Sight {
        thrust: &burnt.trace.thrust,
        window_s: burnt.burn.window_s,
        tubes: tubes(verdict, &lit),
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

fn tubes<'a>(verdict: &Verdict, lit: &[(&'a str, &'a Certified)]) -> Vec<Tube<'a>> {
    let at = |name: &str| Some(verdict.motors.get(name)?.ignition_s.as_ref()?.value);
    let times: BTreeMap<&str, f64> = lit
        .iter()
        .filter_map(|(name, _)| Some((*name, at(name)?)))
        .collect();
    let first = times.values().copied().fold(f64::INFINITY, f64::min);
    let all_known = times.len() == lit.len();
    lit.iter()
        .filter_map(|(motor, certified)| {
            Some(Tube {
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
    burnt: &Burnt,
    lit: &[(&str, &Certified)],
) -> Option<comparison::CurveComparison> {
    let certified: Option<f64> = lit
        .iter()
        .map(|(_, certified)| certified.total_impulse_ns())
        .sum();
    let ignition = burnt.burn.report.ignition_s.as_ref();
    comparison::compare(&Sides {
        measured_n: &burnt.trace.thrust,
        u_n: &burnt.trace.u_n(),
        certified_n: verdict.certified_n.as_ref()?,
        total_ns: burnt.impulse.total_ns.as_ref().zip(certified),
        window_s: burnt.burn.window_s,
        ignition_u_s: ignition.map_or(0.0, |ignition| ignition.u),
        spread: firing.reduce.motor_spread,
    })
}
