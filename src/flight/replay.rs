//! The captive firing again: recorded commands and thrust through the fitted plant, against the
//! record.
//!
//! Two questions. First, do the simulator and the plant make of the recorded commands the tilt that was
//! recorded? That runs open loop from the first tilt and rate, so every small push that nobody measured
//! adds up, and tilt parts from the record in the end; over how much of the record it stays within a
//! limit is told beside the share explained. Second, what would the new gains have done in the same
//! firing? The push that the plant does not explain is measured as the difference between the
//! acceleration recorded and that of the model (the rate's slope over a tenth of a second), and acts on
//! the closed loop in place of the commands.

use std::sync::Arc;

use rand::SeedableRng;
use rand::rngs::ChaCha8Rng;
use serde::{Deserialize, Serialize};

use super::run::{Moment, Steering, fly};
use super::scenario::Flight;
use crate::series::Series;

/// What was recorded of an axis, on the clock of ignition.
#[derive(Debug, Clone)]
pub struct Recorded {
    /// Commands, deg.
    pub command_deg: Series,
    /// Tilt, deg.
    pub tilt_deg: Series,
}

/// What the replay shows.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Replay {
    /// From and to, s after ignition.
    pub window_s: [f64; 2],
    /// Largest tilt recorded, deg.
    pub recorded_largest_deg: f64,
    /// Root mean square of recorded less replayed tilt, open loop, deg.
    pub open_rms_deg: f64,
    /// Share of the recorded tilt's movement that the open replay explains, in per cent.
    pub open_explains_percent: f64,
    /// The same with the measured push: what is left is smoothing.
    pub with_push_rms_deg: f64,
    /// Standard deviation of the measured push, rad/s2.
    pub push_sd_rad_s2: f64,
    /// Largest tilt that the new gains would have let come up under the measured push, deg.
    pub closed_largest_deg: f64,
    /// Seconds since ignition.
    pub time_s: Vec<f64>,
    /// Recorded tilt, deg.
    pub recorded_deg: Vec<f64>,
    /// Open replay, deg.
    pub open_deg: Vec<f64>,
    /// New gains under the measured push, deg.
    pub closed_deg: Vec<f64>,
}

/// Time over which slopes are taken, s.
const SLOPE_S: f64 = 0.1;
/// Grid of the comparison, s.
const GRID_S: f64 = 0.01;

/// Replays a record on the rig. `rig` holds plant and thrust of the firing, and the new controller.
#[must_use]
pub fn replay(rig: &Flight, recorded: &Recorded) -> Option<Replay> {
    let (from, to) = (rig.release_s, rig.ends_s);
    let tilt = &recorded.tilt_deg;
    let (begin, end) = tilt.span_s()?;
    let (from, to) = (from.max(begin + SLOPE_S), to.min(end - SLOPE_S));
    let count = ((to - from) / GRID_S).floor();
    if count < 20.0 {
        return None;
    }
    let grid: Vec<f64> = (0..=count as usize)
        .map(|at| from + GRID_S * at as f64)
        .collect();
    let (level, slope, bend): (Vec<f64>, Vec<f64>, Vec<f64>) = parabolas(tilt, &grid)?;
    let mut open = rig.clone();
    (open.release_s, open.ends_s) = (from, to);
    (open.tilt_deg, open.rate_deg_s) = (level[0], slope[0]);
    open.late_s = 0.0;
    let shown = |of: &Flight, steering: &Steering<'_>| -> Series {
        let mut out = Series::default();
        let mut dice = ChaCha8Rng::seed_from_u64(0);
        let mut last = f64::NEG_INFINITY;
        fly(of, steering, &mut dice, |moment: &Moment| {
            if moment.time_s > last {
                out.push(moment.time_s, moment.tilt_rad.to_degrees());
                last = moment.time_s;
            }
        });
        out
    };
    let commands = Steering::Record(&recorded.command_deg);
    let alone = shown(&open, &commands);
    // Push: recorded bend less what the model makes of the recorded tilt, rate and commands.
    let push = push(&open, &commands, &grid, &level, &slope, &bend);
    let mut pushed = open.clone();
    pushed.disturbance_rad_s2 = Some(Arc::new(Series::new(&grid, &push)));
    let with_push = shown(&pushed, &commands);
    let mut closed = pushed.clone();
    closed.late_s = rig.late_s;
    let closed = shown(&closed, &Steering::Controller);
    let at = |series: &Series| -> Vec<f64> {
        grid.iter()
            .map(|t| series.at(*t).unwrap_or(f64::NAN))
            .collect()
    };
    let (alone, with_push, closed) = (at(&alone), at(&with_push), at(&closed));
    let mean = level.iter().sum::<f64>() / level.len() as f64;
    let spread: Vec<f64> = level.iter().map(|v| v - mean).collect();
    let largest = |of: &[f64]| of.iter().map(|v| v.abs()).fold(0.0, f64::max);
    let open_rms_deg = rms(&difference(&alone, &level));
    Some(Replay {
        window_s: [from, to],
        recorded_largest_deg: largest(&level),
        open_rms_deg,
        open_explains_percent: 100.0 * (1.0 - open_rms_deg / rms(&spread)),
        with_push_rms_deg: rms(&difference(&with_push, &level)),
        push_sd_rad_s2: rms(&push),
        closed_largest_deg: largest(&closed),
        time_s: grid,
        recorded_deg: level,
        open_deg: alone,
        closed_deg: closed,
    })
}

