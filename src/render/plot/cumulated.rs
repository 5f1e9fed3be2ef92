//! Impulse delivered so far.

use crate::reduce::Reduction;

use super::palette::MEASURED;
use super::{Across, Chart, Layer, around_burn, burn_ends_s, named, points};

/// The picture; `None` without a burn.
#[must_use]
pub(crate) fn cumulated(reduction: &Reduction) -> Option<Chart> {
    let ends = burn_ends_s(reduction)?;
    let shown = around_burn(&reduction.traces.cumulated_ns, ends);
    let layer = named(Layer::Curve(points(&shown), MEASURED), "delivered so far");
    let chart = Chart::around(
        "Impulse delivered so far",
        Across::Time("time since ignition, s"),
        "impulse, N s",
        vec![layer],
    )?;
    let moments = vec![
        (0.0, "ignition".to_owned()),
        (ends.1 - ends.0, "burnout".to_owned()),
    ];
    Some(chart.since(ends.0, moments))
}
