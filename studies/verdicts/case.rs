//! One drawn firing, reduced: what was said of each motor beside what is true of it.

use std::path::Path;
use std::time::{Duration, Instant};

use burnwright::result::Lit;
use burnwright::{FiringResult, Measured, read_firing, reduce};

use super::firings::{self, Firing, Kind, MotorTruth, Together, Truth};

/// One firing.
pub struct Case {
    /// Its seed.
    pub seed: u64,
    /// What happened in it beside dead motors.
    pub kinds: Vec<Kind>,
    /// Its motors, or why it was refused.
    pub motors: Result<Vec<Judged>, String>,
    /// How many motors it has.
    pub count: usize,
    /// How long the whole reduction took.
    pub took: Duration,
    /// Each quantity of all motors together, where nothing odd happened: its name, its error in standard uncertainties, whether
    /// its interval holds the truth.
    pub together: Vec<(&'static str, f64, bool)>,
}

/// One motor.
pub struct Judged {
    /// What is true.
    pub truth: MotorTruth,
    /// What was said.
    pub said: Lit,
    /// The probability stated that it lit.
    pub probability: f64,
    /// The ignition stated, less the true one, s, and whether the interval holds it.
    pub ignition: Option<(f64, bool)>,
    /// The impulse stated, N s.
    pub total_ns: Option<f64>,
    /// What says so: where from, and its weight.
    pub evidence: Vec<(String, f64)>,
    /// How many motors share its cell.
    pub in_cell: usize,
    /// What was odd about it, its cell or the whole firing.
    pub kinds: Vec<Kind>,
}

impl Case {
    /// Draws the firing of a seed and reduces it.
    pub fn of(seed: u64) -> Self {
        let firing = firings::draw(seed);
        let (reduced, took) = reduced(&firing);
        let truth = firing.truth;
        Self {
            seed,
            kinds: kinds(truth.causes.iter().map(|cause| cause.kind)),
            count: truth.motors.len(),
            together: match (&reduced, truth.together) {
                (Ok(result), Some(true_of)) if truth.causes.is_empty() => {
                    together(result, &true_of)
                }
                _ => Vec::new(),
            },
            motors: reduced.map(|result| judged(&result, &truth)),
            took,
        }
    }
}

impl Judged {
    /// Whether the verdict is wrong; `None` while undecided.
    pub fn wrong(&self) -> Option<bool> {
        (self.said != Lit::Undecided).then(|| (self.said == Lit::Lit) != self.truth.lit)
    }

    /// Stated over 0.99 or under 0.01, and wrong.
    pub fn confidently_wrong(&self) -> bool {
        self.probability > 0.99 && !self.truth.lit || self.probability < 0.01 && self.truth.lit
    }
}

fn kinds(each: impl Iterator<Item = Kind>) -> Vec<Kind> {
    let mut out: Vec<Kind> = each.collect();
    out.sort_unstable();
    out.dedup();
    out
}

/// Writes a firing's files into a folder.
///
/// # Errors
/// What the file system says.
pub fn write(firing: &Firing, folder: &Path) -> std::io::Result<()> {
    std::fs::create_dir_all(folder)?;
    for (name, text) in firing.files() {
        std::fs::write(folder.join(name), text)?;
    }
    let mut truth = format!("{:?}\n{:#?}\n", firing.truth.together, firing.truth.motors);
    for cause in &firing.truth.causes {
        truth += &format!("{} at {}: {}\n", cause.kind.name(), cause.at, cause.detail);
    }
    std::fs::write(folder.join("truth.txt"), truth)
}

/// Reduces a firing; how long it took.
pub fn reduced(firing: &Firing) -> (Result<FiringResult, String>, Duration) {
    let folder = match tempfile::tempdir() {
        Ok(folder) => folder,
        Err(why) => return (Err(why.to_string()), Duration::ZERO),
    };
    if let Err(why) = write(firing, folder.path()) {
        return (Err(why.to_string()), Duration::ZERO);
    }
    let begun = Instant::now();
    let reduced =
        read_firing(&folder.path().join("firing.toml")).and_then(|firing| reduce(&firing));
    let result = reduced.map(|reduced| reduced.result);
    (
        result.map_err(|why| why.render().lines().next().unwrap_or_default().to_owned()),
        begun.elapsed(),
    )
}

fn together(result: &FiringResult, truth: &Together) -> Vec<(&'static str, f64, bool)> {
    let (burn, impulse) = (result.burn.as_ref(), result.impulse.as_ref());
    let thrust = result.thrust.as_ref();
    let (from_s, to_s) = truth.burn_s;
    let each = [
        (
            "burn begins",
            burn.and_then(|one| one.ignition_s.as_ref()),
            from_s,
        ),
        (
            "burn ends",
            burn.and_then(|one| one.burnout_s.as_ref()),
            to_s,
        ),
        (
            "burn time",
            burn.and_then(|one| one.burn_time_s.as_ref()),
            to_s - from_s,
        ),
        (
            "peak thrust",
            thrust.and_then(|one| one.peak_n.as_ref()),
            truth.peak_n,
        ),
        (
            "total impulse",
            impulse.and_then(|one| one.total_ns.as_ref()),
            truth.impulse_ns,
        ),
    ];
    let held = each.into_iter().filter_map(|(name, said, truth)| {
        let said = said?;
        Some((name, (said.value - truth) / said.u, said.covers(truth)))
    });
    held.collect()
}

fn judged(result: &FiringResult, truth: &Truth) -> Vec<Judged> {
    let one = |motor: &MotorTruth| {
        let said = result.motors.as_ref()?.get(&motor.name)?;
        let error = |ignition: &Measured, true_s: f64| {
            let held = (ignition.low..=ignition.high).contains(&true_s);
            (ignition.value - true_s, held)
        };
        Some(Judged {
            said: said.lit,
            probability: said.probability.unwrap_or(0.5),
            ignition: said
                .ignition_s
                .as_ref()
                .zip(motor.ignition_s)
                .map(|(said, true_s)| error(said, true_s)),
            evidence: said
                .evidence
                .iter()
                .map(|one| (one.from.clone(), one.weight))
                .collect(),
            total_ns: said.total_ns.as_ref().map(|total| total.value),
            in_cell: truth
                .motors
                .iter()
                .filter(|other| other.cell == motor.cell)
                .count(),
            kinds: kinds(truth.causes_of(motor).map(|cause| cause.kind)),
            truth: motor.clone(),
        })
    };
    truth.motors.iter().filter_map(one).collect()
}
