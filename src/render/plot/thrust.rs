//! Thrust over time with its 95 % band, the certified curve, and the moments.

use crate::quantity::measured::NORMAL_FACTOR;
use crate::reduce::Reduction;
use crate::render::words::name_of;

use super::palette::{MEASURED, MODEL, RAW};
use super::{Across, Chart, Layer, around_burn, burn_ends_s, named, points};

/// Steps of the band: one for a pixel of the widest picture.
const BAND_STEPS: usize = 700;

/// The picture; `None` without a burn.
#[must_use]
pub(crate) fn thrust(reduction: &Reduction) -> Option<Chart> {
    let ends = burn_ends_s(reduction)?;
    let traces = &reduction.traces;
    let shown = around_burn(&traces.thrust_n, ends);
    let mut layers = vec![named(Layer::Band(band(reduction, ends), MEASURED), "")];
    // A filtered trace, where there is one, is the main curve, and the readings stand behind it.
    match &traces.low_passed_n {
        Some(low) => {
            layers.push(named(Layer::Trace(shown, RAW), "measured"));
            let curve = points(&around_burn(low, ends));
            layers.push(named(Layer::Curve(curve, MEASURED), "low-passed"));
        }
        None => layers.push(named(Layer::Trace(shown, MEASURED), "measured")),
    }
    if let Some(certified) = &traces.certified_n {
        let curve = points(&around_burn(certified, ends));
        layers.push(named(Layer::Curve(curve, MODEL), "certified"));
    }
    let chart = Chart::around(
        "Thrust over time",
        Across::Time("time since ignition, s"),
        "thrust, N",
        layers,
    )?;
    Some(chart.since(ends.0, moments(reduction, ends)))
}

/// The envelope of value plus and minus the 95 % half width in each step of time.
fn band(reduction: &Reduction, (ignition, burnout): (f64, f64)) -> Vec<(f64, f64, f64)> {
    let traces = &reduction.traces;
    let margin = super::AROUND_BURN * (burnout - ignition);
    let (from, to) = (ignition - margin, burnout + margin);
    let mut out: Vec<(usize, (f64, f64, f64))> = Vec::new();
    let width = (to - from) / BAND_STEPS as f64;
    for ((time, thrust), u) in traces.thrust_n.iter().zip(&traces.thrust_u_n) {
        if !(from..=to).contains(&time) || !u.is_finite() {
            continue;
        }
        let half = NORMAL_FACTOR * u;
        let (low, high) = (thrust - half, thrust + half);
        let step = ((time - from) / width) as usize;
        // An envelope belongs to the middle of its step; at its start it would run ahead of a rise.
        let middle = from + (step as f64 + 0.5) * width - ignition;
        match out.last_mut() {
            Some((last, (_, least, most))) if *last == step => {
                *least = least.min(low);
                *most = most.max(high);
            }
            _ => out.push((
                step,
                (middle.clamp(from - ignition, to - ignition), low, high),
            )),
        }
    }
    out.into_iter().map(|(_, point)| point).collect()
}

/// Ignition and burnout of the burn, and the onset of each motor when there are several.
pub(super) fn moments(
    reduction: &Reduction,
    (ignition, burnout): (f64, f64),
) -> Vec<(f64, String)> {
    let motors = reduction.result.motors.as_ref();
    let mut out: Vec<(f64, String)> = motors
        .filter(|motors| motors.len() > 1)
        .into_iter()
        .flatten()
        .filter_map(|(name, motor)| {
            let onset = motor.ignition_s.as_ref()?;
            Some((onset.value - ignition, format!("{} lights", name_of(name))))
        })
        .collect();
    if out.is_empty() {
        out.push((0.0, "ignition".to_owned()));
    }
    out.push((burnout - ignition, "burnout".to_owned()));
    out
}
