//! Limits of model rockets and their motors: average thrust, installed impulse, propellant.
//!
//! Average thrust at most 80 N, tested on the unrounded mean (NAR news R38, 1997); installed impulse
//! at most 320 N s (NFPA 1122, 2018, 4.5); propellant at most 125 g in a rocket (NFPA 1122, 4.4.2;
//! 14 CFR 101.22(a)) and 62.5 g in a motor (an older rule, known from hobby and explosives rules).
//! Above them lies high power, which is no fault of a motor: the findings say which side it is on.

use indexmap::IndexMap;

use super::Delivered;
use crate::config::Motor;
use crate::finding::Finding;
use crate::quantity::{Measured, Unit};

/// Highest average thrust of a model rocket motor, N.
const MODEL_AVERAGE_N: f64 = 80.0;
/// Highest installed total impulse of a model rocket, N s.
const MODEL_IMPULSE_NS: f64 = 320.0;
/// Most propellant in a model rocket motor, g.
const MOTOR_PROPELLANT_G: f64 = 62.5;
/// Most propellant in a model rocket, g.
const MODEL_PROPELLANT_G: f64 = 125.0;

/// Which of the limits the firing keeps.
#[must_use]
pub(crate) fn findings(
    delivered: &Delivered<'_>,
    motors: &IndexMap<String, Motor>,
) -> Vec<Finding> {
    let mut out = thrust_limits(delivered);
    out.extend(propellant_limits(motors));
    out
}

fn thrust_limits(delivered: &Delivered<'_>) -> Vec<Finding> {
    let mut out = Vec::new();
    if let (Some(average), 1) = (delivered.average_n, delivered.lit.len()) {
        out.push(Finding::within(
            "average thrust is within the limit of a model rocket motor",
            average.clone(),
            [None, Some(MODEL_AVERAGE_N)],
            "at most 80 N, tested on the unrounded mean",
            "NAR news R38 (1997)",
        ));
    }
    if let Some(total) = delivered.total_ns {
        out.push(Finding::within(
            "installed impulse is within the limit of a model rocket",
            total.clone(),
            [None, Some(MODEL_IMPULSE_NS)],
            "at most 320 N s in all",
            "NFPA 1122 (2018), 4.5",
        ));
    }
    out
}

/// Propellant weighed for a motor, g; `None` where it or its uncertainty was not stated.
pub(super) fn weighed_g(motor: &Motor) -> Option<Measured> {
    let (mass_kg, u_kg) = motor.propellant.burnt_kg()?;
    Some(Measured::normal(1e3 * mass_kg, 1e3 * u_kg?, Unit::Gram))
}

