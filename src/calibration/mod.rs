//! Calibration: from raw counts to newtons (or radians), with the uncertainty of the curve.
//!
//! Known loads are taken as exact and readings as noisy, so the curve is raw(load), a polynomial
//! fitted by least squares, and it is inverted for use (ASTM E74 and ISO 376 both fit the reading on
//! the force). The degree is the lowest that neither an F test on the next power nor, where loads
//! were repeated, a lack-of-fit test against the scatter of the repeats (NIST/SEMATECH e-Handbook,
//! 4.6.1) can fault; R squared decides nothing.
//!
//! [`judgement`] gathers what speaks for and against a curve: what `burnwright calibrate` prints. A
//! reduction keeps the little of it that [`CellReport`] holds.
//!
//! What is common to all points - the tolerance of the weights, local gravity - stays apart as a
//! relative systematic uncertainty of the whole scale.

pub(crate) mod beyond;
mod calibrate;
pub(crate) mod cell_limits;
pub(crate) mod curve;
pub(crate) mod curve_file;
pub(crate) mod degree;
pub(crate) mod e74;
mod findings;
pub(crate) mod gravity;
pub(crate) mod hysteresis;
pub(crate) mod inverse_prediction;
pub(crate) mod judgement;
pub(crate) mod load;
pub(crate) mod points;
pub(crate) mod points_file;
pub(crate) mod readings;
mod report;
pub(crate) mod reversibility;
pub(crate) mod saturation;
pub(crate) mod signals;
pub(crate) mod soundness;
pub(crate) mod sweep;
mod wide_points;

use indexmap::IndexMap;

use crate::config::{Cell, CellCurve, Firing, Site};
use crate::diagnostic::{Code, Diagnostic, Error, Place};
use crate::numeric::polynomial;
use crate::quantity::{Given, Ratio, Spread};

pub use calibrate::{Calibration, calibrate};
pub(crate) use curve::Scale;
pub use curve::{CellReport, Curve};
pub(crate) use load::Load;
pub(crate) use points::Direction;
pub use points::{LoadKind, Points};
pub(crate) use readings::CellReadings;
pub use report::{Judgement, Residual, SingleSlope};
pub(crate) use signals::Signals;

/// Points a cell was calibrated with.
#[derive(Debug, Clone, Default)]
#[non_exhaustive]
pub struct CalibrationTrace {
    /// Known load, N.
    pub force_n: Vec<f64>,
    /// Load by the curve minus known load, N.
    pub residual_n: Vec<f64>,
    /// Which way the load was going, where that is known.
    pub direction: Vec<Option<Direction>>,
}

/// A cell ready to read forces.
#[derive(Debug, Clone)]
pub struct CalibratedCell {
    /// The curve.
    pub curve: Curve,
    /// What results show of it.
    pub report: CellReport,
    /// What pictures show of it.
    pub trace: CalibrationTrace,
    /// What deserves attention.
    pub warnings: Vec<Diagnostic>,
}

/// Calibrates every cell of a firing.
///
/// # Errors
/// As [`calibrate_cell`], of all cells together.
pub(crate) fn calibrate_cells(firing: &Firing) -> Result<IndexMap<String, CalibratedCell>, Error> {
    let mut out = IndexMap::new();
    let mut problems = Vec::new();
    for (name, cell) in &firing.cells {
        match calibrate_cell(cell, &firing.site) {
            Ok(calibrated) => {
                out.insert(name.clone(), calibrated);
            }
            Err(more) => problems.extend(more),
        }
    }
    Error::if_any(problems)?;
    Ok(out)
}

/// Relative standard uncertainty of a scale that is stated without one: of a hobby cell and the weights it was found with.
/// Common practice, no source; a scale that is known better says so.
const UNSTATED_RELATIVE_U: f64 = 1e-3;

/// Calibrates a cell by whatever the firing file gives.
///
/// # Errors
/// Unreadable or too few points, a curve that cannot be inverted, a scale of zero.
pub(crate) fn calibrate_cell(cell: &Cell, site: &Site) -> Result<CalibratedCell, Error> {
    match &cell.curve {
        CellCurve::Points(file) => {
            let points = points_file::read(&file.value, LoadKind::Force, &gravity::at(site))
                .map_err(|problems| problems.where_named(&file.place, &file.value))?;
            calibrate_points(&points, cell.masses.as_ref().map(tolerance))
        }
        CellCurve::Curve(file) => {
            let curve = curve_file::read(&file.value, LoadKind::Force)
                .map_err(|problems| problems.where_named(&file.place, &file.value))?;
            let judged = curve.judged.lack_of_fit.as_ref();
            let file = file.value.display().to_string();
            let mut warnings = Vec::from_iter(degree::lack_of_fit_warning(judged, &file));
            if cell.masses.is_some() {
                warnings.push(masses_unused(cell));
            }
            Ok(CalibratedCell {
                report: curve.report(),
                curve,
                trace: CalibrationTrace::default(),
                warnings,
            })
        }
        CellCurve::Scale { scale, zero_raw } => {
            let Some(mut curve) = Curve::from_scale(scale, *zero_raw) else {
                return Err(
                    Diagnostic::error(Code::ScaleZero, "a scale of zero gives no force")
                        .at(cell.place.clone())
                        .into(),
                );
            };
            if scale.standard_uncertainty().is_none() {
                curve.scale.stated_relative_u = UNSTATED_RELATIVE_U;
            }
            Ok(CalibratedCell {
                report: curve.report(),
                curve,
                trace: CalibrationTrace::default(),
                warnings: Vec::new(),
            })
        }
    }
}

