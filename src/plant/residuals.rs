//! What the residuals say of the model, and what the information bound allows.

use indexmap::IndexMap;
use nalgebra::DMatrix;

use super::parameter::Parameter;
use crate::numeric::cross_correlation::follows;
use crate::series::Series;

/// How far back commands are looked at, s: several lags and delays of a servo.
const REACH_S: f64 = 0.15;
/// Earlier times looked at.
const LAGS: usize = 20;

/// Probability of residuals that follow the command's changes of the last 0.15 s at least this much by
/// chance; `None` when there is too little to tell.
#[must_use]
pub(crate) fn follow_command(
    times_s: &[f64],
    residuals: &[f64],
    command_deg: &Series,
) -> Option<f64> {
    let step_s = REACH_S / LAGS as f64;
    let start_s = command_deg.span_s()?.0;
    let held = |time_s: f64| command_deg.held_at(time_s.max(start_s)).unwrap_or(0.0);
    let mut earlier = DMatrix::zeros(times_s.len(), LAGS);
    for (row, time) in times_s.iter().enumerate() {
        let mut later = held(*time);
        for lag in 0..LAGS {
            let before = held(time - step_s * (lag + 1) as f64);
            earlier[(row, lag)] = later - before;
            later = before;
        }
    }
    follows(residuals, &earlier)
}

/// The information bound of parameters at their places: roots of the diagonal; those held have none.
#[must_use]
pub(crate) fn bounds(
    places: &[(Parameter, usize)],
    bound: &DMatrix<f64>,
) -> IndexMap<Parameter, f64> {
    places
        .iter()
        .map(|(parameter, at)| (*parameter, bound[(*at, *at)].max(0.0).sqrt()))
        .filter(|(_, bound)| *bound > 0.0)
        .collect()
}
