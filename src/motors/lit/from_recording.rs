//! What the verdict on the motors rests on, gathered: cells of single motors, fire commands, motion.

use indexmap::IndexMap;

use super::firing_evidence;
use super::input::{OwnCell, VerdictInput};
use super::order::AxisEvidence;
use crate::burn::thrust::{self, WeightLoss};
use crate::burn::{Burn, Located, Recording, baseline, locate, measure};
use crate::calibration::{CellReadings, Load};
use crate::config::Firing;
use crate::numeric::trapezoid;
use crate::quantity::Unit;
use crate::uncertainty::measured;

/// All that says which motors lit; `None` for a firing without motors.
#[must_use]
pub(crate) fn gather<'a>(
    recording: &'a Recording<'_>,
    burn: Option<&'a Burn>,
    axes: Vec<AxisEvidence>,
) -> Option<VerdictInput<'a>> {
    let firing = recording.firing;
    if firing.motors.is_empty() {
        return None;
    }
    let own = own_cells(recording, burn);
    Some(VerdictInput {
        motors: &firing.motors,
        evidence: firing_evidence::all(recording, burn, &own, &axes),
        thrust: burn.map(|burn| &burn.trace.thrust),
        edges: burn.map(|burn| &burn.description.edges),
        noise_n: burn.map_or(0.0, |burn| burn.description.edge_noise_n),
        window_s: burn.map_or((0.0, 0.0), Burn::window_s),
        clock_u_s: burn
            .and_then(|burn| burn.description.report.ignition_s.as_ref())
            .map_or(0.0, |ignition| ignition.u),
        own,
        fire_s: fire_commands(recording, burn.and_then(|burn| burn.within_s)),
        motion: axes.into_iter().filter_map(|axis| axis.motion).collect(),
        inertia: inertia(firing),
        spread: firing.reduce.motor_spread,
    })
}

fn inertia(firing: &Firing) -> IndexMap<String, (f64, f64)> {
    let each = firing.axes.iter().filter_map(|(name, axis)| {
        let given = axis.inertia.as_ref()?;
        let u = given.standard_uncertainty().unwrap_or(0.0);
        Some((name.clone(), (given.si(), u)))
    });
    each.collect()
}

fn fire_commands(
    recording: &Recording<'_>,
    within_s: Option<(f64, f64)>,
) -> IndexMap<String, (f64, f64)> {
    let channels = &recording.signals.channels;
    let motors = recording.firing.motors.iter();
    motors
        .filter_map(|(name, motor)| {
            let edge = channels.first_rise(motor.fire.as_ref()?, within_s)?;
            Some((name.clone(), edge))
        })
        .collect()
}

/// What the cells that carry a single motor say of it.
fn own_cells(recording: &Recording<'_>, burn: Option<&Burn>) -> IndexMap<String, OwnCell> {
    let firing = recording.firing;
    let Some(burn) = burn.filter(|_| firing.motors.len() > 1) else {
        return IndexMap::new();
    };
    let one = |motor: &String| {
        let own = impulse_in_cells_of(recording, burn, &[motor.as_str()])?;
        Some((motor.clone(), own))
    };
    firing.motors.keys().filter_map(one).collect()
}

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
    let measured = Located::in_cells(recording, &load, burn.within_s)
        .and_then(|located| measure(recording, &located, &lit));
    if let Some(alone) = measured {
        let total_ns = alone.impulse.total_ns?;
        return Some(OwnCell {
            total_ns,
            peak_n: alone.description.peak.value_n,
            ignition_s: alone.description.report.ignition_s,
        });
    }
    // What may be a burn, only not surely, is no silence.
    let split = locate::split(firing, &load, burn.within_s);
    if split.pressed().next().is_some() {
        return None;
    }
    silent(load, burn.window_s())
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
