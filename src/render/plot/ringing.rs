//! Thrust around ignition, uncorrected and ringing corrected.

use crate::reduce::Reduction;

use super::palette::{MEASURED, RAW};
use super::{Chart, Layer, SINCE_IGNITION, burn_ends_s, named, points, thrust};

/// Share of the burn shown: the rise and the first swings.
const SHOWN: f64 = 0.15;

/// The picture; `None` when no ringing was corrected.
#[must_use]
pub(crate) fn ringing(reduction: &Reduction) -> Option<Chart> {
    let (ignition, burnout) = burn_ends_s(reduction)?;
    let read = reduction.traces.read_n.as_ref()?;
    let span = SHOWN * (burnout - ignition);
    let shown = |series: &crate::series::Series| {
        let part = series.between(ignition - 0.15 * span, ignition + span);
        part.map_time(|time| time - ignition)
    };
    let raw = shown(read);
    let layers = vec![
        named(Layer::Trace(raw, RAW), "uncorrected"),
        named(
            Layer::Curve(points(&shown(&reduction.traces.thrust_n)), MEASURED),
            "ringing corrected",
        ),
    ];
    let chart = Chart::around(
        "Thrust around ignition, uncorrected and ringing corrected",
        SINCE_IGNITION,
        "thrust, N",
        layers,
    )?;
    let moments = thrust::moments(reduction, (ignition, burnout));
    Some(chart.since(ignition, moments))
}
