//! What is judged about a calibration.
//!
//! Rules that ASTM E74 has for standards of force are named, marked "from memory" where they were not
//! read; for a rocket's cell common practice decides and says so.

use super::degree::SIGNIFICANCE;
use super::points::LoadKind;
use super::report::Judgement;
use super::reversibility::Hysteresis;
use super::sweep::Sweep;
use crate::finding::{COMMON_PRACTICE, Finding, Outcome};
use crate::log::words;
use crate::quantity::Unit;

/// Levels that common practice asks for.
const FEWEST_LEVELS: usize = 5;
/// Applications of force, and levels, that ASTM E74 asks for (from memory).
const E74_APPLICATIONS: usize = 30;
const E74_LEVELS: usize = 10;
/// A probability of chance from this on leaves no doubt in the curve; between the two it is open.
const NO_DOUBT: f64 = 0.05;
/// Standard deviations that hysteresis may amount to: the factor of ASTM E74's lower limit.
const HYSTERESIS_SDS: f64 = 2.4;
/// The interval of a loop width may reach this share of the width either side,
const WIDTH_SHARE: f64 = 0.2;
/// or this share of the travel, whichever is more.
const TRAVEL_SHARE: f64 = 0.002;

/// Source of the rules about fits.
const HANDBOOK: &str = "NIST/SEMATECH e-Handbook of Statistical Methods, 4.6.1";

/// Every finding of a calibration.
pub(super) fn judge(judgement: &Judgement) -> Vec<Finding> {
    let mut out = vec![
        enough(judgement),
        zero_included(judgement),
        fits(judgement),
        straight_or_bent(judgement),
        not_saturated(judgement),
    ];
    out.extend(match judgement.quantity {
        LoadKind::Force | LoadKind::Pressure => judgement
            .hysteresis
            .as_ref()
            .map(|found| small_hysteresis(found, judgement.unit)),
        LoadKind::Angle => judgement
            .sweep
            .as_ref()
            .map(|sweep| loop_known(judgement, sweep)),
    });
    out
}

fn when(holds: bool) -> Outcome {
    if holds {
        Outcome::Holds
    } else {
        Outcome::Fails
    }
}

fn enough(judgement: &Judgement) -> Finding {
    let (points, levels) = (judgement.points, judgement.levels);
    let (rule, source) = match judgement.quantity {
        LoadKind::Force => (
            format!(
                "at least {FEWEST_LEVELS} levels; here {points} points at {levels} (a standard of force \
                 needs {E74_APPLICATIONS} at {E74_LEVELS})"
            ),
            "common practice, no source; for standards of force ASTM E74, from memory",
        ),
        LoadKind::Angle | LoadKind::Pressure => (
            format!("at least {FEWEST_LEVELS} levels; here {points} points at {levels}"),
            COMMON_PRACTICE,
        ),
    };
    Finding::plain(
        "There are enough points and levels",
        when(levels >= FEWEST_LEVELS),
        rule,
        source,
    )
    .advice("five loads from none to the largest, up and down, twice, make a good curve")
}

fn zero_included(judgement: &Judgement) -> Finding {
    let [low, high] = judgement.range;
    let (claim, holds, rule) = match judgement.quantity {
        LoadKind::Force | LoadKind::Pressure => (
            "Zero load is among the loads",
            judgement.residuals.iter().any(|point| point.load == 0.0),
            "at least one reading without load",
        ),
        LoadKind::Angle => (
            "Zero lies within the angles",
            low <= 0.0 && 0.0 <= high,
            "angles on both sides of zero, or zero itself",
        ),
    };
    Finding::plain(claim, when(holds), rule, COMMON_PRACTICE)
        .advice("without it zero is extrapolated, and every reading of the firing rests on it")
}

fn fits(judgement: &Judgement) -> Finding {
    let chosen = judgement.degrees.get(judgement.degree - 1);
    let (outcome, rule) = match chosen.and_then(|chosen| chosen.lack_of_fit) {
        None => (Outcome::Undecided, untested(judgement).to_owned()),
        Some(test) => {
            let outcome = by_p_value(test.probability);
            let rule = format!(
                "lack-of-fit test: F = {}, p-value {}; fails below {SIGNIFICANCE}, undecided below {NO_DOUBT}",
                words::short(test.ratio),
                p_value(test.probability)
            );
            (outcome, rule)
        }
    };
    let advice = match (judgement.quantity, outcome) {
        (_, Outcome::Undecided) if judgement.levels <= judgement.degree + 1 => {
            "add a load between: two of them lie on a line whatever the cell does"
        }
        (_, Outcome::Undecided) => "load every weight at least twice",
        (LoadKind::Force | LoadKind::Pressure, _) => {
            "look at the residuals for a wrong weight, creep, friction or a saturated reading"
        }
        (LoadKind::Angle, _) => {
            "where up and down form a loop no one curve serves both: state the loop's width as the \
             dead band; else look at the residuals for an angle read wrong"
        }
    };
    Finding::plain(
        "The curve fits its points as well as repeats agree",
        outcome,
        rule,
        HANDBOOK,
    )
    .advice(advice)
}

