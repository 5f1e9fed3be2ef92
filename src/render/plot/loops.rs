//! A tuned loop: gain against phase, tilt after a push, and the first commands.

use crate::control::AxisGains;
use crate::control::robustness::{LEAST_PHASE_DEG, LEAST_UPPER_GAIN, MOST_LOWER_GAIN};
use crate::control::start_up::Start;
use crate::quantity::Unit;
use crate::render::number;
use crate::series::Series;

use super::palette::{Colour, LIMIT, MEASURED, MODEL, MOTORS};
use super::{Across, Chart, Layer, named};

/// The curves of the lowest and the highest thrust.
const ENDS: [Colour; 2] = [MEASURED, MODEL];

fn at(thrust_n: f64) -> String {
    format!("at {}", number::plain(thrust_n, 3, Unit::Newton))
}

/// Gain against phase; the loop has to pass around the diamond, whose corners are the least margins.
#[must_use]
pub(crate) fn open_loop(of: &AxisGains) -> Option<Chart> {
    let decibel = |factor: f64| 20.0 * factor.log10();
    let corners = vec![
        (LEAST_PHASE_DEG - 180.0, 0.0),
        (-180.0, -decibel(LEAST_UPPER_GAIN)),
        (-180.0 - LEAST_PHASE_DEG, 0.0),
        (-180.0, -decibel(MOST_LOWER_GAIN)),
        (LEAST_PHASE_DEG - 180.0, 0.0),
    ];
    let mut layers = vec![named(Layer::Curve(corners, LIMIT), "least margins")];
    for (open, colour) in of.open_loop.iter().zip(ENDS) {
        let points = open
            .phase_deg
            .iter()
            .copied()
            .zip(open.gain_db.iter().copied());
        let name = if of.schedule.is_some() {
            "at every thrust".to_owned()
        } else {
            at(open.thrust_n)
        };
        layers.push(named(Layer::Curve(points.collect(), colour), &name));
    }
    Chart::around(
        "Gain of the open loop against its phase",
        Across::Quantity("phase, deg"),
        "gain, decibel",
        layers,
    )
}

/// Tilt after a disturbance as large as one degree of nozzle.
#[must_use]
pub(crate) fn disturbance(of: &AxisGains) -> Option<Chart> {
    let layers = of
        .disturbance_response
        .iter()
        .zip(ENDS)
        .map(|(push, colour)| {
            let points = push
                .time_s
                .iter()
                .copied()
                .zip(push.tilt_deg.iter().copied());
            named(Layer::Curve(points.collect(), colour), &at(push.thrust_n))
        });
    Chart::around(
        "Tilt after a disturbance as large as one degree of nozzle",
        Across::Time("time since the disturbance, s"),
        "tilt, deg",
        layers.collect(),
    )
}

/// The first commands by way of starting, and the limit of the command.
#[must_use]
pub(crate) fn first_commands(of: &AxisGains) -> Option<Chart> {
    let period_s = of.controller.period_s;
    // Seeded and on measurement are the same at rest; one line would hide the other.
    let at_once = if of.start == Start::Seeded {
        Start::Seeded
    } else {
        Start::Measurement
    };
    let mut layers = Vec::new();
    let mut end_s = 0.0_f64;
    for (start, words, colour) in [
        (Start::ZeroError, "from an error of zero", MODEL),
        (at_once, "at once, no derivative kick", MOTORS[2]),
        (Start::Shipped, "as shipped", MEASURED),
    ] {
        let Some(tick) = of.start_up.iter().find(|one| one.start == start) else {
            continue;
        };
        let times: Vec<f64> = (0..tick.commands_deg.len())
            .map(|nth| nth as f64 * period_s)
            .collect();
        end_s = end_s.max(times.last().copied().unwrap_or(0.0));
        let series = Series::new(&times, &tick.commands_deg);
        layers.push(named(Layer::Steps(series, colour), words));
    }
    let limit = -of.controller.limit_deg;
    if limit.is_finite() {
        let line = vec![(0.0, limit), (end_s, limit)];
        layers.push(named(Layer::Curve(line, LIMIT), "limit"));
    }
    Chart::around(
        "The first commands, by way of starting",
        Across::Time("time since the first command, s"),
        "command, deg",
        layers,
    )
}
