//! Is the verdict on the motors right, and are its probabilities what they say? One to four motors on
//! one cell, or two on a cell each; each lights, stays dead, hangs fire, burns weakly or goes out early.

use std::f64::consts::TAU;

use burnwright::Error;
use burnwright::internal::{MotorTruth, Rehearsal, class_letter, read_rehearsal};
use rand::rngs::ChaCha8Rng;
use rand::{RngExt, SeedableRng};
use serde_json::Value;

use super::draw::drawn;
use super::study::{Kind, gathered, reduced};

/// First seed of the study. Nothing is tuned on these firings: what is mended is mended on others.
const HELD_OUT: u64 = 9_000_001;

/// What becomes of a motor, and how often.
const FATES: [(&str, f64); 5] = [
    ("lit", 0.55),
    ("dead", 0.2),
    ("late", 0.1),
    ("weak", 0.08),
    ("out early", 0.07),
];

/// A motor's course differs from its certificate by a slow wave of this relative amplitude (standard
/// deviation over motors), with a period between these, s.
const WAVE: f64 = 0.03;
const PERIOD_S: (f64, f64) = (0.4, 1.6);

/// Edges of the bins of stated probability.
const BINS: [f64; 6] = [0.0, 0.01, 0.2, 0.8, 0.99, 1.0];

/// One motor of one firing.
#[derive(Debug)]
pub struct Case {
    /// Whether it has a cell of its own: alone on its cell, or one of two with a cell each.
    pub own_cell: bool,
    pub lit: bool,
    pub says: String,
    pub probability: Option<f64>,
    /// Another motor of the same design in the same cell met another fate as to lighting: nothing can
    /// tell which.
    pub like_another: bool,
    /// How many motors lit, true and stated.
    pub counts: (usize, usize),
    pub all_lit: (bool, Option<f64>),
    /// Letter of all motors together, where the truth lies more than two standard uncertainties from the
    /// ends of its class: whether it is right; told by the first motor of a firing.
    pub letter: Option<bool>,
}

/// Rehearses and reduces firings, and tells how the verdicts did.
///
/// # Errors
/// A rehearsal or a firing that cannot be read: none should be.
pub fn study(firings: u64) -> Result<String, Error> {
    Ok(table(&cases(HELD_OUT, firings)?, firings))
}

/// Every motor of so many firings from a seed on.
///
/// # Errors
/// A rehearsal or a firing that cannot be read: none should be.
pub fn cases(first_seed: u64, firings: u64) -> Result<Vec<Case>, Error> {
    let plans = ["cluster", "own-cells"]
        .iter()
        .filter_map(|name| Kind::named(name))
        .map(|kind| read_rehearsal(&kind.file))
        .collect::<Result<Vec<_>, _>>()?;
    gathered(firings, |job| one(&plans, first_seed + job))
}

fn one(plans: &[Rehearsal], seed: u64) -> Result<Vec<Case>, Error> {
    let mut random = ChaCha8Rng::seed_from_u64(seed ^ 0x0011_7000);
    // A quarter of the firings have a cell for each motor.
    let own = random.random::<f64>() < 0.25;
    let mut rehearsal = drawn(&plans[usize::from(own)], seed);
    if !own {
        let count = 1 + (random.random::<f64>() * 4.0) as usize;
        while rehearsal.motors.len() > count {
            let out = (random.random::<f64>() * rehearsal.motors.len() as f64) as usize;
            rehearsal.motors.shift_remove_index(out);
        }
    }
    for motor in rehearsal.motors.values_mut() {
        unlike_certificate(motor, &mut random);
        match fate(random.random::<f64>()) {
            "dead" => motor.lights = false,
            "late" => motor.delay_s += 0.3 + 1.2 * random.random::<f64>(),
            "weak" => motor.impulse_scale *= 0.85,
            "out early" => motor.goes_out_s = Some(0.3 + 0.7 * random.random::<f64>()),
            _ => {}
        }
    }
    let (result, truth) = reduced(&rehearsal)?;
    Ok(cases_of(&rehearsal, own, &result, &truth))
}

/// Bends the curve that burns, not the one that the firing file names.
fn unlike_certificate(motor: &mut MotorTruth, random: &mut ChaCha8Rng) {
    let size = WAVE * ((0..12).map(|_| random.random::<f64>()).sum::<f64>() - 6.0);
    let period_s = PERIOD_S.0 + (PERIOD_S.1 - PERIOD_S.0) * random.random::<f64>();
    let phase = TAU * random.random::<f64>();
    if let Some(curve) = &mut motor.certified.thrust_curve {
        let wave = |time_s: f64| 1.0 + size * (TAU * time_s / period_s + phase).sin();
        *curve = curve.map(|time_s, thrust_n| thrust_n * wave(time_s));
    }
}

