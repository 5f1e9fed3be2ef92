//! Do the 95 % intervals cover? Rehearses firings over many seeds, reduces each, and counts.
//!
//! `cargo run --release --example coverage -- demo-data/twin-captive/REHEARSAL.toml 200` prints the
//! table that `docs/coverage.md` keeps.

#![allow(
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "a small program of its own"
)]

use std::collections::BTreeMap;
use std::path::Path;
use std::process::ExitCode;

use burnwright::diagnostic::{Diagnostic, Place, Problems};
use burnwright::plan::rehearsal::{read_rehearsal, rehearse};
use burnwright::{firing, reduction};
use serde_json::Value;

/// Results and where their truth stands, under the same head or another.
const QUANTITIES: [(&str, &str); 27] = [
    ("impulse.total_ns", "impulse.total_ns"),
    ("impulse.burn_window_ns", "impulse.burn_window_ns"),
    ("impulse.specific_s", "impulse.specific_s"),
    ("burn.ignition_s", "burn.ignition_s"),
    ("burn.burnout_s", "burn.burnout_s"),
    ("burn.burn_time_s", "burn.burn_time_s"),
    ("burn.action_time_s", "burn.action_time_s"),
    ("thrust.peak_n", "thrust.peak_n"),
    ("thrust.average_n", "thrust.average_n"),
    ("motors.left.ignition_s", "motors.left.ignition_s"),
    ("motors.left.total_ns", "motors.left.total_ns"),
    ("motors.right.ignition_s", "motors.right.ignition_s"),
    ("motors.right.total_ns", "motors.right.total_ns"),
    ("ignition.stagger_s", "ignition.stagger_s"),
    ("clocks.computer.offset_s", "clocks.computer.offset_s"),
    ("plant.pitch.actuator.gain", "plant.pitch.gain"),
    ("plant.pitch.actuator.lag_s", "plant.pitch.lag_s"),
    ("plant.pitch.actuator.delay_s", "plant.pitch.delay_s"),
    (
        "plant.pitch.actuator.dead_band.width_deg",
        "plant.pitch.dead_band.width_deg",
    ),
    (
        "plant.pitch.rig.effectiveness_per_kg_m",
        "plant.pitch.effectiveness_loaded_per_kg_m",
    ),
    (
        "plant.pitch.rig.stiffness_per_s2",
        "plant.pitch.stiffness_per_s2",
    ),
    ("plant.yaw.actuator.gain", "plant.yaw.gain"),
    ("plant.yaw.actuator.lag_s", "plant.yaw.lag_s"),
    ("plant.yaw.actuator.delay_s", "plant.yaw.delay_s"),
    (
        "plant.yaw.actuator.dead_band.width_deg",
        "plant.yaw.dead_band.width_deg",
    ),
    (
        "plant.yaw.rig.effectiveness_per_kg_m",
        "plant.yaw.effectiveness_loaded_per_kg_m",
    ),
    (
        "plant.yaw.rig.stiffness_per_s2",
        "plant.yaw.stiffness_per_s2",
    ),
];

/// Error over standard uncertainty, half width of the interval, and whether it covered.
struct Case {
    error: f64,
    u: f64,
    covered: bool,
}

fn main() -> ExitCode {
    let mut args = std::env::args().skip(1);
    let (Some(path), count) = (
        args.next(),
        args.next().and_then(|count| count.parse().ok()),
    ) else {
        eprintln!("usage: coverage REHEARSAL.toml [SEEDS]");
        return ExitCode::from(2);
    };
    match study(Path::new(&path), count.unwrap_or(20)) {
        Ok(table) => {
            print!("{table}");
            ExitCode::SUCCESS
        }
        Err(problems) => {
            eprint!("{}", problems.render());
            ExitCode::FAILURE
        }
    }
}

fn study(path: &Path, seeds: u64) -> Result<String, Problems> {
    let mut rehearsal = read_rehearsal(path)?;
    let folder = tempfile::tempdir().map_err(|error| failed(&error))?;
    let mut cases: BTreeMap<usize, Vec<Case>> = BTreeMap::new();
    // Seeds from 1001 on: no rehearsal kept in the repository uses them.
    for seed in 1001..1001 + seeds {
        rehearsal.seed = seed;
        let mut truth = Value::Null;
        for file in rehearse(&rehearsal)? {
            if file.path == "truth.json" {
                truth = serde_json::from_slice(&file.bytes).unwrap_or_default();
            }
            std::fs::write(folder.path().join(&file.path), &file.bytes)
                .map_err(|error| failed(&error))?;
        }
        let firing = firing::read_firing(&folder.path().join("firing.toml"))?;
        let result = reduction::reduce(&firing)?.result;
        let result = serde_json::to_value(&result).unwrap_or_default();
        for (at, (stated, true_one)) in QUANTITIES.iter().enumerate() {
            if let Some(case) = compare(find(&result, stated), find(&truth, true_one)) {
                cases.entry(at).or_default().push(case);
            }
        }
    }
    Ok(table(&cases, seeds))
}

fn failed(error: &std::io::Error) -> Problems {
    Diagnostic::error("files", error.to_string())
        .at(Place::file("a temporary folder"))
        .into()
}

fn find<'a>(value: &'a Value, path: &str) -> &'a Value {
    path.split('.').fold(value, |value, key| &value[key])
}

fn compare(stated: &Value, truth: &Value) -> Option<Case> {
    let number = |key: &str| stated[key].as_f64();
    let (truth, value) = (truth.as_f64()?, number("value")?);
    Some(Case {
        error: value - truth,
        u: number("u")?,
        covered: (number("low")?..=number("high")?).contains(&truth),
    })
}

fn table(cases: &BTreeMap<usize, Vec<Case>>, seeds: u64) -> String {
    let mut out = format!(
        "{seeds} seeds\n\n| quantity | stated in | covered | median u | bias / u | sd of error / u |\n\
         |---|---|---|---|---|---|\n"
    );
    for (at, cases) in cases {
        let count = cases.len() as f64;
        let covered = cases.iter().filter(|case| case.covered).count() as f64;
        let mean = cases.iter().map(|case| case.error).sum::<f64>() / count;
        let variance = cases
            .iter()
            .map(|case| (case.error - mean).powi(2))
            .sum::<f64>()
            / count;
        let mut u: Vec<f64> = cases.iter().map(|case| case.u).collect();
        u.sort_by(f64::total_cmp);
        let u = u[u.len() / 2];
        out += &format!(
            "| {} | {} | {:.0} % | {u:.2e} | {:.2} | {:.2} |\n",
            QUANTITIES[*at].0,
            cases.len(),
            100.0 * covered / count,
            mean / u,
            variance.sqrt() / u
        );
    }
    out
}
