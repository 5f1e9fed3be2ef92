//! Findings and warnings as they are told: claim, numbers, rule, source, and what to do.

use super::at::{At, at};
use super::text::{Part, Text, text};
use crate::diagnostic::Warning;
use crate::finding::{Finding, Outcome};
use crate::quantity::Unit;

/// Digits of a limit.
const LIMIT_DIGITS: usize = 4;

/// A finding and what it is about.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Judged {
    /// `firing`, `class`, or an axis; empty when there is only one thing.
    pub about: Text,
    /// The outcome.
    pub outcome: Outcome,
    /// What is claimed.
    pub claim: Text,
    /// The probability that it is true, when the rule gives one.
    pub probability: Option<Text>,
    /// What was measured and what is allowed, when it rests on a number.
    pub numbers: Option<Text>,
    /// The rule.
    pub rule: Text,
    /// Where the rule comes from.
    pub source: Text,
    /// What to know or do.
    pub advice: Option<Text>,
}

/// A warning with its place.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Noticed {
    /// File and line, when it has a place.
    pub place: Option<Text>,
    /// What was noticed.
    pub says: Text,
    /// What to do.
    pub hint: Option<Text>,
}

/// The order of a list that begins with what is wrong.
#[must_use]
pub(crate) const fn worst_first(of: Outcome) -> u8 {
    match of {
        Outcome::Fails => 0,
        Outcome::Undecided => 1,
        Outcome::Holds => 2,
    }
}

/// The worst outcome of some; that of nothing is good.
pub(crate) fn worst_of(outcomes: impl IntoIterator<Item = Outcome>) -> Outcome {
    let worst = outcomes.into_iter().min_by_key(|one| worst_first(*one));
    worst.unwrap_or(Outcome::Holds)
}

/// The same of findings.
pub(crate) fn worst<'a>(findings: impl IntoIterator<Item = &'a Finding>) -> Outcome {
    worst_of(findings.into_iter().map(|one| one.outcome))
}

/// All findings at one place.
pub(crate) fn judged(about: impl Into<Text>, all: &At<'_, Vec<Finding>>) -> Vec<Judged> {
    let about = about.into();
    all.each()
        .map(|one| judged_one(about.clone(), &one))
        .collect()
}

fn judged_one(about: Text, one: &At<'_, Finding>) -> Judged {
    let finding = one.of;
    Judged {
        about,
        outcome: finding.outcome,
        claim: at!(one.claim).quote(),
        probability: at!(one.probability).some().map(|p| p.probability()),
        numbers: numbers(one),
        rule: at!(one.rule).quote(),
        source: at!(one.source).quote(),
        advice: at!(one.advice).some().map(|advice| advice.quote()),
    }
}

/// `29.61 N s (29.14 to 30.08), allowed 26.82 to 32.78`.
fn numbers(one: &At<'_, Finding>) -> Option<Text> {
    let found = at!(one.measured).some()?;
    let measured = found.measured();
    let limits = at!(one.limits);
    let limit = |nth: usize, unit: Unit| {
        let limit: At<'_, Option<f64>> = limits.nth(nth);
        limit.some().map(|limit| limit.number(LIMIT_DIGITS, unit))
    };
    let unit = found.of.unit;
    // Of two limits the first may be in ms and the second in s.
    let first = if unit == Unit::Second {
        unit
    } else {
        Unit::One
    };
    Some(match (limit(0, unit), limit(1, unit)) {
        (Some(_), Some(high)) => text![measured, ", allowed ", limit(0, first), " to ", high],
        (Some(low), None) => text![measured, ", at least ", low],
        (None, Some(high)) => text![measured, ", at most ", high],
        (None, None) => measured,
    })
}

/// What does not hold, the worst first.
pub(crate) fn open(judged: &[Judged]) -> Vec<&Judged> {
    let open = judged.iter().filter(|one| one.outcome != Outcome::Holds);
    let mut open: Vec<&Judged> = open.collect();
    open.sort_by_key(|one| worst_first(one.outcome));
    open
}

/// How it went: what was done, and what the worst of what does not hold means.
pub(crate) fn what_it_means(done: &'static str, judged: &[Judged]) -> Text {
    let open = open(judged);
    let meaning = open.first().and_then(|first| first.advice.clone());
    let (Some(first), Some(meaning)) = (open.first(), meaning) else {
        return how_it_went(done, judged);
    };
    text![done, ". On ", first.about.clone(), ", ", meaning, "."]
}

/// How it went: what was done, and by name what does not hold.
pub(crate) fn how_it_went(done: impl Into<Text>, judged: &[Judged]) -> Text {
    let open = open(judged);
    let done = done.into();
    let Some(first) = open.first() else {
        return text![done, "; every finding holds."];
    };
    let word = match first.outcome {
        Outcome::Fails => ". Not met: ",
        _ => ". Undecided: ",
    };
    let about = if first.about.is_empty() {
        Text::default()
    } else {
        text![" (", first.about.clone(), ")"]
    };
    let more = if open.len() > 1 {
        ", and more below."
    } else {
        "."
    };
    text![done, word, first.claim.clone(), about, more]
}

/// All warnings at one place.
pub(crate) fn noticed(all: &At<'_, Vec<Warning>>) -> Vec<Noticed> {
    all.each().map(|one| noticed_one(&one)).collect()
}

fn noticed_one(one: &At<'_, Warning>) -> Noticed {
    let place = at!(one.file).some().map(|file| {
        let line = at!(one.line).some();
        let line = line.map(|line| text![", line ", line.count()]);
        text![file.quote(), line]
    });
    Noticed {
        place,
        says: at!(one.text).quote(),
        hint: at!(one.hint).some().map(|hint| hint.quote()),
    }
}

/// An outcome in its own word and colour.
pub(crate) fn word(of: Outcome) -> Text {
    Part::Judged(of, of.word()).into()
}

/// The answer to a question that an outcome answers: did every motor light?
pub(crate) fn yes_or_no(of: Outcome) -> Text {
    let word = match of {
        Outcome::Holds => "yes",
        Outcome::Fails => "no",
        Outcome::Undecided => "undecided",
    };
    Part::Judged(of, word).into()
}
