//! Records of a thrust stand with a known truth, drawn from a seed, to try burn finders on.
//!
//! Physics only: a thrust curve in closed form; a rigid or ringing stand; a zero that carries weight, warm-up, drift, heat
//! and shift; hands, knocks, charges; noise and a converter; rows replaced or missing; a trim. The answer sheet [`Truth`] is
//! computed from what was drawn, never from the readings. Nothing here knows how a burn finder works.

mod curve;
mod force;
mod judge;
mod random;
mod reading;
mod replace;
mod scene;
mod stand;
mod timeline;
mod truth;
mod zero;

use random::Random;
use scene::Scene;
pub use truth::{Category, Disturbance, Firing, Kind, Truth, Verdict};

/// One log: a clock, one column of calibrated force, and what is true of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Record {
    /// Which draw it is.
    pub seed: u64,
    /// Seconds, rising.
    pub times: Vec<f64>,
    /// N, as a calibrated cell reads.
    pub readings: Vec<f64>,
    /// The answer sheet.
    pub truth: Truth,
}

/// The record of this seed, the same on every call.
pub fn draw(seed: u64) -> Record {
    let mut random = Random::new(seed);
    let scene = Scene::draw(&mut random);
    let mut rows = reading::read(&mut random, &scene);
    let replaced = replace::replace(&mut random, &scene, &mut rows);
    let mut firings =
        (0..scene.firings.len()).map(|index| judge::judge(&scene, &rows, &replaced, index));
    let (burn, second) = (firings.next(), firings.next());
    let verdict = match &burn {
        None => Verdict::NoBurn,
        Some(_)
            if [&burn, &second]
                .into_iter()
                .flatten()
                .any(Firing::can_be_marked) =>
        {
            Verdict::Burn
        }
        Some(_) => Verdict::CannotTell,
    };
    let at = |t: Option<&f64>| t.map_or(0.0, |&t| scene.unloaded(t) + scene.zero.load(t));
    let mut truth = Truth {
        category: scene.category,
        verdict,
        sign: scene.sign,
        ejection: scene.ejection,
        trim: rows.trim,
        ringing: scene.ringing,
        noise_sd: scene.noise.sd(),
        quantum: scene.noise.quantum,
        rate: scene.rate,
        full_scale: rows.full_scale,
        zero_first: at(rows.times.first()),
        zero_last: at(rows.times.last()),
        tared: scene.tared,
        disturbances: scene.disturbances.clone(),
        replaced,
        burn,
        second,
    };
    note_rows(&mut truth, &rows.times);
    let offset = match random.whole(0, 3) {
        0 => random.log_uniform(1.0, 3000.0),
        1 => -rows.times.first().copied().unwrap_or(0.0),
        _ => 0.0,
    };
    for t in &mut rows.times {
        *t += offset;
    }
    truth.shift_clock(offset);
    Record {
        seed,
        times: rows.times,
        readings: rows.readings,
        truth,
    }
}

/// Lists replaced rows and cut tops among the disturbances, and keeps those that lie in the record, in order of time.
fn note_rows(truth: &mut Truth, times: &[f64]) {
    let (first, last) = (
        times.first().copied().unwrap_or(0.0),
        times.last().copied().unwrap_or(0.0),
    );
    for rows in &truth.replaced {
        let (start, end) = (times[rows.row], times[rows.row + rows.rows - 1]);
        truth.disturbances.push(Disturbance {
            kind: rows.kind,
            start,
            end,
            size: rows.size,
        });
    }
    if let (Some(size), Some(burn)) = (truth.full_scale, &truth.burn)
        && burn.clipped > 0
    {
        truth.disturbances.push(Disturbance {
            kind: Kind::Saturated,
            start: burn.start,
            end: burn.end,
            size,
        });
    }
    truth
        .disturbances
        .retain(|d| d.start <= last && d.end >= first);
    for disturbance in &mut truth.disturbances {
        disturbance.start = disturbance.start.max(first);
        disturbance.end = disturbance.end.min(last);
    }
    truth
        .disturbances
        .sort_by(|a, b| a.start.total_cmp(&b.start));
}
