//! A designed pattern: command and nozzle angle of the expected plant, below them the tilt of the sampled flights.

use crate::plan::pattern::DesignedAxis;
use crate::series::Series;

use super::palette::{LIMIT, MEASURED, MODEL_SOLID, RAW};
use super::{Across, Chart, Layer, level, named};

/// Which clock runs under them.
const SINCE_FIRE: Across = Across::Time("time since the fire command, s");

/// Two strips over the same time; nothing where nothing moves.
#[must_use]
pub(crate) fn pattern(axis: &DesignedAxis) -> Vec<Chart> {
    let of = &axis.picture;
    let (Some(from_s), Some(to_s)) = (of.time_s.first(), of.time_s.last()) else {
        return vec![];
    };
    let series = |values: &[f64]| Series::new(&of.time_s, values);
    let command = named(Layer::Steps(series(&of.command_deg), RAW), "command");
    let nozzle = named(Layer::Trace(series(&of.nozzle_deg), MODEL_SOLID), "nozzle");
    let [low, middle, high] = &of.tilt_deg;
    let edges = of.time_s.iter().zip(low.iter().zip(high));
    let band = edges.map(|(at_s, (low, high))| (*at_s, *low, *high));
    let mut tilt = vec![
        named(Layer::Band(band.collect(), MEASURED), "90 of 100 flights"),
        named(Layer::Trace(series(middle), MEASURED), "median"),
    ];
    for (side, name) in [(1.0, "limit"), (-1.0, "")] {
        let limit = level((*from_s, *to_s), side * axis.tilt_limit_deg);
        tilt.push(named(Layer::Curve(limit, LIMIT), name));
    }
    let above = Chart::around(
        "Command and nozzle angle",
        SINCE_FIRE,
        "nozzle, deg",
        vec![command, nozzle],
    );
    let below = Chart::around("Tilt of the sampled flights", SINCE_FIRE, "tilt, deg", tilt);
    let above = above.map(|chart| Chart {
        x_words: "",
        ..chart
    });
    above.into_iter().chain(below).collect()
}
