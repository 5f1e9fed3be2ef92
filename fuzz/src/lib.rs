//! What is done with each input: read it as the program would, and write out all that comes of it.
//!
//! The suite includes this file as well and gives it the seeds and every input that once broke something
//! (`tests/suite/fuzzed.rs`), so it uses nothing of the fuzzer's.

use std::path::PathBuf;
use std::sync::OnceLock;

use burnwright::internal::{
    Plausible, gravity_at, judge, judgement_text, plant_header, read_curve, read_points,
    write_curve,
};
use burnwright::{
    Error, GainsFile, MonteCarlo, PlantFile, Report, Screen, SimulationFile, SimulationInputs,
    SimulationOptions, Site, Vehicle, begin_firing, look, look_at, read_firing, simulate,
};
use indexmap::IndexMap;
use serde_json::Value;

/// A log: looked at, with every column of numbers read, and a firing file begun from it.
pub fn log(bytes: &[u8]) {
    let path = written("log.csv", bytes);
    match look_at(&path, None) {
        Ok(seen) => {
            let look = look(vec![seen]);
            assert!(!look.json().is_empty());
            assert!(!look.text(Screen::default()).is_empty());
            let start = begin_firing(&look, &["log.csv".to_owned()]);
            assert!(!start.text.is_empty());
        }
        Err(problems) => told(&problems),
    }
}

/// A points file, and the curve through it.
pub fn points(bytes: &[u8]) {
    let path = written("points.csv", bytes);
    let read = read_points(&path, &gravity_at(&Site::default()));
    let judged = read.and_then(|points| {
        let (cell, judgement) = judge(&points, None)?;
        let curve = write_curve(&cell.curve, points.kind, "fuzzed")?;
        Ok((points.kind, curve, judgement))
    });
    match judged {
        Ok((kind, curve, judgement)) => {
            let text = judgement_text(&judgement, Screen::default());
            assert!(!text.is_empty());
            let again = read_curve(&written("curve.toml", curve.as_bytes()), kind);
            assert!(again.is_ok(), "its own curve file is refused: {curve}");
        }
        Err(problems) => told(&problems),
    }
}

/// A firing file; the files it names are not there, but for those of its own folder.
pub fn firing_file(bytes: &[u8]) {
    if let Err(problems) = read_firing(&written("firing.toml", bytes)) {
        told(&problems);
    }
}

/// A plant file: its header for the controller, and a flight of it with gains that were tuned on another.
/// Text seldom stays a plant file under random changes, so an input that begins with [`EDITS`] stands for
/// changes of numbers in a whole one.
pub fn plant_file(bytes: &[u8]) {
    let plant = match bytes.split_first() {
        Some((&EDITS, edits)) => edited_plant(edits),
        _ => serde_json::from_slice(bytes),
    };
    let Ok(plant) = plant else { return };
    if !plant.misfits().is_empty() {
        return;
    }
    assert!(!plant_header(&plant).is_empty());
    let gains: GainsFile = serde_json::from_str(include_str!("../gains.json")).expect("gains");
    match flown(&plant, &gains, &Vehicle::default()) {
        Ok(flown) => assert!(!flown.json().is_empty()),
        Err(problems) => told(&problems),
    }
}

/// Two flights of a plant with gains.
pub fn flown(
    plant: &PlantFile,
    gains: &GainsFile,
    vehicle: &Vehicle,
) -> Result<SimulationFile, Error> {
    let options = SimulationOptions {
        monte_carlo: MonteCarlo {
            runs: 2,
            seed: 1,
            tilt_limit_deg: 30.0,
            spreads: vehicle.spreads,
        },
        only: None,
        threads: 1,
    };
    let inputs = SimulationInputs {
        plant,
        plant_name: "plant.json",
        gains,
        gains_name: "gains.json",
        vehicle,
        recorded: &IndexMap::new(),
    };
    simulate(&inputs, &options, &|_| ())
}

/// No JSON begins with it.
pub const EDITS: u8 = 0xff;

/// A plant file with some of its numbers changed: each edit is which number, then eight bytes of its new
/// value; what is no finite number stands for `null`.
fn edited_plant(edits: &[u8]) -> serde_json::Result<PlantFile> {
    let mut plant: Value = serde_json::from_str(include_str!("../seeds/plant_file/pitch.json"))?;
    for edit in edits.chunks_exact(9) {
        let mut left = usize::from(edit[0]);
        let new: [u8; 8] = edit[1..].try_into().unwrap_or_default();
        change_number(&mut plant, &mut left, f64::from_le_bytes(new));
    }
    serde_json::from_value(plant)
}

/// Changes the number that `left` others come before; `false` when there are fewer.
fn change_number(value: &mut Value, left: &mut usize, new: f64) -> bool {
    match value {
        Value::Number(_) if *left == 0 => {
            *value = Value::from(new);
            true
        }
        Value::Number(_) => {
            *left -= 1;
            false
        }
        Value::Array(all) => all.iter_mut().any(|one| change_number(one, left, new)),
        Value::Object(all) => all.values_mut().any(|one| change_number(one, left, new)),
        _ => false,
    }
}

/// A failure says something.
fn told(problems: &Error) {
    assert!(
        !problems.problems().is_empty(),
        "it failed and says nothing"
    );
    assert!(!problems.render().trim().is_empty());
}

/// The input as a file in a folder of this process's own.
fn written(name: &str, bytes: &[u8]) -> PathBuf {
    static FOLDER: OnceLock<tempfile::TempDir> = OnceLock::new();
    let folder = FOLDER.get_or_init(|| tempfile::tempdir().expect("a folder for inputs"));
    let thread = format!("{:?}-{name}", std::thread::current().id());
    let path = folder.path().join(thread);
    std::fs::write(&path, bytes).expect("a place for an input");
    path
}
