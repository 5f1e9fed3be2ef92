//! From rig to flight: the free rocket's effectiveness.
//!
//! Given by `[vehicle]`, or carried over: the frame's inertia is taken off, the rest is moved from
//! the pivot to the centre of gravity by the parallel-axis theorem, J_cg = J - J_frame - m d^2, and
//! the arm grows by the same distance, L = arm + d (d is positive when the centre of gravity is
//! above the pivot, the swivel point is below). Uncertainties are carried to first order (JCGM
//! 100:2008, 5.1.2), the distance entering both with its common sign. Source: any text on
//! mechanics; the worked case in the test is a slender rod.
//!
//! Pivot friction and the stiffness of gravity on the rig stay behind: the free rocket turns about its
//! centre of gravity and has neither.
//!
//! Values hold at ignition; beside them stands the effectiveness with all propellant burnt. Propellant
//! m at the swivel point, L below the centre of gravity of a rocket of mass M, takes with it
//! m L^2 M/(M - m) of inertia and moves the centre of gravity up by m L/(M - m). The mass of the frame
//! is taken to sit near the pivot, the propellant at the swivel point.

use super::{AxisInput, Estimate, Flight};
use crate::finding::Finding;
use crate::quantity::{Measured, Unit};

/// Ratio of two independent estimates.
fn ratio(arm: Estimate, inertia: Estimate) -> Estimate {
    let value = arm.value / inertia.value;
    let relative = (arm.u / arm.value).hypot(inertia.u / inertia.value);
    Estimate {
        value,
        u: value.abs() * relative,
    }
}

/// Effectiveness that arm and inertia of the rig would give; `None` when either is not given.
#[must_use]
pub(crate) fn rig_geometry(input: &AxisInput) -> Option<Estimate> {
    let (arm, inertia) = input.arm_m.zip(input.inertia_kg_m2)?;
    (inertia.value > 0.0).then(|| ratio(arm, inertia))
}

/// Inertia, arm and effectiveness carried over from the rig.
fn carried_over(input: &AxisInput) -> Option<[Estimate; 3]> {
    let (arm, inertia) = input.arm_m.zip(input.inertia_kg_m2)?;
    let frame = input.frame_inertia_kg_m2?;
    let (distance, mass) = input.pivot_to_cg_m.zip(input.swinging_mass_kg)?;
    let d = distance.value;
    let about_cg = inertia.value - frame.value - mass.value * d * d;
    let length = arm.value + d;
    if about_cg <= 0.0 || length <= 0.0 {
        return None;
    }
    let by_distance = -2.0 * mass.value * d * distance.u;
    let others = inertia.u.hypot(frame.u).hypot(d * d * mass.u);
    let effectiveness = length / about_cg;
    let relative_by_distance = distance.u / length - by_distance / about_cg;
    let relative = (arm.u / length)
        .hypot(others / about_cg)
        .hypot(relative_by_distance);
    Some([
        Estimate {
            value: about_cg,
            u: others.hypot(by_distance),
        },
        Estimate {
            value: length,
            u: arm.u.hypot(distance.u),
        },
        Estimate {
            value: effectiveness,
            u: effectiveness * relative,
        },
    ])
}

/// A function of independent estimates with its standard uncertainty: the effect of each, by half the
/// difference over plus and minus one standard uncertainty (JCGM 100:2008, 5.1.3 note 2).
fn propagate(inputs: &[Estimate], of: impl Fn(&[f64]) -> f64) -> Estimate {
    let centre: Vec<f64> = inputs.iter().map(|one| one.value).collect();
    let effect = |at: usize| {
        let moved = |sign: f64| {
            let mut x = centre.clone();
            x[at] += sign * inputs[at].u;
            of(&x)
        };
        0.5 * (moved(1.0) - moved(-1.0))
    };
    let square: f64 = (0..inputs.len()).map(|at| effect(at).powi(2)).sum();
    Estimate {
        value: of(&centre),
        u: square.sqrt(),
    }
}

/// Arm over inertia once propellant at the swivel point is gone; `None` unless mass is left.
fn spent(
    arm: Estimate,
    inertia: Estimate,
    mass: Estimate,
    propellant: Estimate,
) -> Option<Estimate> {
    let lighter = |x: &[f64]| {
        let [arm, inertia, mass, propellant] = [x[0], x[1], x[2], x[3]];
        let grown = mass / (mass - propellant);
        arm * grown / (inertia - propellant * arm * arm * grown)
    };
    let found = propagate(&[arm, inertia, mass, propellant], lighter);
    let sane = mass.value > propellant.value && found.value > 0.0 && found.u.is_finite();
    sane.then_some(found)
}

fn measured(estimate: Estimate, unit: Unit) -> Measured {
    Measured::normal(estimate.value, estimate.u, unit)
}

fn assemble([inertia, arm, effectiveness]: [Estimate; 3], spent: Option<Estimate>) -> Flight {
    Flight {
        effectiveness_spent_per_kg_m: spent.map(|spent| measured(spent, Unit::PerKilogramMetre)),
        effectiveness_per_kg_m: Some(measured(effectiveness, Unit::PerKilogramMetre)),
        inertia_kg_m2: Some(measured(inertia, Unit::KilogramSquareMetre)),
        arm_m: Some(measured(arm, Unit::Metre)),
    }
}

