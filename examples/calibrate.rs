//! Known loads against raw readings: a curve, what it misses, and the file that keeps it.
#![allow(
    missing_docs,
    clippy::print_stdout,
    reason = "an example that a test calls, too"
)]

use std::path::Path;

use burnwright::{Error, Site, calibrate};

pub fn main() -> Result<(), Error> {
    let points = Path::new("demo-data/twin-captive/cell-base-points.csv");
    let fitted = calibrate(points, &Site::default(), None)?;
    for finding in &fitted.judgement.findings {
        println!("{}: {}", finding.outcome.word(), finding.claim);
    }
    print!("{}", fitted.curve_file);
    Ok(())
}
