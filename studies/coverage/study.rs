//! Rehearse, reduce, compare: one seed after the other, on as many threads as there are cores.

use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};

use burnwright::internal::{Rehearsal, read_rehearsal, rehearse};
use burnwright::{Code, Diagnostic, Error, Place, read_firing, reduce};
use serde_json::Value;

use super::draw::drawn;

/// First seed: no rehearsal kept in the repository uses it or a later one.
pub const FIRST_SEED: u64 = 400_001;

/// Kinds of firing: name, rehearsal file from the repository's folder, and what it is hard on.
pub const KINDS: [(&str, &str, &str); 9] = [
    (
        "captive",
        "demo-data/twin-captive/REHEARSAL.toml",
        "two motors in one cell at 1 kHz, a computer tied by an edge",
    ),
    (
        "slow",
        "studies/coverage/kinds/slow.toml",
        "one motor, a converter of 80 readings a second",
    ),
    (
        "ringing",
        "studies/coverage/kinds/ringing.toml",
        "a light stand that rings at 41 Hz",
    ),
    (
        "drift",
        "studies/coverage/kinds/drift.toml",
        "a zero line that drifts and wanders",
    ),
    (
        "dirt",
        "studies/coverage/kinds/dirt.toml",
        "end codes, doubled, swapped and lost rows, decimal commas, a cut-off end",
    ),
    (
        "two-clocks",
        "studies/coverage/kinds/two-clocks.toml",
        "a computer tied by the shape of the tilt in both logs",
    ),
    (
        "nozzle-up",
        "studies/coverage/kinds/nozzle-up.toml",
        "propellant weight taken off the reading",
    ),
    (
        "ground",
        "studies/coverage/kinds/ground.toml",
        "a cell on the ground under a tilting rig, a computer tied by a stated offset",
    ),
    (
        "own-cells",
        "studies/coverage/kinds/own-cells.toml",
        "a cell for each of two motors, one set of weights behind both",
    ),
];

/// A kind that only the study of which motors lit takes.
const CLUSTER: (&str, &str) = ("cluster", "studies/coverage/kinds/cluster.toml");

/// A kind of firing to rehearse.
#[derive(Debug, Clone)]
pub struct Kind {
    /// Its name.
    pub name: String,
    /// Its rehearsal file.
    pub file: PathBuf,
    /// Whether the plant's numbers are compared as well.
    pub plant: bool,
}

impl Kind {
    /// Every kind of the study.
    #[must_use]
    pub fn all() -> Vec<Self> {
        KINDS
            .iter()
            .filter_map(|kind| Self::named(kind.0))
            .collect()
    }

    /// A kind by its name, or `plant:` and a rehearsal file.
    #[must_use]
    pub fn named(word: &str) -> Option<Self> {
        let repository = Path::new(env!("CARGO_MANIFEST_DIR"));
        if let Some(file) = word.strip_prefix("plant:") {
            return Some(Self {
                name: "plant".to_owned(),
                file: PathBuf::from(file),
                plant: true,
            });
        }
        if word == CLUSTER.0 {
            return Some(Self {
                name: word.to_owned(),
                file: repository.join(CLUSTER.1),
                plant: false,
            });
        }
        let (name, file, _) = KINDS.iter().find(|kind| kind.0 == word)?;
        Some(Self {
            name: (*name).to_owned(),
            file: repository.join(file),
            plant: false,
        })
    }
}

/// One quantity of one firing against its truth.
#[derive(Debug, Clone)]
pub struct Case {
    /// Number of the kind.
    pub kind: usize,
    /// The quantity, by its place in `result.json`.
    pub quantity: String,
    /// Stated less true.
    pub error: f64,
    /// Standard uncertainty stated.
    pub u: f64,
    /// Half the width of the interval stated.
    pub half_width: f64,
    /// Whether the interval holds the truth.
    pub covered: bool,
}

/// Quantities of `result.json`; their truth stands at the same place of `truth.json`.
const QUANTITIES: [&str; 12] = [
    "impulse.total_ns",
    "impulse.burn_window_ns",
    "impulse.specific_s",
    "burn.ignition_s",
    "burn.burnout_s",
    "burn.burn_time_s",
    "burn.action_time_s",
    "thrust.peak_n",
    "thrust.average_n",
    "ignition.stagger_s",
    "clocks.computer.offset_s",
    "clocks.computer.drift_ppm",
];

/// Quantities of an axis of the plant, and where their truth stands.
const PLANT: [(&str, &str); 9] = [
    ("actuator.gain", "gain"),
    ("actuator.lag_s", "lag_s"),
    ("actuator.delay_s", "delay_s"),
    ("actuator.dead_band.width_deg", "dead_band.width_deg"),
    (
        "rig.effectiveness_per_kg_m",
        "effectiveness_loaded_per_kg_m",
    ),
    ("rig.thrust_bias_per_kg_m", "thrust_bias_per_kg_m"),
    ("rig.damping_per_s", "damping_per_s"),
    ("rig.stiffness_per_s2", "stiffness_per_s2"),
    ("rig.coulomb_rad_per_s2", "coulomb_rad_per_s2"),
];

