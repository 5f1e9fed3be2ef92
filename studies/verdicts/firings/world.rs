//! What else acts on the cells: weight, stand, igniters, hands, heat, neighbours; in newtons, before any converter.
//!
//! The stand under a cell is one mode, stepped exactly for a force that is held over a step (zero-order hold).

use std::f64::consts::{PI, TAU};

use super::burn::{self, Motor, STEP};
use super::rig::{CellPlan, GRAVITY, Rig};
use super::rng::{Rng, Stream};
use super::trouble::Trouble;
use super::truth::{Cause, Kind};

pub(super) struct World {
    /// What the igniter of each motor gave, over time; empty where it gave nothing.
    pub(super) pops: Vec<Vec<f64>>,
    /// What each cell is loaded with.
    pub(super) forces: Vec<Vec<f64>>,
    pub(super) causes: Vec<Cause>,
}

pub(super) fn act(seed: u64, rig: &Rig, motors: &[Motor], courses: &[Vec<f64>]) -> World {
    let mut rng = Rng::new(seed, Stream::World);
    let count = courses.first().map_or(0, Vec::len);
    let mut causes = Vec::new();
    let calm = rng.chance(0.12);
    let pops: Vec<_> = (0..motors.len())
        .map(|i| {
            pop(&mut rng, rig, motors, i, count, calm).map_or_else(Vec::new, |(pop, cause)| {
                causes.push(cause);
                pop
            })
        })
        .collect();
    let presses = if calm {
        vec![Vec::new(); rig.cells.len()]
    } else {
        presses(&mut rng, rig, count, &mut causes)
    };
    let mut forces: Vec<Vec<f64>> = rig
        .cells
        .iter()
        .enumerate()
        .map(|(c, cell)| {
            let mut force = carried(rig, cell, motors, courses);
            for extra in cell.motors.iter().map(|&m| &pops[m]).chain([&presses[c]]) {
                force.iter_mut().zip(extra).for_each(|(f, e)| *f += e);
            }
            shake(&mut force, cell.mode);
            force
        })
        .collect();
    if !calm {
        cross_talk(&mut rng, rig, &mut forces, &mut causes);
        for (c, cell) in rig.cells.iter().enumerate() {
            warm(&mut rng, cell, courses, &mut forces[c], &mut causes);
            soften(&mut rng, cell, &mut forces[c], &mut causes);
        }
    }
    World {
        pops,
        forces,
        causes,
    }
}

/// What the cells are loaded with where only one trouble acts.
pub(super) fn only(
    seed: u64,
    rig: &Rig,
    motors: &[Motor],
    courses: &[Vec<f64>],
    trouble: Trouble,
) -> Vec<Vec<f64>> {
    let each = rig.cells.iter().enumerate();
    let force = |(c, cell): (usize, &CellPlan)| {
        let mut force = carried(rig, cell, motors, courses);
        shake(&mut force, cell.mode);
        trouble.act(seed.wrapping_add(613 * c as u64), cell, courses, &mut force);
        force
    };
    each.map(force).collect()
}

/// Thrust of its motors and the weight they lose.
fn carried(rig: &Rig, cell: &CellPlan, motors: &[Motor], courses: &[Vec<f64>]) -> Vec<f64> {
    let mut force = vec![0.0; courses.first().map_or(0, Vec::len)];
    for &m in &cell.motors {
        let total = burn::impulse(&courses[m]);
        let weight = rig.mount.weight_lost() * GRAVITY * motors[m].propellant_kg();
        let mut given = 0.0;
        for (f, thrust) in force.iter_mut().zip(&courses[m]) {
            given += thrust * STEP;
            *f += thrust
                + if total > 0.0 {
                    weight * given / total
                } else {
                    0.0
                };
        }
    }
    force
}

