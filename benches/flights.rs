//! How long drawn flights take: ten thousand of four seconds, with everything drawn that is only known
//! within a spread, one axis at 100 Hz.
#![allow(clippy::unwrap_used, reason = "a bench may stop on the first surprise")]
//!
//! `cargo bench --bench flights`. The aim is five seconds on two cores.

use std::path::Path;

use burnwright::internal::{AxisModel, fly_all, scenario};
use burnwright::{MonteCarlo, Series, Specification, Spreads, Vehicle, read_firing, reduce, tune};

fn main() {
    divan::main();
}

/// Flights of each run.
const RUNS: usize = 10_000;
/// How long each lasts, s.
const LASTS_S: f64 = 4.0;

#[divan::bench(args = [1, 2], sample_count = 3, sample_size = 1)]
fn ten_thousand_of_four_seconds(bencher: divan::Bencher, threads: usize) {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/twin-captive/firing.toml");
    let reduced = reduce(&read_firing(&file).unwrap()).unwrap();
    let plant = reduced.plant.unwrap();
    let gains = tune(&plant, "plant.json", &Specification::default()).unwrap();
    let (axis, own) = (&plant.axes["pitch"], &gains.axes["pitch"]);
    let model = AxisModel::new("pitch", axis, own.body).unwrap();
    let vehicle = Vehicle {
        mass_kg: Some(1.18),
        ..Vehicle::default()
    };
    let mut nominal = scenario("pitch", &plant, axis, own, &model, &vehicle).unwrap();
    nominal.ends_s = nominal.release_s + LASTS_S;
    // The demo burns for two seconds: the same curve over twice the time.
    for motor in &mut nominal.motors {
        let time_s: Vec<f64> = motor.thrust_n.time_s().iter().map(|t| 2.0 * t).collect();
        let stretched = Series::new(&time_s, motor.thrust_n.value());
        motor.thrust_n = std::sync::Arc::new(stretched);
    }
    let monte_carlo = MonteCarlo {
        runs: RUNS,
        seed: 1,
        tilt_limit_deg: 30.0,
        spreads: Spreads::default(),
    };
    bencher.bench(|| fly_all(&nominal, &model, &monte_carlo, threads, &|_| {}));
}