fn fate(mut share: f64) -> &'static str {
    for (fate, part) in FATES {
        if share < part {
            return fate;
        }
        share -= part;
    }
    FATES[0].0
}

fn cases_of(rehearsal: &Rehearsal, own: bool, result: &Value, truth: &Value) -> Vec<Case> {
    let lit = |name: &str| truth["motors"][name]["lit"].as_bool().unwrap_or(false);
    let count = |value: &Value| value.as_u64().unwrap_or(u64::MAX) as usize;
    let stated = letter_right(result, truth);
    let motor = |(name, one): (&String, &MotorTruth)| {
        let others = rehearsal.motors.iter().filter(|(other, _)| *other != name);
        let like_another = !own
            && others
                .filter(|(_, other)| other.certified_path == one.certified_path)
                .any(|(other, _)| lit(other) != lit(name));
        let said = &result["motors"][name.as_str()];
        Case {
            own_cell: own || rehearsal.motors.len() == 1,
            lit: lit(name),
            says: said["lit"].as_str().unwrap_or("nothing").to_owned(),
            probability: said["probability"].as_f64(),
            like_another,
            counts: (
                count(&truth["ignition"]["lit_count"]),
                count(&result["ignition"]["lit_count"]),
            ),
            all_lit: (
                truth["ignition"]["all_lit"].as_bool().unwrap_or(false),
                result["ignition"]["probability"].as_f64(),
            ),
            letter: stated.filter(|_| rehearsal.motors.keys().next() == Some(name)),
        }
    };
    rehearsal.motors.iter().map(motor).collect()
}

fn letter_right(result: &Value, truth: &Value) -> Option<bool> {
    let total_ns = truth["impulse"]["total_ns"].as_f64()?;
    let u_ns = result["impulse"]["total_ns"]["u"].as_f64()?;
    let class = class_letter(total_ns)?;
    let nearest = f64::min(total_ns - class.lower_ns, class.upper_ns - total_ns);
    let right = result["class"]["letter"].as_str() == Some(class.letter);
    (nearest > 2.0 * u_ns).then_some(right)
}

fn table(cases: &[Case], firings: u64) -> String {
    let mut out = format!("{firings} firings, {} motors\n\n", cases.len());
    out += "| motors | said lit | said not lit | said undecided | count wrong |\n|---|---|---|---|---|\n";
    type Which<'a> = (&'a str, &'a dyn Fn(&Case) -> bool);
    let groups: [Which<'_>; 5] = [
        ("that lit, own cell", &|one| one.lit && one.own_cell),
        ("that did not, own cell", &|one| !one.lit && one.own_cell),
        ("that lit, shared cell", &|one| {
            one.lit && !one.own_cell && !one.like_another
        }),
        ("that did not, shared cell", &|one| {
            !one.lit && !one.own_cell && !one.like_another
        }),
        ("like another of other fate", &|one| one.like_another),
    ];
    for (name, which) in groups {
        let group: Vec<&Case> = cases.iter().filter(|one| which(one)).collect();
        let said = |word: &str| group.iter().filter(|one| one.says == word).count();
        let wrong = group.iter().filter(|one| one.counts.0 != one.counts.1);
        out += &format!(
            "| {} {name} | {} | {} | {} | {} |\n",
            group.len(),
            said("lit"),
            said("not lit"),
            said("undecided"),
            wrong.count()
        );
    }
    out += "\n| stated probability | motors | of them lit | all lit stated | of them true |\n|---|---|---|---|---|\n";
    for ends in BINS.windows(2) {
        let within =
            |p: Option<f64>| p.is_some_and(|p| p >= ends[0] && (p < ends[1] || ends[1] >= 1.0));
        let motors: Vec<&Case> = cases.iter().filter(|one| within(one.probability)).collect();
        let all: Vec<&Case> = cases.iter().filter(|one| within(one.all_lit.1)).collect();
        out += &format!(
            "| {} to {} | {} | {} | {} | {} |\n",
            ends[0],
            ends[1],
            motors.len(),
            motors.iter().filter(|one| one.lit).count(),
            all.len(),
            all.iter().filter(|one| one.all_lit.0).count()
        );
    }
    let letters: Vec<bool> = cases.iter().filter_map(|one| one.letter).collect();
    out += &format!(
        "\nletter of all motors together, more than 2 u from a class end: {} of {} right\n",
        letters.iter().filter(|right| **right).count(),
        letters.len()
    );
    out
}
