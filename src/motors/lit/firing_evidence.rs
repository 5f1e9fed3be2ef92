//! Evidence of which motors lit, piece by piece, from whatever the stand has.

use indexmap::IndexMap;

use super::evidence::{self, Expected};
use super::hypothesis::{EvidenceTerm, MOST_MOTORS};
use super::input::OwnCell;
use super::order::AxisEvidence;
use super::own_cells::impulse_in_cells_of;
use super::part::Pattern;
use super::pieces::ThrustPieces;
use super::shape::{self, Shared};
use super::thrust_steps;
use crate::burn::{Burn, Recording};
use crate::config::{Firing, Motor, Signal};
use crate::numeric::noise;
use crate::quantity::{Given, Measured, Unit};

/// How far thrust may point beside the rocket's axis with nothing wrong, rad: motors seated askew
/// and a nozzle centred by eye make about a degree. Common practice, no source.
const ALIGNMENT_RAD: f64 = 0.017;

/// ... and how far a motor may sit beside its stated place, m.
const SEATING_M: f64 = 0.001;

/// All pieces of evidence.
pub(super) fn all(
    recording: &Recording<'_>,
    burn: Option<&Burn>,
    own: &IndexMap<String, OwnCell>,
    axes: &[AxisEvidence],
) -> Vec<EvidenceTerm> {
    let firing = recording.firing;
    let count = firing.motors.len().min(MOST_MOTORS);
    let Some(burn) = burn else {
        return vec![evidence::nothing(count)];
    };
    let certified_ns = |motor: &Motor| motor.certified.as_ref()?.total_impulse_ns();
    let expected: Vec<Option<f64>> = firing.motors.values().map(certified_ns).collect();
    let certified: Option<Vec<f64>> = expected.iter().take(count).copied().collect();
    let mut out: Vec<EvidenceTerm> = own
        .iter()
        .map(|(name, cell)| own_impulse(firing, name, cell, &expected, count))
        .collect();
    if own.len() < count && recording.unsound.is_empty() {
        out.extend(shared_cells(firing, burn, certified.as_deref(), count));
        if let Some(certified) = &certified {
            out.extend(parts(recording, burn, certified));
        }
    }
    out.extend(weighings(firing, &expected));
    out.extend(pressure(recording, burn, count));
    out.extend(asked(recording, burn, count));
    if let Some(certified) = certified {
        out.extend(
            axes.iter()
                .filter_map(|axis| torque(firing, axis, &certified)),
        );
    }
    out
}

/// A cell that reads this share of the certified peak, but less than ...
const BURST_PEAK: f64 = 0.3;

/// ... this share of the certified impulse, tells of a motor that burst or of a knock, and not which.
const BURST_IMPULSE: f64 = 0.3;

/// The certified peak thrust of a motor, N.
fn peak_of(motor: &Motor) -> Option<f64> {
    let curve = motor.certified.as_ref()?.thrust_curve.as_ref()?;
    curve.value().iter().copied().reduce(f64::max)
}

/// Impulse in the cell of one motor.
fn own_impulse(
    firing: &Firing,
    name: &str,
    cell: &OwnCell,
    expected: &[Option<f64>],
    count: usize,
) -> EvidenceTerm {
    let at = firing.motors.get_index_of(name).unwrap_or(0);
    let carried: Vec<bool> = (0..count).map(|motor| motor == at).collect();
    let certified_n = firing.motors.get(name).and_then(peak_of);
    let burst = certified_n
        .zip(expected[at])
        .is_some_and(|(peak_n, impulse_ns)| {
            cell.peak_n > BURST_PEAK * peak_n && cell.total_ns.value < BURST_IMPULSE * impulse_ns
        });
    if burst {
        return EvidenceTerm {
            from: format!("own cell of motor {name}"),
            says: format!(
                "{:.0} N, but {:.2} N s only: a motor that burst, or a knock",
                cell.peak_n, cell.total_ns.value
            ),
            log_likelihood: vec![0.0; 1 << count],
        };
    }
    // Without a certificate a motor that lit is expected to give what was measured, if anything.
    let guess = expected[at].unwrap_or(cell.total_ns.value.max(10.0 * cell.total_ns.u));
    evidence::impulse(
        &format!("own cell of motor {name}"),
        &cell.total_ns,
        &vec![guess; count],
        &carried,
        firing.reduce.motor_spread,
    )
}

/// What the cells say that motors share: by certified curves, by certified impulses, or by steps of the thrust.
fn shared_cells(
    firing: &Firing,
    burn: &Burn,
    certified: Option<&[f64]>,
    count: usize,
) -> Vec<EvidenceTerm> {
    let felt = felt(firing, count);
    let total = burn.impulse.total_ns.as_ref();
    let spread = firing.reduce.motor_spread;
    let mut out = Vec::from_iter(course(firing, burn, &felt));
    // A course that looks like two motors does not outvote an impulse that is that of one.
    let impulse = certified.zip(total).map(|(certified, total)| {
        evidence::impulse("impulse of all cells", total, certified, &felt, spread)
    });
    out.extend(impulse);
    if out.is_empty() {
        let rises = thrust_steps::rises(&burn.description.edges, burn.window_s());
        out.push(thrust_steps::evidence(count, rises));
    }
    out
}

