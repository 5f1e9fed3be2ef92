//! What the calibration curve of a cell misses at each point, and the loop between loading and unloading.

use crate::calibration::{CalibrationTrace, CellReport, Direction};

use super::palette::{Colour, FAINT, LIMIT, MEASURED, MODEL_SOLID, MOTORS};
use super::{Across, Chart, Layer, level, named};

/// Ways the load went, each with its name and colour.
const WAYS: [(Option<Direction>, &str, Colour); 3] = [
    (Some(Direction::Up), "load rising", MEASURED),
    (Some(Direction::Down), "load falling", MODEL_SOLID),
    (None, "points", MOTORS[2]),
];

/// The picture of one cell; `None` without points.
#[must_use]
pub(crate) fn residuals(cell: &CellReport, points: &CalibrationTrace) -> Option<Chart> {
    let (from, to) = super::chart::range(points.force_n.iter().copied(), 0.04)?;
    let level = |height| level((from, to), height);
    let mut layers = vec![named(Layer::Curve(level(0.0), FAINT), "")];
    if let Some(limit) = cell.lower_limit_factor_n {
        let line = Layer::Curve(level(limit), LIMIT);
        layers.push(named(line, "lower limit factor (ASTM E74)"));
        layers.push(named(Layer::Curve(level(-limit), LIMIT), ""));
    }
    for (way, name, colour) in WAYS {
        let dots = went(points, way);
        if dots.is_empty() {
            continue;
        }
        if way.is_some() {
            layers.push(named(Layer::Curve(means(&dots), colour), ""));
        }
        layers.push(named(Layer::Dots(dots, colour), name));
    }
    Chart::around(
        "Calibration: load by the curve minus known load",
        Across::Quantity("known load, N"),
        "curve minus known, N",
        layers,
    )
}

/// The points that were taken one way, by load.
fn went(points: &CalibrationTrace, way: Option<Direction>) -> Vec<(f64, f64)> {
    let each = points.force_n.iter().zip(&points.residual_n).enumerate();
    let ours = each.filter(|(nth, _)| points.direction.get(*nth).copied().flatten() == way);
    let dots = ours.map(|(_, (force, residual))| (*force, *residual));
    let mut dots: Vec<_> = dots
        .filter(|(force, residual)| (force + residual).is_finite())
        .collect();
    dots.sort_by(|a, b| a.0.total_cmp(&b.0));
    dots
}

/// The mean at each load.
fn means(dots: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let same = |a: &(f64, f64), b: &(f64, f64)| (a.0 - b.0).abs() <= 1e-6 * b.0.abs().max(1e-3);
    let mean = |group: &[(f64, f64)]| {
        let sum: f64 = group.iter().map(|dot| dot.1).sum();
        (group[0].0, sum / group.len() as f64)
    };
    dots.chunk_by(same).map(mean).collect()
}
