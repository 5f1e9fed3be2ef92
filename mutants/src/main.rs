//! Changes one operator of the library at a time and asks whether a unit test notices.
//!
//! ```sh
//! cargo run --manifest-path mutants/Cargo.toml -- MODULE...    # from the repository's folder
//! ```
//!
//! The modules and all they build on are copied to a crate of their own in `target/mutants`, with every
//! change behind a switch. Changes that do not compile are dropped. Then the tests of the module run once for
//! each change that they reach. What nobody noticed is listed.

mod change;
mod copy;
mod run;

use std::collections::BTreeSet;
use std::path::Path;
use std::process::ExitCode;

fn main() -> ExitCode {
    let modules: Vec<String> = std::env::args().skip(1).collect();
    let folder = Path::new("target/mutants");
    let mut dropped = BTreeSet::new();
    let changes = loop {
        let changes = copy::changed_crate(folder, &modules, &dropped);
        let wrong = run::failing_to_compile(folder, &changes);
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
    if changes.is_empty() {
        eprintln!("nothing to change: name modules such as `impulse`");
        return ExitCode::FAILURE;
    }
    print!("{}", run::table(folder, &modules, &changes));
    ExitCode::SUCCESS
}
