//! Each motor's own thrust around ignition.

use crate::reduce::Reduction;
use crate::render::words::name_of;

use super::palette::MOTORS;
use super::{Chart, Layer, SINCE_IGNITION, burn_ends_s, named, thrust};

/// Share of the burn shown: the rise of every motor and a little of what follows.
const SHOWN: f64 = 0.3;

/// The picture; `None` when the motors cannot be told apart.
#[must_use]
pub(crate) fn motors(reduction: &Reduction) -> Option<Chart> {
    let (ignition, burnout) = burn_ends_s(reduction)?;
    let span = SHOWN * (burnout - ignition);
    let latest = reduction.result.motors.iter().flatten();
    let latest = latest
        .filter_map(|(_, motor)| Some(motor.ignition_s.as_ref()?.value))
        .fold(ignition, f64::max);
    let all = reduction.result.motors.as_ref();
    let layers = reduction
        .traces
        .motor_thrust_n
        .iter()
        .enumerate()
        .map(|(nth, (name, series))| {
            let shown = series
                .between(ignition - 0.2 * span, latest + span)
                .map_time(|time| time - ignition);
            let place = all.and_then(|motors| motors.get_index_of(name));
            let colour = MOTORS[place.unwrap_or(nth) % MOTORS.len()];
            named(Layer::Trace(shown, colour), &name_of(name))
        })
        .collect();
    let chart = Chart::around(
        "Thrust of each motor around ignition",
        SINCE_IGNITION,
        "thrust, N",
        layers,
    )?;
    let moments = thrust::moments(reduction, (ignition, burnout));
    Some(chart.since(ignition, moments))
}
