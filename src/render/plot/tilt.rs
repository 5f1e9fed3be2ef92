//! Tilt against the model.

use crate::plant::AxisTrace;

use super::palette::{MEASURED, MODEL};
use super::{Across, Chart, Layer, named, points};

/// The picture of one axis; `None` when tilt was not measured.
#[must_use]
pub(crate) fn tilt(axis: &AxisTrace) -> Option<Chart> {
    let measured = axis.tilt_deg.clone()?;
    let mut layers = vec![named(Layer::Trace(measured, MEASURED), "measured")];
    if let Some(model) = &axis.tilt_model_deg {
        layers.push(named(Layer::Curve(points(model), MODEL), "model"));
    }
    Chart::around(
        "Tilt: measured and model",
        Across::Time("time on the first log's clock, s"),
        "tilt, deg",
        layers,
    )
}
