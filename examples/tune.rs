//! From a plant to controller gains for a loop of 200 Hz, with their margins.
#![allow(
    missing_docs,
    clippy::print_stdout,
    reason = "an example that a test calls, too"
)]

use std::path::Path;

use burnwright::{Error, Specification, read_firing, reduce, tune};

pub fn main() -> Result<(), Error> {
    let firing = read_firing(Path::new("demo-data/twin-captive/firing.toml"))?;
    // `PlantFile::read` takes one from a `plant.json`.
    let Some(plant) = reduce(&firing)?.plant else {
        println!("no axis could be fitted");
        return Ok(());
    };
    let specification = Specification {
        rate_hz: 200.0,
        ..Specification::default()
    };
    for (name, axis) in tune(&plant, "plant.json", &specification)?.axes {
        let controller = &axis.controller;
        println!("{name}: kp {:.3}, kd {:.4}", controller.kp, controller.kd_s);
    }
    Ok(())
}
