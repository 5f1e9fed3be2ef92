//! How long the plant takes: two axes of a firing of four seconds, read at 1 kHz, with the global search
//! of delay and dead band and all intervals.
#![allow(clippy::unwrap_used, reason = "a bench may stop on the first surprise")]
//!
//! `cargo bench --bench plant`. The aim is half a second on two cores.

use std::path::Path;

use burnwright::plan::rehearsal::{Rehearsal, read_rehearsal, rehearse};
use burnwright::plant::AxisInput;
use burnwright::{firing, reduction};

fn main() {
    divan::main();
}

/// What both axes are fitted from: the demo's rehearsal with a burn of four seconds; `nozzle` says
/// whether its angle is logged.
fn long_firing(nozzle: bool) -> Vec<AxisInput> {
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
    let folder = tempfile::tempdir().unwrap();
    for file in rehearse(&plan).unwrap() {
        std::fs::write(folder.path().join(&file.path), &file.bytes).unwrap();
    }
    let firing = firing::read_firing(&folder.path().join("firing.toml")).unwrap();
    reduction::axis_inputs(&firing).unwrap()
}

/// Both axes, each with a thread of its own; nozzle angle measured, or tilt alone.
#[divan::bench(args = [true, false], sample_count = 10, sample_size = 1)]
fn two_axes_of_four_seconds(bencher: divan::Bencher, nozzle: bool) {
    let inputs = long_firing(nozzle);
    assert_eq!(inputs.len(), 2);
    bencher.bench(|| reduction::fit_axes(&inputs));
}
