//! Commands, nozzle and tilt of one axis through a burn, quickly: what limits on a pattern are held against.
//!
//! The equations of `plant.json`, one millisecond a step: dead time, backlash, first-order lag solved exactly over
//! a step, tilt by the trapezoid. A controller below the pattern feeds tilt and rate back once in each row.

use super::expected::ExpectedAxis;
use super::families::Table;
use super::information::Actuator;
use crate::series::Series;

/// Step, s.
const STEP_S: f64 = 1e-3;

/// What happened, one value a step.
#[derive(Debug, Clone, Default)]
pub(super) struct Motion {
    /// Commands in force, one row of the computer each: when, s after the fire command, and deg.
    pub commands: Table,
    /// Nozzle angle, rad.
    pub nozzle_rad: Vec<f64>,
    /// Tilt, rad.
    pub tilt_rad: Vec<f64>,
}

impl Motion {
    /// Largest tilt, rad.
    pub(super) fn largest_tilt_rad(&self) -> f64 {
        self.tilt_rad
            .iter()
            .fold(0.0, |most: f64, tilt| most.max(tilt.abs()))
    }

    /// Largest change of the command from a row to the next, deg.
    pub(super) fn largest_step_deg(&self) -> f64 {
        let changes = self
            .commands
            .windows(2)
            .map(|pair| (pair[1].1 - pair[0].1).abs());
        changes.fold(0.0, f64::max)
    }
}

/// One way an axis may be.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sampled {
    pub actuator: Actuator,
    /// Thrust over what is certified.
    pub thrust_scale: f64,
    /// Angle between thrust and nozzle axis, rad.
    pub misalignment_rad: f64,
}

impl Sampled {
    /// What is expected.
    pub(super) fn of(axis: &ExpectedAxis) -> Self {
        Self {
            actuator: Actuator::of(axis),
            thrust_scale: 1.0,
            misalignment_rad: 0.0,
        }
    }
}

/// Goes through a burn.
pub(super) fn motion(
    axis: &ExpectedAxis,
    sampled: &Sampled,
    pattern: &[(f64, f64)],
    (thrust_n, row_s): (&Series, f64),
) -> Motion {
    let end_s = thrust_n.span_s().map_or(1.0, |(_, to_s)| to_s);
    let rows_per = (row_s / STEP_S).round().max(1.0) as usize;
    let late = (sampled.actuator.delay_s / STEP_S).round() as usize;
    let keep = (-STEP_S / sampled.actuator.lag_s.max(1e-4)).exp();
    let effectiveness = axis.arm_m / axis.inertia_kg_m2;
    let friction = axis.friction_n_m / axis.inertia_kg_m2;
    let mut out = Motion::default();
    let mut sent: Vec<f64> = Vec::new();
    let (mut command_deg, mut worn_deg, mut nozzle) = (0.0, 0.0, 0.0);
    let (mut tilt, mut rate) = (0.0_f64, 0.0_f64);
    for step in 0..(end_s / STEP_S) as usize {
        let at_s = step as f64 * STEP_S;
        if step.is_multiple_of(rows_per) {
            let begun = pattern.partition_point(|(from_s, _)| *from_s <= at_s + 1e-9);
            let of_pattern = begun.checked_sub(1).map_or(0.0, |at| pattern[at].1);
            let fed_back = (axis.kp * tilt + axis.kd_s * rate).to_degrees();
            let wanted = of_pattern - fed_back;
            command_deg = wanted.clamp(-axis.command_limit_deg, axis.command_limit_deg);
            out.commands.push((at_s, command_deg));
        }
        sent.push(command_deg);
        let arrived = step.checked_sub(late).map_or(0.0, |at| sent[at]);
        let half = 0.5 * sampled.actuator.backlash_deg;
        worn_deg = f64::clamp(worn_deg, arrived - half, arrived + half);
        let travel = axis.travel_rad.unwrap_or(f64::INFINITY);
        let demand = (sampled.actuator.gain * worn_deg.to_radians()).clamp(-travel, travel);
        nozzle = demand + (nozzle - demand) * keep;
        let force = sampled.thrust_scale * thrust_n.at(at_s).unwrap_or(0.0);
        let push = effectiveness * force * (nozzle + sampled.misalignment_rad).sin();
        let rubs = friction * (rate / 0.01).tanh();
        let turn = push - axis.damping_per_s * rate + axis.stiffness_per_s2 * tilt - rubs;
        tilt += STEP_S * (rate + 0.5 * STEP_S * turn);
        rate += STEP_S * turn;
        out.nozzle_rad.push(nozzle);
        out.tilt_rad.push(tilt);
    }
    out
}
