//! What really happened, under the keys of `result.json` and `plant.json`: `truth.json`.
//!
//! Definitions are those of the results: times are seconds on the first recorder's clock; the burn
//! runs from thrust first at or above 5 % of its peak to last at or above; a motor's ignition is
//! when its own thrust first reaches 5 % of its own peak; specific impulse counts the propellant
//! that lit motors really burnt, under standard gravity. All come from the finely sampled trace.
//! `effectiveness_per_kg_m` and `thrust_bias_per_kg_m` change through a burn as inertia and the
//! motors' shares do; the plain values are means weighted with thrust, and the values with motors
//! loaded and spent stand beside them.

use indexmap::IndexMap;

use super::chamber;
use super::run::Run;
use super::spec::{AxisTruth, Hold, Rehearsal};
use super::trace::{Trace, above, burnt_kg, last, peak};
use super::truth_file::{
    BurnTruth, CellTruthShown, ClockTruth, DeadBandTruth, HoldTruth, IgnitionTruth, ImpulseTruth,
    MotorTruthShown, PlantTruth, SCHEMA, StandTruthShown, ThrustTruth, Truth, short,
};
use crate::numeric::trapezoid;
use crate::quantity::STANDARD_GRAVITY_M_S2;
use crate::series::Series;

/// Share of peak that begins and ends a burn.
const BURN_SHARE: f64 = 0.05;
/// Share of peak that begins and ends action time.
const ACTION_SHARE: f64 = 0.10;

/// The truth of a firing.
pub(super) fn truth(rehearsal: &Rehearsal, run: &Run) -> Truth {
    let trace = &run.trace;
    let thrust = total(&trace.thrust_n);
    let motors = motors(rehearsal, trace);
    let times = above(&thrust, BURN_SHARE).zip(above(&thrust, ACTION_SHARE));
    let clocks = rehearsal.recorders.iter().skip(1).map(|(name, recorder)| {
        let clock = ClockTruth {
            offset_s: short(recorder.starts_s),
            drift_ppm: short(recorder.drift_ppm),
        };
        (name.clone(), clock)
    });
    Truth {
        schema: SCHEMA,
        title: rehearsal.title.clone(),
        seed: rehearsal.seed,
        fire_s: short(rehearsal.fire_s),
        gravity_m_s2: short(rehearsal.gravity_m_s2),
        clocks: clocks.collect(),
        cells: cells(rehearsal),
        stand: rehearsal
            .stand
            .natural_frequency_hz
            .map(|hz| StandTruthShown {
                natural_frequency_hz: short(hz),
                damping_ratio: short(rehearsal.stand.damping_ratio),
            }),
        burn: times.map(|((begin, end), (from, to))| BurnTruth {
            ignition_s: short(begin),
            burnout_s: short(end),
            burn_time_s: short(end - begin),
            action_time_s: short(to - from),
        }),
        thrust: times.map(|((begin, end), _)| ThrustTruth {
            peak_n: short(peak(&thrust)),
            average_n: short(trapezoid::area_between(&thrust, begin, end) / (end - begin)),
        }),
        impulse: times.map(|(burn, _)| impulse(rehearsal, trace, &thrust, burn)),
        chamber: chamber::truth(rehearsal, trace),
        ignition: ignition(&motors),
        motors,
        plant: rehearsal
            .axes
            .iter()
            .enumerate()
            .map(|(at, (name, axis))| (name.clone(), plant(axis, trace, at, &thrust)))
            .collect(),
    }
}

fn cells(rehearsal: &Rehearsal) -> IndexMap<String, CellTruthShown> {
    let all = rehearsal.cells.iter().map(|(name, cell)| {
        let shown = CellTruthShown {
            raw_from_force: cell.curve.map(short),
            zero_shift: short(cell.zero_shift),
            noise: short(cell.noise),
            delay_s: short(cell.delay_s),
            mass_error: short(cell.points.mass_error),
        };
        (name.clone(), shown)
    });
    all.collect()
}

/// The sum of several traces taken at the same times.
fn total(parts: &[Series]) -> Series {
    let Some(first) = parts.first() else {
        return Series::default();
    };
    let mut sum = vec![0.0; first.len()];
    for part in parts {
        for (sum, value) in sum.iter_mut().zip(part.value()) {
            *sum += value;
        }
    }
    Series::new(first.time_s(), &sum)
}