/// The reading of a mass on a spring under this force.
fn shake(force: &mut [f64], mode: Option<(f64, f64)>) {
    let Some((frequency, damping)) = mode else {
        return;
    };
    let natural = TAU * frequency;
    let swing = natural * (1.0 - damping * damping).sqrt();
    let (decay, turn) = ((-damping * natural * STEP).exp(), swing * STEP);
    let (mut x, mut v) = (0.0, 0.0);
    for f in force {
        // about the rest position of the held force
        let (e, lean) = (x - *f, damping * natural);
        let b = (v + lean * e) / swing;
        let (sin, cos) = turn.sin_cos();
        let next = decay * (e * cos + b * sin);
        v = decay * ((b * swing - lean * e) * cos - (e * swing + lean * b) * sin);
        x = next + *f;
        *f = x;
    }
}

fn pop(
    rng: &mut Rng,
    rig: &Rig,
    motors: &[Motor],
    i: usize,
    count: usize,
    calm: bool,
) -> Option<(Vec<f64>, Cause)> {
    let (pops, impulse, lasts) = (
        rng.chance(0.4),
        rng.log_uniform(0.005, 0.5),
        rng.uniform(0.01, 0.06),
    );
    let plan = &rig.motors[i];
    let at = plan.command_s + rng.log_uniform(0.01, 0.4);
    if motors[i].lit || calm || !pops {
        return None;
    }
    let mut force = vec![0.0; count];
    for (k, f) in force.iter_mut().enumerate() {
        let share = (k as f64 * STEP - at) / lasts;
        if (0.0..1.0).contains(&share) {
            // rises in a fifth of its time, dies in the rest; area of the shape is a half
            *f = 2.0 * impulse / lasts
                * if share < 0.2 {
                    share / 0.2
                } else {
                    (1.0 - share) / 0.8
                };
        }
    }
    let detail = format!("{impulse:.4} N s in {:.0} ms, at {at:.3} s", 1e3 * lasts);
    Some((force, Cause::new(Kind::IgniterPop, plan.name, detail)))
}

/// Hands, steps and knocks; on one cell or on all.
fn presses(rng: &mut Rng, rig: &Rig, count: usize, causes: &mut Vec<Cause>) -> Vec<Vec<f64>> {
    let mut presses = vec![Vec::new(); rig.cells.len()];
    let length = count as f64 * STEP;
    for (kind, probability) in [(Kind::Lean, 0.09), (Kind::Step, 0.05), (Kind::Knock, 0.08)] {
        if !rng.chance(probability) {
            continue;
        }
        let all = rng.chance(0.3);
        let hit = rng.below(rig.cells.len());
        let near = rig.fire_s + rng.uniform(-1.0, 2.0);
        let at = if rng.chance(0.6) {
            near
        } else {
            rng.uniform(0.05, 0.9) * length
        };
        let size = rng.sign(0.7)
            * match kind {
                Kind::Lean => rng.log_uniform(0.02, 0.8),
                Kind::Step => rng.log_uniform(0.01, 0.3),
                _ => rng.log_uniform(0.3, 3.0),
            };
        let lasts = if kind == Kind::Knock {
            rng.uniform(0.002, 0.01)
        } else {
            rng.uniform(0.3, 2.5)
        };
        let edge = rng.uniform(0.1, 0.4);
        for (c, cell) in rig
            .cells
            .iter()
            .enumerate()
            .filter(|(c, _)| all || *c == hit)
        {
            let top = size * cell.largest_n;
            if presses[c].is_empty() {
                presses[c] = vec![0.0; count];
            }
            for (k, f) in presses[c].iter_mut().enumerate() {
                *f += top * press(kind, k as f64 * STEP - at, lasts, edge);
            }
            causes.push(Cause::new(
                kind,
                &cell.name,
                format!("{top:.3} N at {at:.3} s for {lasts:.3} s"),
            ));
        }
    }
    presses
}

