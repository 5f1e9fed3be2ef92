//! Do gains designed from a fitted plant keep their margins on the true one? Firings of the demo rig with
//! lag, delay, gain, dead band and inertia drawn anew, reduced, tuned for the rig, and the loop closed
//! around the truth.

use burnwright::internal::{
    AxisNumbers, AxisTruth, Rehearsal, SampledAxis, read_rehearsal, rehearse,
};
use burnwright::result::AxisGains;
use burnwright::{
    Body, Code, Diagnostic, Error, Outcome, Place, PlantFile, Scheduling, Specification,
    read_firing, reduce, tune,
};
use rand::rngs::ChaCha8Rng;
use rand::{RngExt, SeedableRng};
use std::path::Path;

use super::draw::{drawn, steer_by_steps};
use super::study::{FIRST_SEED, gathered};

/// What the phase margin on the truth is held against, deg.
pub const PHASE_DEG: f64 = 30.0;
/// Findings of a design that are on the loop: stability and five margins.
const ON_THE_LOOP: usize = 6;

/// One axis of one firing.
pub struct Case {
    by_thrust: bool,
    /// Whether every finding on the loop holds.
    pub holds: bool,
    /// Smallest phase margin on the true plant over thrust and inertia, deg; below zero when unstable.
    pub phase_deg: f64,
    /// That of the fitted plant.
    said_deg: f64,
}

/// Rehearses, reduces, tunes and closes the loop around the truth.
///
/// # Errors
/// A rehearsal or a firing that cannot be read: none should be.
pub fn study(firings: u64) -> Result<String, Error> {
    Ok(table(&cases(firings, FIRST_SEED)?, firings))
}

/// The designs of some firings.
///
/// # Errors
/// As above.
pub fn cases(firings: u64, first_seed: u64) -> Result<Vec<Case>, Error> {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/twin-captive/REHEARSAL.toml");
    let mut plan = read_rehearsal(&file)?;
    steer_by_steps(&mut plan);
    gathered(firings, |job| one(&plan, first_seed + job))
}

fn one(plan: &Rehearsal, seed: u64) -> Result<Vec<Case>, Error> {
    let mut rehearsal = drawn(plan, seed);
    let mut dice = ChaCha8Rng::seed_from_u64(seed ^ 0x6a19_5000);
    let mut between = |low: f64, high: f64| low + (high - low) * dice.random::<f64>();
    for axis in rehearsal.axes.values_mut() {
        axis.lag_s *= between(0.6, 1.8);
        axis.delay_s *= between(0.5, 2.0);
        axis.gain *= between(0.85, 1.15);
        axis.dead_band_width_deg *= between(0.5, 1.5);
    }
    let Some(plant) = plant(&rehearsal)? else {
        return Ok(vec![]);
    };
    let mut out = Vec::new();
    for scheduling in [Scheduling::Never, Scheduling::Always] {
        let specification = Specification {
            body: Body::Rig,
            scheduling,
            draws: 100,
            ..Specification::default()
        };
        // A plant that does not tell what a loop needs is refused, and counts for nothing.
        let Ok(gains) = tune(&plant, "plant.json", &specification) else {
            continue;
        };
        for (name, axis) in &gains.axes {
            if let Some(truth) = rehearsal.axes.get(name) {
                out.push(case(axis, truth));
            }
        }
    }
    Ok(out)
}

fn plant(rehearsal: &Rehearsal) -> Result<Option<PlantFile>, Error> {
    let failed = |error: &std::io::Error| {
        Error::from(
            Diagnostic::error(Code::CannotWrite, error.to_string())
                .at(Place::file("a temporary folder")),
        )
    };
    let folder = tempfile::tempdir().map_err(|error| failed(&error))?;
    for file in rehearse(rehearsal)? {
        std::fs::write(folder.path().join(&file.path), &file.bytes)
            .map_err(|error| failed(&error))?;
    }
    let firing = read_firing(&folder.path().join("firing.toml"))?;
    Ok(reduce(&firing)?.plant)
}

fn case(gains: &AxisGains, truth: &AxisTruth) -> Case {
    let [low, high] = gains.thrust_n;
    let by_thrust = gains.schedule.is_some();
    let mut phase_deg = f64::INFINITY;
    for inertia in [truth.inertia_kg_m2, truth.inertia_spent_kg_m2] {
        let numbers = AxisNumbers {
            gain: truth.gain,
            bias_deg: truth.bias_deg,
            lag_s: truth.lag_s,
            delay_s: truth.delay_s,
            dead_band: truth.dead_band,
            width_deg: truth.dead_band_width_deg,
            effectiveness_per_kg_m: truth.arm_m / inertia,
            damping_per_s: truth.damping_per_s,
            stiffness_per_s2: truth.stiffness_per_s2,
            ..AxisNumbers::default()
        };
        let axis = SampledAxis::new(&numbers, gains.controller.period_s, gains.latency_s);
        for at in 0..9 {
            // Gains by thrust meet thrust within 10 % of what they follow, whatever it is.
            let thrust_n = if by_thrust {
                (low * high).sqrt() * (0.9 + 0.025 * f64::from(at))
            } else {
                low * (high / low).powf(f64::from(at) / 8.0)
            };
            let found = axis.margins(&gains.controller, thrust_n);
            let here = found.phase_deg.unwrap_or(180.0);
            phase_deg = phase_deg.min(if found.stable { here } else { -1.0 });
        }
    }
    let loop_findings = gains.findings.iter().take(ON_THE_LOOP);
    let chosen = gains.compared.iter().find(|one| one.chosen);
    Case {
        by_thrust,
        holds: loop_findings
            .into_iter()
            .all(|one| one.outcome == Outcome::Holds),
        phase_deg,
        said_deg: chosen
            .and_then(|one| one.nominal.phase_deg)
            .unwrap_or(f64::NAN),
    }
}

fn table(cases: &[Case], firings: u64) -> String {
    let mut out = format!("{firings} firings, {} designs\n\n", cases.len());
    out += "| gains | designs | findings hold | of them 30 deg on the true plant | unstable on it | smallest | mean said | mean true |\n|---|---|---|---|---|---|---|---|\n";
    for (name, by_thrust) in [("fixed", false), ("by thrust", true)] {
        let own: Vec<&Case> = cases
            .iter()
            .filter(|one| one.by_thrust == by_thrust)
            .collect();
        let held: Vec<&&Case> = own.iter().filter(|one| one.holds).collect();
        let kept = held.iter().filter(|one| one.phase_deg >= PHASE_DEG).count();
        let unstable = held.iter().filter(|one| one.phase_deg < 0.0).count();
        let smallest = held
            .iter()
            .map(|one| one.phase_deg)
            .fold(f64::INFINITY, f64::min);
        let mean = |get: fn(&Case) -> f64| {
            held.iter().map(|one| get(one)).sum::<f64>() / held.len().max(1) as f64
        };
        out += &format!(
            "| {name} | {} | {} | {kept} | {unstable} | {smallest:.1} deg | {:.1} deg | {:.1} deg |\n",
            own.len(),
            held.len(),
            mean(|one| one.said_deg),
            mean(|one| one.phase_deg)
        );
    }
    out
}