fn difference(a: &[f64], b: &[f64]) -> Vec<f64> {
    a.iter().zip(b).map(|(a, b)| a - b).collect()
}

fn rms(of: &[f64]) -> f64 {
    (of.iter().map(|v| v * v).sum::<f64>() / of.len().max(1) as f64).sqrt()
}

/// What the model does not explain, rad/s2: it is stepped over each piece of the grid from the
/// recorded tilt and rate.
fn push(
    of: &Flight,
    commands: &Steering<'_>,
    grid: &[f64],
    level: &[f64],
    slope: &[f64],
    bend: &[f64],
) -> Vec<f64> {
    // The nozzle is that of the whole record; the tilt acceleration is read from the equation.
    let mut nozzle_deg = Series::default();
    let mut thrust_n = Series::default();
    let mut dice = ChaCha8Rng::seed_from_u64(0);
    fly(of, commands, &mut dice, |moment| {
        nozzle_deg.push(moment.time_s, moment.nozzle_deg);
        thrust_n.push(moment.time_s, moment.thrust_n);
    });
    let smooth = |series: &Series, t: f64| {
        let inside = series.between(t - 0.5 * SLOPE_S, t + 0.5 * SLOPE_S);
        inside.value().iter().sum::<f64>() / inside.len().max(1) as f64
    };
    let axis = &of.axis;
    grid.iter()
        .enumerate()
        .map(|(at, t)| {
            let nozzle = smooth(&nozzle_deg, *t).to_radians();
            let thrust = smooth(&thrust_n, *t);
            let model = axis.effectiveness_per_kg_m * thrust * nozzle.sin()
                + axis.thrust_bias_per_kg_m * thrust
                - axis.damping_per_s * slope[at].to_radians()
                + axis.stiffness_per_s2 * level[at].to_radians();
            bend[at].to_radians() - model
        })
        .collect()
}

/// Level, slope and bend by a parabola through the readings around each point (least squares; Savitzky &
/// Golay 1964).
fn parabolas(of: &Series, grid: &[f64]) -> Option<(Vec<f64>, Vec<f64>, Vec<f64>)> {
    let mut out = (Vec::new(), Vec::new(), Vec::new());
    for t in grid {
        let near = of.between(t - 0.5 * SLOPE_S, t + 0.5 * SLOPE_S);
        let rows = near.len();
        if rows < 5 {
            return None;
        }
        let x = nalgebra::DMatrix::from_fn(rows, 3, |row, column| {
            ((near.time_s()[row] - t) / SLOPE_S).powi(column as i32)
        });
        let y = nalgebra::DVector::from_column_slice(near.value());
        let found = x.svd(true, true).solve(&y, 1e-12).ok()?;
        out.0.push(found[0]);
        out.1.push(found[1] / SLOPE_S);
        out.2.push(2.0 * found[2] / (SLOPE_S * SLOPE_S));
    }
    Some(out)
}
