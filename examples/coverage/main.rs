//! Do the 95 % intervals cover? Rehearses firings of several kinds over many seeds, reduces each, and
//! counts.
//!
//! ```sh
//! cargo run --release --example coverage                  # all kinds, the table of docs/coverage.md
//! cargo run --release --example coverage -- 40 slow dirt  # 40 seeds of two kinds
//! cargo run --release --example coverage -- 40 plant:demo-data/twin-captive/REHEARSAL.toml
//! ```

#![allow(
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "a small program of its own"
)]

mod draw;
mod study;
mod table;

use std::process::ExitCode;

use study::{KINDS, Kind};

/// Seeds of each kind in the full study.
const SEEDS: u64 = 200;

fn main() -> ExitCode {
    let mut seeds = SEEDS;
    let mut kinds: Vec<Kind> = Vec::new();
    for word in std::env::args().skip(1) {
        if let Ok(count) = word.parse() {
            seeds = count;
        } else if let Some(kind) = Kind::named(&word) {
            kinds.push(kind);
        } else {
            let known: Vec<&str> = KINDS.iter().map(|kind| kind.0).collect();
            eprintln!("`{word}` is no kind: choose from {}", known.join(", "));
            return ExitCode::from(2);
        }
    }
    if kinds.is_empty() {
        kinds = Kind::all();
    }
    match study::study(&kinds, seeds) {
        Ok(cases) => {
            print!("{}", table::table(&kinds, &cases, seeds));
            ExitCode::SUCCESS
        }
        Err(problems) => {
            eprint!("{}", problems.render());
            ExitCode::FAILURE
        }
    }
}
