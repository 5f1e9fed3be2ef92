//! Evidence of which motors lit, gathered for the verdict.

use indexmap::IndexMap;

use super::signals::Signals;
use super::stand::Stand;
use super::{Burnt, thrust};
use crate::burn::load::{CellReadings, Load};
use crate::burn::thrust::{self as burn_thrust, WeightLoss};
use crate::burn::zero;
use crate::calibration::CalibratedCell;
use crate::firing::{Certified, Firing};
use crate::ignition::evidence::{self, Expected};
use crate::ignition::hypothesis::{Piece, Subset};
use crate::ignition::order::AxisMotion;
use crate::ignition::verdict::OwnCell;
use crate::ignition::{Question, Verdict, decide as weigh};
use crate::numeric::trapezoid;
use crate::plant::AxisFit;
use crate::quantity::{Given, Measured};
use crate::series::Series;
use crate::uncertainty::measured;

/// How far thrust may point beside the rocket's axis with nothing wrong, rad: motors seated askew
/// and a nozzle centred by eye make about a degree. Common practice, no source.
const ALIGNMENT_RAD: f64 = 0.017;

/// ... and how far a motor may sit beside its stated place, m.
const SEATING_M: f64 = 0.001;

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
        pieces: pieces(firing, burnt, &own, axes),
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
        spread: firing.reduce.motor_spread,
    };
    Some(weigh(&question))
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
    let line = zero::find(&load.time_s, &load.force_n, &rows);
    let trace = burn_thrust::thrust(load, line, (from, to), &WeightLoss::none(), None)?;
    let weights = trapezoid::weights(trace.thrust.time_s(), from, to);
    let value = trapezoid::area_between(&trace.thrust, from, to);
    Some(measured(value, &trace.terms(&weights), "N s"))
}

fn pieces(
    firing: &Firing,
    burnt: Option<&Burnt>,
    own: &IndexMap<String, OwnCell>,
    axes: &IndexMap<String, AxisFit>,
) -> Vec<Piece> {
    let count = firing
        .motors
        .len()
        .min(crate::ignition::hypothesis::MOST_MOTORS);
    let Some(burnt) = burnt else {
        return vec![evidence::nothing(count)];
    };
    let expected: Vec<Option<f64>> = firing
        .motors
        .values()
        .map(|motor| {
            motor
                .certified
                .as_ref()
                .and_then(Certified::total_impulse_ns)
        })
        .collect();
    let mut out = Vec::new();
    let spread = firing.reduce.motor_spread;
    for (name, cell) in own {
        let at = firing.motors.get_index_of(name).unwrap_or(0);
        let carried: Vec<bool> = (0..count).map(|motor| motor == at).collect();
        // Without a certificate a motor that lit is expected to give what was measured, if anything.
        let guess = expected[at].unwrap_or(cell.total_ns.value.max(10.0 * cell.total_ns.u));
        let all: Vec<f64> = (0..count).map(|_| guess).collect();
        let from = format!("own cell of motor {name}");
        out.push(evidence::impulse(
            &from,
            &cell.total_ns,
            &all,
            &carried,
            spread,
        ));
    }
    let all: Option<Vec<f64>> = expected.iter().take(count).copied().collect();
    let total = burnt.impulse.total_ns.as_ref();
    match (&all, total) {
        (Some(all), Some(total)) if own.len() < count => {
            let from = "impulse of all cells";
            let felt = felt(firing, count);
            out.push(evidence::impulse(from, total, all, &felt, spread));
        }
        (None, _) | (_, None) if own.len() < count => out.push(something(count)),
        _ => {}
    }
    if let Some(all) = all {
        out.extend(
            axes.iter()
                .filter_map(|(name, fit)| torque(firing, name, fit, &all)),
        );
    }
    out
}

/// Which motors any cell carries: the others leave no impulse to be measured.
fn felt(firing: &Firing, count: usize) -> Vec<bool> {
    let carried = |name: &String| {
        let mut cells = firing.cells.values();
        cells.any(|cell| firing.motors_of(cell).contains(&name.as_str()))
    };
    firing.motors.keys().take(count).map(carried).collect()
}

/// Something burnt, and no certificate says how much to expect.
fn something(count: usize) -> Piece {
    let none = evidence::nothing(count);
    Piece {
        says: "thrust stands out of the noise; without certified curves it says no more".to_owned(),
        log_likelihood: Subset::all(count)
            .map(|subset| if subset.count() > 0 { 0.0 } else { -30.0 })
            .collect(),
        ..none
    }
}

fn torque(firing: &Firing, name: &str, fit: &AxisFit, expected_ns: &[f64]) -> Option<Piece> {
    let axis = firing.axes.get(name)?;
    let inertia = axis.inertia.as_ref()?;
    let bias = fit
        .plant
        .as_ref()?
        .rig
        .as_ref()?
        .thrust_bias_per_kg_m
        .as_ref()?;
    let offset = |motor: &crate::firing::Motor| motor.offset.get(name).map_or(0.0, Given::si);
    let motors: Vec<Expected> = firing
        .motors
        .values()
        .zip(expected_ns)
        .map(|(motor, impulse_ns)| Expected {
            impulse_ns: *impulse_ns,
            offset_m: offset(motor),
        })
        .collect();
    if motors.iter().all(|motor| motor.offset_m == 0.0) {
        return None;
    }
    let inertia_u = inertia.standard_uncertainty().unwrap_or(0.0);
    let value = bias.value * inertia.si();
    let u = (bias.u * inertia.si()).hypot(bias.value * inertia_u);
    let arm_m = axis.arm.as_ref().map_or(0.3, Given::si);
    let alignment_u_m = SEATING_M.hypot(ALIGNMENT_RAD * arm_m);
    Some(evidence::torque(
        name,
        &Measured::normal(value, u, "m"),
        &motors,
        alignment_u_m,
    ))
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
