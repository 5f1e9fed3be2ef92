//! Thrust of one motor: closed forms in time, integrated finely once for impulse, peak, start and end.
//!
//! The families are those a grain's burning area gives (Sutton & Biblarz, Rocket Propulsion Elements, ch. 12), with a rise,
//! a burnout decay, combustion roughness of 0 to 2 %, chuffs before lighting and a burst. Limit: no real motor is copied.

use super::random::Random;
use super::truth::Family;

/// Decay times after which thrust is nothing.
const DECAYS: f64 = 8.0;

/// A half-sine-squared pulse: begin, length, size.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Pulse {
    pub(crate) at: f64,
    pub(crate) length: f64,
    pub(crate) size: f64,
}

impl Pulse {
    /// Rises over the first `crest` of its length and falls over the remainder.
    pub(crate) fn value(&self, t: f64, crest: f64) -> f64 {
        let s = (t - self.at) / self.length;
        if s <= 0.0 || s >= 1.0 {
            return 0.0;
        }
        let quarter = if s < crest {
            s / crest
        } else {
            (1.0 - s) / (1.0 - crest)
        };
        self.size * (std::f64::consts::FRAC_PI_2 * quarter).sin().powi(2)
    }
}

/// Zero at 0, one at 1, flat at both ends.
pub(crate) fn smooth(s: f64) -> f64 {
    let s = s.clamp(0.0, 1.0);
    s * s * s * (s * (6.0 * s - 15.0) + 10.0)
}

#[derive(Clone, Debug)]
enum Level {
    Arched {
        arch: f64,
    },
    Power {
        from: f64,
        to: f64,
        power: f64,
    },
    Two {
        until: f64,
        width: f64,
        sustain: f64,
    },
    Peaked {
        at: f64,
        before: f64,
        after: f64,
        plateau: f64,
    },
}

impl Level {
    fn value(&self, u: f64) -> f64 {
        match *self {
            Self::Arched { arch } => 1.0 + arch * 4.0 * u * (1.0 - u),
            Self::Power { from, to, power } => from + (to - from) * u.powf(power),
            Self::Two {
                until,
                width,
                sustain,
            } => 1.0 - (1.0 - sustain) * smooth((u - until) / width),
            Self::Peaked {
                at,
                before,
                after,
                plateau,
            } => {
                let width = if u < at { before } else { after };
                let crest = (-((u - at) / width).powi(2)).exp();
                if u < at {
                    0.25 * plateau + (1.0 - 0.25 * plateau) * crest
                } else {
                    plateau + (1.0 - plateau) * crest
                }
            }
        }
    }
}

/// What a fine quadrature says of a curve; times from its first thrust.
#[derive(Clone, Debug, Default)]
pub(crate) struct Facts {
    pub(crate) start: f64,
    pub(crate) end: f64,
    pub(crate) impulse: f64,
    pub(crate) impulse_in_window: f64,
    pub(crate) peak: f64,
    pub(crate) peak_time: f64,
    /// 5 % to 30 % of peak at the start.
    pub(crate) onset: f64,
}

/// Thrust against time from its first thrust.
#[derive(Clone, Debug)]
pub(crate) struct Curve {
    pub(crate) family: Family,
    level: Level,
    duration: f64,
    rise: f64,
    decay: f64,
    roughness: [(f64, f64, f64); 3],
    chuffs: Vec<Pulse>,
    pub(crate) lead: f64,
    burst: Option<Pulse>,
    scale: f64,
    step: f64,
    cumulative: Vec<f64>,
    pub(crate) facts: Facts,
}

impl Curve {
    /// A motor of this impulse and nominal burn time.
    pub(crate) fn draw(random: &mut Random, impulse: f64, duration: f64) -> Self {
        let family = random.pick(&[
            Family::Neutral,
            Family::Progressive,
            Family::Regressive,
            Family::BoostSustain,
            Family::SpikyStart,
            Family::SpikyStart,
            Family::LongTail,
            Family::Chuffing,
        ]);
        let (level, decay) = Self::draw_level(random, family);
        let rise = match level {
            Level::Peaked { .. } => random.uniform(0.02, 0.05),
            _ => random.log_uniform(0.02, 0.12),
        };
        let mut curve = Self {
            family,
            level,
            duration,
            rise: (rise * duration).clamp(0.004, 0.3),
            decay: (decay * duration).max(0.004),
            roughness: [(); 3].map(|()| {
                (
                    random.uniform(0.0, 0.008),
                    random.log_uniform(6.0, 80.0),
                    random.uniform(0.0, std::f64::consts::TAU),
                )
            }),
            chuffs: Vec::new(),
            lead: 0.0,
            burst: None,
            scale: 1.0,
            step: 0.0,
            cumulative: Vec::new(),
            facts: Facts::default(),
        };
        if family == Family::Chuffing {
            curve.add_chuffs(random);
        }
        curve.integrate();
        curve.scale = impulse / curve.facts.impulse;
        curve.integrate();
        curve
    }

