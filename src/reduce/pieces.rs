//! Evidence of which motors lit, piece by piece, from whatever the stand has.

use indexmap::IndexMap;

use super::Burnt;
use super::signals::Signals;
use crate::burn::outlier;
use crate::config::{Certified, Firing, Signal};
use crate::motors::lit::evidence::{self, Expected};
use crate::motors::lit::hypothesis::Piece;
use crate::motors::lit::part::Pattern;
use crate::motors::lit::pieces::Pieces;
use crate::motors::lit::shape::{self, Shared};
use crate::motors::lit::thrust_steps;
use crate::motors::lit::verdict::OwnCell;
use crate::numeric::noise;
use crate::plant::AxisFit;
use crate::quantity::{Given, Measured};

/// How far thrust may point beside the rocket's axis with nothing wrong, rad: motors seated askew
/// and a nozzle centred by eye make about a degree. Common practice, no source.
const ALIGNMENT_RAD: f64 = 0.017;

/// ... and how far a motor may sit beside its stated place, m.
const SEATING_M: f64 = 0.001;

/// All pieces of evidence.
pub(super) fn all(
    firing: &Firing,
    signals: &Signals,
    burnt: Option<&Burnt>,
    own: &IndexMap<String, OwnCell>,
    axes: &IndexMap<String, AxisFit>,
) -> Vec<Piece> {
    let count = firing
        .motors
        .len()
        .min(crate::motors::lit::hypothesis::MOST_MOTORS);
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
    let felt = felt(firing, count);
    if own.len() < count {
        out.push(match (course(firing, burnt, &felt), &all, total) {
            (Some(course), ..) => course,
            (None, Some(all), Some(total)) => {
                evidence::impulse("impulse of all cells", total, all, &felt, spread)
            }
            _ => {
                let (edges, window_s) = (&burnt.burn.edges, burnt.burn.window_s);
                thrust_steps::evidence(count, thrust_steps::rises(edges, window_s))
            }
        });
    }
    out.extend(pressure(firing, signals, burnt, count));
    out.extend(asked(firing, signals, burnt, count));
    if let Some(all) = all {
        out.extend(
            axes.iter()
                .filter_map(|(name, fit)| torque(firing, name, fit, &all)),
        );
    }
    out
}

/// The course of the thrust explained by certified curves, where every motor that shares the cells has one.
fn course(firing: &Firing, burnt: &Burnt, felt: &[bool]) -> Option<Piece> {
    let count = felt.len();
    let names: Vec<&str> = firing.motors.keys().map(String::as_str).collect();
    let motors: Option<Vec<(usize, Pattern)>> = (0..count)
        .filter(|at| felt[*at])
        .map(|at| {
            let certified = firing.motors[at].certified.as_ref()?;
            Some((at, Pattern::new(certified.thrust_curve.as_ref()?)?))
        })
        .collect();
    let pieces = Pieces::cut(
        &burnt.trace.thrust,
        burnt.burn.window_s,
        burnt.burn.edge_noise_n,
        firing.reduce.motor_spread,
    )?;
    let shared = Shared {
        pieces: &pieces,
        motors: motors?,
    };
    let explained = shape::explain(&shared)?;
    Some(shape::evidence(
        "course of the thrust in the cells",
        count,
        &names,
        &shared,
        &explained,
    ))
}

/// Which motors any cell carries: the others leave no impulse to be measured.
fn felt(firing: &Firing, count: usize) -> Vec<bool> {
    let carried = |name: &String| {
        let mut cells = firing.cells.values();
        cells.any(|cell| firing.motors_of(cell).contains(&name.as_str()))
    };
    firing.motors.keys().take(count).map(carried).collect()
}

/// Time before the burn in which a transducer or a fire line rests, and between rest and burn, s.
const REST_S: (f64, f64) = (1.0, 0.3);

/// Pressure in the chamber of one of several motors.
fn pressure(firing: &Firing, signals: &Signals, burnt: &Burnt, count: usize) -> Option<Piece> {
    let chamber = firing.chamber.as_ref().filter(|_| count > 1)?;
    let motor = firing.motors.get_index_of(&chamber.motor.as_ref()?.value)?;
    let (read, _) = outlier::without_lone(&signals.quantity(&chamber.pressure)?);
    let (from, to) = burnt.burn.window_s;
    let rest = noise::at_rest(read.between(from - REST_S.0, from - REST_S.1).value())?;
    let burning = read.between(from, to);
    let mut values = burning.value().to_vec();
    values.sort_by(f64::total_cmp);
    // Nine tenths of all readings lie below: no spike, and a motor that burns a tenth of the time counts.
    let high = *values.get(values.len() * 9 / 10)?;
    Some(evidence::pressure(count, motor, high - rest.mean, rest.sd))
}

/// Fire lines and igniter currents: whether each motor was told to light.
fn asked(firing: &Firing, signals: &Signals, burnt: &Burnt, count: usize) -> Vec<Piece> {
    let mut out = Vec::new();
    for (at, motor) in firing.motors.values().enumerate().take(count) {
        let seen = |signal: &Option<Signal>| rose(signals, signal.as_ref()?, burnt);
        if let Some(seen) = seen(&motor.fire) {
            out.push(evidence::asked(count, at, "its fire command", seen));
        }
        if let Some(seen) = seen(&motor.igniter) {
            out.push(evidence::asked(count, at, "current in its igniter", seen));
        }
    }
    out
}

/// A signal rose when it stands so many standard deviations of its noise above its rest.
const ROSE_SDS: f64 = 10.0;

/// Whether a line rose before the burn ended; `None` when it was not read before.
fn rose(signals: &Signals, signal: &Signal, burnt: &Burnt) -> Option<bool> {
    let series = signals.series(signal)?;
    let series = match burnt.within {
        Some((from, to)) => series.between(from, to),
        None => series,
    };
    let part = series.between(f64::NEG_INFINITY, burnt.burn.window_s.1);
    let before = part.between(f64::NEG_INFINITY, burnt.burn.window_s.0);
    if before.len() < 10 {
        return None;
    }
    let rest = noise::median(part.value())?.min(noise::median(before.value())?);
    let most = part
        .value()
        .iter()
        .copied()
        .fold(f64::NEG_INFINITY, f64::max);
    Some(most - rest > ROSE_SDS * noise::sd_from_differences(before.value()))
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
    let offset = |motor: &crate::config::Motor| motor.offset.get(name).map_or(0.0, Given::si);
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
