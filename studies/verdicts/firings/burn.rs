//! The thrust of one motor: its lot, its ignition, and what may befall it.
//!
//! Thrust is the certified curve of what was really loaded, stretched in time, scaled, bent by smooth perturbations of the lot
//! and the motor, and roughened. After a nozzle is lost thrust and burning rate fall together (lower chamber pressure).

use std::f64::consts::TAU;

use super::design::Design;
use super::rig::{MotorPlan, Rig};
use super::rng::{Rng, Stream};
use super::truth::{Cause, Kind};

/// Step of the simulation, s.
pub(super) const STEP: f64 = 1e-4;
/// Latest ignition after the fire command in a firing without late ones.
const LATE: f64 = 1.5;

#[derive(Clone, Copy, Debug)]
pub(super) enum Event {
    Plain,
    /// At this share of the burn; impulse and duration of the spike.
    Burst {
        at: f64,
        impulse_ns: f64,
        lasts_s: f64,
    },
    /// From this share of the burn to this share of thrust.
    NozzleLost {
        at: f64,
        left: f64,
    },
    /// Peak as a share of the burn's peak, duration, pause to the burn.
    Chuff {
        peak: f64,
        lasts_s: f64,
        pause_s: f64,
    },
}

#[derive(Clone, Debug)]
pub(super) struct Motor {
    pub(super) lit: bool,
    pub(super) loaded: Design,
    pub(super) impulse_scale: f64,
    pub(super) time_scale: f64,
    /// Fire command to first gas.
    pub(super) delay_s: f64,
    pub(super) event: Event,
    bends: [[f64; 3]; 3],
    pub(super) roughness: f64,
}

/// Motors with their lots and dead igniters, and nothing odd.
pub(super) fn plain_ones(seed: u64, rig: &Rig) -> Vec<Motor> {
    let mut rng = Rng::new(seed, Stream::Motors);
    let (lot, common) = lot(&mut rng);
    let one = |plan: &MotorPlan| plain(&mut rng, &plan.label, &lot, common);
    rig.motors.iter().map(one).collect()
}

/// Motors with their lots and dead igniters; weak, strong, wrong, late and damaged ones among them.
pub(super) fn draw(seed: u64, rig: &Rig, designs: &[Design]) -> (Vec<Motor>, Vec<Cause>) {
    let mut rng = Rng::new(seed, Stream::Motors);
    let mut fates = Rng::new(seed, Stream::Fates);
    let (lot, common) = lot(&mut rng);
    let mut causes = Vec::new();
    let motors = rig
        .motors
        .iter()
        .map(|plan| {
            let mut motor = plain(&mut rng, &plan.label, &lot, common);
            befall(&mut fates, &mut motor, plan.name, designs, &mut causes);
            motor
        })
        .collect();
    (motors, causes)
}

/// What the motors of one lot share.
struct Lot {
    impulse: f64,
    time: f64,
    bends: [[f64; 3]; 3],
}

/// A lot, and how long after the command its first motor lights.
fn lot(rng: &mut Rng) -> (Lot, f64) {
    let lot = Lot {
        impulse: 0.03 * rng.normal(),
        time: 0.03 * rng.normal(),
        bends: bends(rng, 0.03),
    };
    (lot, rng.log_uniform(0.02, 0.4))
}

/// Amplitude, periods over the burn, phase.
fn bends(rng: &mut Rng, sd: f64) -> [[f64; 3]; 3] {
    [0.5, 1.0, 2.0].map(|periods| {
        [
            sd * rng.normal(),
            periods * rng.uniform(0.7, 1.4),
            rng.uniform(0.0, TAU),
        ]
    })
}

fn plain(rng: &mut Rng, label: &Design, lot: &Lot, common: f64) -> Motor {
    let lit = !rng.chance(0.35);
    let mut own = bends(rng, 0.015);
    for (o, l) in own.iter_mut().zip(lot.bends) {
        *o = [l[0] + o[0], l[1], l[2]];
    }
    let stagger = match rng.weighted(&[0.75, 0.25]) {
        0 => rng.exponential(0.06),
        _ => rng.uniform(0.0, LATE),
    };
    Motor {
        lit,
        loaded: label.clone(),
        impulse_scale: (1.0 + lot.impulse + 0.015 * rng.normal()).clamp(0.85, 1.15),
        time_scale: (1.0 + lot.time + 0.012 * rng.normal()).clamp(0.85, 1.15),
        delay_s: (common + stagger).min(LATE),
        event: Event::Plain,
        bends: own,
        roughness: rng.log_uniform(0.002, 0.02),
    }
}

