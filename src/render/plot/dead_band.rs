//! How well each width of the dead band fits.

use crate::plant::{AxisPlant, AxisTrace};

use super::palette::{LIMIT, MEASURED};
use super::{Across, Chart, Layer, named};

/// Twice the log-likelihood a width may lose and still lie in the 95 % interval: the 95 % point of
/// chi-squared with one degree of freedom (Wilks 1938).
const CHI_SQUARED_95: f64 = 3.841;

/// Highest loss shown; what is worse is out of the question.
const TOP: f64 = 8.0 * CHI_SQUARED_95;

/// The picture of one axis; `None` without a profile.
#[must_use]
pub(crate) fn dead_band(plant: &AxisPlant, axis: &AxisTrace) -> Option<Chart> {
    let profile = &axis.dead_band_profile;
    let (first, last) = (profile.first()?.0, profile.last()?.0);
    let curve: Vec<(f64, f64)> = profile
        .iter()
        .map(|(width, loss)| (*width, loss.min(TOP)))
        .collect();
    let level = vec![(first, CHI_SQUARED_95), (last, CHI_SQUARED_95)];
    let layers = vec![
        named(Layer::Curve(level, LIMIT), "95 % limit"),
        named(Layer::Curve(curve, MEASURED), "loss of fit"),
    ];
    let mut chart = Chart::around(
        "Dead band: loss of fit for each width",
        Across::Quantity("total width, deg of command"),
        "loss of fit (2 × log-likelihood)",
        layers,
    )?;
    if let Some(width) = &plant.actuator.dead_band.width_deg {
        chart.moments = vec![(width.value, "best width".to_owned())];
    }
    Some(chart)
}
