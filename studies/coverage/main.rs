//! Do the 95 % intervals cover? Rehearses firings of several kinds over many seeds, reduces each, and
//! counts.
//!
//! ```sh
//! cargo run --release --features internals --example coverage                  # all kinds, the table of docs/coverage.md
//! cargo run --release --features internals --example coverage -- 40 slow dirt  # 40 seeds of two kinds
//! cargo run --release --features internals --example coverage -- lit 1000      # which motors lit: verdicts and probabilities
//! cargo run --release --features internals --example coverage -- plants 1200   # the plant: structures, coverage, widths
//! cargo run --release --features internals --example coverage -- plants 720 two-poles  # servos of second order; or coupled, axes that turn each other
//! cargo run --release --features internals --example coverage -- gains 100     # phase margin of tuned gains on the true plant
//! cargo run --release --features internals --example coverage -- plants 720 from=100000000  # the same on seeds of your own
//! cargo run --release --features internals --example coverage -- 40 plant:demo-data/twin-captive/REHEARSAL.toml
//! ```

#![allow(
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "a small program of its own"
)]

mod draw;
mod gains;
mod lit;
mod plants;
mod study;
mod table;

use std::process::ExitCode;

use burnwright::Error;
use study::{KINDS, Kind};

/// Seeds of each kind in the full study.
const SEEDS: u64 = 200;

fn main() -> ExitCode {
    let mut seeds = SEEDS;
    let mut kinds: Vec<Kind> = Vec::new();
    let mut study = None;
    let (mut from, mut unlike) = (0, None);
    for word in std::env::args().skip(1) {
        if ["lit", "plants", "gains"].contains(&word.as_str()) {
            study = Some(word);
        } else if let Some(kind) = plants::Unlike::named(&word) {
            unlike = Some(kind);
        } else if let Ok(count) = word.parse() {
            seeds = count;
        } else if let Some(Ok(first)) = word.strip_prefix("from=").map(str::parse) {
            from = first;
        } else if let Some(kind) = Kind::named(&word) {
            kinds.push(kind);
        } else {
            let known: Vec<&str> = KINDS.iter().map(|kind| kind.0).collect();
            eprintln!("`{word}` is no kind: choose from {}", known.join(", "));
            return ExitCode::from(2);
        }
    }
    match study.as_deref() {
        Some("lit") => return finish(lit::study(seeds)),
        Some("plants") => return finish(plants::study(seeds, from, unlike)),
        Some("gains") => return finish(gains::study(seeds)),
        _ => {}
    }
    if kinds.is_empty() {
        kinds = Kind::all();
    }
    finish(study::study(&kinds, seeds).map(|cases| table::table(&kinds, &cases, seeds)))
}

fn finish(table: Result<String, Error>) -> ExitCode {
    match table {
        Ok(table) => {
            print!("{table}");
            ExitCode::SUCCESS
        }
        Err(problems) => {
            eprint!("{}", problems.render());
            ExitCode::FAILURE
        }
    }
}
