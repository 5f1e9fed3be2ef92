//! Whether what the model misses is noise: the residuals against themselves, some readings later.

use crate::plant::AxisTrace;
use crate::quantity::measured::NORMAL_FACTOR;

use super::palette::{FAINT, LIMIT, MEASURED};
use super::{Across, Chart, Layer, level, named};

/// The picture of one axis; `None` without residuals.
#[must_use]
pub(crate) fn autocorrelation(axis: &AxisTrace) -> Option<Chart> {
    let stems: Vec<(f64, f64)> = axis
        .residual_autocorrelation
        .iter()
        .enumerate()
        .skip(1)
        .map(|(lag, value)| (lag as f64, *value))
        .collect();
    let last = stems.last()?.0 + 1.0;
    let level = |height| level((0.0, last), height);
    let mut layers = vec![named(Layer::Curve(level(0.0), FAINT), "")];
    if axis.residual_count > 0 {
        // White residuals stay inside 95 times in 100 (Box and Jenkins, 2.1.6).
        let limit = NORMAL_FACTOR / (axis.residual_count as f64).sqrt();
        layers.push(named(
            Layer::Curve(level(limit), LIMIT),
            "noise stays inside, 95 %",
        ));
        layers.push(named(Layer::Curve(level(-limit), LIMIT), ""));
    }
    layers.push(named(Layer::Stems(stems, MEASURED), ""));
    Chart::around(
        "Autocorrelation of the residuals",
        Across::Quantity("lag, readings"),
        "correlation",
        layers,
    )
}
