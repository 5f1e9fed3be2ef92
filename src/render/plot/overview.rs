//! The firing in one picture: thrust, and below it on the same axis of time nozzle and tilt.

use crate::plant::AxisTrace;
use crate::reduce::Reduction;
use crate::render::words::name_of;
use crate::series::Series;

use super::palette::MOTORS;
use super::{Chart, Layer, Role, SINCE_IGNITION, around_burn, burn_ends_s, named, played, thrust};

/// Heights of thrust and of a strip, px.
const TALL_PX: u32 = 250;
const STRIP_PX: u32 = 84;

/// The strips; nothing without a burn.
#[must_use]
pub(crate) fn overview(reduction: &Reduction) -> Vec<Chart> {
    let Some(thrust) = thrust::thrust(reduction) else {
        return vec![];
    };
    let (span, zero_s) = (thrust.x, thrust.zero_s);
    let below = [
        strip(
            reduction,
            "Nozzle angle",
            "nozzle, deg",
            Role::Nozzle,
            |axis| Some(axis.nozzle_deg.as_ref().unwrap_or(&axis.nozzle_model_deg)),
        ),
        strip(reduction, "Tilt", "tilt, deg", Role::Tilt, |axis| {
            axis.tilt_deg.as_ref()
        }),
    ];
    let mut out = vec![thrust.high(TALL_PX)];
    for mut one in below.into_iter().flatten() {
        // One axis of time for all: its words stand under the last.
        (one.x, one.zero_s) = (span, zero_s);
        out.push(one.high(STRIP_PX));
    }
    let last = out.len() - 1;
    out[..last].iter_mut().for_each(|one| one.x_words = "");
    out
}

/// One signal of every axis.
fn strip<'a>(
    reduction: &'a Reduction,
    title: &str,
    y_words: &str,
    role: Role,
    signal: impl Fn(&'a AxisTrace) -> Option<&'a Series>,
) -> Option<Chart> {
    let ends = burn_ends_s(reduction)?;
    let axes = reduction.traces.axes.iter().enumerate();
    let layers = axes.filter_map(|(nth, (name, axis))| {
        let layer = Layer::Trace(
            around_burn(signal(axis)?, ends),
            MOTORS[(nth + 2) % MOTORS.len()],
        );
        let name = name_of(name);
        // The replay shows the rig from one side.
        Some(if nth == 0 {
            played(layer, &name, role)
        } else {
            named(layer, &name)
        })
    });
    Chart::around(title, SINCE_IGNITION, y_words, layers.collect())
}
