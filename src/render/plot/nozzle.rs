//! Nozzle angle against the model, with the command.

use crate::plant::AxisTrace;

use super::palette::{MEASURED, MODEL, RAW};
use super::{Across, Chart, Layer, named, points};

/// The picture of one axis; `None` without a command.
#[must_use]
pub(crate) fn nozzle(axis: &AxisTrace) -> Option<Chart> {
    let mut layers = vec![named(
        Layer::Steps(axis.command_deg.clone(), RAW),
        "command",
    )];
    if let Some(measured) = &axis.nozzle_deg {
        layers.push(named(Layer::Trace(measured.clone(), MEASURED), "measured"));
    }
    let model = points(&axis.nozzle_model_deg);
    layers.push(named(Layer::Curve(model, MODEL), "model"));
    Chart::around(
        "Nozzle angle: command, measured, model",
        Across::Time("time on the first log's clock, s"),
        "angle, deg",
        layers,
    )
}
