//! The captive firing again: recorded commands and thrust through the fitted plant, against the
//! record.
//!
//! Three questions.
//!
//! First, do the simulator and the plant make of the recorded commands the tilt that was recorded? Over
//! the whole burn, as a free-run simulation, they cannot: a rocket without a spring adds up every
//! disturbance that nobody measured (motors that burn unlike, dry friction, air, a wrong first rate), and a
//! steady one of p has moved it by p t^2/2 after a time t. So the claim is judged by k-step prediction:
//! from every hundredth of a second of the record, with the tilt and rate it had there, the recorded
//! commands are followed for two tenths of a second, and the error is held against that of a rocket which
//! simply keeps its rate. Rates are slopes over a tenth of a second about the start.
//!
//! Second, how far does the free run depart from the record, and is that such a drift? Both numbers are
//! given, and the steady disturbance behind it.
//!
//! Third, what would the new gains have done in the same firing? The disturbance that the plant does not
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

use super::flight_computer::Commands;
use super::parabola::{SLOPE_S, smoothed, without_parabola};
use super::prediction::{Forces, GRID_S, STEPS_AHEAD, errors};
use super::run::{FlightState, fly};
use super::scenario::Scenario;
use crate::plant::AxisTrace;
use crate::reduce::Reduction;
use crate::series::Series;

/// What was recorded of an axis, on the clock of ignition.
#[derive(Debug, Clone)]
pub struct AxisRecord {
    /// Commands, deg.
    pub command_deg: Series,
    /// Tilt, deg.
    pub tilt_deg: Series,
}

