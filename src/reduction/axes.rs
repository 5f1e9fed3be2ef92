//! Signals of each axis gathered for the plant fit.

use indexmap::IndexMap;

use super::Burnt;
use super::signals::Signals;
use crate::firing::{Axis, Firing, Signal};
use crate::plant::{AxisFit, AxisInput, Estimate, VehicleInput, fit_axis};
use crate::quantity::Given;
use crate::uncertainty::Kind;

/// Fits every axis of a firing. Without a burn only a dry run has something to fit. The tilt is used
/// from `settling_s` after ignition on, when all motors push. Signals in the logs that `missed` the
/// burn are left out, and an axis whose commands they hold with them.
pub(super) fn fit(
    firing: &Firing,
    signals: &Signals,
    burnt: Option<&Burnt>,
    missed: &[&str],
    settling_s: f64,
) -> IndexMap<String, AxisFit> {
    if burnt.is_none() && !firing.is_dry_run() {
        return IndexMap::new();
    }
    firing
        .axes
        .iter()
        .filter_map(|(name, axis)| {
            let axis = within_reach(axis, missed)?;
            let input = input(firing, signals, burnt, settling_s, name, &axis)?;
            Some((name.clone(), fit_axis(&input)))
        })
        .collect()
}

/// An axis without the signals that lie in some logs; `None` when its commands do.
fn within_reach(axis: &Axis, missed: &[&str]) -> Option<Axis> {
    let reached = |signal: &Signal| !missed.contains(&signal.log.value.as_str());
    let mut out = axis.clone();
    for signal in [&mut out.nozzle, &mut out.tilt, &mut out.rate] {
        *signal = signal.take().filter(reached);
    }
    reached(&out.command).then_some(out)
}

fn input(
    firing: &Firing,
    signals: &Signals,
    burnt: Option<&Burnt>,
    settling_s: f64,
    name: &str,
    axis: &Axis,
) -> Option<AxisInput> {
    let command = signals.quantity(&axis.command)?;
    let measured =
        |signal: &Option<Signal>| signal.as_ref().and_then(|signal| signals.quantity(signal));
    let window_s = match burnt {
        Some(burnt) => (burnt.burn.window_s.0 + settling_s, burnt.burn.window_s.1),
        None => command.span_s()?,
    };
    let middle_s = 0.5 * (window_s.0 + window_s.1);
    let apart = |signal: &Option<Signal>| {
        signal.as_ref().map_or(0.0, |signal| {
            signals.apart_u_s(&axis.command, signal, middle_s)
        })
    };
    Some(AxisInput {
        name: name.to_owned(),
        command_deg: command.map(|_, angle_rad| angle_rad.to_degrees()),
        nozzle_rad: measured(&axis.nozzle),
        tilt_rad: measured(&axis.tilt),
        rate_rad_s: measured(&axis.rate),
        command_to_nozzle_u_s: apart(&axis.nozzle),
        command_to_tilt_u_s: apart(&axis.tilt),
        command_to_rate_u_s: apart(&axis.rate),
        thrust_n: burnt.map(|burnt| burnt.trace.thrust.clone()),
        thrust_relative_u: burnt.map_or(0.0, thrust_relative_u),
        impulse_fraction: burnt.map(|burnt| burnt.trace.impulse_fraction()),
        window_s,
        travel_rad: axis.travel.as_ref().map(Given::si),
        arm_m: axis.arm.as_ref().map(Estimate::from),
        inertia_kg_m2: axis.inertia.as_ref().map(Estimate::from),
        inertia_spent_kg_m2: axis.inertia_spent.as_ref().map(Estimate::from),
        frame_inertia_kg_m2: axis.frame_inertia.as_ref().map(Estimate::from),
        pivot_to_cg_m: axis.pivot_to_cg.as_ref().map(Estimate::from),
        swinging_mass_kg: axis.swinging_mass.as_ref().map(Estimate::from),
        vehicle: firing.vehicle.as_ref().map(|vehicle| VehicleInput {
            inertia_kg_m2: Estimate::from(&vehicle.inertia),
            arm_m: Estimate::from(&vehicle.arm),
        }),
    })
}

/// Relative uncertainty that all thrust readings share: the systematic part of the total's.
fn thrust_relative_u(burnt: &Burnt) -> f64 {
    let budget = &burnt.impulse.budget;
    let systematic: f64 = budget
        .iter()
        .filter(|line| line.kind == Kind::Systematic.word())
        .map(|line| line.u_ns * line.u_ns)
        .sum();
    let total = burnt
        .impulse
        .total_ns
        .as_ref()
        .map_or(f64::INFINITY, |total| total.value);
    systematic.sqrt() / total
}
