//! What can be said of a fit: claims with their rule, and what would help where one fails.

use super::actuator::RAD_PER_DEG;
use super::excitation::{Excitation, NEGLIGIBLE_SHARE};
use super::parameter::{Home, Parameter};
use super::structure::{STRONG_LEAD, StructureChoice};
use super::{Actuator, BenchSweep, DeadBandKind, Estimate};
use crate::finding::{COMMON_PRACTICE, Finding, Outcome};
use crate::quantity::{Measured, Unit};

/// Probability below which residuals are called correlated.
const WHITE_FROM: f64 = 0.05;
/// Probability below which residuals are said to follow the command. Where they do lag and delay are no longer told
/// apart, so chance may do it once in a hundred axes; common practice, no source.
const FREE_FROM: f64 = 0.01;

/// The claim on the dead band.
const DEAD_BAND: &str = "the actuator has a dead band";

/// Whether a dead band can be told from none.
#[must_use]
pub(crate) fn dead_band(
    choice: &StructureChoice,
    width: Option<&Measured>,
    excitation: &Excitation,
) -> Finding {
    let rule = format!(
        "score (Bayesian information criterion, independent readings) leads by {STRONG_LEAD}; or \
         none leads and the width's interval ends below {} % of \
         the command's standard deviation",
        100.0 * NEGLIGIBLE_SHARE
    );
    let source = "Schwarz 1978; Kass & Raftery 1995";
    let outcome = match choice.decided {
        Some(DeadBandKind::None) => Outcome::Fails,
        Some(_) => Outcome::Holds,
        None => Outcome::Undecided,
    };
    let mut finding = Finding::plain(DEAD_BAND, outcome, rule, source);
    finding.measured = width.cloned();
    match choice.decided {
        None => {
            // Where a width and a gain do the same, no width is too large.
            let told = choice.width_limit_deg.filter(|_| !choice.assumes_none());
            let limit = told.map_or(String::new(), |limit| {
                format!("any dead band is below {limit:.3} deg; ")
            });
            finding.advice(limit + &excitation.advice())
        }
        Some(DeadBandKind::None) => {
            let limit = choice.width_limit_deg.unwrap_or(0.0);
            finding.advice(format!("any dead band is below {limit:.3} deg"))
        }
        Some(_) => finding,
    }
}

/// Whether residuals are white.
#[must_use]
pub(crate) fn white(probability: f64) -> Finding {
    let outcome = if probability >= WHITE_FROM {
        Outcome::Holds
    } else {
        Outcome::Fails
    };
    let finding = Finding::plain(
        "the residuals are white: the model leaves nothing out that the record shows",
        outcome,
        format!("Ljung-Box probability {probability:.4} at least {WHITE_FROM}"),
        "Ljung & Box 1978",
    );
    if outcome == Outcome::Holds {
        finding
    } else {
        finding.advice(
            "uncertainties are raised for the correlation found; look at the residuals for what \
             the model lacks",
        )
    }
}

/// Whether residuals are free of the command.
#[must_use]
pub(crate) fn free_of_command(probability: f64) -> Finding {
    let outcome = if probability >= FREE_FROM {
        Outcome::Holds
    } else {
        Outcome::Fails
    };
    let finding = Finding::plain(
        "the residuals do not follow the command: the model's structure is enough",
        outcome,
        format!(
            "covariance with the command's changes of the last 0.15 s, probability \
             {probability:.4} at least {FREE_FROM}"
        ),
        "Ljung, System Identification, 16.6",
    );
    if outcome == Outcome::Holds {
        finding
    } else {
        finding.advice(
            "the actuator does something with its command that two poles, delay, dead band and slew do not \
             say: a gain that changes with size, a loose linkage; lag and delay are stated together, not apart",
        )
    }
}

/// Whether the nozzle stayed off its mechanical limit.
#[must_use]
pub(crate) fn travel(largest_deg: f64, travel_rad: f64) -> Finding {
    let travel = travel_rad / RAD_PER_DEG;
    let outcome = if largest_deg < travel * (1.0 - 1e-9) {
        Outcome::Holds
    } else {
        Outcome::Fails
    };
    Finding::plain(
        "the demanded nozzle angle stays within its travel",
        outcome,
        format!("largest demanded angle {largest_deg:.3} deg below {travel:.3} deg"),
        "firing file, travel",
    )
}

/// Whether a slew limit shows, and is part of the model then.
#[must_use]
pub(crate) fn slew(found: Option<&Measured>) -> Finding {
    let claim = if found.is_some() {
        "the nozzle ran into a slew limit, which is part of the model"
    } else {
        "the nozzle followed without running into a slew limit"
    };
    let mut finding = Finding::plain(
        claim,
        Outcome::Holds,
        "a slew limit is taken into the model when its score leads by 10",
        "Schwarz 1978; Kass & Raftery 1995 (very strong)",
    );
    finding.measured = found.cloned();
    finding
}

/// Of which order the actuator is; what is not decided is part of the intervals of lag and delay.
#[must_use]
pub(crate) fn order(lead: f64, damping_ratio: Option<&Measured>) -> Finding {
    let claim = if lead >= STRONG_LEAD {
        "the actuator is one of second order, which is part of the model"
    } else if lead > -STRONG_LEAD {
        "first or second order: the intervals of lag and delay allow for both"
    } else {
        "the actuator is one of first order"
    };
    let mut finding = Finding::plain(
        claim,
        Outcome::Holds,
        format!(
            "the evidence of one order leads that of the other by {STRONG_LEAD}, or both count"
        ),
        "Kass & Raftery 1995",
    );
    finding.measured = damping_ratio.cloned();
    finding
}