/// Does so many jobs on all cores and gathers what they find, in the order in which they end.
///
/// # Errors
/// Those of the first job that fails.
pub fn gathered<T: Send>(
    jobs: u64,
    one: impl Fn(u64) -> Result<Vec<T>, Error> + Sync,
) -> Result<Vec<T>, Error> {
    let (next, all) = (AtomicU64::new(0), Mutex::new(Ok(Vec::new())));
    let work = || {
        loop {
            let job = next.fetch_add(1, Ordering::Relaxed);
            if job >= jobs {
                return;
            }
            let found = one(job);
            let Ok(mut all) = all.lock() else { return };
            match (found, all.as_mut()) {
                (Ok(found), Ok(all)) => all.extend(found),
                (Err(problems), Ok(_)) => *all = Err(problems),
                (_, Err(_)) => return,
            }
        }
    };
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        for _ in 0..threads {
            scope.spawn(work);
        }
    });
    all.into_inner().unwrap_or_else(|_| Ok(Vec::new()))
}

/// Rehearses and reduces every kind with every seed.
///
/// # Errors
/// A rehearsal or a firing that cannot be read: none should be.
pub fn study(kinds: &[Kind], seeds: u64) -> Result<Vec<Case>, Error> {
    let plans = kinds
        .iter()
        .map(|kind| read_rehearsal(&kind.file))
        .collect::<Result<Vec<Rehearsal>, _>>()?;
    gathered(seeds * plans.len() as u64, |job| {
        // No two firings share a seed, or all kinds would share the luck of a draw.
        let (kind, seed) = ((job / seeds) as usize, FIRST_SEED + job);
        one(kind, &plans[kind], kinds[kind].plant, seed)
    })
}

/// One firing, its quantities against the truth.
fn one(kind: usize, plan: &Rehearsal, plant: bool, seed: u64) -> Result<Vec<Case>, Error> {
    let rehearsal = drawn(plan, seed);
    let (result, truth) = reduced(&rehearsal)?;
    let mut places: Vec<(String, String)> = QUANTITIES
        .iter()
        .map(|place| ((*place).to_owned(), (*place).to_owned()))
        .collect();
    if plant {
        for axis in rehearsal.axes.keys() {
            for (stated, true_one) in PLANT {
                places.push((
                    format!("plant.{axis}.{stated}"),
                    format!("plant.{axis}.{true_one}"),
                ));
            }
        }
    }
    let cases = places.into_iter().filter_map(|(quantity, true_one)| {
        let mut true_one = find(&truth, &true_one).clone();
        // The thrust bias of the truth is a mean over the burn, the fitted one holds at ignition.
        if quantity.ends_with("thrust_bias_per_kg_m") {
            let axis = &truth["plant"][quantity.split('.').nth(1)?];
            let of = |key: &str| axis[key].as_f64();
            let lighter = of("effectiveness_loaded_per_kg_m")? / of("effectiveness_per_kg_m")?;
            true_one = Value::from(true_one.as_f64()? * lighter);
        }
        compare(kind, &quantity, find(&result, &quantity), &true_one)
    });
    Ok(cases.collect())
}

/// Goes through a rehearsal and reduces it: the result and the truth.
///
/// # Errors
/// A firing that cannot be read.
pub fn reduced(rehearsal: &Rehearsal) -> Result<(Value, Value), Error> {
    let folder = tempfile::tempdir().map_err(|error| failed(&error))?;
    let mut truth = Value::Null;
    for file in rehearse(rehearsal)? {
        if file.path == "truth.json" {
            truth = serde_json::from_slice(&file.bytes).unwrap_or_default();
        }
        std::fs::write(folder.path().join(&file.path), &file.bytes)
            .map_err(|error| failed(&error))?;
    }
    let firing = read_firing(&folder.path().join("firing.toml"))?;
    let result = reduce(&firing)?.result;
    Ok((serde_json::to_value(&result).unwrap_or_default(), truth))
}

fn failed(error: &std::io::Error) -> Error {
    Diagnostic::error(Code::CannotWrite, error.to_string())
        .at(Place::file("a temporary folder"))
        .into()
}

/// What stands at a place of a document.
#[must_use]
pub fn find<'a>(value: &'a Value, path: &str) -> &'a Value {
    path.split('.').fold(value, |value, key| &value[key])
}

fn compare(kind: usize, quantity: &str, stated: &Value, truth: &Value) -> Option<Case> {
    let number = |key: &str| stated[key].as_f64();
    let truth = truth.as_f64()?;
    let (value, low, high) = (number("value")?, number("low")?, number("high")?);
    Some(Case {
        kind,
        quantity: quantity.to_owned(),
        error: value - truth,
        u: number("u")?,
        half_width: 0.5 * (high - low),
        covered: (low..=high).contains(&truth),
    })
}
