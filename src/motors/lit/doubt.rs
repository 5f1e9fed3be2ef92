//! Verdicts that a piece of evidence contradicts.
//!
//! Every piece says how often it misleads, and all are weighed as if they misled one by one. Where one that seldom does
//! still speaks against what all together say, more is wrong than any of them holds: another motor was loaded, lines are
//! mixed up. Then nothing is stated surely. Common practice, no source.

use super::Lit;
use super::course::course_of;
use super::evidence::Course;
use super::hypothesis::{self, Posterior};
use super::input::VerdictInput;
use crate::finding::{COMMON_PRACTICE, Finding, Outcome};

/// A piece contradicts the verdict from this log-likelihood ratio on: one to twenty.
const CONTRADICTS: f64 = 3.0;

/// A spike that may be a motor's burst contradicts that it did not light, unless a piece says so by one to four hundred, as
/// its weighings do.
const SURE: f64 = 6.0;

/// Thrust of this share of the certified impulse in a motor's own cell contradicts that it did not light.
const LOUD: f64 = 0.15;

/// ... and so does a burn of this share that no other cell felt.
const BURNS: f64 = 0.02;

/// The probabilities with the doubted verdicts undecided, and what is said of each.
pub(super) fn weighed(input: &VerdictInput<'_>, count: usize) -> (Posterior, Vec<Finding>) {
    let mut weighed = hypothesis::weigh(count, &input.evidence);
    let mut findings = Vec::new();
    for (at, name) in input.motors.keys().enumerate().take(count) {
        let verdict = Lit::from_probability(weighed.lit(at));
        let Some(against) = contradiction(input, (count, at, name), verdict) else {
            continue;
        };
        weighed = weighed.doubting(at);
        let finding = Finding::plain(
            format!("the evidence on motor {name} is consistent"),
            Outcome::Fails,
            "no piece of evidence speaks against the verdict by twenty to one; of a motor that did not light, no cell shows a \
             burst, and its own not 15 % of its certified impulse",
            COMMON_PRACTICE,
        );
        findings.push(finding.advice(format!(
            "all together it seems {}, but {against} says otherwise: look at the motor, at what was loaded, at the wiring",
            verdict.word()
        )));
    }
    (weighed, findings)
}

/// What contradicts a verdict.
fn contradiction(
    input: &VerdictInput<'_>,
    (count, at, name): (usize, usize, &String),
    verdict: Lit,
) -> Option<String> {
    let sign = match verdict {
        Lit::Lit => 1.0,
        Lit::NotLit => -1.0,
        Lit::Undecided => return None,
    };
    let against = |weight: f64| -sign * weight;
    let pieces = input.evidence.iter();
    let weights = pieces.map(|piece| (against(hypothesis::weight(count, piece, at)), &piece.from));
    let weights: Vec<(f64, &String)> = weights.collect();
    let most = weights.iter().max_by(|a, b| a.0.total_cmp(&b.0));
    let most = most.filter(|most| most.0 >= CONTRADICTS);
    let sure = weights.iter().any(|one| one.0 <= -SURE);
    let burst = || {
        let mut shared = input.shared.iter();
        let spike = shared.any(|cells| cells.spike && cells.motors.contains(&at));
        (verdict == Lit::NotLit && spike && !sure)
            .then(|| "a spike, which a motor that bursts leaves,".to_owned())
    };
    let loud = || {
        let motor = &input.motors[at];
        let certified_ns = motor.certified.as_ref()?.total_impulse_ns()?;
        let own = input.own.get(name)?;
        // A burn that follows no other cell is no cross-talk, however little it gives: a smaller motor may be loaded.
        let burns = || {
            let all = input.thrust?;
            Some(course_of(own, motor, all) == Course::OwnBurn)
        };
        let loud_from = if burns() == Some(true) { BURNS } else { LOUD };
        let is_loud = own.total_ns.value > loud_from * certified_ns;
        (verdict == Lit::NotLit && is_loud).then(|| "its own cell".to_owned())
    };
    most.map(|most| most.1.clone()).or_else(loud).or_else(burst)
}
