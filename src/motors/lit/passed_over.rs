//! A motor that burns before the burn is said to begin.

use super::timing::IGNITION_FRACTION;
use super::verdict::Verdict;
use crate::finding::{COMMON_PRACTICE, Finding, Outcome};
use crate::quantity::Measured;
use crate::series::Series;

/// A motor that burns so long before all of them begin, s, at so many times the level where they do, was passed over.
const EARLY_S: f64 = 0.1;
const PASSED_OVER: f64 = 2.0;

/// Where the sum of all cells is noisy, the burn may be taken to begin with a larger motor: then its times, and the impulse
/// above a zero that the first motor lifted, are wrong. `None` where no motor burns before.
#[must_use]
pub(crate) fn burns_before(verdict: &Verdict, began: &Measured, peak_n: f64) -> Option<Finding> {
    let level_n = IGNITION_FRACTION * peak_n;
    let until_s = began.value - EARLY_S;
    let early = |(name, thrust): &(&String, &Series)| {
        let motor = verdict.motors.get(*name)?;
        let lit_s = motor.relight_s.as_ref().or(motor.ignition_s.as_ref())?;
        let before = thrust.between(lit_s.value, until_s);
        let mean_n = before.value().iter().sum::<f64>() / before.len().max(1) as f64;
        (before.len() > 1 && mean_n > PASSED_OVER * level_n).then_some(())
    };
    let mut each = verdict.motor_thrust_n.iter();
    let (name, _) = each.find(|one| early(one).is_some())?;
    let finding = Finding::plain(
        "the burn begins with the first motor",
        Outcome::Fails,
        "no motor gives twice the least thrust of the burn more than 0.1 s before it begins",
        COMMON_PRACTICE,
    );
    Some(finding.advice(format!(
        "{name} burns before: times and impulse of all motors together are not to be trusted, those of each stand"
    )))
}

#[cfg(test)]
mod tests {
    use super::super::MotorReport;
    use super::*;
    use crate::quantity::Unit;

    // 10 N from 1 s on, a burn of at least 3 N said to begin at 1.7 s: passed over. At 1.05 s, or of 2 N: not.
    #[test]
    fn a_motor_that_burns_well_before_the_burn_was_passed_over() {
        let time: Vec<f64> = (0..3000).map(|at| f64::from(at) * 1e-3).collect();
        let of = |thrust_n: f64, began_s: f64| {
            let value: Vec<f64> = time
                .iter()
                .map(|time| if *time >= 1.0 { thrust_n } else { 0.0 })
                .collect();
            let small = MotorReport {
                ignition_s: Some(Measured::normal(1.0, 1e-3, Unit::Second)),
                ..MotorReport::default()
            };
            let mut verdict = Verdict::default();
            verdict.motors.insert("small".to_owned(), small);
            let thrust = Series::new(&time, &value);
            verdict.motor_thrust_n.insert("small".to_owned(), thrust);
            let began = Measured::normal(began_s, 1e-3, Unit::Second);
            burns_before(&verdict, &began, 60.0).is_some()
        };
        assert!(of(10.0, 1.7) && !of(10.0, 1.05) && !of(2.0, 1.7));
    }
}
