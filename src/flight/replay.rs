//! The captive firing again: recorded commands and thrust through the fitted plant, against the
//! record.
//!
//! Three questions.
//!
//! First, do the simulator and the plant make of the recorded commands the tilt that was recorded? Over
//! the whole burn, open loop, they cannot: a rocket without a spring adds up every push that nobody
//! measured (motors that burn unlike, dry friction, air, a wrong first rate), and a standing push of p
//! has moved it by p t^2/2 after a time t. So the claim is judged over a short horizon: from every
//! hundredth of a second of the record, with the tilt and rate it had there, the recorded commands are
//! followed for two tenths of a second, and the error is held against that of a rocket which simply
//! keeps its rate. Rates are slopes over a tenth of a second about the start.
//!
//! Second, how far does the open loop part from the record, and is that such a drift? Both numbers are
//! told, and the standing push behind it.
//!
//! Third, what would the new gains have done in the same firing? The push that the plant does not
//! explain is measured as the difference between the acceleration recorded and that of the model, and
//! acts on the closed loop in place of the commands.
//!
//! Source: comparison with a forecast that keeps what it has (skill score, Murphy 1988); the horizon is
//! common practice, no source.

use std::sync::Arc;

use indexmap::IndexMap;
use rand::SeedableRng;
use rand::rngs::ChaCha8Rng;
use serde::{Deserialize, Serialize};

use super::run::{Moment, Steering, fly};
use super::scenario::Flight;
use crate::plant::AxisTrace;
use crate::reduce::Reduction;
use crate::series::Series;

/// What was recorded of an axis, on the clock of ignition.
#[derive(Debug, Clone)]
pub struct Recorded {
    /// Commands, deg.
    pub command_deg: Series,
    /// Tilt, deg.
    pub tilt_deg: Series,
}

/// Commands and tilt of a firing on the clock of its ignition; `None` when nothing burnt.
#[must_use]
pub fn recorded(reduced: &Reduction) -> Option<IndexMap<String, Recorded>> {
    let burn = reduced.result.burn.as_ref()?;
    let ignition_s = burn.ignition_s.as_ref()?.value;
    let shifted = |series: &Series| series.map_time(|time| time - ignition_s);
    let of = |(name, axis): (&String, &AxisTrace)| {
        let recorded = Recorded {
            command_deg: shifted(&axis.command_deg),
            tilt_deg: shifted(axis.tilt_deg.as_ref()?),
        };
        Some((name.clone(), recorded))
    };
    Some(reduced.traces.axes.iter().filter_map(of).collect())
}

/// What the replay shows.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Replay {
    /// From and to, s after ignition.
    pub window_s: [f64; 2],
    /// Largest tilt recorded, deg.
    pub recorded_largest_deg: f64,
    /// How far ahead the short prediction looks, s.
    pub horizon_s: f64,
    /// Root mean square error of the tilt predicted over the horizon, deg.
    pub ahead_rms_deg: f64,
    /// The same of a rocket that keeps its rate, deg.
    pub keeps_rate_rms_deg: f64,
    /// Share of that error which the model takes away, in per cent.
    pub ahead_explains_percent: f64,
    /// Root mean square of recorded less replayed tilt, open loop, deg.
    pub open_rms_deg: f64,
    /// Share of the recorded tilt's movement that the open replay explains, in per cent.
    pub open_explains_percent: f64,
    /// What is left of it when a wrong first tilt and rate and a standing push (a parabola over time)
    /// are taken off, deg.
    pub open_without_drift_rms_deg: f64,
    /// Mean of the measured push, rad/s2.
    pub push_mean_rad_s2: f64,
    /// The open replay with the measured push: what is left is smoothing.
    pub with_push_rms_deg: f64,
    /// Standard deviation of the measured push about its mean, rad/s2.
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
/// Pieces of the grid that the short prediction looks ahead.
const AHEAD: usize = 20;