/// A parameter that is not identifiable from the record.
#[must_use]
pub(crate) fn not_identifiable(parameter: Parameter, why: String, advice: String) -> Finding {
    Finding::plain(
        identifiable_claim(parameter),
        Outcome::Undecided,
        why,
        COMMON_PRACTICE,
    )
    .advice(advice)
}

/// The claim that [`not_identifiable`] leaves undecided.
fn identifiable_claim(parameter: Parameter) -> String {
    let block = match parameter.definition().home {
        Home::Actuator(_) => "actuator",
        Home::Rig(_) | Home::Nuisance => "rig",
    };
    let label = parameter.label();
    format!("the {label} of the {block} is identifiable from this record")
}

/// Why a parameter has no value: the finding that says so.
#[must_use]
pub(crate) fn why_unknown(parameter: Parameter, findings: &[Finding]) -> Option<&Finding> {
    let claim = match parameter {
        Parameter::DeadBandWidth => DEAD_BAND.to_owned(),
        _ => identifiable_claim(parameter),
    };
    let about = |finding: &&Finding| finding.outcome != Outcome::Holds && finding.claim == claim;
    findings.iter().find(about)
}

/// How far the gain of the burn may differ from that of the bench, as a share: hot and loaded linkages
/// give that much. Common practice, no source.
const BENCH_GAIN_SHARE: f64 = 0.05;
/// How far the dead band may differ, deg, or as a share of the bench's. Common practice, no source.
const BENCH_WIDTH_DEG: f64 = 0.1;
const BENCH_WIDTH_SHARE: f64 = 0.25;

/// Whether gain and dead band of the burn agree with a sweep of the nozzle on the bench.
#[must_use]
pub(crate) fn bench_sweep(actuator: &Actuator, bench: &BenchSweep) -> Vec<Finding> {
    let compare = |what: &str,
                   found: Option<&Measured>,
                   bench: Estimate,
                   limit: f64,
                   unit: Unit| {
        let claim = format!("the {what} of the burn agrees with the sweep on the bench");
        let bench_value = format!("{:.3} {unit}", bench.value);
        let rule = format!(
            "difference from {} within {limit:.3}",
            bench_value.trim_end()
        );
        match found {
            Some(found) => {
                let u = found.u.hypot(bench.u);
                let difference = Measured::normal(found.value - bench.value, u, unit);
                let limits = [Some(-limit), Some(limit)];
                Finding::within(claim, difference, limits, rule, COMMON_PRACTICE).advice(
                    "a linkage that gives under load, or backlash that a slow sweep does not show, would \
                     make them differ",
                )
            }
            None => Finding::plain(claim, Outcome::Undecided, rule, COMMON_PRACTICE).advice(
                format!("the {what} is not identifiable from the burn; the bench is all there is"),
            ),
        }
    };
    // What a sweep shows as a loop is backlash; a dead zone shows alike both ways.
    let play = actuator.dead_band.kind != Some(DeadBandKind::DeadZone);
    let width = actuator.dead_band.width_deg.as_ref().filter(|_| play);
    let width_limit = BENCH_WIDTH_DEG.max(BENCH_WIDTH_SHARE * bench.width_deg.value);
    vec![
        compare(
            "gain",
            actuator.gain.as_ref(),
            bench.gain,
            BENCH_GAIN_SHARE * bench.gain.value.abs(),
            Unit::One,
        ),
        compare(
            "dead band",
            width,
            bench.width_deg,
            width_limit,
            Unit::Degree,
        ),
    ]
}

/// Whether the effectiveness found agrees with arm over inertia.
#[must_use]
pub(crate) fn geometry(found: &Measured, given: Estimate) -> Finding {
    let difference = Measured::normal(
        found.value - given.value,
        found.u.hypot(given.u),
        found.unit,
    );
    let limit = 0.05 * given.value.abs();
    Finding::within(
        "the effectiveness found agrees with arm over inertia",
        difference,
        [Some(-limit), Some(limit)],
        "difference within 5 % of arm over inertia",
        COMMON_PRACTICE,
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plant::DeadBand;

    fn actuator(gain: f64, width_deg: Option<f64>) -> Actuator {
        Actuator {
            gain: Some(Measured::normal(gain, 0.005, Unit::One)),
            dead_band: DeadBand {
                kind: width_deg.map(|_| DeadBandKind::Play),
                width_deg: width_deg.map(|width| Measured::normal(width, 0.01, Unit::Degree)),
            },
            ..Actuator::default()
        }
    }

    // Bench: gain 0.93, loop 0.35 deg. 0.95 is 0.02 off, within 0.0465; 1.05 is 0.12 off. A width of 0.6
    // is 0.25 off, beyond 0.1; one that is not told leaves the bench alone.
    #[test]
    fn a_sweep_on_the_bench_is_held_against_the_burn() {
        let sure = |value: f64| Estimate { value, u: 0.003 };
        let bench = BenchSweep {
            gain: sure(0.93),
            width_deg: sure(0.35),
        };
        let outcomes = |gain: f64, width: Option<f64>| {
            let found = bench_sweep(&actuator(gain, width), &bench);
            [found[0].outcome, found[1].outcome]
        };
        assert_eq!(outcomes(0.95, Some(0.37)), [Outcome::Holds; 2]);
        assert_eq!(outcomes(1.05, Some(0.6)), [Outcome::Fails; 2]);
        assert_eq!(outcomes(0.93, None), [Outcome::Holds, Outcome::Undecided]);
    }
}