    fn draw_level(random: &mut Random, family: Family) -> (Level, f64) {
        let decay = random.log_uniform(0.008, 0.05);
        let level = match family {
            Family::Neutral | Family::LongTail | Family::Chuffing => Level::Arched {
                arch: random.uniform(-0.08, 0.25),
            },
            Family::Progressive => Level::Power {
                from: random.uniform(0.35, 0.7),
                to: 1.0,
                power: random.uniform(0.7, 1.6),
            },
            Family::Regressive => Level::Power {
                from: 1.0,
                to: random.uniform(0.3, 0.65),
                power: random.uniform(0.7, 2.0),
            },
            Family::BoostSustain => Level::Two {
                until: random.uniform(0.08, 0.35),
                width: random.uniform(0.05, 0.2),
                sustain: random.uniform(0.2, 0.6),
            },
            Family::SpikyStart => {
                let at = random.uniform(0.08, 0.22);
                Level::Peaked {
                    at,
                    before: at * random.uniform(0.5, 0.8),
                    after: random.uniform(0.04, 0.1),
                    plateau: random.uniform(0.3, 0.6),
                }
            }
        };
        (
            level,
            if family == Family::LongTail {
                random.uniform(0.12, 0.4)
            } else {
                decay
            },
        )
    }

    fn add_chuffs(&mut self, random: &mut Random) {
        let mut at = 0.0;
        for _ in 0..random.whole(1, 4) {
            let length = random.uniform(0.03, 0.12);
            self.chuffs.push(Pulse {
                at,
                length,
                size: random.uniform(0.15, 0.8),
            });
            at += length + random.log_uniform(0.06, 0.7);
        }
        self.lead = at;
    }

    /// The case bursts at this share of the nominal burn: a pulse so many times the level, then nothing.
    pub(crate) fn add_burst(&mut self, share: f64, length: f64, size: f64) {
        self.burst = Some(Pulse {
            at: self.lead + share * self.duration,
            length,
            size: size / self.scale,
        });
        self.integrate();
    }

    pub(crate) fn burst_at(&self) -> Option<f64> {
        self.burst.map(|burst| burst.at)
    }

    /// When thrust is nothing again.
    pub(crate) fn length(&self) -> f64 {
        match self.burst {
            Some(burst) => burst.at + burst.length,
            None => self.lead + self.duration + DECAYS * self.decay,
        }
    }

    pub(crate) fn thrust(&self, t: f64) -> f64 {
        if t <= 0.0 || t >= self.length() {
            return 0.0;
        }
        let mut sum = self.sound_thrust(t);
        if let Some(burst) = &self.burst {
            sum = sum * (1.0 - smooth((t - burst.at) / (0.6 * burst.length))) + burst.value(t, 0.4);
        }
        self.scale * sum
    }

    fn sound_thrust(&self, t: f64) -> f64 {
        let s = t - self.lead;
        if s < 0.0 {
            return self.chuffs.iter().map(|chuff| chuff.value(t, 0.35)).sum();
        }
        let over = (s - self.duration).max(0.0) / self.decay;
        let floor = (-DECAYS).exp();
        let burnout = (((-over).exp() - floor) / (1.0 - floor)).max(0.0);
        let rough: f64 = self
            .roughness
            .iter()
            .map(|(size, hertz, phase)| size * (std::f64::consts::TAU * hertz * s + phase).sin())
            .sum();
        self.level.value((s / self.duration).min(1.0))
            * smooth(s / self.rise)
            * burnout
            * (1.0 + rough)
    }

    /// Trapezium rule on a grid that resolves the shortest feature by forty steps.
    fn integrate(&mut self) {
        let shortest = self
            .chuffs
            .iter()
            .chain(&self.burst)
            .map(|pulse| pulse.length)
            .fold(self.rise.min(self.decay), f64::min);
        let length = self.length();
        let count = (length / (shortest / 40.0).min(length / 2000.0))
            .ceil()
            .min(200_000.0);
        self.step = length / count;
        let values: Vec<f64> = (0..=count as usize)
            .map(|i| self.thrust(i as f64 * self.step))
            .collect();
        let mut sum = 0.0;
        self.cumulative = values
            .iter()
            .enumerate()
            .map(|(i, value)| {
                if i > 0 {
                    sum += 0.5 * self.step * (value + values[i - 1]);
                }
                sum
            })
            .collect();
        let (top, peak) =
            values.iter().enumerate().fold(
                (0, 0.0),
                |best, (i, &v)| if v > best.1 { (i, v) } else { best },
            );
        let start = self.first_above(&values, 0.05 * peak);
        let end = self.last_above(&values, 0.05 * peak);
        self.facts = Facts {
            start,
            end,
            impulse: sum,
            impulse_in_window: self.impulse_until(end) - self.impulse_until(start),
            peak,
            peak_time: top as f64 * self.step,
            onset: self.first_above(&values, 0.3 * peak) - start,
        };
    }