/// Why a curve could not be held against repeated loads.
fn untested(judgement: &Judgement) -> &'static str {
    if judgement.points == judgement.levels {
        "no load was repeated, so there is no scatter to hold the misses against"
    } else if judgement.levels <= judgement.degree + 1 {
        "as many loads as the curve has coefficients: it runs through their means, whatever they are"
    } else {
        "repeated loads read alike to the last digit, so there is no scatter to hold the misses against"
    }
}

fn p_value(probability: f64) -> String {
    if probability < SIGNIFICANCE {
        format!("{probability:.1e}")
    } else {
        format!("{probability:.2}")
    }
}

fn by_p_value(probability: f64) -> Outcome {
    if probability >= NO_DOUBT {
        Outcome::Holds
    } else if probability < SIGNIFICANCE {
        Outcome::Fails
    } else {
        Outcome::Undecided
    }
}

fn straight_or_bent(judgement: &Judgement) -> Finding {
    let next = judgement
        .degrees
        .iter()
        .find(|tried| tried.degree == judgement.degree + 1);
    let test = if judgement.degree > 1 {
        judgement
            .degrees
            .iter()
            .find(|tried| tried.degree == judgement.degree)
            .and_then(|tried| tried.power)
    } else {
        next.and_then(|tried| tried.power)
    };
    let (outcome, rule) = match test {
        None => (
            Outcome::Undecided,
            "too few levels to try a bend: at least four are needed".to_owned(),
        ),
        Some(test) if judgement.degree > 1 => (
            when(test.probability < SIGNIFICANCE),
            format!(
                "bent: its highest power has F = {}, p-value {}",
                words::short(test.ratio),
                p_value(test.probability)
            ),
        ),
        Some(test) => (
            // Not certainly bent, yet not clear of it: the straight line was chosen for want of proof.
            if test.probability >= NO_DOUBT {
                Outcome::Holds
            } else {
                Outcome::Undecided
            },
            format!(
                "straight: a bend has F = {}, p-value {}",
                words::short(test.ratio),
                p_value(test.probability)
            ),
        ),
    };
    Finding::plain(
        "A straight line can be told from a bend",
        outcome,
        rule,
        "extra sum of squares: Draper & Smith, Applied Regression Analysis, 6.1",
    )
    .advice("more loads, and each more often, tell a small bend")
}

fn not_saturated(judgement: &Judgement) -> Finding {
    Finding::plain(
        "No reading is saturated at full scale of the converter",
        when(judgement.saturated.is_empty()),
        "the largest and the smallest reading did not come at loads 5 % of the range apart",
        COMMON_PRACTICE,
    )
    .advice("take those points out, or set a lower gain: beyond that load the cell says nothing")
}

/// Hysteresis against the scatter that remains when hysteresis is left out: against the whole scatter
/// it would always look small, for it is part of it.
fn small_hysteresis(found: &Hysteresis, unit: Unit) -> Finding {
    let claim = "Hysteresis is small against the uncertainty of the curve";
    let rule = "mean of coming down less going up within 2.4 standard deviations of the scatter \
                without it";
    let (Some(mean), Some(scatter)) = (found.measured_mean(unit), found.scatter_without) else {
        return Finding::plain(claim, Outcome::Undecided, rule, COMMON_PRACTICE)
            .advice("too few loads were read both ways; load every weight up and down");
    };
    let limit = HYSTERESIS_SDS * scatter;
    Finding::within(
        claim,
        mean,
        [Some(-limit), Some(limit)],
        rule,
        COMMON_PRACTICE,
    )
    .advice("load to the top and back without stopping between, and look for friction in the rig")
}

fn loop_known(judgement: &Judgement, sweep: &Sweep) -> Finding {
    let width = &sweep.loop_width;
    let travel = judgement.range[1] - judgement.range[0];
    let reach = 0.5 * (width.high - width.low);
    let allowed = (WIDTH_SHARE * width.value.abs()).max(TRAVEL_SHARE * travel);
    Finding::plain(
        "The width of the loop between both ways is known",
        when(reach <= allowed),
        "its 95 % interval reaches at most 20 % of the width, or 0.2 % of the travel, either side",
        COMMON_PRACTICE,
    )
    .advice("sweep in smaller steps, and twice up and down")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn p_values_are_told_apart_at_one_and_five_in_a_hundred() {
        let outcomes = [0.009, 0.02, 0.06].map(by_p_value);
        use Outcome::{Fails, Holds, Undecided};
        assert_eq!(outcomes, [Fails, Undecided, Holds]);
        assert_eq!([0.0042, 0.02, 0.5].map(p_value), ["4.2e-3", "0.02", "0.50"]);
    }
}
