//! One plant from several firings of one rig, and whether they agree.
#![allow(
    missing_docs,
    clippy::print_stdout,
    reason = "an example that a test calls, too"
)]

use std::path::Path;

use burnwright::{Error, fit, read_firing, reduce};

pub fn main() -> Result<(), Error> {
    let mut plants = Vec::new();
    for name in ["twin-captive", "twin-one-dead"] {
        let file = Path::new("demo-data").join(name).join("firing.toml");
        let plant = reduce(&read_firing(&file)?)?.plant;
        plants.extend(plant.map(|plant| (name.to_owned(), plant)));
    }
    let common = fit(&plants, &[], false)?;
    for (name, axis) in &common.fit.axes {
        let gain = axis.plant.actuator.gain.as_ref();
        println!("{name}: gain {:.3?}", gain.map(|gain| (gain.value, gain.u)));
        println!(
            "{name}: the firings agree with p = {:.3?}",
            axis.agreement_p
        );
    }
    Ok(())
}
