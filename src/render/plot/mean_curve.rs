//! Thrust of several firings aligned at ignition; of three and more their mean and spread.

use crate::compare::Comparison;
use crate::render::words::name_of;
use crate::series::Series;

use super::palette::{INK, MOTORS, RAW};
use super::{Chart, Layer, SINCE_IGNITION, named};

/// The picture; `None` when there is nothing to draw.
#[must_use]
pub(crate) fn mean_curve(of: &Comparison) -> Option<Chart> {
    let curve = of.curve.as_ref()?;
    let mut layers = Vec::new();
    let several = curve.has_spread();
    if several {
        let spread = curve.mean_n.iter().zip(&curve.sd_n);
        let band = curve
            .after_s
            .iter()
            .zip(spread)
            .map(|(time, (mean, sd))| (*time, mean - sd, mean + sd));
        let name = "one standard deviation either side";
        layers.push(named(Layer::Band(band.collect(), INK), name));
    }
    for (nth, own_n) in &curve.each_n {
        let colour = MOTORS.get(*nth).copied().unwrap_or(RAW);
        let title = of.firings.get(*nth).map_or("", |firing| &firing.title);
        let own = Series::new(&curve.after_s, own_n);
        let name = format!("{} {}", nth + 1, name_of(title));
        layers.push(named(Layer::Trace(own, colour), &name));
    }
    if several {
        let mean = Series::new(&curve.after_s, &curve.mean_n);
        layers.push(named(Layer::Trace(mean, INK), "mean"));
    }
    let title = "Thrust of all firings, each from its own ignition";
    Some(Chart::around(title, SINCE_IGNITION, "thrust, N", layers)?.high(260))
}
