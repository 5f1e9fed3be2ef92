//! Rows that no force made: spikes of one or two rows, runs of one reading, full scale, zeros.
//!
//! At least four untouched rows lie between two of them, so that two spikes never look like something longer.
//! A spike departs by at least 0.3 of peak and twelve standard deviations of the noise; inside a burn by at least 0.6 of peak.

use super::random::Random;
use super::reading::{Rows, convert};
use super::scene::Scene;
use super::truth::{Kind, Place, Replaced};

struct Rewriter<'a> {
    scene: &'a Scene,
    /// First and last-plus-one row of each firing.
    burns: Vec<(usize, usize)>,
    taken: Vec<(usize, usize)>,
    spoiled: usize,
    replaced: Vec<Replaced>,
}

pub(crate) fn replace(random: &mut Random, scene: &Scene, rows: &mut Rows) -> Vec<Replaced> {
    let row = |t: f64| rows.times.partition_point(|&time| time < t);
    let burns = scene
        .firings
        .iter()
        .map(|placed| {
            (
                row(placed.at + placed.curve.facts.start),
                row(placed.at + placed.curve.facts.end),
            )
        })
        .collect();
    let mut rewriter = Rewriter {
        scene,
        burns,
        taken: Vec::new(),
        spoiled: 0,
        replaced: Vec::new(),
    };
    for kind in &scene.kinds {
        match kind {
            Kind::Spikes => rewriter.spikes(random, rows),
            Kind::IdenticalRun => rewriter.run(random, rows, Kind::IdenticalRun),
            Kind::FullScaleRun => rewriter.run(random, rows, Kind::FullScaleRun),
            Kind::ZeroRun => rewriter.run(random, rows, Kind::ZeroRun),
            _ => {}
        }
    }
    rewriter.replaced.sort_by_key(|replaced| replaced.row);
    rewriter.replaced
}

impl Rewriter<'_> {
    fn spikes(&mut self, random: &mut Random, rows: &mut Rows) {
        let count = match random.whole(0, 19) {
            0..=9 => 1,
            10..=16 => random.whole(2, 4),
            _ => random.whole(5, 32),
        };
        for _ in 0..count {
            let place = self.draw_place(random);
            let long = random.whole(1, 2);
            let Some(at) = self.claim(random, rows, place, long) else {
                continue;
            };
            let least = (if place == Place::Rest { 0.3 } else { 0.6 } * self.scene.size)
                .max(12.0 * self.scene.noise.sd());
            let size = least * random.log_uniform(1.0, 300.0) * random.sign();
            let alike = random.chance(0.5);
            let values: Vec<f64> = (0..long)
                .map(|i| {
                    let part = if i == 0 || alike {
                        1.0
                    } else {
                        random.uniform(0.4, 1.2)
                    };
                    rows.readings[at + i] + part * size
                })
                .collect();
            self.put(rows, Kind::Spikes, place, at, &values);
        }
    }

    fn run(&mut self, random: &mut Random, rows: &mut Rows, kind: Kind) {
        for _ in 0..random.whole(1, 2) {
            let place = if random.chance(0.85) {
                Place::Rest
            } else {
                self.draw_place(random)
            };
            let most = if kind == Kind::IdenticalRun { 60 } else { 30 };
            let long = random.whole(3, most).min(rows.times.len() / 8);
            let Some(at) = self.claim(random, rows, place, long).filter(|_| long >= 3) else {
                continue;
            };
            let value = match kind {
                Kind::ZeroRun => 0.0,
                Kind::IdenticalRun => rows.readings[at],
                _ => {
                    rows.readings[at]
                        + self.scene.size * random.log_uniform(1.3, 50.0) * random.sign()
                }
            };
            self.put(rows, kind, place, at, &vec![value; long]);
        }
    }

    fn draw_place(&self, random: &mut Random) -> Place {
        if self.burns.is_empty() {
            return random.pick(&[Place::Rest, Place::Late]);
        }
        random.pick(&[
            Place::Rest,
            Place::Rest,
            Place::Edge,
            Place::Burn,
            Place::Burn,
            Place::Late,
        ])
    }

    /// Rows that are free, of this place; in a burn no more than a sixth of its rows, or one.
    fn claim(
        &mut self,
        random: &mut Random,
        rows: &Rows,
        place: Place,
        long: usize,
    ) -> Option<usize> {
        let count = rows.times.len();
        for _ in 0..40 {
            let at = match place {
                Place::Rest => random.whole(0, count),
                Place::Late => random.whole(count * 3 / 5, count),
                Place::Edge | Place::Burn => {
                    let (first, last) = random.pick(&self.burns);
                    if place == Place::Burn {
                        random.whole(first, last)
                    } else {
                        let edge = random.pick(&[first, last]);
                        (edge + random.whole(0, 6)).saturating_sub(3)
                    }
                }
            };
            let end = at + long;
            let inside: usize = self
                .burns
                .iter()
                .map(|&(first, last)| end.min(last).saturating_sub(at.max(first)))
                .sum();
            let near = self
                .burns
                .iter()
                .any(|&(first, last)| at < last + 4 && end + 4 > first);
            let most = self
                .burns
                .iter()
                .map(|(first, last)| last.saturating_sub(*first) / 6)
                .min()
                .unwrap_or(0)
                .max(1);
            let fits = match place {
                Place::Rest | Place::Late => !near,
                Place::Edge => self.spoiled + inside <= most,
                Place::Burn => inside == long && self.spoiled + inside <= most,
            };
            if fits
                && end < count
                && self
                    .taken
                    .iter()
                    .all(|&(from, to)| end + 4 <= from || at >= to + 4)
            {
                self.taken.push((at, end));
                self.spoiled += inside;
                return Some(at);
            }
        }
        None
    }

    fn put(&mut self, rows: &mut Rows, kind: Kind, place: Place, at: usize, values: &[f64]) {
        let mut size = 0.0_f64;
        for (reading, value) in rows.readings[at..].iter_mut().zip(values) {
            let value = if kind == Kind::Spikes {
                convert(*value, self.scene, rows.full_scale)
            } else {
                *value
            };
            if (value - *reading).abs() > size.abs() {
                size = value - *reading;
            }
            *reading = value;
        }
        self.replaced.push(Replaced {
            kind,
            row: at,
            rows: values.len(),
            place,
            size,
        });
    }
}