/// The free rocket, and what can be said of it.
#[must_use]
pub(crate) fn flight(input: &AxisInput) -> (Option<Flight>, Vec<Finding>) {
    let carried = carried_over(input);
    let Some(vehicle) = input
        .vehicle
        .filter(|vehicle| vehicle.inertia_kg_m2.value > 0.0)
    else {
        return match carried {
            Some(all) => {
                let [inertia, arm, _] = all;
                let both = input.swinging_mass_kg.zip(input.propellant_kg);
                let spent =
                    both.and_then(|(mass, propellant)| spent(arm, inertia, mass, propellant));
                (Some(assemble(all, spent)), vec![])
            }
            None => (None, vec![unknown()]),
        };
    };
    let effectiveness = ratio(vehicle.arm_m, vehicle.inertia_kg_m2);
    let both = vehicle.mass_kg.zip(input.propellant_kg);
    let spent = both.and_then(|(mass, propellant)| {
        spent(vehicle.arm_m, vehicle.inertia_kg_m2, mass, propellant)
    });
    let given = assemble([vehicle.inertia_kg_m2, vehicle.arm_m, effectiveness], spent);
    let findings = carried.map(|[.., from_rig]| compare(from_rig, effectiveness));
    (Some(given), findings.into_iter().collect())
}

fn unknown() -> Finding {
    Finding::plain(
        "the plant can be carried over to the free rocket",
        crate::finding::Outcome::Undecided,
        "needs [vehicle], or arm, inertia, frame_inertia, pivot_to_cg and swinging_mass of the axis",
        "parallel-axis theorem",
    )
    .advice("weigh and balance the rocket, time its swing (bifilar pendulum), and give [vehicle]")
}

/// Largest difference between vehicle and rig that is not worth a word, share of the vehicle's.
const AGREEMENT: f64 = 0.1;

fn compare(rig: Estimate, vehicle: Estimate) -> Finding {
    let difference = Estimate {
        value: rig.value - vehicle.value,
        u: rig.u.hypot(vehicle.u),
    };
    let limit = AGREEMENT * vehicle.value;
    Finding::within(
        "the vehicle's arm over inertia agrees with the rig's carried over to flight",
        measured(difference, Unit::PerKilogramMetre),
        [Some(-limit), Some(limit)],
        "difference within 10 % of the vehicle's",
        "parallel-axis theorem; the 10 % is common practice, no source",
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn sure(value: f64) -> Option<Estimate> {
        Some(Estimate { value, u: 0.0 })
    }

    // Slender rod, 1.2 kg, 0.6 m: m l^2/12 = 0.036 about its middle; hung 0.1 m below its middle
    // it has 0.036 + 1.2 * 0.01 = 0.048 about the pivot, and 0.005 of frame come on top.
    #[test]
    fn a_rod_gets_its_own_inertia_back() {
        let input = AxisInput {
            arm_m: sure(0.2),
            inertia_kg_m2: sure(0.053),
            frame_inertia_kg_m2: sure(0.005),
            pivot_to_cg_m: sure(0.1),
            swinging_mass_kg: sure(1.2),
            ..AxisInput::default()
        };
        let flight = flight(&input).0.unwrap();
        assert_relative_eq!(
            flight.inertia_kg_m2.unwrap().value,
            0.036,
            max_relative = 1e-12
        );
        assert_relative_eq!(flight.arm_m.unwrap().value, 0.3, max_relative = 1e-12);
        let effectiveness = flight.effectiveness_per_kg_m.unwrap();
        assert_relative_eq!(effectiveness.value, 0.3 / 0.036, max_relative = 1e-12);
    }

    // Moving d by its u (1 mm) moves L/J from 0.3/0.036 to 0.301/(0.048 - 1.2 * 0.101^2): the
    // first-order term must agree with that difference to a few per cent.
    #[test]
    fn an_unsure_distance_moves_arm_and_inertia_together() {
        let input = AxisInput {
            arm_m: sure(0.2),
            inertia_kg_m2: sure(0.048),
            frame_inertia_kg_m2: sure(0.0),
            pivot_to_cg_m: Some(Estimate {
                value: 0.1,
                u: 0.001,
            }),
            swinging_mass_kg: sure(1.2),
            ..AxisInput::default()
        };
        let found = flight(&input).0.unwrap().effectiveness_per_kg_m.unwrap();
        let moved = 0.301 / (0.048 - 1.2 * 0.101_f64.powi(2));
        assert_relative_eq!(found.u, moved - 0.3 / 0.036, max_relative = 0.03);
    }

    // Two point masses of 1 kg, 0.6 m apart: J = 2 * 0.09 = 0.18, arm 0.3 to the lower. Half of the lower
    // burns: 1 kg and 0.5 kg 0.6 m apart have J = (1 * 0.5/1.5) 0.36 = 0.12, the centre of gravity
    // 0.6 * 1/1.5 = 0.4 above the lower. Effectiveness from 1.6667 to 3.3333.
    #[test]
    fn burnt_propellant_lightens_the_rocket_and_lengthens_its_arm() {
        let one = |value: f64| Estimate { value, u: 0.0 };
        let found = spent(one(0.3), one(0.18), one(2.0), one(0.5)).unwrap();
        assert_relative_eq!(found.value, 0.4 / 0.12, max_relative = 1e-12);
        assert!(spent(one(0.3), one(0.18), one(0.5), one(0.5)).is_none());
    }

    #[test]
    fn without_geometry_flight_is_unknown_and_says_what_would_help() {
        let (flight, findings) = flight(&AxisInput::default());
        assert!(flight.is_none() && findings[0].advice.is_some());
    }
}
