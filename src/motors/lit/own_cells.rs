//! What the cells that carry some of the motors, and no others, read of them.
//!
//! Where a burn is surely found it is measured. Where nothing stands out, what was read during the burn of the others is
//! an impulse too, of about nothing. In between, or where a cell cannot be believed, nothing is said.

use super::input::OwnCell;
use crate::burn::segmentation::Choice;
use crate::burn::thrust::{self, WeightLoss};
use crate::burn::{Burn, Located, Recording, baseline, locate, measure};
use crate::calibration::{CellReadings, Load};
use crate::numeric::trapezoid;
use crate::quantity::Unit;
use crate::uncertainty::measured;

/// What the cells that carry these motors and no others say; `None` where there are none, or one of them cannot be
/// believed.
pub(super) fn impulse_in_cells_of(
    recording: &Recording<'_>,
    burn: &Burn,
    motors: &[&str],
) -> Option<OwnCell> {
    let firing = recording.firing;
    let carries_them = |cell: &&CellReadings| {
        let cell = firing.cells.get(&cell.name);
        cell.is_some_and(|cell| firing.motors_of(cell) == motors)
    };
    let readings: Vec<CellReadings> = recording
        .readings
        .iter()
        .filter(carries_them)
        .cloned()
        .collect();
    if readings
        .iter()
        .any(|cell| recording.unsound.contains_key(&cell.name))
    {
        return None;
    }
    let load = Load::from_cells(&readings)?;
    let lit: Vec<String> = motors.iter().map(|motor| (*motor).to_owned()).collect();
    let split = locate::split(firing, &load, burn.within_s);
    if let Choice::Burn(found) = split.choice() {
        let located = Located::at(recording, &load, found, burn.within_s)?;
        let alone = measure(recording, &located, &lit)?;
        return Some(OwnCell {
            total_ns: alone.impulse.total_ns?,
            peak_n: alone.description.peak.value_n,
            ignition_s: alone.description.report.ignition_s,
        });
    }
    // What may be a burn, only not surely, is no silence.
    let quiet = split.pressed().next().is_none();
    quiet.then(|| silent(load, burn.window_s())).flatten()
}

/// Impulse of a cell in which nothing stood out: what it read during the burn of the others, above its
/// baseline, whose drift is what such an impulse mostly is made of.
fn silent(load: Load, (from, to): (f64, f64)) -> Option<OwnCell> {
    let rows = load.time_s.partition_point(|time| *time < from)
        ..load.time_s.partition_point(|time| *time <= to);
    if rows.is_empty() {
        return None;
    }
    let line = baseline::find(&load.time_s, &load.force_n, &rows);
    let trace = thrust::thrust(load, line, (from, to), &WeightLoss::none(), None)?;
    let weights = trapezoid::weights(trace.thrust.time_s(), from, to);
    let value = trapezoid::area_between(&trace.thrust, from, to);
    let part = trace.thrust.between(from, to);
    Some(OwnCell {
        total_ns: measured(value, &trace.terms(&weights), Unit::NewtonSecond),
        peak_n: part.value().iter().copied().fold(0.0, f64::max),
        ignition_s: None,
    })
}