fn impulse(
    rehearsal: &Rehearsal,
    trace: &Trace,
    thrust: &Series,
    (begin, end): (f64, f64),
) -> ImpulseTruth {
    let total_ns: f64 = trace.impulse_ns.iter().map(last).sum();
    let propellant_kg: f64 = (0..rehearsal.motors.len())
        .map(|at| burnt_kg(rehearsal, trace, at))
        .sum();
    let exhaust_m_s = total_ns / propellant_kg;
    ImpulseTruth {
        total_ns: short(total_ns),
        burn_window_ns: short(trapezoid::area_between(thrust, begin, end)),
        specific_s: short(exhaust_m_s / STANDARD_GRAVITY_M_S2),
        exhaust_velocity_m_s: short(exhaust_m_s),
    }
}

fn motors(rehearsal: &Rehearsal, trace: &Trace) -> IndexMap<String, MotorTruthShown> {
    let all = rehearsal
        .motors
        .iter()
        .enumerate()
        .map(|(at, (name, motor))| {
            let ignition_s = above(&trace.thrust_n[at], BURN_SHARE).map(|(begin, _)| begin);
            let shown = MotorTruthShown {
                lit: ignition_s.is_some(),
                ignition_s: ignition_s.map(short),
                delay_s: ignition_s.map(|ignition| short(ignition - rehearsal.fire_s)),
                total_ns: short(last(&trace.impulse_ns[at])),
                peak_n: short(peak(&trace.thrust_n[at])),
                propellant_kg: short(motor.propellant_kg),
                burnt_kg: short(burnt_kg(rehearsal, trace, at)),
            };
            (name.clone(), shown)
        });
    all.collect()
}

fn ignition(motors: &IndexMap<String, MotorTruthShown>) -> IgnitionTruth {
    let times: Vec<f64> = motors
        .values()
        .filter_map(|motor| motor.ignition_s)
        .collect();
    let first = times.iter().copied().fold(f64::INFINITY, f64::min);
    let last = times.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    IgnitionTruth {
        all_lit: times.len() == motors.len(),
        lit_count: times.len(),
        stagger_s: (times.len() > 1).then(|| short(last - first)),
    }
}

fn plant(axis: &AxisTruth, trace: &Trace, at: usize, thrust: &Series) -> PlantTruth {
    let impulse_ns = trapezoid::area(thrust);
    let mean = |area: f64| (impulse_ns > 0.0).then(|| short(area / impulse_ns));
    let pulls: Vec<f64> = thrust
        .value()
        .iter()
        .zip(trace.effectiveness_per_kg_m[at].value())
        .map(|(thrust, effectiveness)| thrust * effectiveness)
        .collect();
    let pulls = Series::new(thrust.time_s(), &pulls);
    let largest_tilt_rad = above(thrust, BURN_SHARE).map(|(begin, end)| {
        let tilts = trace.tilt_rad[at].between(begin, end);
        tilts
            .value()
            .iter()
            .fold(0.0_f64, |most, tilt| most.max(tilt.abs()))
    });
    PlantTruth {
        gain: short(axis.gain),
        bias_deg: short(axis.bias_deg),
        lag_s: short(axis.lag_s),
        damping_ratio: axis.damping_ratio.map(short),
        delay_s: short(axis.delay_s),
        dead_band: DeadBandTruth {
            kind: axis.dead_band,
            width_deg: short(axis.dead_band_width_deg),
        },
        slew_deg_s: axis.slew_rad_s.map(|slew| short(slew.to_degrees())),
        travel_deg: axis.travel_rad.map(|travel| short(travel.to_degrees())),
        effectiveness_per_kg_m: mean(trapezoid::area(&pulls)),
        effectiveness_loaded_per_kg_m: short(axis.arm_m / axis.inertia_kg_m2),
        effectiveness_spent_per_kg_m: short(axis.arm_m / axis.inertia_spent_kg_m2),
        thrust_bias_per_kg_m: mean(trapezoid::area(&trace.side_rad_s2[at])),
        damping_per_s: short(axis.damping_per_s),
        stiffness_per_s2: short(axis.stiffness_per_s2),
        coulomb_rad_per_s2: short(axis.coulomb_rad_s2),
        hold: HoldTruth {
            kind: axis.hold.word().to_owned(),
            release_after_fire_s: (axis.hold == Hold::Clamp).then(|| short(axis.release_s)),
            start_tilt_deg: short(axis.start_tilt_rad.to_degrees()),
        },
        largest_tilt_in_burn_deg: largest_tilt_rad.map(|tilt| short(tilt.to_degrees())),
    }
}
