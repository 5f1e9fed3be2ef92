//! Pressure in the chamber of one motor: what it is, what a transducer reads of it, what is true.
//!
//! Above ambient it is thrust over throat area and coefficient. The coefficient of the results counts
//! absolute pressure, so the truth is integrated from the trace under their definition.

use super::spec::{ChamberTruth, Rehearsal};
use super::trace::{Trace, above, burnt_kg};
use super::truth_file::{ChamberTruthShown, short};
use crate::config::Reads;
use crate::numeric::trapezoid;
use crate::series::Series;

/// Share of its own peak thrust that begins and ends a motor's burn.
const BURN_SHARE: f64 = 0.05;

fn thrust_n<'a>(
    rehearsal: &Rehearsal,
    trace: &'a Trace,
    chamber: &ChamberTruth,
) -> Option<&'a Series> {
    trace
        .thrust_n
        .get(rehearsal.motors.get_index_of(&chamber.motor)?)
}

fn area_m2(chamber: &ChamberTruth) -> f64 {
    std::f64::consts::FRAC_PI_4 * chamber.throat_m * chamber.throat_m
}

/// What the transducer would read without noise, Pa; empty without a chamber.
pub(super) fn as_read(rehearsal: &Rehearsal, trace: &Trace) -> Series {
    let Some(chamber) = &rehearsal.chamber else {
        return Series::default();
    };
    let rest_pa = match chamber.reads {
        Reads::Gauge => 0.0,
        Reads::Absolute => chamber.ambient_pa,
    };
    let per_newton = chamber.span / (chamber.coefficient * area_m2(chamber));
    thrust_n(rehearsal, trace, chamber).map_or_else(Series::default, |thrust| {
        thrust.map(|_, thrust| thrust * per_newton + rest_pa * chamber.span + chamber.zero_pa)
    })
}

/// The truth under the definitions of the results; `None` when the motor did not burn.
pub(super) fn truth(rehearsal: &Rehearsal, trace: &Trace) -> Option<ChamberTruthShown> {
    let chamber = rehearsal.chamber.as_ref()?;
    let at = rehearsal.motors.get_index_of(&chamber.motor)?;
    let thrust = thrust_n(rehearsal, trace, chamber)?;
    let (begin_s, end_s) = above(thrust, BURN_SHARE)?;
    let area = area_m2(chamber);
    let absolute =
        thrust.map(|_, thrust| thrust / (chamber.coefficient * area) + chamber.ambient_pa);
    let integral = trapezoid::area_between(&absolute, begin_s, end_s);
    let impulse = trapezoid::area_between(thrust, begin_s, end_s);
    let peak = absolute.value().iter().copied().fold(0.0, f64::max);
    Some(ChamberTruthShown {
        motor: chamber.motor.clone(),
        ambient_kpa: short(1e-3 * chamber.ambient_pa),
        throat_area_mm2: short(1e6 * area),
        peak_kpa: short(1e-3 * peak),
        mean_kpa: short(1e-3 * integral / (end_s - begin_s)),
        integral_kpa_s: short(1e-3 * integral),
        characteristic_velocity_m_s: short(area * integral / burnt_kg(rehearsal, trace, at)),
        thrust_coefficient: short(impulse / (area * integral)),
    })
}