fn propellant_limits(motors: &IndexMap<String, Motor>) -> Vec<Finding> {
    let weighed: Vec<(&String, Option<Measured>)> = motors
        .iter()
        .map(|(name, motor)| (name, weighed_g(motor)))
        .collect();
    let mut out = Vec::new();
    for (name, mass) in &weighed {
        if let Some(mass) = mass {
            out.push(Finding::within(
                format!("propellant of motor {name} is within the limit of a model rocket motor"),
                mass.clone(),
                [None, Some(MOTOR_PROPELLANT_G)],
                "at most 62.5 g in one motor",
                "older hobby rule and explosives rules, secondary sources only",
            ));
        }
    }
    let all: Option<Vec<&Measured>> = weighed.iter().map(|(_, mass)| mass.as_ref()).collect();
    if let Some(all) = all.filter(|all| !all.is_empty()) {
        let value = all.iter().map(|mass| mass.value).sum();
        // One pair of scales weighs them all: their errors add.
        let u = all.iter().map(|mass| mass.u).sum();
        out.push(Finding::within(
            "propellant installed is within the limit of a model rocket",
            Measured::normal(value, u, Unit::Gram),
            [None, Some(MODEL_PROPELLANT_G)],
            "at most 125 g in all",
            "NFPA 1122 (2018), 4.4.2; 14 CFR 101.22(a)",
        ));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::motors::Propellant;
    use crate::finding::Outcome;
    use crate::quantity::given;

    // Four firings at 80.8, 79.5, 81.3 and 79.8 N have a mean of 80.35 N, which rounds to 80 but is
    // over the limit: the rule is tested on the unrounded mean.
    #[test]
    fn the_80_newton_limit_is_not_rounded_away() {
        let average = Measured::normal((80.8 + 79.5 + 81.3 + 79.8) / 4.0, 0.1, Unit::Newton);
        let delivered = Delivered {
            lit: vec!["only".into()],
            average_n: Some(&average),
            ..Delivered::default()
        };
        let found = thrust_limits(&delivered);
        assert_eq!(found[0].outcome, Outcome::Fails);
    }

    fn motor(mass: &str) -> Motor {
        Motor {
            place: crate::diagnostic::Place::file("firing.toml"),
            certified: None,
            propellant: Propellant {
                mass: given::parse(mass).ok(),
                ..Propellant::default()
            },
            fire: None,
            igniter: None,
            offset: IndexMap::new(),
        }
    }

    // 62.5 g and 125 g: the limits as quoted in the file's head.
    #[test]
    fn propellant_is_judged_motor_by_motor_and_in_all() {
        let judged = |masses: &[&str]| -> Vec<Outcome> {
            let motors: IndexMap<String, Motor> = masses
                .iter()
                .enumerate()
                .map(|(nth, mass)| (format!("m{nth}"), motor(mass)))
                .collect();
            propellant_limits(&motors)
                .iter()
                .map(|one| one.outcome)
                .collect()
        };
        use Outcome::{Fails, Holds, Undecided};
        assert_eq!(
            judged(&["60 g ± 0.1 g", "64 g ± 0.1 g"]),
            [Holds, Fails, Holds]
        );
        assert_eq!(judged(&["62.5 g ± 0.1 g"]), [Undecided, Holds]);
        assert_eq!(
            judged(&["62 g ± 0.1 g", "62 g ± 0.1 g", "62 g ± 0.1 g"])[3],
            Fails
        );
        // Nobody said how well it was weighed: nothing is claimed.
        assert_eq!(judged(&["90 g"]), [Holds; 0]);
    }

    // NFPA 1122: 320 N s in all. The limit on average thrust is that of one motor.
    #[test]
    fn a_firing_is_held_against_each_limit_that_it_tells_of() {
        let told = |total_ns, lit: usize| -> Vec<(String, Outcome)> {
            let total = Measured::normal(total_ns, 1.0, Unit::NewtonSecond);
            let average = Measured::normal(70.0, 0.1, Unit::Newton);
            let delivered = Delivered {
                total_ns: Some(&total),
                lit: (0..lit).map(|nth| format!("m{nth}")).collect(),
                average_n: Some(&average),
                ..Delivered::default()
            };
            let motors = IndexMap::from([("m0".to_owned(), motor("60 g ± 0.1 g"))]);
            findings(&delivered, &motors)
                .into_iter()
                .map(|one| (one.claim, one.outcome))
                .collect()
        };
        use Outcome::{Fails, Holds};
        let one = told(310.0, 1);
        let claims: Vec<&str> = one.iter().map(|(claim, _)| claim.as_str()).collect();
        assert!(claims[0].starts_with("average thrust"), "{claims:?}");
        assert!(claims[1].starts_with("installed impulse"), "{claims:?}");
        assert!(
            claims[2].starts_with("propellant of motor m0"),
            "{claims:?}"
        );
        assert!(claims[3].starts_with("propellant installed"), "{claims:?}");
        assert!(one.iter().all(|(_, outcome)| *outcome == Holds));
        let two = told(330.0, 2);
        assert!(two[0].0.starts_with("installed impulse"));
        assert_eq!((two.len(), two[0].1), (3, Fails));
    }
}
