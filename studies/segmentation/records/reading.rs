//! The cell reads the scene: stand, zero, noise, converter, then the trim and the missing rows.

use super::random::Random;
use super::scene::{Noise, Placed, Scene};
use super::stand::Stand;
use super::truth::{Category, Kind, Trim};

/// Rows as read, before any is replaced.
pub(crate) struct Rows {
    pub(crate) times: Vec<f64>,
    pub(crate) readings: Vec<f64>,
    pub(crate) full_scale: Option<f64>,
    pub(crate) trim: Option<Trim>,
    /// For each firing, the stand's largest swing without force within one burn time before it, and later than half a burn
    /// time after burnout.
    pub(crate) swing: Vec<f64>,
    /// For each firing, the largest force felt at a reading.
    pub(crate) felt: Vec<f64>,
}

/// What is cut off in the direction of thrust.
fn limit(random: &mut Random, scene: &Scene) -> Option<f64> {
    let placed = scene
        .firings
        .first()
        .filter(|_| scene.kinds.contains(&Kind::Saturated))?;
    let start = placed.at + placed.curve.facts.start;
    let share = random.uniform(0.4, 0.95);
    Some(
        scene.unloaded(start)
            + scene.zero.load(start)
            + scene.sign * share * placed.curve.facts.peak,
    )
}

/// When any force acts, joined.
fn active(scene: &Scene) -> Vec<(f64, f64)> {
    let firings = scene
        .firings
        .iter()
        .map(|placed| (placed.at, placed.at + placed.curve.length()));
    let mut spans: Vec<_> = scene
        .forces
        .iter()
        .map(|force| (force.at, force.end()))
        .chain(firings)
        .collect();
    spans.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut joined: Vec<(f64, f64)> = Vec::new();
    for span in spans {
        match joined.last_mut() {
            Some(last) if span.0 <= last.1 => last.1 = last.1.max(span.1),
            _ => joined.push(span),
        }
    }
    joined
}

/// White noise, coloured noise of first order, hum with a third harmonic.
struct Hiss {
    coloured: f64,
    keep: f64,
    renew: f64,
    phase: f64,
}

impl Hiss {
    fn new(random: &mut Random, noise: &Noise, spacing: f64) -> Self {
        let (size, time) = noise.coloured;
        let keep = (-spacing / time).exp();
        Self {
            coloured: random.normal() * size,
            keep,
            renew: size * (1.0 - keep * keep).sqrt(),
            phase: random.uniform(0.0, std::f64::consts::TAU),
        }
    }

    fn next(&mut self, random: &mut Random, noise: &Noise, t: f64) -> f64 {
        let mut sum = noise.white * random.normal();
        if noise.coloured.0 > 0.0 {
            self.coloured = self.keep * self.coloured + self.renew * random.normal();
            sum += self.coloured;
        }
        if noise.hum.0 > 0.0 {
            let angle = std::f64::consts::TAU * noise.hum.1 * t + self.phase;
            sum += noise.hum.0 * (angle.sin() + 0.2 * (3.0 * angle).sin());
        }
        sum
    }
}

/// The force the cell feels, reading after reading.
struct Feeling {
    stand: Stand,
    active: Vec<(f64, f64)>,
    next: usize,
    windows: Vec<(f64, f64, f64)>,
    swing: Vec<f64>,
    felt: Vec<f64>,
}

impl Feeling {
    fn new(scene: &Scene) -> Self {
        Self {
            stand: Stand::new(scene.ringing, -1.0 / scene.rate),
            active: active(scene),
            next: 0,
            windows: scene.firings.iter().map(window).collect(),
            swing: vec![0.0; scene.firings.len()],
            felt: vec![0.0; scene.firings.len()],
        }
    }

