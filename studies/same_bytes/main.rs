//! Whether programs built in different ways, on one core and on all, print and write the same bytes:
//!
//! ```sh
//! cargo build && cargo build --release
//! cargo run --release --example same_bytes -- target/release/burnwright target/debug/burnwright
//! ```
//!
//! The first program on all cores is what all others are held against. `docs/faults.md` keeps the table.
#![allow(clippy::print_stdout, reason = "a program of its own")]

mod commands;

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use commands::{Way, all, differing};

/// Firings rehearsed besides the demo.
const SEEDS: u64 = 1;

fn main() -> std::io::Result<ExitCode> {
    let programs: Result<Vec<PathBuf>, _> = std::env::args_os()
        .skip(1)
        .map(std::fs::canonicalize)
        .collect();
    let mut ways = Vec::new();
    for program in programs? {
        for one_core in [false, true] {
            let program = program.clone();
            ways.push(Way { program, one_core });
        }
    }
    let repository = Path::new(env!("CARGO_MANIFEST_DIR"));
    let runs: Result<Vec<_>, _> = ways.iter().map(|way| all(way, repository, SEEDS)).collect();
    let runs = runs?;
    let Some((first, others)) = runs.split_first() else {
        println!("usage: same_bytes PROGRAM [PROGRAM ...]");
        return Ok(ExitCode::from(2));
    };
    for (nth, way) in ways.iter().enumerate() {
        let cores = if way.one_core {
            "one core"
        } else {
            "all cores"
        };
        println!("{nth}: {}, {cores}", way.program.display());
    }
    println!("| command | files | bytes | against 0 |\n|---|---|---|---|");
    let mut same = true;
    for (at, (line, left)) in first.iter().enumerate() {
        let bytes: usize = left.values().map(Vec::len).sum();
        let mut found = Vec::new();
        for (nth, other) in others.iter().enumerate() {
            let names = differing(left, &other[at].1);
            if !names.is_empty() {
                found.push(format!("{} differs in {}", nth + 1, names.join(", ")));
            }
        }
        same &= found.is_empty();
        let says = if found.is_empty() {
            "the same".to_owned()
        } else {
            found.join("; ")
        };
        println!("| `{line}` | {} | {bytes} | {says} |", left.len() - 3);
    }
    Ok(ExitCode::from(u8::from(!same)))
}