/// Impulse in cells that carry several of the motors, but not all.
fn parts(recording: &Recording<'_>, burn: &Burn, certified: &[f64]) -> Vec<EvidenceTerm> {
    let firing = recording.firing;
    let names: Vec<&str> = firing
        .motors
        .keys()
        .map(String::as_str)
        .take(certified.len())
        .collect();
    let mut groups: Vec<Vec<bool>> = Vec::new();
    for cell in firing.cells.values() {
        let of = firing.motors_of(cell);
        let carried: Vec<bool> = names.iter().map(|name| of.contains(name)).collect();
        let count = carried.iter().filter(|carried| **carried).count();
        if count > 1 && count < names.len() && !groups.contains(&carried) {
            groups.push(carried);
        }
    }
    let one = |carried: Vec<bool>| {
        let of: Vec<&str> = names
            .iter()
            .zip(&carried)
            .filter(|(_, c)| **c)
            .map(|(name, _)| *name)
            .collect();
        let total_ns = impulse_in_cells_of(recording, burn, &of)?.total_ns;
        let from = format!("cells of {}", of.join(" and "));
        Some(evidence::impulse(
            &from,
            &total_ns,
            certified,
            &carried,
            firing.reduce.motor_spread,
        ))
    };
    groups.into_iter().filter_map(one).collect()
}

/// Exhaust leaves no small motor faster than this, m/s (the best solid propellants have a specific impulse of some
/// 280 s at sea level: Sutton & Biblarz, Rocket Propulsion Elements, ch. 12; from memory): the least mass that an
/// impulse costs.
const FASTEST_M_S: f64 = 2800.0;

/// What the motors weighed before and after.
fn weighings(firing: &Firing, expected_ns: &[Option<f64>]) -> Vec<EvidenceTerm> {
    let count = firing.motors.len().min(MOST_MOTORS);
    let one = |(at, motor): (usize, &Motor)| {
        let (lost_kg, u_kg) = motor.propellant.lost_kg()?;
        let least_kg = (*expected_ns.get(at)?)? / FASTEST_M_S;
        Some(evidence::weighing(
            count,
            at,
            lost_kg,
            u_kg.unwrap_or(0.0),
            least_kg,
        ))
    };
    firing
        .motors
        .values()
        .enumerate()
        .take(count)
        .filter_map(one)
        .collect()
}

/// The course of the thrust explained by certified curves, where every motor that shares the cells has one.
fn course(firing: &Firing, burn: &Burn, felt: &[bool]) -> Option<EvidenceTerm> {
    let count = felt.len();
    let names: Vec<&str> = firing.motors.keys().map(String::as_str).collect();
    let motors: Option<Vec<(usize, Pattern)>> = (0..count)
        .filter(|at| felt[*at])
        .map(|at| {
            let certified = firing.motors[at].certified.as_ref()?;
            Some((at, Pattern::new(certified.thrust_curve.as_ref()?)?))
        })
        .collect();
    let pieces = ThrustPieces::cut(
        &burn.trace.thrust,
        burn.window_s(),
        burn.description.edge_noise_n,
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
fn pressure(recording: &Recording<'_>, burn: &Burn, count: usize) -> Option<EvidenceTerm> {
    let firing = recording.firing;
    let chamber = firing.chamber.as_ref().filter(|_| count > 1)?;
    let motor = firing.motors.get_index_of(&chamber.motor.as_ref()?.value)?;
    let read = recording.signals.quantity(&chamber.pressure)?;
    let (from, to) = burn.window_s();
    let rest = noise::mean_and_sd(read.between(from - REST_S.0, from - REST_S.1).value())?;
    let burning = read.between(from, to);
    let mut values = burning.value().to_vec();
    values.sort_by(f64::total_cmp);
    // Nine tenths of all readings lie below: no spike, and a motor that burns a tenth of the time counts.
    let high = *values.get(values.len() * 9 / 10)?;
    Some(evidence::pressure(count, motor, high - rest.mean, rest.sd))
}

/// Fire lines and igniter currents: whether each motor was told to light.
fn asked(recording: &Recording<'_>, burn: &Burn, count: usize) -> Vec<EvidenceTerm> {
    let mut out = Vec::new();
    for (at, motor) in recording.firing.motors.values().enumerate().take(count) {
        let seen = |signal: &Option<Signal>| rose(recording, signal.as_ref()?, burn);
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
fn rose(recording: &Recording<'_>, signal: &Signal, burn: &Burn) -> Option<bool> {
    let series = recording.signals.channels.series(signal)?;
    let series = match burn.within_s {
        Some((from, to)) => series.between(from, to),
        None => series,
    };
    let part = series.between(f64::NEG_INFINITY, burn.window_s().1);
    let before = part.between(f64::NEG_INFINITY, burn.window_s().0);
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

/// Torque of motors beside an axis.
fn torque(firing: &Firing, seen: &AxisEvidence, expected_ns: &[f64]) -> Option<EvidenceTerm> {
    let axis = firing.axes.get(&seen.axis)?;
    let inertia = axis.inertia.as_ref()?;
    let bias = &seen.thrust_bias_per_kg_m;
    let offset = |motor: &Motor| motor.offset.get(&seen.axis).map_or(0.0, Given::si);
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
        &seen.axis,
        &Measured::normal(value, u, Unit::Metre),
        &motors,
        alignment_u_m,
    ))
}
