//! Steering axes and the flight computer.

use super::super::spec::{AxisTruth, Computer, Hold, Pattern, Steering};
use super::{Says, number_or, or};
use crate::config::document::Table;
use crate::plant::result::DeadBandKind;
use crate::quantity::{Angle, AngularRate, Frequency, Inertia, Length, Mass, Time, Torque};

pub(super) fn read(table: &mut Table<'_>, gravity_m_s2: f64) -> Option<AxisTruth> {
    for (key, what) in [("arm", "a length"), ("inertia", "a moment of inertia")] {
        if !table.has(key) {
            table.missing(key, what);
        }
    }
    let mut says = Says::open(table);
    let travel_rad = says.quantity::<Angle>(table, "travel");
    let arm_m = says.quantity::<Length>(table, "arm");
    let inertia = says.quantity::<Inertia>(table, "inertia");
    let inertia_spent = says.quantity::<Inertia>(table, "inertia_spent");
    says.quantity::<Inertia>(table, "frame_inertia");
    let pivot_to_cg_m = says.quantity::<Length>(table, "pivot_to_cg");
    let swinging_kg = says.quantity::<Mass>(table, "swinging_mass");
    let (dead_band, dead_band_width_deg) = read_dead_band(table);
    let holds = [("free", Hold::Free), ("clamp", Hold::Clamp)];
    // An axis that cannot be read goes on with any inertia, so that every key is asked for.
    let inertia_kg_m2 = inertia.unwrap_or(1.0);
    let weight_torque = swinging_kg.unwrap_or(0.0) * gravity_m_s2 * pivot_to_cg_m.unwrap_or(0.0);
    let axis = AxisTruth {
        gain: number_or(table, "gain", 1.0),
        bias_deg: or::<Angle>(table, "bias", 0.0).to_degrees(),
        lag_s: or::<Time>(table, "lag", SHORTEST_LAG_S),
        delay_s: or::<Time>(table, "delay", 0.0),
        dead_band,
        dead_band_width_deg,
        travel_rad,
        slew_rad_s: table.quantity::<AngularRate>("slew").map(|slew| slew.si()),
        arm_m: arm_m.unwrap_or(1.0),
        inertia_kg_m2,
        inertia_spent_kg_m2: inertia_spent.unwrap_or(inertia_kg_m2),
        misalignment_rad: or::<Angle>(table, "misalignment", 0.0),
        damping_per_s: or::<Frequency>(table, "damping", 0.0),
        stiffness_per_s2: weight_torque / inertia_kg_m2,
        coulomb_rad_s2: or::<Torque>(table, "friction", 0.0) / inertia_kg_m2,
        fast_wobble_rad: or::<Angle>(table, "fast_wobble", 0.0),
        slow_wobble_rad: or::<Angle>(table, "slow_wobble", 0.0),
        wobble_time_s: or::<Time>(table, "wobble_time", WANDER_TIME_S),
        wind_rad_s2: or::<Torque>(table, "wind", 0.0) / inertia_kg_m2,
        wind_time_s: or::<Time>(table, "wind_time", WANDER_TIME_S),
        hold: table.choice("hold", &holds).unwrap_or_default(),
        release_s: or::<Time>(table, "release", 0.0),
        start_tilt_rad: or::<Angle>(table, "start_tilt", 0.0),
        claims: says.close(),
    };
    (inertia.is_some() && arm_m.is_some()).then_some(axis)
}

/// Correlation time of slow disturbances when nothing is said, s.
const WANDER_TIME_S: f64 = 0.3;

/// Shortest lag, s: ten steps of the integration.
pub(super) const SHORTEST_LAG_S: f64 = 0.000_5;

fn read_dead_band(table: &mut Table<'_>) -> (DeadBandKind, f64) {
    let Some(mut table) = table.table("dead_band") else {
        return (DeadBandKind::None, 0.0);
    };
    let kinds = [
        DeadBandKind::None,
        DeadBandKind::DeadZone,
        DeadBandKind::Play,
    ]
    .map(|kind| (kind.word(), kind));
    if !table.has("kind") {
        table.missing("kind", "kind = \"none\", \"dead-zone\" or \"play\"");
    }
    let kind = table.choice("kind", &kinds).unwrap_or(DeadBandKind::None);
    let width_deg = or::<Angle>(&mut table, "width", 0.0).to_degrees();
    table.finish();
    (kind, width_deg)
}

/// How long a computer steers when nothing is said, s: longer than any burn here.
const STEERS_S: f64 = 60.0;
/// Largest command when nothing is said, deg.
const LIMIT_DEG: f64 = 90.0;

pub(super) fn read_computer(table: &mut Table<'_>) -> Option<Computer> {
    let recorder = table.need_text("recorder", "the recorder that logs the computer's loop");
    let computer = Computer {
        starts_s: or::<Time>(table, "starts", 0.0),
        lasts_s: or::<Time>(table, "lasts", STEERS_S),
        limit_deg: or::<Angle>(table, "limit", LIMIT_DEG.to_radians()).to_degrees(),
        step_deg: or::<Angle>(table, "step", 0.0).to_degrees(),
        attitude_noise_rad: or::<Angle>(table, "attitude_noise", 0.0),
        steering: super::each(table, "axis", read_steering),
        recorder: recorder.map_or_else(String::new, |text| text.value),
    };
    table.finish();
    (!computer.recorder.is_empty()).then_some(computer)
}

fn read_steering(table: &mut Table<'_>) -> Option<Steering> {
    let patterns = [
        ("none", Pattern::None),
        ("doublets", Pattern::Doublets),
        ("steps", Pattern::Steps),
    ];
    let amplitude_deg = or::<Angle>(table, "amplitude", 0.0).to_degrees();
    let dwell_s = or::<Time>(table, "dwell", 0.0);
    Some(Steering {
        pattern: table.choice("pattern", &patterns).unwrap_or_default(),
        amplitude_deg,
        smallest_deg: or::<Angle>(table, "smallest", amplitude_deg.to_radians()).to_degrees(),
        dwell_s,
        shortest_s: or::<Time>(table, "shortest", dwell_s),
        kp: number_or(table, "kp", 0.0),
        ki: or::<Frequency>(table, "ki", 0.0),
        kd: or::<Time>(table, "kd", 0.0),
    })
}
