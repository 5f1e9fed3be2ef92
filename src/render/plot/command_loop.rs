//! Command against response: the loop that lag, delay and dead band make.

use crate::plant::{AxisPlant, AxisTrace};

use super::palette::{MEASURED, MODEL};
use super::{Across, Chart, Layer, named};

/// The picture of one axis; `None` without a delay or anything that answers. Commands are drawn by the
/// fitted delay later, so that what is left of the loop is lag and dead band.
#[must_use]
pub(crate) fn command_loop(plant: &AxisPlant, axis: &AxisTrace) -> Option<Chart> {
    let delay_s = plant.actuator.delay_s.as_ref()?.value;
    let (first, last) = axis.nozzle_model_deg.span_s()?;
    let against = |series: &crate::series::Series| -> Vec<(f64, f64)> {
        let part = series.between(first, last);
        part.iter()
            .filter_map(|(time, angle)| Some((axis.command_deg.held_at(time - delay_s)?, angle)))
            .collect()
    };
    let mut layers = Vec::new();
    if let Some(measured) = &axis.nozzle_deg {
        layers.push(named(Layer::Dots(against(measured), MEASURED), "measured"));
    }
    let model = against(&axis.nozzle_model_deg);
    layers.push(named(Layer::Curve(model, MODEL), "model"));
    Chart::around(
        "Nozzle angle against command, the delay taken out",
        Across::Quantity("command, deg"),
        "nozzle angle, deg",
        layers,
    )
}
