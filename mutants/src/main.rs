//! Changes one operator of the library at a time and asks whether a test notices.
//!
//! ```sh
//! cargo run --manifest-path mutants/Cargo.toml -- MODULE... [--of TABLE]    # from the repository's folder
//! ```
//!
//! The repository is copied to `target/mutants`, with every change of the modules behind a switch. Changes
//! that do not compile are dropped. Then every test runs once to see which changes it reaches, and for each change
//! the tests that reach it, those first that notice most for their time, until one fails. What nobody noticed is listed.
//! With `--of`, a list that an earlier run printed, only the changes in it are asked about: for new tests.

mod build;
mod change;
mod copy;
mod run;

use std::collections::BTreeSet;
use std::path::Path;
use std::process::ExitCode;

fn main() -> ExitCode {
    let mut modules: Vec<String> = std::env::args().skip(1).collect();
    let earlier = modules.iter().position(|word| word == "--of").map(|at| {
        let named = modules.split_off(at);
        std::fs::read_to_string(&named[1]).expect("an earlier list")
    });
    let folder = Path::new("target/mutants");
    let mut dropped = BTreeSet::new();
    let mut changes = loop {
        let changes = copy::changed_crate(folder, &modules, &dropped);
        let wrong = build::failing_to_compile(folder, &changes);
        eprintln!(
            "{} changes, {} more do not compile",
            changes.len(),
            wrong.len()
        );
        if wrong.is_empty() {
            break changes;
        }
        dropped.extend(wrong);
    };
    if let Some(earlier) = earlier {
        changes.retain(|one| {
            earlier
                .lines()
                .any(|line| line.starts_with(&one.to_string()))
        });
    }
    if changes.is_empty() {
        eprintln!("nothing to change: name modules such as `impulse`");
        return ExitCode::FAILURE;
    }
    let programs = build::test_programs(folder);
    print!("{}", run::table(folder, &programs, &changes));
    ExitCode::SUCCESS
}