    fn first_above(&self, values: &[f64], level: f64) -> f64 {
        let i = values.iter().position(|&v| v >= level).unwrap_or(0).max(1);
        (i as f64 - (values[i] - level) / (values[i] - values[i - 1]).max(f64::MIN_POSITIVE))
            * self.step
    }

    fn last_above(&self, values: &[f64], level: f64) -> f64 {
        let i = values
            .iter()
            .rposition(|&v| v >= level)
            .unwrap_or(0)
            .min(values.len() - 2);
        (i as f64 + (values[i] - level) / (values[i] - values[i + 1]).max(f64::MIN_POSITIVE))
            * self.step
    }

    pub(crate) fn impulse_until(&self, t: f64) -> f64 {
        let place = (t / self.step).clamp(0.0, (self.cumulative.len() - 1) as f64);
        let i = (place as usize).min(self.cumulative.len() - 2);
        self.cumulative[i] + (place - i as f64) * (self.cumulative[i + 1] - self.cumulative[i])
    }

    /// First moment after the chuffs, and last before a burst, at 5 % of the sound motor's largest level.
    pub(crate) fn sound_window(&self) -> (f64, f64) {
        let until = self.burst_at().unwrap_or(self.length());
        let count = 4000;
        let at = |i: usize| self.lead + (until - self.lead) * i as f64 / f64::from(count);
        let values: Vec<f64> = (0..=count as usize).map(|i| self.thrust(at(i))).collect();
        let peak = values.iter().copied().fold(0.0, f64::max);
        let first = values.iter().position(|&v| v >= 0.05 * peak).unwrap_or(0);
        let last = values
            .iter()
            .rposition(|&v| v >= 0.05 * peak)
            .unwrap_or(count as usize);
        (at(first), at(last))
    }

    /// First moment at or above each level, and last.
    pub(crate) fn crossings(&self, levels: [f64; 2]) -> [(f64, f64); 2] {
        let count = 4000;
        let step = self.length() / f64::from(count);
        let mut found = [(self.length(), 0.0); 2];
        for i in 0..=count {
            let t = f64::from(i) * step;
            let thrust = self.thrust(t);
            for (found, level) in found.iter_mut().zip(levels) {
                if thrust >= level {
                    *found = (found.0.min(t), t);
                }
            }
        }
        found
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A second way of knowing: Simpson's rule on pieces between the curve's own joints, and thrust at the edges.
    #[test]
    fn impulse_and_edges_agree_with_simpson_and_the_five_percent_level() {
        for seed in 0..32 {
            let mut random = Random::new(seed);
            let impulse = random.log_uniform(0.05, 5000.0);
            let duration = random.log_uniform(0.15, 15.0);
            let mut curve = Curve::draw(&mut random, impulse, duration);
            if seed % 4 == 0 {
                curve.add_burst(random.uniform(0.1, 0.9), 0.02, 3.0 * curve.facts.peak);
            } else {
                assert!(
                    (curve.facts.impulse / impulse - 1.0).abs() < 1e-6,
                    "seed {seed}"
                );
            }
            let count = 200_000;
            let h = curve.length() / f64::from(count);
            let sum: f64 = (0..count)
                .map(|i| {
                    let t = f64::from(i) * h;
                    h / 6.0
                        * (curve.thrust(t) + 4.0 * curve.thrust(t + 0.5 * h) + curve.thrust(t + h))
                })
                .sum();
            assert!(
                (sum / curve.facts.impulse - 1.0).abs() < 2e-4,
                "seed {seed}: {sum}"
            );
            let level = 0.05 * curve.facts.peak;
            for edge in [curve.facts.start, curve.facts.end] {
                assert!(
                    (curve.thrust(edge) - level).abs() < 0.002 * curve.facts.peak,
                    "seed {seed}"
                );
            }
            let outside = (0..count)
                .map(|i| f64::from(i) * h)
                .filter(|t| *t < curve.facts.start - 1e-6 || *t > curve.facts.end + 1e-6);
            assert!(
                outside
                    .map(|t| curve.thrust(t))
                    .all(|thrust| thrust <= 1.01 * level),
                "seed {seed}"
            );
        }
    }
}
