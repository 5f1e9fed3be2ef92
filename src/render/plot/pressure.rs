//! Pressure in the chamber.

use crate::reduce::Reduction;

use super::palette::MEASURED;
use super::{Across, Chart, Layer, around_burn, burn_ends_s, named};

/// The picture; `None` without a pressure record or a burn.
#[must_use]
pub(crate) fn pressure(reduction: &Reduction) -> Option<Chart> {
    let ends = burn_ends_s(reduction)?;
    let shown = around_burn(&reduction.traces.pressure_kpa, ends);
    let layer = named(Layer::Trace(shown, MEASURED), "pressure");
    let chart = Chart::around(
        "Absolute pressure in the chamber",
        Across::Time("time since ignition, s"),
        "pressure, kPa",
        vec![layer],
    )?;
    let moments = vec![
        (0.0, "ignition".to_owned()),
        (ends.1 - ends.0, "burnout".to_owned()),
    ];
    Some(chart.since(ends.0, moments))
}
