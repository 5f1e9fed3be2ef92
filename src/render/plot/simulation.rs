//! A simulated flight: tilt, nozzle and, against the record, the captive firing again.

use crate::flight::Replay;
use crate::flight::percentile_band::PercentileBand;
use crate::flight::result::Track;
use crate::series::Series;

use super::palette::{MEASURED, MODEL, MODEL_SOLID, MOMENT, RAW};
use super::{Across, Chart, Layer, named};

/// Tilt and nozzle angle of a flight; `None` when there is nothing to draw.
#[must_use]
pub(crate) fn track(of: &Track) -> Option<Chart> {
    let series = |values: &[f64]| Series::new(&of.time_s, values);
    let layers = vec![
        named(Layer::Trace(series(&of.nozzle_deg), RAW), "nozzle"),
        named(Layer::Trace(series(&of.tilt_deg), MODEL_SOLID), "tilt"),
    ];
    Chart::around(
        "Tilt and nozzle angle of the flight",
        Across::Time("time since ignition, s"),
        "angle, deg",
        layers,
    )
}

/// Tilt of the sampled flights: the band that leaves out five of a hundred on either side, its middle,
/// some flights, those beyond the limit, and the worst; `None` when there is nothing to draw.
#[must_use]
pub(crate) fn percentiles(of: &PercentileBand) -> Option<Chart> {
    let edges = of.p5_deg.iter().zip(&of.p95_deg);
    let band = of.time_s.iter().zip(edges);
    let band: Vec<(f64, f64, f64)> = band.map(|(t, (low, high))| (*t, *low, *high)).collect();
    let series = |values: &[f64]| Series::new(&of.time_s, values);
    let middle = of.time_s.iter().copied().zip(of.p50_deg.iter().copied());
    let mut layers = vec![named(Layer::Band(band, MEASURED), "90 of 100 flights")];
    let (worst, some) = of.shown.split_last()?;
    for (nth, one) in some.iter().enumerate() {
        let name = if nth == 0 { "some flights" } else { "" };
        layers.push(named(Layer::Trace(series(&one.tilt_deg), RAW), name));
    }
    for (nth, one) in of.bad.iter().enumerate() {
        let name = if nth == 0 { "beyond the limit" } else { "" };
        layers.push(named(Layer::Trace(series(&one.tilt_deg), MOMENT), name));
    }
    layers.push(named(Layer::Curve(middle.collect(), MEASURED), "median"));
    let name = format!("worst, run {}", worst.run);
    layers.push(named(
        Layer::Trace(series(&worst.tilt_deg), MODEL_SOLID),
        &name,
    ));
    Chart::around(
        "Tilt of the sampled flights over time",
        Across::Time("time since ignition, s"),
        "tilt, deg",
        layers,
    )
}

/// Recorded and replayed tilt; `None` when there is nothing to draw.
#[must_use]
pub(crate) fn replay(of: &Replay) -> Option<Chart> {
    let series = |values: &[f64]| Series::new(&of.time_s, values);
    let layers = vec![
        named(Layer::Trace(series(&of.closed_deg), RAW), "new gains"),
        named(Layer::Trace(series(&of.recorded_deg), MEASURED), "recorded"),
        named(Layer::Trace(series(&of.free_run_deg), MODEL), "replayed"),
    ];
    Chart::around(
        "Tilt of the captive firing, recorded and replayed",
        Across::Time("time since ignition, s"),
        "tilt, deg",
        layers,
    )
}