    fn at(&mut self, scene: &Scene, t: f64) -> f64 {
        let until = if scene.averaging {
            t + 0.5 / scene.rate
        } else {
            t
        };
        while self.next < self.active.len() && self.active[self.next].1 < self.stand.time() {
            self.next += 1;
        }
        let idle = self.next == self.active.len() || self.active[self.next].0 >= until;
        if idle && self.stand.at_rest(scene.size) {
            self.stand.wait(until);
            return 0.0;
        }
        let (now, mean) = self
            .stand
            .advance(until, |t| scene.force(t), scene.averaging);
        let felt = if scene.averaging { mean } else { now };
        for (i, (long, before, after)) in self.windows.iter().enumerate() {
            let just_before = t > before - long && t < *before;
            let late = t > after + 0.5 * long && t < after + 2.0 * long;
            if idle && (just_before || late) {
                self.swing[i] = self.swing[i].max(now.abs());
            }
            if t > *before && t < *after {
                self.felt[i] = self.felt[i].max(felt);
            }
        }
        felt
    }
}

pub(crate) fn read(random: &mut Random, scene: &Scene) -> Rows {
    let full_scale = limit(random, scene);
    let count = (scene.length * scene.rate) as usize;
    let spacing = 1.0 / scene.rate;
    let mut feeling = Feeling::new(scene);
    let mut hiss = Hiss::new(random, &scene.noise, spacing);
    let mut times = Vec::with_capacity(count);
    let mut readings = Vec::with_capacity(count);
    for i in 0..count {
        let jitter = scene.jitter * random.uniform(-0.5, 0.5);
        let t = (i as f64 + jitter) * spacing;
        let load = scene.unloaded(t) + scene.zero.load(t);
        let reading = scene.sign * feeling.at(scene, t) + load;
        times.push(t);
        readings.push(convert(
            reading + hiss.next(random, &scene.noise, t),
            scene,
            full_scale,
        ));
    }
    let Feeling { swing, felt, .. } = feeling;
    let mut rows = Rows {
        times,
        readings,
        full_scale,
        trim: None,
        swing,
        felt,
    };
    trim(random, scene, &mut rows);
    if let Some((from, to)) = scene.hole {
        keep_rows(&mut rows, |t| t < from || t > to);
    }
    rows
}

/// Burn time, first thrust and 5 % of peak at burnout.
fn window(placed: &Placed) -> (f64, f64, f64) {
    let facts = &placed.curve.facts;
    (facts.end - facts.start, placed.at, placed.at + facts.end)
}

/// Full scale, then the converter's step.
pub(crate) fn convert(reading: f64, scene: &Scene, full_scale: Option<f64>) -> f64 {
    let reading = match full_scale {
        Some(most) if scene.sign > 0.0 => reading.min(most),
        Some(most) => reading.max(most),
        None => reading,
    };
    (reading / scene.noise.quantum).round() * scene.noise.quantum
}

fn keep_rows(rows: &mut Rows, wanted: impl Fn(f64) -> bool) {
    let kept: Vec<bool> = rows.times.iter().map(|&t| wanted(t)).collect();
    let mut flags = kept.iter();
    rows.readings
        .retain(|_| flags.next().copied().unwrap_or(true));
    rows.times.retain(|&t| wanted(t));
}

fn trim(random: &mut Random, scene: &Scene, rows: &mut Rows) {
    let Some(placed) = scene
        .firings
        .first()
        .filter(|_| scene.category == Category::Trimmed)
    else {
        return;
    };
    let (start, end) = (
        placed.at + placed.curve.facts.start,
        placed.at + placed.curve.facts.end,
    );
    let least = if (end - start) * scene.rate > 12.0 {
        -1
    } else {
        0
    };
    let mut side = || {
        random
            .chance(0.85)
            .then(|| (random.whole(0, 7) as i32 - 1).max(least))
    };
    let (mut before, after) = (side(), side());
    if after.is_none() {
        before = before.or(Some(1));
    }
    let first = rows.times.partition_point(|&t| t < start) as i64;
    let last = rows.times.partition_point(|&t| t <= end) as i64;
    let count = rows.times.len() as i64;
    let from = before.map_or(0, |k| first - i64::from(k)).clamp(0, count) as usize;
    let to = after
        .map_or(count, |k| last + i64::from(k))
        .clamp(from as i64, count) as usize;
    rows.times = rows.times[from..to].to_vec();
    rows.readings = rows.readings[from..to].to_vec();
    rows.trim = Some(Trim { before, after });
}
