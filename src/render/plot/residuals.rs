//! What the calibration curve of a cell misses at each point.

use crate::calibration::CalibrationTrace;
use crate::calibration::CellReport;

use super::palette::{FAINT, LIMIT, MEASURED};
use super::{Across, Chart, Layer, named};

/// The picture of one cell; `None` without points.
#[must_use]
pub(crate) fn residuals(cell: &CellReport, points: &CalibrationTrace) -> Option<Chart> {
    let dots: Vec<(f64, f64)> = points
        .force_n
        .iter()
        .copied()
        .zip(points.residual_n.iter().copied())
        .filter(|(force, residual)| force.is_finite() && residual.is_finite())
        .collect();
    let (from, to) = super::chart::range(dots.iter().map(|dot| dot.0), 0.04)?;
    let level = |height: f64| vec![(from, height), (to, height)];
    let mut layers = vec![named(Layer::Curve(level(0.0), FAINT), "")];
    if let Some(limit) = cell.lower_limit_factor_n {
        layers.push(named(
            Layer::Curve(level(limit), LIMIT),
            "lower limit factor",
        ));
        layers.push(named(Layer::Curve(level(-limit), LIMIT), ""));
    }
    layers.push(named(Layer::Dots(dots, MEASURED), ""));
    Chart::around(
        "Calibration: load by the curve minus known load",
        Across::Quantity("known load, N"),
        "curve minus known, N",
        layers,
    )
}
