//! What is told the moment a firing is over: the verdict, and what could hurt somebody.

use std::sync::Arc;

use serde::Serialize;

use crate::config::logs::Held;
use crate::config::{Firing, Signal};
use crate::diagnostic::Error;
use crate::finding::Outcome;
use crate::reduce::{FiringResult, Reduction, reduce};
use crate::render::words::plain;
use crate::view;

/// The verdict in words, and the danger.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct Told {
    /// Whether every motor lit.
    pub outcome: Outcome,
    /// How it went, in a sentence or two.
    pub verdict: String,
    /// What was delivered.
    pub delivered: Option<String>,
    /// What is loaded still, or may be.
    pub danger: Option<String>,
    /// What to do about that, and who says so.
    pub caution: Option<String>,
}

impl Told {
    /// What is told of a result, in the words of its report.
    #[must_use]
    pub fn of(result: &FiringResult) -> Self {
        let page = view::firing::page(result);
        let danger = page.danger.as_ref().map(plain);
        let first = result.cautions.first().filter(|_| danger.is_some());
        Self {
            outcome: page.outcome,
            verdict: plain(&page.says),
            delivered: page.delivered.as_ref().map(plain),
            danger,
            caution: first.map(|one| format!("{} ({})", one.text, one.source)),
        }
    }
}

/// A longer log is read from its file: of what is held [`reduce`] takes all rows, of a file only those around the burn.
const LONGEST_HELD: usize = 8 << 20;

/// Reduces what is there of a firing while one of its logs is still being written: what its bytes so far tell of thrust and
/// motors. The axes are left out, and so is what is on other logs, which may not have been copied yet; the tap test stays.
///
/// # Errors
/// As [`reduce`].
pub fn first_verdict(firing: &Firing, log: &str, bytes: &Arc<[u8]>) -> Result<Reduction, Error> {
    let mut of = firing.clone();
    of.axes.clear();
    of.vehicle = None;
    let elsewhere = |signal: &Signal| signal.log.value != log;
    for motor in of.motors.values_mut() {
        motor.fire.take_if(|fire| elsewhere(fire));
        motor.igniter.take_if(|igniter| elsewhere(igniter));
    }
    of.chamber.take_if(|chamber| elsewhere(&chamber.pressure));
    if of.logs.get_index(0).is_some_and(|(first, _)| first != log) {
        // It was given on another clock.
        of.reduce.window_s = None;
    }
    let tap = of.stand.tap.as_ref().map(|tap| &tap.signal.log.value);
    of.logs.retain(|name, _| name == log || tap == Some(name));
    if let Some(place) = of.logs.get_index_of(log) {
        // Its clock is that of the results.
        of.logs.move_index(place, 0);
    }
    for (name, one) in &mut of.logs {
        one.align = None;
        if name == log && bytes.len() <= LONGEST_HELD {
            one.held = Some(Held(Arc::clone(bytes)));
        }
    }
    reduce(&of)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::Path;

    #[test]
    fn a_tenth_of_a_second_after_burnout_the_verdict_is_right_and_that_of_reduce() {
        for (name, outcome, danger) in [
            ("twin-captive", Outcome::Holds, None),
            ("twin-one-dead", Outcome::Fails, Some("may be loaded still")),
        ] {
            let folder = Path::new("demo-data").join(name);
            let firing = crate::config::read_firing(&folder.join("firing.toml")).unwrap();
            let log = std::fs::read_to_string(folder.join("stand.csv")).unwrap();
            // truth.json: burnout at 4.638 s and 4.636 s; rows of a millisecond.
            let rows: String = log.split_inclusive('\n').take(1 + 4740).collect();
            let reduction = first_verdict(&firing, "stand", &rows.into_bytes().into()).unwrap();
            let told = Told::of(&reduction.result);
            assert_eq!(told.outcome, outcome, "{told:?}");
            assert_eq!(told.danger.is_some(), danger.is_some());
            assert_eq!(told.caution.is_some(), danger.is_some());
            let says = told.danger.unwrap_or_default();
            assert!(says.contains(danger.unwrap_or_default()), "{says}");
        }
    }
}
