//! Mean thrust of several firings with the spread between them.

use crate::compare::MeanCurve;
use crate::series::Series;

use super::palette::MEASURED;
use super::{Across, Chart, Layer, named};

/// The picture; `None` when there is nothing to draw.
#[must_use]
pub(crate) fn mean_curve(of: &MeanCurve) -> Option<Chart> {
    let spread = of.mean_n.iter().zip(&of.sd_n);
    let band = of
        .after_s
        .iter()
        .zip(spread)
        .map(|(time, (mean, sd))| (*time, mean - sd, mean + sd))
        .collect();
    let mean = Series::new(&of.after_s, &of.mean_n);
    let layers = vec![
        named(Layer::Band(band, MEASURED), ""),
        named(Layer::Trace(mean, MEASURED), "mean"),
    ];
    Chart::around(
        "Mean thrust of all firings",
        Across::Time("time since ignition, s"),
        "thrust, N",
        layers,
    )
}