fn befall(
    rng: &mut Rng,
    motor: &mut Motor,
    name: &str,
    designs: &[Design],
    causes: &mut Vec<Cause>,
) {
    let kind = [
        None,
        Some(Kind::WeakMotor),
        Some(Kind::StrongMotor),
        Some(Kind::WrongMotor),
    ][rng.weighted(&[0.82, 0.08, 0.05, 0.05])];
    let event = [
        None,
        Some(Kind::Burst),
        Some(Kind::NozzleLost),
        Some(Kind::Chuff),
    ][rng.weighted(&[0.86, 0.04, 0.04, 0.06])];
    let late = rng.chance(0.06);
    let (weak, strong) = (rng.uniform(0.70, 0.95), rng.uniform(1.07, 1.30));
    let other = rng.below(designs.len());
    let numbers = [rng.unit(), rng.unit(), rng.unit(), rng.unit()];
    let late_s = rng.uniform(LATE, 4.0);
    if !motor.lit {
        return;
    }
    let mut say = |kind, detail| causes.push(Cause::new(kind, name, detail));
    match kind {
        Some(Kind::WeakMotor) => {
            motor.impulse_scale = weak;
            say(
                Kind::WeakMotor,
                format!("{:.1} % of its certified impulse", 100.0 * weak),
            );
        }
        Some(Kind::StrongMotor) => {
            motor.impulse_scale = strong;
            say(
                Kind::StrongMotor,
                format!("{:.1} % of its certified impulse", 100.0 * strong),
            );
        }
        Some(_) => {
            let found = (0..designs.len()).map(|k| &designs[(other + k) % designs.len()]);
            if let Some(wrong) = found
                .filter(|d| motor.loaded.differs(d))
                .find(|d| d.peak() < 3.0 * motor.loaded.peak())
            {
                say(
                    Kind::WrongMotor,
                    format!("{} in place of {}", wrong.name, motor.loaded.name),
                );
                motor.loaded = wrong.clone();
            }
        }
        None => {}
    }
    if let Some(kind) = event {
        motor.event = self::event(kind, &motor.loaded, numbers);
        say(kind, format!("{:?}", motor.event));
    }
    if late {
        motor.delay_s = late_s;
        say(
            Kind::LateIgnition,
            format!("{late_s:.3} s after its command"),
        );
    }
}

fn event(kind: Kind, design: &Design, [a, b, c, d]: [f64; 4]) -> Event {
    match kind {
        Kind::Burst => {
            let impulse_ns = design.impulse() * 0.03 * 5f64.powf(b);
            let lasts_s = (0.005 * 6f64.powf(c)).max(2.0 * impulse_ns / (20.0 * design.peak()));
            let lasts_s = lasts_s.min(2.0 * impulse_ns / (2.5 * design.peak()));
            // half of them at ignition
            Event::Burst {
                at: if a < 0.5 { 0.03 * d } else { 0.03 + 0.5 * d },
                impulse_ns,
                lasts_s,
            }
        }
        Kind::NozzleLost => Event::NozzleLost {
            at: 0.2 + 0.5 * a,
            left: 0.3 + 0.3 * b,
        },
        _ => Event::Chuff {
            peak: 0.08 * 6f64.powf(a),
            lasts_s: 0.05 + 0.15 * b,
            pause_s: 0.2 + 0.6 * c,
        },
    }
}

impl Motor {
    /// Longest time from the fire command to burnout.
    pub(super) fn ends_after(&self) -> f64 {
        let slow = if matches!(self.event, Event::NozzleLost { .. }) {
            1.6
        } else {
            1.0
        };
        let wait = if let Event::Chuff {
            lasts_s, pause_s, ..
        } = self.event
        {
            lasts_s + pause_s
        } else {
            0.0
        };
        self.delay_s + wait + self.loaded.burn_time() * self.time_scale * slow
    }

