//! Forces on the stand other than thrust: pushes, holds, tremor, knocks, ejection charge, igniter pop.
//! Sizes are in the direction of thrust, N. Each is a closed form that is nothing outside its own interval.

use super::curve::{Pulse, smooth};
use super::random::Random;

#[derive(Clone, Debug)]
enum Form {
    /// Rises over the first share of its length, falls over the remainder.
    Pulse { crest: f64 },
    /// Up, steady, down.
    Hold { ramp: f64 },
    /// Three frequencies under a smooth envelope, as a hand's irregular hold.
    Tremor { waves: [(f64, f64, f64); 3] },
    /// A decaying swing.
    Knock { hertz: f64, decay: f64 },
}

/// One force in time.
#[derive(Clone, Debug)]
pub(crate) struct Force {
    pub(crate) at: f64,
    pub(crate) length: f64,
    pub(crate) size: f64,
    form: Form,
}

impl Force {
    pub(crate) fn pulse(at: f64, length: f64, size: f64, crest: f64) -> Self {
        Self {
            at,
            length,
            size,
            form: Form::Pulse { crest },
        }
    }

    pub(crate) fn knock(random: &mut Random, at: f64, size: f64) -> Self {
        let decay = random.log_uniform(0.01, 0.12);
        Self {
            at,
            length: 7.0 * decay,
            size,
            form: Form::Knock {
                hertz: random.log_uniform(12.0, 90.0),
                decay,
            },
        }
    }

    fn tremor(random: &mut Random, at: f64, length: f64, size: f64) -> Self {
        let waves = [(); 3].map(|()| {
            (
                random.uniform(0.2, 0.5),
                random.log_uniform(0.6, 7.0),
                random.uniform(0.0, std::f64::consts::TAU),
            )
        });
        Self {
            at,
            length,
            size,
            form: Form::Tremor { waves },
        }
    }

    pub(crate) fn moved(self, at: f64) -> Self {
        Self { at, ..self }
    }

    pub(crate) fn end(&self) -> f64 {
        self.at + self.length
    }

    pub(crate) fn value(&self, t: f64) -> f64 {
        let s = t - self.at;
        if s <= 0.0 || s >= self.length {
            return 0.0;
        }
        let part = s / self.length;
        let tau = std::f64::consts::TAU;
        match &self.form {
            Form::Pulse { crest } => Pulse {
                at: self.at,
                length: self.length,
                size: self.size,
            }
            .value(t, *crest),
            Form::Hold { ramp } => self.size * smooth(s / ramp) * smooth((self.length - s) / ramp),
            Form::Tremor { waves } => {
                let wave: f64 = waves
                    .iter()
                    .map(|(size, hertz, phase)| size * (tau * hertz * s + phase).sin())
                    .sum();
                self.size * smooth(4.0 * part) * smooth(4.0 * (1.0 - part)) * wave
            }
            Form::Knock { hertz, decay } => {
                self.size * (-s / decay).exp() * (tau * hertz * s).sin()
            }
        }
    }
}

/// Hands on the stand for a while: at least four irregular forces, one of them of the full size.
pub(crate) fn handle(random: &mut Random, at: f64, length: f64, size: f64) -> Vec<Force> {
    let count = 4 + (length * random.uniform(0.4, 1.3)) as usize;
    let tremble = size * random.uniform(0.1, 0.5);
    let mut forces = vec![Force::tremor(random, at, length, tremble)];
    let favoured = random.sign();
    for i in 0..count.min(24) {
        let part = if i == 0 {
            1.0
        } else {
            random.uniform(0.08, 0.9)
        };
        let size = part
            * size
            * if random.chance(0.7) {
                favoured
            } else {
                -favoured
            };
        let long = (length * random.uniform(0.12, 0.6))
            .min(random.log_uniform(0.25, 4.0))
            .max(0.05 * length);
        let begin = at + random.uniform(0.0, length - long);
        match random.whole(0, 9) {
            0..=4 => forces.push(Force::pulse(begin, long, size, random.uniform(0.25, 0.75))),
            5..=6 => forces.push(Force::tremor(random, begin, long, size)),
            7 => {
                let ramp = (0.3 * long).min(random.uniform(0.08, 0.5));
                forces.push(Force {
                    at: begin,
                    length: long,
                    size,
                    form: Form::Hold { ramp },
                });
                forces.push(Force::tremor(random, begin, 0.6 * long, 0.3 * size));
            }
            _ => {
                let knock = Force::knock(random, begin, size);
                if knock.end() < at + length {
                    forces.push(knock);
                } else {
                    forces.push(Force::pulse(begin, long, size, 0.5));
                }
            }
        }
    }
    forces
}
