//! How long the plant takes: two axes of a firing of four seconds, read at 1 kHz, with the global search
//! of delay and dead band and all intervals.
#![allow(clippy::unwrap_used, reason = "a bench may stop on the first surprise")]
//!
//! `cargo bench --bench plant`. The aim is half a second on two cores. Both axes are fitted one after the
//! other, as the program does.

use std::path::Path;

use burnwright::plan::rehearsal::{Rehearsal, read_rehearsal, rehearse};
use burnwright::{firing, reduction};

fn main() {
    divan::main();
}

/// The demo's rehearsal with a burn of four seconds; `nozzle` says whether its angle is logged.
fn long_firing(nozzle: bool) -> firing::Firing {
    use burnwright::plan::rehearsal::spec::Shows;
    let plan = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/twin-captive/REHEARSAL.toml");
    let mut plan: Rehearsal = read_rehearsal(&plan).unwrap();
    for motor in plan.motors.values_mut() {
        motor.time_scale *= 1.9;
    }
    plan.lasts_s = 10.0;
    plan.computer.as_mut().unwrap().lasts_s = 4.6;
    let computer = plan.recorders.get_mut("computer").unwrap();
    computer.rate_hz = 1000.0;
    computer
        .columns
        .retain(|_, column| nozzle || !matches!(column.shows, Shows::Nozzle(_)));
    let folder = tempfile::tempdir().unwrap().keep();
    for file in rehearse(&plan).unwrap() {
        std::fs::write(folder.join(&file.path), &file.bytes).unwrap();
    }
    firing::read_firing(&folder.join("firing.toml")).unwrap()
}

/// The whole reduction, most of which is the plant; nozzle angle measured, or tilt alone.
#[divan::bench(args = [true, false], sample_count = 10, sample_size = 1)]
fn two_axes_of_four_seconds(bencher: divan::Bencher, nozzle: bool) {
    let firing = long_firing(nozzle);
    bencher.bench(|| reduction::reduce(&firing).unwrap());
}
