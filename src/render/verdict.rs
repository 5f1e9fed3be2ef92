//! The verdict in words, and everything judged in the order a reader needs it.

use indexmap::IndexMap;

use crate::finding::{Finding, Outcome};
use crate::motors::lit::{IgnitionReport, Lit, MotorReport};
use crate::reduce::FiringResult;

use super::number;
use super::words::{listed, shortened};

/// Longest name of a motor or axis inside a sentence, in characters.
pub const NAME_LENGTH: usize = 40;

/// The answer to "did it work?".
#[derive(Debug, Clone, PartialEq)]
pub struct Verdict {
    /// How it went; colour follows from it, the words never depend on colour.
    pub outcome: Outcome,
    /// Which motors lit, as one sentence or two.
    pub lit: String,
    /// What was delivered; `None` for a dry run or when nothing lit.
    pub delivered: Option<String>,
}

impl Verdict {
    /// Both parts as one line.
    #[must_use]
    pub fn line(&self) -> String {
        match &self.delivered {
            Some(delivered) => format!("{} {delivered}", self.lit),
            None => self.lit.clone(),
        }
    }
}

/// The answer to a question that an outcome answers: did every motor light?
#[must_use]
pub const fn yes_or_no(of: Outcome) -> &'static str {
    match of {
        Outcome::Holds => "yes",
        Outcome::Fails => "no",
        Outcome::Undecided => "undecided",
    }
}

/// The verdict of a firing.
#[must_use]
pub fn verdict(result: &FiringResult) -> Verdict {
    let (outcome, lit) = match (&result.ignition, &result.motors) {
        (Some(ignition), Some(motors)) => (ignition.all_lit, ignition_words(ignition, motors)),
        _ if result.burn.is_some() => (
            Outcome::Undecided,
            "It burnt; no motor is described in the firing file.".to_owned(),
        ),
        _ => dry_run(result),
    };
    Verdict {
        outcome,
        lit,
        delivered: delivered(result),
    }
}

fn dry_run(result: &FiringResult) -> (Outcome, String) {
    let names: Vec<String> = result.plant.keys().map(|name| name_of(name)).collect();
    match names.as_slice() {
        [] => (
            Outcome::Fails,
            "Dry run: no thrust, and no steering axis could be fitted.".to_owned(),
        ),
        [one] => (
            Outcome::Holds,
            format!("Dry run: no thrust; the steering of axis {one} was fitted."),
        ),
        more => (
            Outcome::Holds,
            format!(
                "Dry run: no thrust; the steering of axes {} was fitted.",
                listed(more)
            ),
        ),
    }
}

fn ignition_words(ignition: &IgnitionReport, motors: &IndexMap<String, MotorReport>) -> String {
    let count = motors.len();
    let named = |lit: Lit| -> Vec<String> {
        let of = motors.iter().filter(|(_, motor)| motor.lit == lit);
        of.map(|(name, _)| name_of(name)).collect()
    };
    let (dead, open) = (named(Lit::NotLit), named(Lit::Undecided));
    match (ignition.all_lit, ignition.lit_count, count) {
        (Outcome::Holds, _, 1) => "The motor lit.".to_owned(),
        (Outcome::Holds, _, 2) => "Both motors lit.".to_owned(),
        (Outcome::Holds, ..) => format!("All {count} motors lit."),
        (Outcome::Fails, 0, 1) => "The motor did not light.".to_owned(),
        (Outcome::Fails, 0, _) => "No motor lit.".to_owned(),
        (Outcome::Fails, lit, _) if dead.is_empty() => {
            format!("Only {lit} of {count} motors lit; the record cannot tell which.")
        }
        (Outcome::Fails, lit, _) => {
            format!(
                "Only {lit} of {count} motors lit; not lit: {}.",
                listed(&dead)
            )
        }
        (Outcome::Undecided, ..) if open.is_empty() && dead.is_empty() => {
            "It is undecided whether every motor lit.".to_owned()
        }
        (Outcome::Undecided, ..) => {
            let mut out = "It is undecided whether every motor lit".to_owned();
            if !open.is_empty() {
                out += &format!("; undecided: {}", listed(&open));
            }
            if !dead.is_empty() {
                out += &format!("; not lit: {}", listed(&dead));
            }
            out + "."
        }
    }
}

