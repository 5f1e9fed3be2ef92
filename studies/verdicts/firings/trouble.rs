//! One trouble at a time, in firings whose motors all light: what the intervals of a burn have to live with.
//!
//! Sizes are shares of the largest motor's peak, drawn evenly in their logarithm unless said. Laws: creep as one exponential of the load
//! (OIML R 60 tests it over 30 minutes; its size here is common practice); sway as a damped oscillator driven by white noise, stepped
//! exactly for a force held over a step; drift as a random walk.

use std::f64::consts::TAU;

use super::burn::{self, Motor, STEP};
use super::rig::{CellPlan, Mount, Rig};
use super::rng::{Rng, Stream};

/// What a firing has to live with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Trouble {
    /// Noise, rough burning and unlike motors only, at 200 Hz and more.
    None,
    /// The same at 80 readings a second, each a mean over its period.
    SlowAverages,
    /// The zero jumps when the first motor lights, nozzle down.
    Jump,
    /// Heat moves the zero as the motors burn, and stays.
    HeatStays,
    /// The same, and fades within seconds.
    HeatFades,
    /// The cell gives way under its load, and comes back slowly.
    Creep,
    /// Wind moves the stand at 0.2 to 0.5 Hz, all the time.
    Sway,
    /// The zero walks at random.
    Walk,
    /// Mains hum at 50 or 60 Hz.
    Hum,
    /// A cell that bends by as much as its points hardly show.
    Bend,
    /// The cell reads higher on the way down.
    Loop,
    /// Thrust that lingers near 5 % before it rises and after it falls.
    Feet,
    /// Rough burning of 1 to 3 %.
    Rough,
    /// A stand of 15 to 60 Hz that nobody stated.
    SoftStand,
}

impl Trouble {
    /// All of them.
    pub const ALL: [Self; 14] = [
        Self::None,
        Self::SlowAverages,
        Self::Jump,
        Self::HeatStays,
        Self::HeatFades,
        Self::Creep,
        Self::Sway,
        Self::Walk,
        Self::Hum,
        Self::Bend,
        Self::Loop,
        Self::Feet,
        Self::Rough,
        Self::SoftStand,
    ];

