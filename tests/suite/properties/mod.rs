//! Every reader, and the whole reduction, on input that nobody would write.
//!
//! Bytes of any kind, tables of any values, and files of a small firing in which lines went missing or came
//! twice and numbers became others (`odd`). Whatever comes in: no panic, an end within a minute, every
//! error with a place or advice, and no number in a result that is none or without end.
//!
//! The seed is fixed, so that a run can be repeated; `PROPTEST_RNG_SEED=7` takes another one.
//! `PROPTEST_CASES=12800` gives every property so many cases: fifty times the 256 that cheap ones get in a
//! long run, of which dear ones take a share when nothing is said. What long runs found stands in `found` as plain tests.

mod found;
mod odd;
mod own_files;
mod readers;
mod small;
mod whole;

use std::fmt::Debug;
use std::time::{Duration, Instant};

use burnwright::Error;
use proptest::test_runner::{Config, RngSeed};

use crate::studies::study;

/// Longest one case may take.
const LONGEST: Duration = Duration::from_secs(60);

/// Cases of a property, as a share of 256 in a long run and of 64 otherwise; `PROPTEST_CASES` overrules both.
fn cases(share: f64) -> Config {
    let usual = Config::default();
    let fewer = if std::env::var_os("PROPTEST_CASES").is_some() {
        1
    } else {
        4 / study(1, 4).0
    };
    let seed = match usual.rng_seed {
        RngSeed::Random => RngSeed::Fixed(1),
        told => told,
    };
    Config {
        cases: ((f64::from(usual.cases) * share) as u32 / fewer as u32).max(1),
        rng_seed: seed,
        failure_persistence: None,
        ..usual
    }
}

/// Does something that may not take long.
fn in_time<T>(work: impl FnOnce() -> T) -> T {
    let began = Instant::now();
    let out = work();
    let took = began.elapsed();
    assert!(took < LONGEST, "it took {} s", took.as_secs());
    out
}

/// Every error says what is wrong, and where or what to do; nothing in it reaches a terminal raw.
fn told(problems: &Error) {
    assert!(!problems.problems().is_empty(), "an error without a word");
    for one in problems.problems() {
        assert!(!one.message.trim().is_empty(), "{one:?}");
        assert!(one.place.is_some() || !one.hints.is_empty(), "{one:?}");
    }
    let text = problems.render();
    let raw = |letter: char| letter.is_control() && letter != '\n';
    assert!(!text.contains(raw), "{text:?}");
}

/// What is shown to a person holds no number that is none.
fn shown(text: &str) {
    let words = text.split(|letter: char| !letter.is_alphanumeric());
    assert!(
        !text.is_empty() && words.into_iter().all(|word| word != "NaN"),
        "{text}"
    );
}

/// No number in it is none, or without end.
fn finite(what: &impl Debug) {
    let text = format!("{what:?}");
    let mut bare = String::with_capacity(text.len());
    let mut letters = text.chars();
    let mut quoted = false;
    while let Some(letter) = letters.next() {
        match letter {
            '\\' if quoted => {
                letters.next();
            }
            '"' => quoted = !quoted,
            _ if !quoted => bare.push(letter),
            _ => {}
        }
    }
    let mut words = bare.split(|letter: char| !letter.is_alphanumeric() && letter != '_');
    if let Some(word) = words.find(|word| *word == "NaN" || *word == "inf") {
        let at = word.as_ptr().addr() - bare.as_ptr().addr();
        let before: String = bare[..at].chars().rev().take(200).collect();
        let before: String = before.chars().rev().collect();
        panic!("{word} stands after {before}");
    }
}

#[test]
fn what_is_no_number_is_found() {
    finite(&("NaN", Some(1.0), "a \"NaN\" b", f64::MAX));
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        assert!(std::panic::catch_unwind(|| finite(&(1.0, vec![Some(bad)]))).is_err());
    }
}