    /// Thrust over the grid; zero where it did not light.
    pub(super) fn course(&self, command_s: f64, count: usize, rng: &mut Rng) -> Vec<f64> {
        let mut thrust = vec![0.0; count];
        let mut rough = Rough::new(self.roughness);
        if !self.lit {
            return thrust;
        }
        let from = command_s + self.delay_s;
        let wait = self.puff(from, &mut thrust);
        let norm = self.loaded.impulse() / self.bent_impulse();
        let end = self.loaded.burn_time();
        let (mut own, mut spike) = (0.0, None);
        for (k, value) in thrust.iter_mut().enumerate() {
            let time = k as f64 * STEP;
            if time < from + wait {
                continue;
            }
            let done = own / end;
            let mut level = self.impulse_scale / self.time_scale;
            let mut rate = 1.0;
            match self.event {
                Event::Burst {
                    at,
                    impulse_ns,
                    lasts_s,
                } if done >= at => {
                    let since = time - *spike.get_or_insert(time);
                    *value += triangle(since / lasts_s) * 2.0 * impulse_ns / lasts_s;
                    continue;
                }
                Event::NozzleLost { at, left } if done >= at => {
                    // falls within some 10 ms
                    let since = time - *spike.get_or_insert(time);
                    let share = left + (1.0 - left) * (-since / 0.005).exp();
                    level *= share;
                    rate = 0.3 + 0.7 * share;
                }
                _ => {}
            }
            *value +=
                level * norm * self.loaded.thrust(own) * self.bend(done) * (1.0 + rough.next(rng));
            own += rate * STEP / self.time_scale;
            if own >= end {
                break;
            }
        }
        thrust
    }

    /// Writes the puff before a chuffing motor's burn; how long the burn waits.
    fn puff(&self, from: f64, thrust: &mut [f64]) -> f64 {
        let Event::Chuff {
            peak,
            lasts_s,
            pause_s,
        } = self.event
        else {
            return 0.0;
        };
        let top = peak * self.loaded.peak() * self.impulse_scale;
        for (k, value) in thrust.iter_mut().enumerate() {
            let share = (k as f64 * STEP - from) / lasts_s;
            if (0.0..1.0).contains(&share) {
                // rises in a quarter, dies in the rest
                *value = top
                    * if share < 0.25 {
                        share / 0.25
                    } else {
                        ((1.0 - share) / 0.75).powf(1.5)
                    };
            }
        }
        lasts_s + pause_s
    }

    fn bend(&self, done: f64) -> f64 {
        1.0 + self
            .bends
            .iter()
            .map(|[a, n, p]| a * (TAU * n * done + p).sin())
            .sum::<f64>()
    }

    fn bent_impulse(&self) -> f64 {
        let (count, end) = (2000, self.loaded.burn_time());
        let step = end / f64::from(count);
        let one = |k: i32| {
            self.loaded.thrust((f64::from(k) + 0.5) * step)
                * self.bend((f64::from(k) + 0.5) * step / end)
        };
        (0..count).map(one).sum::<f64>() * step
    }

    /// Kilograms really loaded.
    pub(super) fn propellant_kg(&self) -> f64 {
        1e-3 * self.loaded.propellant_g
    }
}

fn triangle(share: f64) -> f64 {
    if (0.0..1.0).contains(&share) {
        if share < 0.3 {
            share / 0.3
        } else {
            (1.0 - share) / 0.7
        }
    } else {
        0.0
    }
}

/// Rough burning: first-order noise with a correlation time of 2 ms.
struct Rough {
    sd: f64,
    state: f64,
}

impl Rough {
    fn new(sd: f64) -> Self {
        Self { sd, state: 0.0 }
    }
    fn next(&mut self, rng: &mut Rng) -> f64 {
        let keep = (-STEP / 0.002).exp();
        self.state = keep * self.state + self.sd * (1.0 - keep * keep).sqrt() * rng.normal();
        self.state
    }
}

/// When thrust first reaches 5 % of its own peak.
pub(super) fn ignition(course: &[f64]) -> Option<f64> {
    let level = 0.05 * course.iter().copied().fold(0.0, f64::max);
    if level <= 0.0 {
        return None;
    }
    let k = course.iter().position(|f| *f >= level)?;
    if k == 0 {
        return Some(0.0);
    }
    let (a, b) = (course[k - 1], course[k]);
    Some((k as f64 - 1.0 + (level - a) / (b - a)) * STEP)
}

/// Last time at or above 5 % of the peak.
pub(super) fn burnout(course: &[f64]) -> Option<f64> {
    let reversed: Vec<f64> = course.iter().rev().copied().collect();
    Some((course.len() as f64 - 1.0) * STEP - ignition(&reversed)?)
}

pub(super) fn impulse(course: &[f64]) -> f64 {
    course.iter().sum::<f64>() * STEP + 0.0 // an empty sum is -0
}
