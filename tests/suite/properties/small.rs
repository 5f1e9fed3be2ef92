//! A firing so small that reducing it takes some hundredths of a second, and what is made from it.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::OnceLock;

use burnwright::internal::{read_rehearsal, rehearse};
use burnwright::{PlantFile, Report, Specification, read_firing, reduce, tune};
use tempfile::TempDir;

use crate::runner::repository;

/// Names and texts of files.
pub type Files = BTreeMap<String, String>;

/// One recorder, one cell, one motor.
const PLAIN: &str = r#"
title = "Small"
seed = 1
fire = "1 s"
lasts = "4.5 s"
[recorder.stand]
file = "stand.csv"
rate = "100 Hz"
time = { column = "t_ms", unit = "ms" }
[recorder.stand.columns]
raw = { of = "cell.base" }
fire = { of = "fire" }
[cell.base]
zero = 8000
slope = 4000.0
noise = 20
says = { capacity = "98 N" }
[cell.base.points]
loads = ["0 kg", "1 kg", "2 kg", "4 kg"]
[stand]
mount = "nozzle-down"
[motor.left]
certified = "finch-24.toml"
propellant = "20 g"
delay = "100 ms"
"#;

/// The same with an axis that is steered.
const STEERED: &str = r#"
[axis.pitch]
gain = 0.93
lag = "22 ms"
delay = "12 ms"
travel = "5 deg"
arm = "310 mm"
inertia = "0.081 kg m2"
friction = "2.5 mN m"
wind = "0.3 mN m"
[computer]
recorder = "stand"
limit = "4.5 deg"
lasts = "2.6 s"
[computer.axis.pitch]
pattern = "steps"
amplitude = "2.6 deg"
smallest = "0.5 deg"
dwell = "170 ms"
shortest = "70 ms"
kp = 0.45
[vehicle]
mass = "1.18 kg"
inertia = "0.0665 kg m2"
arm = "280 mm"
"#;

/// Columns that the steered one has more.
const COLUMNS: &str = "[recorder.stand.columns]\ntilt = { of = \"tilt.pitch\" }\nrate = { of = \"rate.pitch\" }\n\
                       command = { of = \"command.pitch\" }\nnozzle = { of = \"nozzle.pitch\" }\n";

/// The rehearsal of the small firing.
pub fn rehearsal(steered: bool) -> String {
    if steered {
        format!("{PLAIN}{STEERED}").replace("[recorder.stand.columns]\n", COLUMNS)
    } else {
        PLAIN.to_owned()
    }
}

/// Writes files into a folder of their own.
pub fn laid_out(files: &Files) -> TempDir {
    let folder = TempDir::new().unwrap();
    for (name, text) in files {
        put(folder.path(), name, text.as_bytes());
    }
    folder
}

pub fn put(folder: &Path, name: &str, bytes: &[u8]) {
    std::fs::write(folder.join(name), bytes).unwrap();
}

/// The firing's files.
pub fn firing(steered: bool) -> &'static Files {
    static MADE: [OnceLock<Files>; 2] = [OnceLock::new(), OnceLock::new()];
    MADE[usize::from(steered)].get_or_init(|| {
        let folder = TempDir::new().unwrap();
        let motor = repository().join("motor-curves/finch-24.toml");
        std::fs::copy(motor, folder.path().join("finch-24.toml")).unwrap();
        put(
            folder.path(),
            "REHEARSAL.toml",
            rehearsal(steered).as_bytes(),
        );
        let plan = read_rehearsal(&folder.path().join("REHEARSAL.toml"));
        let plan = plan.unwrap_or_else(|problems| panic!("{problems}"));
        let files = rehearse(&plan).unwrap();
        let text = |bytes| String::from_utf8(bytes).unwrap();
        files
            .into_iter()
            .map(|file| (file.path, text(file.bytes)))
            .collect()
    })
}

/// `plant.json` and `gains.json` of the steered one.
pub fn made() -> &'static Files {
    static MADE: OnceLock<Files> = OnceLock::new();
    MADE.get_or_init(|| {
        let folder = laid_out(firing(true));
        let read = read_firing(&folder.path().join("firing.toml")).unwrap();
        let reduction = reduce(&read).unwrap();
        let plant = reduction.plant.as_ref().unwrap();
        let gains = tune(plant, "plant.json", &few_draws()).unwrap();
        let mut out = Files::new();
        let plant = reduction.files().into_iter();
        let mut plant = plant.filter(|file| file.path == "plant.json");
        let plant = String::from_utf8(plant.next().unwrap().bytes).unwrap();
        out.insert("plant.json".to_owned(), plant);
        out.insert("gains.json".to_owned(), gains.json());
        // Read back as written.
        let again: PlantFile = serde_json::from_str(&out["plant.json"]).unwrap();
        assert_eq!(again.axes.len(), 1);
        out
    })
}

/// Specification that cost little.
pub fn few_draws() -> Specification {
    Specification {
        draws: 3,
        ..Specification::default()
    }
}
