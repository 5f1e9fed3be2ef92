//! k-step prediction from a record, and the disturbance that the model does not explain.
//!
//! The nozzle is that of the whole record, so a prediction has two states and no input that jumps: the
//! midpoint rule does, at 1 ms.

use rand::SeedableRng;
use rand::rngs::ChaCha8Rng;

use super::flight_computer::Commands;
use super::parabola::{SLOPE_S, Smoothed};
use super::run::fly;
use super::scenario::Scenario;
use super::tilt::{ThrustTorque, angular_acceleration_rad_s2};
use crate::series::Series;

/// Grid of the comparison, s.
pub(super) const GRID_S: f64 = 0.01;
/// Steps of the grid that a prediction looks ahead.
pub(super) const STEPS_AHEAD: usize = 20;

/// What acts on the tilt by the model, whatever the tilt: from the recorded commands.
pub(super) struct Forces<'a> {
    of: &'a Scenario,
    nozzle_deg: Series,
    thrust_n: Series,
}

impl<'a> Forces<'a> {
    /// The nozzle is that of the whole record.
    pub(super) fn of(of: &'a Scenario, commands: &Commands<'_>) -> Self {
        let (mut nozzle_deg, mut thrust_n) = (Series::default(), Series::default());
        let mut rng = ChaCha8Rng::seed_from_u64(0);
        let mut last = f64::NEG_INFINITY;
        fly(of, commands, &mut rng, |state| {
            if state.time_s > last {
                nozzle_deg.push(state.time_s, state.nozzle_deg);
                thrust_n.push(state.time_s, state.thrust_n);
                last = state.time_s;
            }
        });
        Self {
            of,
            nozzle_deg,
            thrust_n,
        }
    }

    /// Tilt acceleration of the model without dry friction, rad/s2.
    fn acceleration_rad_s2(
        &self,
        nozzle_deg: f64,
        thrust_n: f64,
        tilt_rad: f64,
        rate_rad_s: f64,
    ) -> f64 {
        let axis = &self.of.axis;
        let thrust = ThrustTorque {
            pull_rad_s2: axis.effectiveness_per_kg_m * thrust_n,
            sine: nozzle_deg.to_radians().sin(),
            side_rad_s2: axis.thrust_bias_per_kg_m * thrust_n,
        };
        angular_acceleration_rad_s2(axis, &thrust, tilt_rad, rate_rad_s)
    }

    /// What the model does not explain, rad/s2: recorded acceleration less the model's, smoothed alike.
    pub(super) fn disturbance(&self, grid: &[f64], recorded: &Smoothed) -> Vec<f64> {
        let (level, slope) = (&recorded.level, &recorded.slope);
        let smooth = |series: &Series, t: f64| {
            let inside = series.between(t - 0.5 * SLOPE_S, t + 0.5 * SLOPE_S);
            inside.value().iter().sum::<f64>() / inside.len().max(1) as f64
        };
        let one = |(at, t): (usize, &f64)| {
            let (nozzle, thrust) = (smooth(&self.nozzle_deg, *t), smooth(&self.thrust_n, *t));
            let (tilt, rate) = (level[at].to_radians(), slope[at].to_radians());
            recorded.curvature[at].to_radians()
                - self.acceleration_rad_s2(nozzle, thrust, tilt, rate)
        };
        grid.iter().enumerate().map(one).collect()
    }

    /// Tilt, deg, a horizon after a start, by the midpoint rule.
    fn predict(&self, from_s: f64, tilt_deg: f64, rate_deg_s: f64) -> Option<f64> {
        let (mut tilt, mut rate) = (tilt_deg.to_radians(), rate_deg_s.to_radians());
        let dry = self.of.axis.coulomb_rad_per_s2;
        let steps = 10 * STEPS_AHEAD;
        let step_s = GRID_S * STEPS_AHEAD as f64 / steps as f64;
        for at in 0..steps {
            let middle_s = from_s + step_s * (at as f64 + 0.5);
            let (nozzle, thrust) = (self.nozzle_deg.at(middle_s)?, self.thrust_n.at(middle_s)?);
            let acceleration =
                self.acceleration_rad_s2(nozzle, thrust, tilt + 0.5 * step_s * rate, rate);
            // Dry friction slows and holds, it does not turn round.
            let free = rate + step_s * acceleration;
            let slower = (free.abs() - step_s * dry).max(0.0).copysign(free);
            tilt += 0.5 * step_s * (rate + slower);
            rate = slower;
        }
        Some(tilt.to_degrees())
    }
}

/// Errors of the tilt a horizon ahead, deg: of the model, and of a rocket that keeps its rate.
pub(super) fn errors(
    forces: &Forces<'_>,
    grid: &[f64],
    recorded: &Smoothed,
) -> (Vec<f64>, Vec<f64>) {
    let (level, slope) = (&recorded.level, &recorded.slope);
    let horizon_s = GRID_S * STEPS_AHEAD as f64;
    (0..grid.len().saturating_sub(STEPS_AHEAD))
        .filter_map(|at| {
            let model = forces.predict(grid[at], level[at], slope[at])?;
            let there = level[at + STEPS_AHEAD];
            Some((model - there, level[at] + horizon_s * slope[at] - there))
        })
        .unzip()
}
