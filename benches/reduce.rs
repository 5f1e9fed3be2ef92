//! How long the demo firing takes: the whole job, and its two largest parts.
#![allow(clippy::unwrap_used, reason = "a bench may stop on the first surprise")]
//!
//! `cargo bench` runs it; nothing in the tests depends on time.

use std::path::{Path, PathBuf};

use burnwright::{Report, config, control, flight, reduce};

fn main() {
    divan::main();
}

fn demo() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/twin-captive/firing.toml")
}

/// From the firing file to the bytes of every output, without writing them.
#[divan::bench(sample_count = 10, sample_size = 1)]
fn whole_job() -> usize {
    let firing = config::read_firing(&demo()).unwrap();
    let reduced = reduce::reduce(&firing).unwrap();
    reduced.files().iter().map(|file| file.bytes.len()).sum()
}

/// The stages alone.
#[divan::bench(sample_count = 10, sample_size = 1)]
fn reduction_alone(bencher: divan::Bencher) {
    let firing = config::read_firing(&demo()).unwrap();
    bencher.bench(|| reduce::reduce(&firing).unwrap());
}

/// The writers alone.
#[divan::bench(sample_count = 10, sample_size = 1)]
fn report_alone(bencher: divan::Bencher) {
    let firing = config::read_firing(&demo()).unwrap();
    let reduced = reduce::reduce(&firing).unwrap();
    bencher.bench(|| reduced.files());
}

/// 10 000 drawn flights of 4 s at 100 Hz with noise, on all cores: they should take less than 5 s on two.
#[divan::bench(sample_count = 3, sample_size = 1)]
fn ten_thousand_flights(bencher: divan::Bencher) {
    let firing = config::read_firing(&demo()).unwrap();
    let plant = reduce::reduce(&firing).unwrap().plant.unwrap();
    let gains = control::tune(&plant, "plant.json", &control::Wishes::default()).unwrap();
    let (axis, own) = (&plant.axes["pitch"], &gains.axes["pitch"]);
    let model = control::model::AxisModel::new("pitch", axis, own.body).unwrap();
    let vehicle = flight::Vehicle {
        mass_kg: Some(1.18),
        ..flight::Vehicle::default()
    };
    let mut one = flight::simulate::flight("pitch", &plant, axis, own, &model, &vehicle).unwrap();
    one.ends_s = one.release_s + 4.0;
    let campaign = flight::Campaign {
        runs: 10_000,
        seed: 1,
        tilt_limit_deg: 30.0,
        spreads: flight::Spreads::default(),
    };
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    bencher.bench(|| flight::monte_carlo::fly_many(&one, &model, &campaign, threads, &|_| {}));
}
