//! How long the plant takes: two axes of a firing of four seconds, read at 1 kHz, with the global search
//! of delay and dead band and all intervals.
#![allow(clippy::unwrap_used, reason = "a bench may stop on the first surprise")]
//!
//! `cargo bench --bench plant`. The aim is half a second on two cores. The firing with a measured nozzle
//! stays in `target/plant-fit` for the script that fits the same model from the same starts
//! (benches/script/plant_fit.py); docs/performance.md has the table.

use std::path::{Path, PathBuf};

use burnwright::internal::{
    AxisInput, NozzleModel, Rehearsal, ScanPoint, Shows, axis_inputs, best_of, fit_axes,
    read_rehearsal, refine, rehearse,
};
use burnwright::read_firing;
use burnwright::result::DeadBandKind;

fn main() {
    divan::main();
}

/// What both axes are fitted from: the demo's rehearsal with a burn of four seconds; `nozzle` says
/// whether its angle is logged.
fn long_firing(nozzle: bool) -> Vec<AxisInput> {
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
    let folder = folder(nozzle);
    std::fs::create_dir_all(&folder).unwrap();
    for file in rehearse(&plan).unwrap() {
        std::fs::write(folder.join(&file.path), &file.bytes).unwrap();
    }
    let firing = read_firing(&folder.join("firing.toml")).unwrap();
    axis_inputs(&firing).unwrap()
}

fn folder(nozzle: bool) -> PathBuf {
    let target = Path::new(env!("CARGO_MANIFEST_DIR")).join("target");
    target.join(if nozzle { "plant-fit" } else { "plant-tilt" })
}

/// Both axes, each with a thread of its own; nozzle angle measured, or tilt alone.
#[divan::bench(args = [true, false], sample_count = 10, sample_size = 1)]
fn two_axes_of_four_seconds(bencher: divan::Bencher, nozzle: bool) {
    let inputs = long_firing(nozzle);
    assert_eq!(inputs.len(), 2);
    bencher.bench(|| fit_axes(&inputs, &indexmap::IndexMap::new(), &|| ()));
}

/// Lag, delay and width: as in the script.
fn starts() -> Vec<ScanPoint> {
    let delays = [0.005, 0.01, 0.02, 0.03];
    let of_delay = |delay_s| {
        [0.1, 0.3, 0.6].map(|width_deg| ScanPoint {
            lag_s: 0.02,
            delay_s,
            width_deg,
        })
    };
    delays.into_iter().flat_map(of_delay).collect()
}

/// The actuators of both axes alone, of one kind and from stated starts, one after the other.
#[divan::bench(sample_count = 20, sample_size = 1)]
fn both_actuators_from_starts(bencher: divan::Bencher) {
    let inputs = long_firing(true);
    let views: Vec<NozzleModel> = inputs.iter().filter_map(NozzleModel::new).collect();
    assert_eq!(views.len(), 2);
    let starts = starts();
    bencher.bench(|| {
        let fit = |one| {
            let best = best_of(one, DeadBandKind::Play, &starts);
            refine(one, DeadBandKind::Play, &best).unwrap()
        };
        views.iter().map(fit).collect::<Vec<_>>()
    });
}