/// Commands and tilt of a firing on the clock of its ignition; `None` when nothing burnt.
#[must_use]
pub fn axis_records(reduced: &Reduction) -> Option<IndexMap<String, AxisRecord>> {
    let burn = reduced.result.burn.as_ref()?;
    let ignition_s = burn.ignition_s.as_ref()?.value;
    let shifted = |series: &Series| series.map_time(|time| time - ignition_s);
    let of = |(name, axis): (&String, &AxisTrace)| {
        let recorded = AxisRecord {
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
    /// Horizon of the k-step prediction, s.
    pub horizon_s: f64,
    /// Root mean square error of the tilt predicted over the horizon, deg.
    #[serde(rename = "ahead_rms_deg")]
    pub prediction_rms_deg: f64,
    /// The same of a rocket that keeps its rate, deg.
    pub keeps_rate_rms_deg: f64,
    /// Share of that error which the model takes away, in per cent.
    #[serde(rename = "ahead_explains_percent")]
    pub prediction_explains_percent: f64,
    /// Root mean square of recorded less simulated tilt, free run, deg.
    #[serde(rename = "open_rms_deg")]
    pub free_run_rms_deg: f64,
    /// Share of the recorded tilt's movement that the free run explains, in per cent.
    #[serde(rename = "open_explains_percent")]
    pub free_run_explains_percent: f64,
    /// What is left of it when a wrong first tilt and rate and a steady disturbance (a parabola over time)
    /// are taken off, deg.
    #[serde(rename = "open_without_drift_rms_deg")]
    pub free_run_without_drift_rms_deg: f64,
    /// Mean of the measured disturbance, rad/s2.
    #[serde(rename = "push_mean_rad_s2")]
    pub disturbance_mean_rad_s2: f64,
    /// The free run with the measured disturbance: what is left is smoothing.
    #[serde(rename = "with_push_rms_deg")]
    pub with_disturbance_rms_deg: f64,
    /// Standard deviation of the measured disturbance about its mean, rad/s2.
    #[serde(rename = "push_sd_rad_s2")]
    pub disturbance_sd_rad_s2: f64,
    /// Largest tilt that the new gains would have let come up under the measured disturbance, deg.
    pub closed_largest_deg: f64,
    /// Seconds since ignition.
    pub time_s: Vec<f64>,
    /// AxisRecord tilt, deg.
    pub recorded_deg: Vec<f64>,
    /// Free run, deg.
    #[serde(rename = "open_deg")]
    pub free_run_deg: Vec<f64>,
    /// New gains under the measured disturbance, deg.
    pub closed_deg: Vec<f64>,
}

/// Replays a record on the rig. `rig` holds plant and thrust of the firing, and the new controller.
#[must_use]
pub(crate) fn replay(rig: &Scenario, recorded: &AxisRecord) -> Option<Replay> {
    let (from, to) = (rig.release_s, rig.ends_s);
    let tilt = &recorded.tilt_deg;
    let (begin, end) = tilt.span_s()?;
    let (from, to) = (from.max(begin + SLOPE_S), to.min(end - SLOPE_S));
    let count = ((to - from) / GRID_S).floor();
    if count < 2.0 * STEPS_AHEAD as f64 {
        return None;
    }
    let grid: Vec<f64> = (0..=count as usize)
        .map(|at| from + GRID_S * at as f64)
        .collect();
    let smoothed = smoothed(tilt, &grid)?;
    let mut open = rig.clone();
    (open.release_s, open.ends_s) = (from, to);
    (open.tilt_deg, open.rate_deg_s) = (smoothed.level[0], smoothed.slope[0]);
    open.latency_s = 0.0;
    let commands = Commands::Record(&recorded.command_deg);
    let free_run_deg = tilt_deg(&open, &commands, &grid);
    let forces = Forces::of(&open, &commands);
    let disturbance = forces.disturbance(&grid, &smoothed);
    let (predicted, keeps_rate) = errors(&forces, &grid, &smoothed);
    let mut disturbed = open.clone();
    disturbed.disturbance_rad_s2 = Some(Arc::new(Series::new(&grid, &disturbance)));
    let with_disturbance = tilt_deg(&disturbed, &commands, &grid);
    disturbed.latency_s = rig.latency_s;
    let closed_deg = tilt_deg(&disturbed, &Commands::Controller, &grid);
    let level = smoothed.level;
    let mean = level.iter().sum::<f64>() / level.len() as f64;
    let spread: Vec<f64> = level.iter().map(|v| v - mean).collect();
    let largest = |of: &[f64]| of.iter().map(|v| v.abs()).fold(0.0, f64::max);
    let off = difference(&free_run_deg, &level);
    let free_run_rms_deg = rms(&off);
    let disturbance_mean_rad_s2 = disturbance.iter().sum::<f64>() / disturbance.len() as f64;
    let about_mean: Vec<f64> = disturbance
        .iter()
        .map(|one| one - disturbance_mean_rad_s2)
        .collect();
    Some(Replay {
        window_s: [from, to],
        recorded_largest_deg: largest(&level),
        horizon_s: GRID_S * STEPS_AHEAD as f64,
        prediction_rms_deg: rms(&predicted),
        keeps_rate_rms_deg: rms(&keeps_rate),
        prediction_explains_percent: 100.0 * (1.0 - rms(&predicted) / rms(&keeps_rate)),
        free_run_rms_deg,
        free_run_without_drift_rms_deg: rms(&without_parabola(&grid, &off)?),
        disturbance_mean_rad_s2,
        free_run_explains_percent: 100.0 * (1.0 - free_run_rms_deg / rms(&spread)),
        with_disturbance_rms_deg: rms(&difference(&with_disturbance, &level)),
        disturbance_sd_rad_s2: rms(&about_mean),
        closed_largest_deg: largest(&closed_deg),
        time_s: grid,
        recorded_deg: level,
        free_run_deg,
        closed_deg,
    })
}

/// Tilt of a flight at some times, deg.
fn tilt_deg(of: &Scenario, commands: &Commands<'_>, grid: &[f64]) -> Vec<f64> {
    let mut out = Series::default();
    let mut rng = ChaCha8Rng::seed_from_u64(0);
    let mut last = f64::NEG_INFINITY;
    fly(of, commands, &mut rng, |state: &FlightState| {
        if state.time_s > last {
            out.push(state.time_s, state.tilt_rad.to_degrees());
            last = state.time_s;
        }
    });
    grid.iter()
        .map(|t| out.at(*t).unwrap_or(f64::NAN))
        .collect()
}

fn difference(a: &[f64], b: &[f64]) -> Vec<f64> {
    a.iter().zip(b).map(|(a, b)| a - b).collect()
}

fn rms(of: &[f64]) -> f64 {
    (of.iter().map(|v| v * v).sum::<f64>() / of.len().max(1) as f64).sqrt()
}
