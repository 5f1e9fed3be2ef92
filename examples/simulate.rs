//! Plant and gains flown: once by the best estimate, and many times with everything drawn.
#![allow(
    missing_docs,
    clippy::print_stdout,
    reason = "an example that a test calls, too"
)]

use std::path::Path;

use burnwright::{
    Error, MonteCarlo, SimulationInputs, SimulationOptions, Specification, Spreads, Vehicle,
    axis_records, read_firing, reduce, simulate, tune,
};

pub fn main() -> Result<(), Error> {
    let reduction = reduce(&read_firing(Path::new(
        "demo-data/twin-captive/firing.toml",
    ))?)?;
    let Some(plant) = &reduction.plant else {
        println!("no axis could be fitted");
        return Ok(());
    };
    let gains = tune(plant, "plant.json", &Specification::default())?;
    let options = SimulationOptions {
        monte_carlo: MonteCarlo {
            runs: 100,
            seed: 1,
            tilt_limit_deg: 30.0,
            spreads: Spreads::default(),
        },
        only: None,
        threads: 2,
    };
    let captive = axis_records(&reduction).unwrap_or_default();
    let vehicle = Vehicle::default();
    let inputs = SimulationInputs {
        plant,
        plant_name: "plant.json",
        gains: &gains,
        gains_name: "gains.json",
        vehicle: &vehicle,
        recorded: &captive,
    };
    let flown = simulate(&inputs, &options, &|_| {})?;
    for (name, axis) in &flown.axes {
        for finding in &axis.findings {
            println!("{name}: {}: {}", finding.outcome.word(), finding.claim);
        }
    }
    Ok(())
}