/// The share by which weights may be wrong: a plain value is a tolerance, and so are stated limits.
#[must_use]
pub(crate) fn tolerance(masses: &Given<Ratio>) -> f64 {
    match masses.spread {
        Spread::Unstated => masses.si().abs(),
        Spread::Limits(half_width) => half_width,
        Spread::Standard(u) => u * 3.0_f64.sqrt(),
    }
}

fn masses_unused(cell: &Cell) -> Diagnostic {
    let message = "`masses` has no effect beside `curve`: the curve file holds its own tolerance";
    Diagnostic::warning(Code::NoEffect, message)
        .at(cell.place.clone())
        .hint("take `masses` out, and give it to `burnwright calibrate` instead")
}

/// The curve must rise by this many standard deviations of its residuals over its range.
const FEWEST_SDS: f64 = 5.0;

/// Refuses readings that do not follow the load: a dead cell, or a column that is not its own.
fn follows_the_load(points: &Points, fit: &polynomial::Fit) -> Result<(), Error> {
    let [low, high] = points.range();
    let rise = (fit.at(high) - fit.at(low)).abs();
    let largest = points
        .raw
        .iter()
        .fold(0.0, |most: f64, raw| most.max(raw.abs()));
    let scatter = fit.residual_sd().unwrap_or(0.0) * FEWEST_SDS;
    if rise > scatter.max(f64::EPSILON * largest * FEWEST_SDS) {
        return Ok(());
    }
    Err(
        Diagnostic::error(Code::FlatPoints, "the raw readings do not follow the load")
            .at(Place::file(points.file.clone()))
            .hint("was the cell connected, and are raw and load in the right columns?")
            .into(),
    )
}

/// Fits a curve to points; `tolerance` is the share by which all weights may be wrong, the same way.
///
/// # Errors
/// Too few levels, or a curve that turns back within its own range.
pub(crate) fn calibrate_points(
    points: &Points,
    tolerance: Option<f64>,
) -> Result<CalibratedCell, Error> {
    let (chosen, found) = choose(points)?;
    calibrate_chosen(points, &chosen, tolerance, found)
}

/// Chooses a degree for points in the middle of their loop. A nozzle's loop is a dead band, not a
/// parabola, and stays.
fn choose(points: &Points) -> Result<(degree::Chosen, Option<hysteresis::Loop>), Error> {
    let found = hysteresis::find(points).filter(|_| points.kind == LoadKind::Force);
    let middle = found.map(|found| hysteresis::middle(points, &found));
    Ok((degree::choose(middle.as_ref().unwrap_or(points))?, found))
}

fn calibrate_chosen(
    points: &Points,
    chosen: &degree::Chosen,
    tolerance: Option<f64>,
    found: Option<hysteresis::Loop>,
) -> Result<CalibratedCell, Error> {
    follows_the_load(points, &chosen.fit)?;
    let scale = Scale {
        weights_relative_u: tolerance.unwrap_or(0.0) / 3.0_f64.sqrt(),
        gravity_relative_u: points.gravity_relative_u,
        ..Scale::default()
    };
    let mut curve = Curve::from_fit(&chosen.fit, points, scale)?;
    curve.hysteresis = found;
    let residual_n = points
        .raw
        .iter()
        .zip(&points.load)
        .map(|(raw, load)| {
            curve
                .load(*raw)
                .map_or(f64::NAN, |by_curve| by_curve - load)
        })
        .collect();
    let warnings = degree::lack_of_fit_warning(chosen.lack_of_fit.as_ref(), &points.file)
        .into_iter()
        .chain(degree::two_points_warning(points));
    Ok(CalibratedCell {
        report: curve.report(),
        curve,
        trace: CalibrationTrace {
            force_n: points.load.clone(),
            residual_n,
            direction: points.direction.clone(),
        },
        warnings: warnings.collect(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::given;
    use approx::assert_relative_eq;

    // A rectangular distribution of half width a has the standard deviation a / sqrt(3).
    #[test]
    fn what_is_stated_of_the_weights_becomes_limits() {
        let limits = |text| tolerance(&given::parse(text).unwrap());
        assert_relative_eq!(limits("0.02 %"), 2e-4, max_relative = 1e-12);
        assert_relative_eq!(limits("0 % ± 0.02 %"), 2e-4, max_relative = 1e-12);
        let standard = limits("0 % u 0.02 %");
        assert_relative_eq!(standard, 3.0_f64.sqrt() * 2e-4, max_relative = 1e-12);
    }

    // Scatter of 3 counts about a line that rises by little: five of its standard deviations are asked.
    #[test]
    fn readings_that_do_not_follow_the_load_are_refused() {
        let with_rise = |rise: f64| {
            let load: Vec<f64> = (0..20).map(f64::from).collect();
            let raw = load
                .iter()
                .enumerate()
                .map(|(row, load)| 8000.0 + rise * load / 19.0 + 3.0 * (-1_f64).powi(row as i32))
                .collect();
            calibrate_points(&Points::exact(raw, load), None)
        };
        let refused = with_rise(10.0).unwrap_err().render();
        assert!(refused.contains("do not follow the load"), "{refused}");
        assert!(with_rise(-10.0).is_err());
        assert!(with_rise(24.0).is_ok() && with_rise(-24.0).is_ok());
        // Every reading the same: what is left over is rounding.
        let same = Points::exact(vec![8123.1; 5], vec![0.0, 1.0, 2.0, 3.0, 4.0]);
        assert!(calibrate_points(&same, None).is_err());
    }
}