fn delivered(result: &FiringResult) -> Option<String> {
    result.burn.as_ref()?;
    let total = result.impulse.as_ref().and_then(|of| of.total_ns.as_ref());
    let letter = result.class.as_ref().and_then(|of| of.letter.as_ref());
    let class = match letter {
        Some(letter) => format!(", class {}", shortened(letter, NAME_LENGTH)),
        None => String::new(),
    };
    Some(format!("Total impulse {}{class}.", number::quantity(total)))
}

/// A name from the firing file, fit for a sentence.
#[must_use]
pub fn name_of(name: &str) -> String {
    shortened(name.trim(), NAME_LENGTH)
}

/// A finding and what it is about.
#[derive(Debug, Clone)]
pub struct Judged<'a> {
    /// `firing`, `class`, or the name of an axis.
    pub about: String,
    /// Where the page tells more of it.
    pub anchor: String,
    /// The finding.
    pub finding: &'a Finding,
}

/// Every finding of a firing: first what fails, then what is undecided, then what holds.
#[must_use]
pub fn judged<'a>(result: &'a FiringResult) -> Vec<Judged<'a>> {
    let mut out: Vec<Judged<'a>> = Vec::new();
    let mut add = |about: String, anchor: String, findings: &'a [Finding]| {
        out.extend(findings.iter().map(|finding| Judged {
            about: about.clone(),
            anchor: anchor.clone(),
            finding,
        }));
    };
    let text = |text: &str| text.to_owned();
    add(text("firing"), text("#findings"), &result.findings);
    if let Some(class) = &result.class {
        add(text("class"), text("#class"), &class.findings);
    }
    for (nth, (name, axis)) in result.plant.iter().enumerate() {
        let about = format!("axis {}", name_of(name));
        add(about, format!("#plant-{}", nth + 1), &axis.findings);
    }
    out.sort_by_key(|judged| worst_first(judged.finding.outcome));
    out
}

/// Everything judged about axes, worst first; each is told where `#findings-1` and so on lead.
#[must_use]
pub fn judged_axes<'a>(axes: impl Iterator<Item = (&'a String, &'a [Finding])>) -> Vec<Judged<'a>> {
    let mut out: Vec<Judged<'a>> = Vec::new();
    for (nth, (name, findings)) in axes.enumerate() {
        out.extend(findings.iter().map(|finding| Judged {
            about: format!("axis {}", name_of(name)),
            anchor: format!("#findings-{}", nth + 1),
            finding,
        }));
    }
    out.sort_by_key(|judged| worst_first(judged.finding.outcome));
    out
}

/// Findings that are all told at one place, worst first.
#[must_use]
pub fn judged_together<'a>(about: &str, anchor: &str, findings: &'a [Finding]) -> Vec<Judged<'a>> {
    let judged = |finding: &'a Finding| Judged {
        about: about.to_owned(),
        anchor: anchor.to_owned(),
        finding,
    };
    let mut out: Vec<Judged<'a>> = findings.iter().map(judged).collect();
    out.sort_by_key(|judged| worst_first(judged.finding.outcome));
    out
}

