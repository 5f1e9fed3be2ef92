//! The load as read, and the zero line taken off it.

use crate::reduce::Reduction;

use super::palette::{MEASURED, MODEL};
use super::{Across, Chart, Layer, burn_ends_s, named, points};

/// The picture; `None` without readings.
#[must_use]
pub(crate) fn load(reduction: &Reduction) -> Option<Chart> {
    let traces = &reduction.traces;
    let layers = vec![
        named(Layer::Trace(traces.load_n.clone(), MEASURED), "uncorrected"),
        named(Layer::Curve(points(&traces.zero_line_n), MODEL), "baseline"),
    ];
    let mut chart = Chart::around(
        "Load on all cells and the baseline",
        Across::Time("time on the first log's clock, s"),
        "load, N",
        layers,
    )?;
    if let Some((ignition, burnout)) = burn_ends_s(reduction) {
        chart.moments = vec![
            (ignition, "ignition".to_owned()),
            (burnout, "burnout".to_owned()),
        ];
    }
    Some(chart)
}