/// Replays a record on the rig. `rig` holds plant and thrust of the firing, and the new controller.
#[must_use]
pub fn replay(rig: &Flight, recorded: &Recorded) -> Option<Replay> {
    let (from, to) = (rig.release_s, rig.ends_s);
    let tilt = &recorded.tilt_deg;
    let (begin, end) = tilt.span_s()?;
    let (from, to) = (from.max(begin + SLOPE_S), to.min(end - SLOPE_S));
    let count = ((to - from) / GRID_S).floor();
    if count < 2.0 * AHEAD as f64 {
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
    let forces = Forces::of(&open, &commands);
    let push = forces.push(&grid, &level, &slope, &bend);
    let (ahead, keeps_rate) = ahead(&forces, &grid, &level, &slope);
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
    let off = difference(&alone, &level);
    let open_rms_deg = rms(&off);
    let push_mean_rad_s2 = push.iter().sum::<f64>() / push.len() as f64;
    let about_mean: Vec<f64> = push.iter().map(|one| one - push_mean_rad_s2).collect();
    Some(Replay {
        window_s: [from, to],
        recorded_largest_deg: largest(&level),
        horizon_s: GRID_S * AHEAD as f64,
        ahead_rms_deg: rms(&ahead),
        keeps_rate_rms_deg: rms(&keeps_rate),
        ahead_explains_percent: 100.0 * (1.0 - rms(&ahead) / rms(&keeps_rate)),
        open_rms_deg,
        open_without_drift_rms_deg: rms(&without_parabola(&grid, &off)?),
        push_mean_rad_s2,
        open_explains_percent: 100.0 * (1.0 - open_rms_deg / rms(&spread)),
        with_push_rms_deg: rms(&difference(&with_push, &level)),
        push_sd_rad_s2: rms(&about_mean),
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

/// What acts on the tilt by the model, whatever the tilt: from the recorded commands.
struct Forces<'a> {
    of: &'a Flight,
    nozzle_deg: Series,
    thrust_n: Series,
}

impl<'a> Forces<'a> {
    /// The nozzle is that of the whole record.
    fn of(of: &'a Flight, commands: &Steering<'_>) -> Self {
        let (mut nozzle_deg, mut thrust_n) = (Series::default(), Series::default());
        let mut dice = ChaCha8Rng::seed_from_u64(0);
        let mut last = f64::NEG_INFINITY;
        fly(of, commands, &mut dice, |moment| {
            if moment.time_s > last {
                nozzle_deg.push(moment.time_s, moment.nozzle_deg);
                thrust_n.push(moment.time_s, moment.thrust_n);
                last = moment.time_s;
            }
        });
        Self {
            of,
            nozzle_deg,
            thrust_n,
        }
    }

    /// Tilt acceleration of the model without dry friction, rad/s2.
    fn turning(&self, nozzle_deg: f64, thrust_n: f64, tilt_rad: f64, rate_rad_s: f64) -> f64 {
        let axis = &self.of.axis;
        axis.effectiveness_per_kg_m * thrust_n * nozzle_deg.to_radians().sin()
            + axis.thrust_bias_per_kg_m * thrust_n
            - axis.damping_per_s * rate_rad_s
            + axis.stiffness_per_s2 * tilt_rad
    }

    /// What the model does not explain, rad/s2: recorded bend less the model's, smoothed alike.
    fn push(&self, grid: &[f64], level: &[f64], slope: &[f64], bend: &[f64]) -> Vec<f64> {
        let smooth = |series: &Series, t: f64| {
            let inside = series.between(t - 0.5 * SLOPE_S, t + 0.5 * SLOPE_S);
            inside.value().iter().sum::<f64>() / inside.len().max(1) as f64
        };
        let one = |(at, t): (usize, &f64)| {
            let (nozzle, thrust) = (smooth(&self.nozzle_deg, *t), smooth(&self.thrust_n, *t));
            let (tilt, rate) = (level[at].to_radians(), slope[at].to_radians());
            bend[at].to_radians() - self.turning(nozzle, thrust, tilt, rate)
        };
        grid.iter().enumerate().map(one).collect()
    }

    /// Tilt, deg, a horizon after a start, by the midpoint rule.
    fn ahead(&self, from_s: f64, tilt_deg: f64, rate_deg_s: f64) -> Option<f64> {
        let (mut tilt, mut rate) = (tilt_deg.to_radians(), rate_deg_s.to_radians());
        let dry = self.of.axis.coulomb_rad_per_s2;
        let steps = 10 * AHEAD;
        let step_s = GRID_S * AHEAD as f64 / steps as f64;
        for at in 0..steps {
            let middle_s = from_s + step_s * (at as f64 + 0.5);
            let (nozzle, thrust) = (self.nozzle_deg.at(middle_s)?, self.thrust_n.at(middle_s)?);
            let turning = self.turning(nozzle, thrust, tilt + 0.5 * step_s * rate, rate);
            // Dry friction slows and holds, it does not turn round.
            let free = rate + step_s * turning;
            let slower = (free.abs() - step_s * dry).max(0.0).copysign(free);
            tilt += 0.5 * step_s * (rate + slower);
            rate = slower;
        }
        Some(tilt.to_degrees())
    }
}

/// Errors of the tilt a horizon ahead, deg: of the model, and of a rocket that keeps its rate.
fn ahead(forces: &Forces<'_>, grid: &[f64], level: &[f64], slope: &[f64]) -> (Vec<f64>, Vec<f64>) {
    let horizon_s = GRID_S * AHEAD as f64;
    (0..grid.len().saturating_sub(AHEAD))
        .filter_map(|at| {
            let model = forces.ahead(grid[at], level[at], slope[at])?;
            let recorded = level[at + AHEAD];
            Some((
                model - recorded,
                level[at] + horizon_s * slope[at] - recorded,
            ))
        })
        .unzip()
}

/// Values less the parabola that fits them best.
fn without_parabola(time_s: &[f64], value: &[f64]) -> Option<Vec<f64>> {
    let (from, to) = (time_s.first()?, time_s.last()?);
    let x = nalgebra::DMatrix::from_fn(time_s.len(), 3, |row, column| {
        ((time_s[row] - from) / (to - from)).powi(column as i32)
    });
    let y = nalgebra::DVector::from_column_slice(value);
    let found = x.clone().svd(true, true).solve(&y, 1e-12).ok()?;
    Some((y - x * found).iter().copied().collect())
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
