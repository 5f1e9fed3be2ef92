//! A plan tried before the motors are spent: a firing with known truth, in the files a real one leaves.
#![allow(
    missing_docs,
    clippy::print_stdout,
    reason = "an example that a test calls, too"
)]

use std::path::Path;

use burnwright::{Error, rehearse};

pub fn main() -> Result<(), Error> {
    let plan = Path::new("demo-data/twin-captive/REHEARSAL.toml");
    for file in rehearse(plan, Some(7))? {
        println!("{}: {} bytes", file.path, file.bytes.len());
    }
    Ok(())
}
