//! What the verdict on the motors rests on, gathered: cells of single motors, fire commands, motion.

use indexmap::IndexMap;

use super::signals::Signals;
use super::stand::Stand;
use super::{Burnt, pieces, thrust};
use crate::burn::baseline;
use crate::burn::load::{CellReadings, Load};
use crate::burn::thrust::{self as burn_thrust, WeightLoss};
use crate::calibration::CalibratedCell;
use crate::config::Firing;
use crate::finding::{Finding, Outcome};
use crate::motors::lit::order::AxisMotion;
use crate::motors::lit::verdict::OwnCell;
use crate::motors::lit::{Question, Verdict, decide as weigh};
use crate::numeric::trapezoid;
use crate::plant::AxisFit;
use crate::quantity::{Given, Measured};
use crate::series::Series;
use crate::uncertainty::measured;

/// Decides which motors lit; `None` for a firing without motors.
pub(super) fn decide(
    firing: &Firing,
    signals: &Signals,
    cells: &IndexMap<String, CalibratedCell>,
    stand: &Stand,
    burnt: Option<&Burnt>,
    axes: &IndexMap<String, AxisFit>,
) -> Option<Verdict> {
    if firing.motors.is_empty() {
        return None;
    }
    let own = own_cells(firing, signals, cells, stand, burnt);
    let question = Question {
        motors: &firing.motors,
        pieces: pieces::all(firing, signals, burnt, &own, axes),
        thrust: burnt.map(|burnt| &burnt.trace.thrust),
        edges: burnt.map(|burnt| &burnt.burn.edges),
        noise_n: burnt.map_or(0.0, |burnt| burnt.burn.edge_noise_n),
        window_s: burnt.map_or((0.0, 0.0), |burnt| burnt.burn.window_s),
        clock_u_s: burnt
            .and_then(|burnt| burnt.burn.report.ignition_s.as_ref())
            .map_or(0.0, |t| t.u),
        own,
        fire_s: fire_commands(firing, signals, burnt.and_then(|burnt| burnt.within)),
        motion: axes
            .iter()
            .filter_map(|(name, fit)| motion(firing, signals, name, fit))
            .collect(),
        inertia: inertia(firing),
        spread: firing.reduce.motor_spread,
    };
    Some(weigh(&question))
}

/// Takes back what rests on the propellant burnt where the record cannot tell how many motors lit:
/// one or two of them is a specific impulse or its double.
pub(super) fn unknown_propellant(burnt: &mut Burnt, verdict: &Verdict) -> Option<Finding> {
    if verdict.ignition.all_lit != Outcome::Undecided {
        return None;
    }
    burnt.impulse.exhaust_velocity_m_s = None;
    burnt.impulse.specific_s.take().map(|_| {
        Finding::plain(
            "the record tells how much propellant burnt, which specific impulse rests on",
            Outcome::Undecided,
            "it is known which motors lit",
            "definition of specific impulse",
        )
        .advice(
            "give certified curves, offsets, tilt or gyro, or igniter currents, to tell which lit",
        )
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
    firing: &Firing,
    signals: &Signals,
    within: Option<(f64, f64)>,
) -> IndexMap<String, (f64, f64)> {
    firing
        .motors
        .iter()
        .filter_map(|(name, motor)| {
            let edge = signals.first_rise(motor.fire.as_ref()?, within)?;
            Some((name.clone(), edge))
        })
        .collect()
}

/// What the cells that carry a single motor say of it.
fn own_cells(
    firing: &Firing,
    signals: &Signals,
    cells: &IndexMap<String, CalibratedCell>,
    stand: &Stand,
    burnt: Option<&Burnt>,
) -> IndexMap<String, OwnCell> {
    let mut out = IndexMap::new();
    let Some(burnt) = burnt.filter(|_| firing.motors.len() > 1) else {
        return out;
    };
    for name in firing.motors.keys() {
        let carries_it_alone = |cell: &str| {
            firing
                .cells
                .get(cell)
                .is_some_and(|cell| firing.motors_of(cell) == [name.as_str()])
        };
        let readings = thrust::cell_readings(firing, signals, cells, carries_it_alone);
        if readings.is_empty() {
            continue;
        }
        let lit = std::slice::from_ref(name);
        let asked = thrust::Asked {
            firing,
            signals,
            stand,
            clock_u_s: 0.0,
            within: burnt.within,
        };
        let measured = thrust::measure_cells(&asked, &readings, lit, &mut Vec::new());
        let own = match measured {
            Some(alone) => alone.impulse.total_ns.map(|total_ns| OwnCell {
                total_ns,
                ignition_s: alone.burn.report.ignition_s,
            }),
            None => silent(&readings, burnt).map(|total_ns| OwnCell {
                total_ns,
                ignition_s: None,
            }),
        };
        if let Some(own) = own {
            out.insert(name.clone(), own);
        }
    }
    out
}

/// Impulse of a cell in which nothing stood out: what it read during the burn of the others, above its
/// zero line, whose wander is what such an impulse mostly is made of.
fn silent(readings: &[CellReadings], burnt: &Burnt) -> Option<Measured> {
    let load = Load::from_cells(readings)?;
    let (from, to) = burnt.burn.window_s;
    let rows = load.time_s.partition_point(|time| *time < from)
        ..load.time_s.partition_point(|time| *time <= to);
    if rows.is_empty() {
        return None;
    }
    let line = baseline::find(&load.time_s, &load.force_n, &rows);
    let trace = burn_thrust::thrust(load, line, (from, to), &WeightLoss::none(), None)?;
    let weights = trapezoid::weights(trace.thrust.time_s(), from, to);
    let value = trapezoid::area_between(&trace.thrust, from, to);
    Some(measured(value, &trace.terms(&weights), "N s"))
}

fn motion(firing: &Firing, signals: &Signals, name: &str, fit: &AxisFit) -> Option<AxisMotion> {
    let axis = firing.axes.get(name)?;
    let rig = fit.plant.as_ref()?.rig.as_ref()?;
    let bias = rig.thrust_bias_per_kg_m.as_ref()?;
    let rate_rad_s = match &axis.rate {
        Some(rate) => signals.quantity(rate)?,
        None => derivative(&signals.quantity(axis.tilt.as_ref()?)?),
    };
    let offset_m: Vec<f64> = firing
        .motors
        .values()
        .map(|motor| motor.offset.get(name).map_or(0.0, Given::si))
        .collect();
    if offset_m.iter().all(|offset| *offset == 0.0) {
        return None;
    }
    Some(AxisMotion {
        axis: name.to_owned(),
        rate_rad_s,
        nozzle_rad: fit
            .trace
            .nozzle_model_deg
            .map(|_, angle_deg| angle_deg.to_radians()),
        effectiveness_per_kg_m: rig.effectiveness_per_kg_m.as_ref()?.value,
        thrust_bias_per_kg_m: (bias.value, bias.u),
        inertia_kg_m2: axis.inertia.as_ref()?.si(),
        offset_m,
    })
}

/// Differences over about ten milliseconds: a rate from an encoder.
fn derivative(tilt: &Series) -> Series {
    let reach = (0.01 / tilt.step_s().unwrap_or(0.01)).round().max(1.0) as usize;
    let (time, value) = (tilt.time_s(), tilt.value());
    let rows = reach..tilt.len().saturating_sub(reach);
    let (mut at, mut rate) = (Vec::new(), Vec::new());
    for row in rows {
        let (before, after) = (row - reach, row + reach);
        at.push(time[row]);
        rate.push((value[after] - value[before]) / (time[after] - time[before]));
    }
    Series::new(&at, &rate)
}