/// The worst outcome of some; that of nothing is good.
#[must_use]
pub fn worst_of(judged: &[Judged<'_>]) -> Outcome {
    let outcomes = judged.iter().map(|one| one.finding.outcome);
    outcomes
        .min_by_key(|outcome| worst_first(*outcome))
        .unwrap_or(Outcome::Holds)
}

/// What was done and how it went, as a sentence.
#[must_use]
pub fn how_it_went(done: &str, judged: &[Judged<'_>]) -> String {
    match worst_of(judged) {
        Outcome::Holds => format!("{done}; every finding holds."),
        Outcome::Fails => format!("{done}, and a finding fails."),
        Outcome::Undecided => format!("{done}, and a finding is undecided."),
    }
}

fn worst_first(of: Outcome) -> u8 {
    match of {
        Outcome::Fails => 0,
        Outcome::Undecided => 1,
        Outcome::Holds => 2,
    }
}

/// What a finding measured and allowed, in words: `29.61 N s (29.14 to 30.08), allowed 26.82 to
/// 32.78`; `None` when it rests on no number.
#[must_use]
pub fn numbers_of(finding: &Finding) -> Option<String> {
    let measured = finding.measured.as_ref()?;
    let limit = |value: f64| number::significant(value, 4);
    let allowed = match finding.limits {
        [Some(low), Some(high)] => format!(", allowed {} to {}", limit(low), limit(high)),
        [Some(low), None] => format!(", at least {}", limit(low)),
        [None, Some(high)] => format!(", at most {}", limit(high)),
        [None, None] => String::new(),
    };
    Some(format!("{}{allowed}", number::measured(measured)))
}

/// Why a value is missing: the claim of the first finding that does not hold and speaks of it.
#[must_use]
pub fn why_missing<'a>(findings: &'a [Finding], word: &str) -> Option<&'a Finding> {
    findings.iter().find(|finding| {
        let said = format!("{} {}", finding.claim, finding.rule).to_lowercase();
        finding.outcome != Outcome::Holds && said.contains(word)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::fabricated;

    #[test]
    fn the_verdict_says_who_lit_and_what_was_delivered() {
        let line = |result: &FiringResult| verdict(result).line();
        let mut result = fabricated::full().result;
        assert_eq!(
            line(&result),
            "Both motors lit. Total impulse 59.09 N s (58.65 to 59.53), class F."
        );
        let ignition = result.ignition.as_mut().unwrap();
        (ignition.all_lit, ignition.lit_count) = (Outcome::Fails, 1);
        result.motors.as_mut().unwrap()["right"].lit = Lit::NotLit;
        assert_eq!(
            verdict(&result).lit,
            "Only 1 of 2 motors lit; not lit: right."
        );
        for motor in result.motors.as_mut().unwrap().values_mut() {
            motor.lit = Lit::Undecided;
        }
        assert_eq!(
            verdict(&result).lit,
            "Only 1 of 2 motors lit; the record cannot tell which."
        );
        result.ignition.as_mut().unwrap().all_lit = Outcome::Undecided;
        assert_eq!(
            verdict(&result).lit,
            "It is undecided whether every motor lit; undecided: left and right."
        );
        assert_eq!(line(&fabricated::nothing_lit().result), "No motor lit.");
        assert_eq!(
            line(&fabricated::dry_run().result),
            "Dry run: no thrust; the steering of axis pitch was fitted."
        );
    }

    #[test]
    fn what_fails_comes_first() {
        let result = fabricated::full().result;
        let all = judged(&result);
        let words: Vec<&str> = all.iter().map(|one| one.finding.outcome.word()).collect();
        let mut sorted = words.clone();
        sorted.sort_by_key(|word| {
            ["fails", "undecided", "holds"]
                .iter()
                .position(|w| w == word)
        });
        assert_eq!(words, sorted);
        assert_eq!(all.len(), 8);
    }

    #[test]
    fn a_missing_value_finds_its_reason() {
        let plant = fabricated::full().plant.unwrap();
        let findings = &plant.axes["pitch"].findings;
        let reason = why_missing(findings, "coulomb").unwrap();
        assert!(reason.claim.contains("dry friction"));
        assert!(why_missing(findings, "gain").is_none());
    }
}
