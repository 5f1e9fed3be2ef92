//! How long the demo firing takes: the whole job, and its two largest parts.
#![allow(clippy::unwrap_used, reason = "a bench may stop on the first surprise")]
//!
//! `cargo bench` runs it; nothing in the tests depends on time.

use std::path::{Path, PathBuf};

use burnwright::internal::{AxisModel, fly_all, scenario};
use burnwright::{MonteCarlo, Report, Specification, Spreads, Vehicle, read_firing, reduce, tune};

fn main() {
    divan::main();
}

fn demo() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/twin-captive/firing.toml")
}

/// From the firing file to the bytes of every output, without writing them.
#[divan::bench(sample_count = 10, sample_size = 1)]
fn whole_job() -> usize {
    let firing = read_firing(&demo()).unwrap();
    let reduced = reduce(&firing).unwrap();
    reduced.files().iter().map(|file| file.bytes.len()).sum()
}

/// The stages alone.
#[divan::bench(sample_count = 10, sample_size = 1)]
fn reduction_alone(bencher: divan::Bencher) {
    let firing = read_firing(&demo()).unwrap();
    bencher.bench(|| reduce(&firing).unwrap());
}

/// The writers alone.
#[divan::bench(sample_count = 10, sample_size = 1)]
fn report_alone(bencher: divan::Bencher) {
    let firing = read_firing(&demo()).unwrap();
    let reduced = reduce(&firing).unwrap();
    bencher.bench(|| reduced.files());
}

/// 10 000 drawn flights of 4 s at 100 Hz with noise, on all cores: they should take less than 5 s on two.
#[divan::bench(sample_count = 3, sample_size = 1)]
fn ten_thousand_flights(bencher: divan::Bencher) {
    let firing = read_firing(&demo()).unwrap();
    let plant = reduce(&firing).unwrap().plant.unwrap();
    let gains = tune(&plant, "plant.json", &Specification::default()).unwrap();
    let (axis, own) = (&plant.axes["pitch"], &gains.axes["pitch"]);
    let model = AxisModel::new("pitch", axis, own.body).unwrap();
    let vehicle = Vehicle {
        mass_kg: Some(1.18),
        ..Vehicle::default()
    };
    let mut one = scenario("pitch", &plant, axis, own, &model, &vehicle).unwrap();
    one.ends_s = one.release_s + 4.0;
    let monte_carlo = MonteCarlo {
        runs: 10_000,
        seed: 1,
        tilt_limit_deg: 30.0,
        spreads: Spreads::default(),
    };
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    bencher.bench(|| fly_all(&one, &model, &monte_carlo, threads, &|_| {}));
}
