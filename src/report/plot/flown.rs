//! A simulated flight: tilt, nozzle and, against the record, the captive firing again.

use crate::flight::Replay;
use crate::flight::result::Track;
use crate::series::Series;

use super::palette::{MEASURED, MODEL, RAW};
use super::{Chart, Layer, named};

/// Tilt and nozzle angle of a flight; `None` when there is nothing to draw.
#[must_use]
pub fn track(of: &Track) -> Option<Chart> {
    let series = |values: &[f64]| Series::new(&of.time_s, values);
    let layers = vec![
        named(Layer::Trace(series(&of.nozzle_deg), RAW), "nozzle"),
        named(Layer::Trace(series(&of.tilt_deg), MODEL), "tilt"),
    ];
    Chart::around(
        "Tilt and nozzle angle of the flight",
        "time since ignition, s",
        "angle, deg",
        layers,
    )
}

/// Recorded and replayed tilt; `None` when there is nothing to draw.
#[must_use]
pub fn replay(of: &Replay) -> Option<Chart> {
    let series = |values: &[f64]| Series::new(&of.time_s, values);
    let layers = vec![
        named(Layer::Trace(series(&of.closed_deg), RAW), "new gains"),
        named(Layer::Trace(series(&of.recorded_deg), MEASURED), "recorded"),
        named(Layer::Trace(series(&of.open_deg), MODEL), "replayed"),
    ];
    Chart::around(
        "Tilt of the captive firing, recorded and replayed",
        "time since ignition, s",
        "tilt, deg",
        layers,
    )
}
