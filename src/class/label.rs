//! Is it the motor on the label? Measured values against certified ones.
//!
//! Each comparison is a finding with its rule and source; the probability that the claim is true
//! comes from the measured uncertainty (JCGM 106:2012).

use indexmap::IndexMap;

use super::Delivered;
use crate::finding::{COMMON_PRACTICE, Finding};
use crate::firing::{Certified, Motor};
use crate::quantity::{Given, Measured};

/// Share of the measured average that a labelled average thrust may be off by.
const LABEL_SHARE: f64 = 0.20;
/// ... or this much, whichever is greater, N.
const LABEL_NEWTONS: f64 = 1.0;
/// Source of the two above.
const LABEL_SOURCE: &str = "NFPA 1125, 8.1.7, as quoted in hobby certification practice";
/// Share by which a burn time may differ from the certified one.
const BURN_TIME_SHARE: f64 = 0.20;
/// A motor in a shared cell is judged alone only when its impulse is known to this share of the
/// tolerance: otherwise every such finding would be undecided by its own making.
const SHARP_SHARE: f64 = 0.25;
/// Highest average thrust of a model rocket motor, N.
const MODEL_AVERAGE_N: f64 = 80.0;
/// Highest installed total impulse of a model rocket, N s.
const MODEL_IMPULSE_NS: f64 = 320.0;

/// Compares a firing with what its motors' certificates say.
#[must_use]
pub fn compare(
    delivered: &Delivered<'_>,
    motors: &IndexMap<String, Motor>,
    impulse_tolerance: f64,
) -> Vec<Finding> {
    let mut out = Vec::new();
    let lit: Vec<&Certified> = delivered
        .lit
        .iter()
        .filter_map(|name| motors.get(name).and_then(|motor| motor.certified.as_ref()))
        .collect();
    let all_certified = !lit.is_empty() && lit.len() == delivered.lit.len();
    if all_certified {
        out.extend(total_impulse(delivered, &lit, impulse_tolerance));
        out.extend(average_thrust(delivered, &lit));
        out.extend(burn_time(delivered, &lit));
    }
    for (name, motor) in motors
        .iter()
        .filter(|(name, _)| delivered.lit.contains(name))
    {
        let measured = delivered.motor_ns.get(name).and_then(Option::as_ref);
        if let (Some(certified), Some(total)) = (&motor.certified, measured)
            && delivered.lit.len() > 1
            && let Some(stated) = certified.total_impulse_ns()
            && total.u < SHARP_SHARE * impulse_tolerance * stated
        {
            let claim = format!("motor {name} delivered the certified {}", ns(stated));
            out.push(tolerance(claim, total.clone(), stated, impulse_tolerance));
        }
    }
    out.extend(model_limits(delivered));
    out
}

fn ns(value: f64) -> String {
    format!("{value:.2} N s")
}

fn tolerance(claim: String, measured: Measured, stated: f64, share: f64) -> Finding {
    let limits = [Some(stated * (1.0 - share)), Some(stated * (1.0 + share))];
    let rule = format!("within {:.0} % of the certified value", 100.0 * share);
    Finding::within(claim, measured, limits, rule, COMMON_PRACTICE)
}

fn total_impulse(delivered: &Delivered<'_>, lit: &[&Certified], share: f64) -> Option<Finding> {
    let stated: Option<f64> = lit
        .iter()
        .map(|certified| certified.total_impulse_ns())
        .sum();
    let (stated, total) = (stated?, delivered.total_ns?);
    let claim = format!("the motors that lit delivered the certified {}", ns(stated));
    Some(tolerance(claim, total.clone(), stated, share))
}

/// Average thrust belongs to one motor: with several, the sum over a common burn is compared only
/// when they lit together.
fn average_thrust(delivered: &Delivered<'_>, lit: &[&Certified]) -> Option<Finding> {
    let stated: Option<f64> = lit
        .iter()
        .map(|certified| certified.average_thrust.as_ref().map(Given::si))
        .sum();
    let (stated, average) = (stated?, delivered.average_n?);
    let margin = (LABEL_SHARE * average.value).max(LABEL_NEWTONS * lit.len() as f64);
    let limits = [Some(stated - margin), Some(stated + margin)];
    let claim = format!("average thrust agrees with the label ({stated:.1} N)");
    let rule = "label within 20 % or 1 N a motor, whichever is greater, of measured average";
    let finding = Finding::within(claim, average.clone(), limits, rule, LABEL_SOURCE);
    Some(match delivered.stagger_s {
        Some(stagger) if lit.len() > 1 => finding.advice(format!(
            "the motors lit {:.0} ms apart, which lengthens the common burn and lowers its average",
            1e3 * stagger.value
        )),
        _ => finding,
    })
}

fn burn_time(delivered: &Delivered<'_>, lit: &[&Certified]) -> Option<Finding> {
    let stated = lit
        .iter()
        .filter_map(|certified| certified.burn_time.as_ref().map(Given::si))
        .fold(f64::NAN, f64::max);
    let measured = delivered.burn_time_s?;
    if stated.is_nan() {
        return None;
    }
    let claim = format!("burn time agrees with the certified {stated:.2} s");
    Some(tolerance(claim, measured.clone(), stated, BURN_TIME_SHARE))
}

fn model_limits(delivered: &Delivered<'_>) -> Vec<Finding> {
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::finding::Outcome;

    // Four firings at 80.8, 79.5, 81.3 and 79.8 N have a mean of 80.35 N, which rounds to 80 but is
    // over the limit: the rule is tested on the unrounded mean.
    #[test]
    fn the_80_newton_limit_is_not_rounded_away() {
        let average = Measured::normal((80.8 + 79.5 + 81.3 + 79.8) / 4.0, 0.1, "N");
        let delivered = Delivered {
            total_ns: None,
            motor_ns: IndexMap::new(),
            lit: vec!["only".into()],
            average_n: Some(&average),
            burn_time_s: None,
            stagger_s: None,
        };
        let found = model_limits(&delivered);
        assert_eq!(found[0].outcome, Outcome::Fails);
    }
}
