//! One firing out of all that a firing file allows: what is only known within an uncertainty is
//! drawn from it.
//!
//! A rehearsal fixes the error of the weights, the propellant, the delay of the converter, the start
//! of each clock. Over the seeds of one rehearsal they would never change, and an interval that
//! allows for them would cover always or never. So each is drawn anew for each seed: from what the
//! firing file says of it (limits: uniform between them; `u`: normal), or, where the file is silent,
//! from the spread below.

use burnwright::internal::{Claims, Pattern, Rehearsal};
use burnwright::quantity::{
    Frequency, Given, Inertia, Length, Mass, Quantity, Ratio, Spread, Time, given,
};
use rand::rngs::ChaCha8Rng;
use rand::{RngExt, SeedableRng};

/// Motor-to-motor standard deviation of impulse, as a share: the firing file's own default.
const IMPULSE_SPREAD: f64 = 0.05;
/// ... of duration.
const DURATION_SPREAD: f64 = 0.03;
/// Ignition comes up to this much later, s: any instant between two readings is as likely.
const IGNITION_SPREAD_S: f64 = 0.03;
/// The fire command comes up to this much later, s.
const FIRE_SPREAD_S: f64 = 0.02;
/// Relative standard deviation of local gravity about the ellipsoid's: 50 mGal, as the reduction has it.
const GRAVITY_SPREAD: f64 = 5e-5;

/// Steers by random steps of the demo's first size: a pattern designed for one rig is none for a study of many.
pub fn steer_by_steps(plan: &mut Rehearsal) {
    let axes = plan.computer.iter_mut();
    for steering in axes.flat_map(|computer| computer.steering.values_mut()) {
        steering.pattern = Pattern::Steps;
        (steering.smallest_deg, steering.amplitude_deg) = (0.5, 2.6);
        (steering.shortest_s, steering.dwell_s) = (0.07, 0.17);
    }
}

/// The random numbers of one firing.
struct Dice(ChaCha8Rng);

impl Dice {
    fn uniform(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.0.random::<f64>()
    }

    /// Twelve uniform numbers added up (central limit theorem).
    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.0.random::<f64>()).sum::<f64>() - 6.0
    }

    fn sign(&mut self) -> f64 {
        if self.0.random::<bool>() { 1.0 } else { -1.0 }
    }

    /// A truth behind what was stated; `None` where nothing was said of how sure it is.
    fn behind<Q: Quantity>(&mut self, words: &str) -> Option<f64> {
        let given: Given<Q> = given::parse(words).ok()?;
        match given.spread {
            Spread::Unstated => None,
            Spread::Limits(half) => Some(given.si() + self.uniform(-half, half)),
            Spread::Standard(u) => Some(given.si() + u * self.normal()),
        }
    }

    /// Moves a truth to one that its claim allows.
    fn put<Q: Quantity>(&mut self, claims: &Claims, key: &str, truth: &mut f64) {
        let words = claims.iter().find(|claim| claim.0 == key);
        if let Some(value) = words.and_then(|claim| self.behind::<Q>(&claim.1)) {
            *truth = value;
        }
    }
}

/// The rehearsal with one seed, and everything it does not know exactly drawn.
#[must_use]
pub fn drawn(plan: &Rehearsal, seed: u64) -> Rehearsal {
    let mut out = plan.clone();
    out.seed = seed;
    // Apart from the streams of the rehearsal itself.
    let mut dice = Dice(ChaCha8Rng::seed_from_u64(seed ^ 0x5eed_0000_0000));
    out.fire_s += dice.uniform(0.0, FIRE_SPREAD_S);
    out.gravity_m_s2 *= 1.0 + GRAVITY_SPREAD * dice.normal();
    cells(&mut out, &mut dice);
    motors(&mut out, &mut dice);
    clocks(&mut out, &mut dice);
    let stand = &mut out.stand;
    if let Some(hz) = &mut stand.natural_frequency_hz {
        dice.put::<Frequency>(&stand.claims, "natural_frequency", hz);
    }
    for axis in out.axes.values_mut() {
        let claims = axis.claims.clone();
        dice.put::<Length>(&claims, "arm", &mut axis.arm_m);
        dice.put::<Inertia>(&claims, "inertia", &mut axis.inertia_kg_m2);
        dice.put::<Inertia>(&claims, "inertia_spent", &mut axis.inertia_spent_kg_m2);
    }
    out
}

fn cells(out: &mut Rehearsal, dice: &mut Dice) {
    // One set of weights stands behind all cells.
    let heavy = dice.uniform(-1.0, 1.0);
    for cell in out.cells.values_mut() {
        let claims = cell.claims.clone();
        let tolerance = claims.iter().find(|claim| claim.0 == "masses");
        let tolerance = tolerance.and_then(|claim| given::parse::<Ratio>(&claim.1).ok());
        if let Some(tolerance) = tolerance {
            cell.points.mass_error = heavy * tolerance.si();
        }
        dice.put::<Time>(&claims, "delay", &mut cell.delay_s);
        cell.zero_shift *= dice.normal();
        cell.drift_per_s *= dice.normal();
        cell.points.hysteresis *= dice.sign();
    }
}

fn motors(out: &mut Rehearsal, dice: &mut Dice) {
    for motor in out.motors.values_mut() {
        let claims = motor.claims.clone();
        dice.put::<Mass>(&claims, "propellant", &mut motor.propellant_kg);
        motor.impulse_scale *= 1.0 + IMPULSE_SPREAD * dice.normal();
        motor.time_scale *= 1.0 + DURATION_SPREAD * dice.normal();
        motor.delay_s += dice.uniform(0.0, IGNITION_SPREAD_S);
        for (axis, words) in &motor.offset_claims {
            if let Some(truth) = dice.behind::<Length>(words) {
                motor.offset_m.insert((*axis).to_owned(), truth);
            }
        }
    }
}

fn clocks(out: &mut Rehearsal, dice: &mut Dice) {
    for recorder in out.recorders.values_mut().skip(1) {
        // Any phase of one log's rows against the other's is as likely.
        recorder.starts_s += dice.uniform(-0.5, 0.5);
        recorder.drift_ppm *= dice.normal();
        if let Some(align) = &recorder.align {
            let mut drift = recorder.drift_ppm * 1e-6;
            dice.put::<Time>(&align.rest, "offset", &mut recorder.starts_s);
            dice.put::<Ratio>(&align.rest, "drift", &mut drift);
            recorder.drift_ppm = drift * 1e6;
        }
    }
}
