//! A log that no firing file names: its columns, and which of them show something that burns.
#![allow(
    missing_docs,
    clippy::print_stdout,
    reason = "an example that a test calls, too"
)]

use std::path::Path;

use burnwright::{Error, begin_firing, look, look_at};

pub fn main() -> Result<(), Error> {
    let log = look_at(Path::new("demo-data/twin-captive/stand.csv"), None)?;
    let seen = look(vec![log]);
    for column in seen.logs.iter().flat_map(|log| &log.columns) {
        println!("{}: {:?}", column.name, column.kind);
    }
    let draft = begin_firing(&seen, &["stand.csv".to_owned()]);
    println!(
        "a firing file begun, {} values to complete",
        draft.to_complete
    );
    Ok(())
}
