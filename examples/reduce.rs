//! One firing reduced: what the motors delivered, and whether everything lit.
#![allow(
    missing_docs,
    clippy::print_stdout,
    reason = "an example that a test calls, too"
)]

use std::path::Path;

use burnwright::{Error, read_firing, reduce};

pub fn main() -> Result<(), Error> {
    let firing = read_firing(Path::new("demo-data/twin-captive/firing.toml"))?;
    let result = reduce(&firing)?.result;

    if let Some(total) = result.impulse.and_then(|impulse| impulse.total_ns) {
        let (value, u) = (total.value, total.u);
        println!("total impulse {value:.2} {}, u {u:.2}", total.unit);
    }
    if let Some(ignition) = result.ignition {
        println!("all motors lit: {}", ignition.all_lit.word());
    }
    for finding in &result.findings {
        println!("{}: {}", finding.outcome.word(), finding.claim);
    }
    Ok(())
}
