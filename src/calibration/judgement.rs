//! A curve fitted to points and judged: the measuring of everything that [`Judgement`] holds.
//!
//! The curve is fitted in coherent SI units; all that is shown is measured on the same curve with its loads in
//! the unit of the results.

use super::degree::Chosen;
use super::points::{LoadKind, Points};
use super::report::{Judgement, R_SQUARED_DECIDES, Residual, SCHEMA, SingleSlope};
use super::{
    CalibratedCell, calibrate_chosen, choose, degree, e74, findings, inverse_prediction,
    reversibility, saturation, sweep,
};
use crate::diagnostic::{Error, Warning};
use crate::numeric::polynomial;

/// Fits a curve to points and judges it; `tolerance` is the share by which all weights may be wrong,
/// the same way.
///
/// # Errors
/// As [`super::calibrate_points`].
pub fn judge(
    points: &Points,
    tolerance: Option<f64>,
) -> Result<(CalibratedCell, Judgement), Error> {
    let (chosen, found) = choose(points)?;
    let cell = calibrate_chosen(points, &chosen, tolerance, found)?;
    let mut judgement = measure(points, chosen, &cell);
    judgement.findings = findings::judge(&judgement);
    Ok((cell, judgement))
}

fn measure(points: &Points, chosen: Chosen, cell: &CalibratedCell) -> Judgement {
    let size = points.kind.unit_size();
    let (fit, shown) = (chosen.fit.in_unit(size), points.shown());
    let residuals: Vec<Residual> = (0..points.raw.len())
        .map(|row| Residual {
            load: shown.load[row],
            residual: Some(cell.trace.residual_n[row] / size).filter(|miss| miss.is_finite()),
            direction: points.direction[row],
        })
        .collect();
    let sizes = residuals
        .iter()
        .filter_map(|one| one.residual)
        .map(f64::abs);
    let is_force = points.kind == LoadKind::Force;
    let shared_relative_u = cell.curve.scale.relative_u();
    Judgement {
        schema: SCHEMA,
        file: points.file.clone(),
        quantity: points.kind,
        unit: shown.unit,
        points: points.raw.len(),
        levels: degree::levels(points),
        runs: runs(points),
        range: shown.range(),
        gravity_m_s2: points.gravity_m_s2,
        shared_relative_u,
        direction_found: points.direction_found,
        degree: fit.scaled.len() - 1,
        why: chosen.why,
        r_squared_note: R_SQUARED_DECIDES.to_owned(),
        degrees: chosen
            .degrees
            .into_iter()
            .map(|one| one.in_unit(size))
            .collect(),
        coefficients: fit.coefficients(),
        covariance: fit.coefficient_covariance(),
        residual_sd_raw: fit.residual_sd(),
        residual_sd: fit.residual_sd().map(|sd| sd / fit.slope(fit.centre).abs()),
        resolution_raw: e74::resolution(&points.raw),
        single_slope: single_slope(&shown).filter(|_| is_force),
        e74: e74::lower_limit(&fit, &shown).filter(|_| is_force),
        inverse_predictions: loads_stated(&shown)
            .filter_map(|load| {
                inverse_prediction::predict(&fit, load, shared_relative_u, shown.unit)
            })
            .collect(),
        hysteresis: reversibility::hysteresis(&fit, &shown),
        repeatability: reversibility::repeatability(&fit, &shown).filter(|_| is_force),
        zero_return: reversibility::zero_return(&fit, &shown),
        saturated: saturation::saturated(&shown),
        sweep: sweep::sweep(&shown).filter(|_| !is_force),
        largest_residual: sizes.fold(0.0, f64::max),
        residuals,
        findings: Vec::new(),
        warnings: cell.warnings.iter().map(Warning::from).collect(),
    }
}

fn runs(points: &Points) -> usize {
    let mut names: Vec<&String> = points.run.iter().filter(|run| !run.is_empty()).collect();
    names.sort();
    names.dedup();
    names.len()
}

/// The straight line through all points, with its own zero.
fn single_slope(points: &Points) -> Option<SingleSlope> {
    let line = polynomial::fit(&points.load, &points.raw, 1)?;
    let scale_n = 1.0 / line.slope(line.centre);
    let zero_raw = line.at(0.0);
    let missed = points
        .raw
        .iter()
        .zip(&points.load)
        .map(|(raw, load)| ((raw - zero_raw) * scale_n - load).abs());
    Some(SingleSlope {
        scale_n,
        zero_raw,
        residual_sd_n: line.residual_sd().map(|sd| sd * scale_n.abs()),
        largest_residual_n: missed.fold(0.0, f64::max),
    })
    .filter(|single| single.scale_n.is_finite())
}

/// Shares of the range at which one reading's load is stated.
const STATED_AT: [f64; 4] = [0.1, 0.25, 0.5, 1.0];

/// Loads at which one reading's load is stated: forces are counted from nothing, angles from one end to the
/// other.
fn loads_stated(points: &Points) -> impl Iterator<Item = f64> {
    let [low, high] = points.range();
    let from = if points.kind == LoadKind::Force && low >= 0.0 {
        0.0
    } else {
        low
    };
    STATED_AT
        .into_iter()
        .map(move |share| from + share * (high - from))
}

#[cfg(test)]
#[path = "judgement_tests.rs"]
mod tests;
