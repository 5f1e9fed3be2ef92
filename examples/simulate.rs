//! Plant and gains flown: once by the best estimate, and many times with everything drawn.
#![allow(
    missing_docs,
    clippy::print_stdout,
    reason = "an example that a test calls, too"
)]

use std::path::Path;

use burnwright::{
    Campaign, Error, Named, Orders, Spreads, Vehicle, Wishes, read_firing, recorded, reduce,
    simulate, tune,
};

pub fn main() -> Result<(), Error> {
    let reduction = reduce(&read_firing(Path::new(
        "demo-data/twin-captive/firing.toml",
    ))?)?;
    let Some(plant) = &reduction.plant else {
        println!("no axis could be fitted");
        return Ok(());
    };
    let gains = tune(plant, "plant.json", &Wishes::default())?;
    let orders = Orders {
        campaign: Campaign {
            runs: 100,
            seed: 1,
            tilt_limit_deg: 30.0,
            spreads: Spreads::default(),
        },
        only: None,
        threads: 2,
    };
    let captive = recorded(&reduction).unwrap_or_default();
    let named = Named {
        plant: "plant.json",
        gains: "gains.json",
    };
    let vehicle = Vehicle::default();
    let flown = simulate(plant, &gains, &vehicle, &orders, &captive, named, &|_| {})?;
    for (name, axis) in &flown.axes {
        for finding in &axis.findings {
            println!("{name}: {}: {}", finding.outcome.word(), finding.claim);
        }
    }
    Ok(())
}