/// Shape of a press at a time since it began, at most 1.
fn press(kind: Kind, since: f64, lasts: f64, edge: f64) -> f64 {
    let smooth = |x: f64| 0.5 - 0.5 * (PI * x.clamp(0.0, 1.0)).cos();
    match kind {
        Kind::Lean => smooth(since / (edge * lasts)) * smooth((lasts - since) / (edge * lasts)),
        Kind::Step => smooth(since / 0.02),
        _ if (0.0..lasts).contains(&since) => (PI * since / lasts).sin(),
        _ => 0.0,
    }
}

fn cross_talk(rng: &mut Rng, rig: &Rig, forces: &mut [Vec<f64>], causes: &mut Vec<Cause>) {
    if !rng.chance(0.4) || forces.len() < 2 {
        return;
    }
    let before = forces.to_vec();
    for from in 0..before.len() {
        for to in (0..before.len()).filter(|to| *to != from) {
            let (there, share) = (
                rng.chance(0.7),
                rng.log_uniform(0.005, 0.05) * rng.sign(0.75),
            );
            if there {
                forces[to]
                    .iter_mut()
                    .zip(&before[from])
                    .for_each(|(f, other)| *f += share * other);
                let detail = format!("{:.2} % of {}", 100.0 * share, rig.cells[from].name);
                causes.push(Cause::new(Kind::CrossTalk, &rig.cells[to].name, detail));
            }
        }
    }
}

/// Heat and drift after ignition: of its own motors, or, now and then, of its neighbours.
fn warm(
    rng: &mut Rng,
    cell: &CellPlan,
    courses: &[Vec<f64>],
    force: &mut [f64],
    causes: &mut Vec<Cause>,
) {
    let (hump, drift, reaches) = (rng.chance(0.2), rng.chance(0.2), rng.chance(0.5));
    let sizes = [(); 2].map(|()| rng.log_uniform(0.001, 0.03) * rng.sign(0.6) * cell.largest_n);
    let (tau, slow) = (rng.uniform(0.6, 4.0), rng.uniform(0.5, 4.0));
    let first = |of: &mut dyn Iterator<Item = &Vec<f64>>| {
        of.filter_map(|c| burn::ignition(c)).reduce(f64::min)
    };
    let own = first(&mut cell.motors.iter().map(|&m| &courses[m]));
    let Some(from) = own.or_else(|| {
        if reaches {
            first(&mut courses.iter())
        } else {
            None
        }
    }) else {
        return;
    };
    for (kind, there, size) in [
        (Kind::ThermalHump, hump, sizes[0]),
        (Kind::ZeroDrift, drift, sizes[1]),
    ] {
        if !there {
            continue;
        }
        for (k, f) in force.iter_mut().enumerate() {
            let since = (k as f64 * STEP - from).max(0.0);
            *f += size
                * match kind {
                    Kind::ThermalHump => since / tau * (1.0 - since / tau).exp(),
                    _ => 1.0 - (-since / slow).exp(),
                };
        }
        let time = if kind == Kind::ThermalHump { tau } else { slow };
        causes.push(Cause::new(
            kind,
            &cell.name,
            format!("{size:.4} N with {time:.2} s, from {from:.3} s"),
        ));
    }
}

/// An amplifier that bends over below the largest load.
fn soften(rng: &mut Rng, cell: &CellPlan, force: &mut [f64], causes: &mut Vec<Cause>) {
    let (there, share) = (rng.chance(0.04), rng.uniform(0.45, 0.9));
    let top = force.iter().copied().fold(0.0, f64::max);
    if !there || top < 0.3 * cell.largest_n {
        return;
    }
    let limit = share * top.min(1.5 * cell.peak_n);
    let power = 12.0;
    for f in force {
        *f /= (1.0 + (*f / limit).abs().powf(power)).powf(1.0 / power);
    }
    causes.push(Cause::new(
        Kind::SoftSaturation,
        &cell.name,
        format!("at {limit:.2} N of {top:.2} N"),
    ));
}