    /// In a word.
    pub fn name(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::SlowAverages => "slow",
            Self::Jump => "jump",
            Self::HeatStays => "heat-stays",
            Self::HeatFades => "heat-fades",
            Self::Creep => "creep",
            Self::Sway => "sway",
            Self::Walk => "walk",
            Self::Hum => "hum",
            Self::Bend => "bend",
            Self::Loop => "loop",
            Self::Feet => "feet",
            Self::Rough => "rough",
            Self::SoftStand => "soft-stand",
        }
    }

    /// Builds it into the stand.
    pub(super) fn build(self, seed: u64, rig: &mut Rig) {
        let mut rng = Rng::new(seed, Stream::Trouble);
        let slow = self == Self::SlowAverages;
        let before = if rig.recorder.averages {
            0.5 / rig.recorder.rate_hz
        } else {
            0.0
        };
        rig.recorder.rate_hz = if slow {
            80.0
        } else {
            rng.log_uniform(200.0, 2000.0).round()
        };
        rig.recorder.averages = slow;
        let now = if slow {
            0.5 / rig.recorder.rate_hz
        } else {
            0.0
        };
        for cell in &mut rig.cells {
            cell.delay_s += now - before;
        }
        if self == Self::Jump {
            rig.mount = Mount::NozzleDown;
        }
        for cell in &mut rig.cells {
            match self {
                Self::Bend => {
                    cell.by_points = true;
                    let share = rng.log_uniform(0.0003, 0.003) * rng.sign(0.5);
                    cell.bend = share * cell.slope / cell.capacity_n;
                }
                Self::Loop => {
                    cell.by_points = true;
                    cell.half_loop_n =
                        0.5 * rng.log_uniform(0.0003, 0.002) * cell.capacity_n * rng.sign(0.5);
                }
                Self::SoftStand => {
                    cell.mode = Some((rng.log_uniform(15.0, 60.0), rng.uniform(0.02, 0.1)));
                    cell.mode_stated = false;
                }
                _ => {}
            }
        }
        if self == Self::Feet {
            let foot = [rng.uniform(0.02, 0.09), rng.uniform(0.03, 0.12)];
            let tail = [rng.uniform(0.02, 0.09), rng.uniform(0.05, 0.25)];
            for plan in &mut rig.motors {
                plan.label = plan.label.with_feet(foot, tail);
            }
        }
    }

    /// How rough the motors burn; `None` as drawn.
    pub(super) fn roughness(self, seed: u64) -> Option<f64> {
        let mut rng = Rng::new(seed, Stream::Trouble);
        (self == Self::Rough).then(|| rng.log_uniform(0.01, 0.03))
    }

    /// What a cell reads besides what its motors do, N, added to its force.
    pub(super) fn act(self, seed: u64, cell: &CellPlan, courses: &[Vec<f64>], force: &mut [f64]) {
        let mut rng = Rng::new(seed, Stream::Trouble);
        let mut size =
            |low: f64, high: f64| rng.log_uniform(low, high) * cell.largest_n * rng.sign(0.6);
        let begins = courses
            .iter()
            .filter_map(|course| burn::ignition(course))
            .fold(f64::INFINITY, f64::min);
        match self {
            Self::Jump => {
                let size = size(0.001, 0.02);
                for (k, f) in force.iter_mut().enumerate() {
                    let since = k as f64 * STEP - begins;
                    *f += size * (since / 0.02).clamp(0.0, 1.0);
                }
            }
            Self::HeatStays | Self::HeatFades => {
                let size = size(0.001, 0.02);
                let fade_s = if self == Self::HeatFades {
                    rng.uniform(0.7, 5.0)
                } else {
                    f64::INFINITY
                };
                let mut own = vec![0.0; force.len()];
                for &m in &cell.motors {
                    own.iter_mut()
                        .zip(&courses[m])
                        .for_each(|(sum, thrust)| *sum += thrust);
                }
                let total = burn::impulse(&own).max(f64::MIN_POSITIVE);
                let mut warm = 0.0;
                for (f, thrust) in force.iter_mut().zip(&own) {
                    warm += thrust * STEP / total - warm * STEP / fade_s;
                    *f += size * warm;
                }
            }
            Self::Creep => {
                let (share, slow_s) = (rng.log_uniform(0.0002, 0.002), rng.uniform(1.5, 15.0));
                let mut given = 0.0;
                for f in force.iter_mut() {
                    given += (share * *f - given) * STEP / slow_s;
                    *f += given;
                }
            }
            Self::Sway => {
                let sd = size(0.001, 0.01).abs();
                let (hz, damping) = (rng.uniform(0.2, 0.5), rng.uniform(0.03, 0.2));
                sway(&mut rng, force, sd, hz, damping);
            }
            Self::Walk => {
                let per_root_s = size(0.0005, 0.005).abs();
                let mut now = 0.0;
                for f in force.iter_mut() {
                    *f += now;
                    now += per_root_s * STEP.sqrt() * rng.normal();
                }
            }
            Self::Hum => {
                let size = size(0.001, 0.02);
                let (hz, phase) = (
                    if rng.chance(0.5) { 50.0 } else { 60.0 },
                    rng.uniform(0.0, TAU),
                );
                let hz = hz * (1.0 + 0.0005 * rng.normal());
                for (k, f) in force.iter_mut().enumerate() {
                    *f += size * (TAU * hz * k as f64 * STEP + phase).sin();
                }
            }
            Self::Loop => loop_n(cell, force),
            _ => {}
        }
    }
}

/// Adds an oscillator that white noise drives, of this standard deviation; it begins somewhere in its swing.
fn sway(rng: &mut Rng, force: &mut [f64], sd: f64, hz: f64, damping: f64) {
    let natural = TAU * hz;
    // stationary: var x = 1, var v = natural^2 for white noise of intensity 4 damping natural^3
    let push = (4.0 * damping * natural.powi(3)).sqrt();
    let (mut x, mut v) = (rng.normal(), natural * rng.normal());
    for f in force {
        *f += sd * x;
        v += STEP * (-natural * natural * x - 2.0 * damping * natural * v)
            + push * STEP.sqrt() * rng.normal();
        x += STEP * v;
    }
}

/// Adds the cell's loop: none while the load is at its highest so far, and most half way down; it shrinks with the square of
/// the highest load.
fn loop_n(cell: &CellPlan, force: &mut [f64]) {
    let mut highest = 0.0_f64;
    for f in force {
        highest = highest.max(*f);
        *f += cell.loop_at(*f, highest);
    }
}

/// The motors of a firing in which every one lights and burns as its lot does.
pub(super) fn all_light(motors: &mut [Motor], roughness: Option<f64>) {
    for motor in motors {
        motor.lit = true;
        if let Some(roughness) = roughness {
            motor.roughness = roughness;
        }
    }
}
