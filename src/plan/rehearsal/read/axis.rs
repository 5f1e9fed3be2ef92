//! Steering axes.

use super::super::spec::{AxisTruth, Hold};
use crate::config::keys::{Choice, Key, SAYS, Table, choice, number, quantity, table};
use crate::plant::result::DeadBandKind;
use crate::quantity::range::Range;
use crate::quantity::{Angle, AngularRate, Frequency, Inertia, Length, Mass, Ratio, Time, Torque};

/// The keys of `[axis.NAME]`.
#[rustfmt::skip] // one key a line
pub(super) const KEYS: &[Key] = &[
    number("gain", "nozzle angle per command").between(-100.0, 100.0, "").default("1"),
    quantity::<Angle>("bias", "command that the linkage adds").default("0 deg"),
    quantity::<Time>("lag", "lag of the nozzle").range(Range::AtLeast(0.5), "ms").because("ten steps of the integration").default("0.5 ms"),
    number("damping_ratio", "of a nozzle that follows by two poles; by one when absent").between(0.05, 100.0, ""),
    quantity::<Time>("delay", "dead time of the nozzle").not_below_zero().default("0 s"),
    table("dead_band", DEAD_BAND, "dead band of the nozzle; none when absent"),
    quantity::<Angle>("travel", "mechanical limit of the nozzle, either side").range(Range::AboveUpTo(0.0, 90.0), "deg").stated(),
    quantity::<AngularRate>("slew", "fastest nozzle movement").between(1e-3, 1e6, "deg/s"),
    quantity::<Length>("arm", "rig pivot to nozzle swivel point").range(Range::AboveUpTo(0.0, 100.0), "m").needed().stated(),
    quantity::<Inertia>("inertia", "moment of inertia about the pivot, motors loaded").above_zero().needed().stated(),
    quantity::<Inertia>("inertia_spent", "the same with all propellant burnt").above_zero().stated(),
    quantity::<Inertia>("frame_inertia", "the part that stays on the ground; only stated").not_below_zero().stated(),
    quantity::<Length>("pivot_to_cg", "pivot to centre of gravity, positive above the pivot").stated(),
    quantity::<Mass>("swinging_mass", "mass of all that swings").above_zero().stated(),
    quantity::<Frequency>("damping", "damping of the tilt").between(0.0, 1000.0, "1/s").default("0 1/s"),
    quantity::<Torque>("friction", "dry friction of the pivot").not_below_zero().default("0 N m"),
    quantity::<Angle>("misalignment", "between thrust and nozzle axis").between(-90.0, 90.0, "deg").default("0 deg"),
    quantity::<Ratio>("coupling", "share of the other axes' nozzle angles that turns this one, too").between(-1.0, 1.0, "").default("0 %"),
    quantity::<Angle>("direction_noise", "standard deviation of the thrust direction, white").between(0.0, 90.0, "deg").default("0 deg"),
    quantity::<Angle>("direction_drift", "standard deviation of the thrust direction, correlated").between(0.0, 90.0, "deg").default("0 deg"),
    quantity::<Time>("direction_drift_time", "correlation time of that drift").default("0.3 s"),
    quantity::<Torque>("wind", "standard deviation of the wind's torque").not_below_zero().default("0 N m"),
    quantity::<Time>("wind_time", "its correlation time").default("0.3 s"),
    choice::<Hold>("hold", "what holds the rig before the burn").default("free"),
    quantity::<Time>("release", "when a clamp lets go, after the fire command").default("0 s"),
    quantity::<Angle>("start_tilt", "tilt at the start").between(-90.0, 90.0, "deg").default("0 deg"),
    SAYS,
];

#[rustfmt::skip] // one key a line
const DEAD_BAND: &[Key] = &[
    choice::<DeadBandKind>("kind", "what kind of dead band").needed(),
    quantity::<Angle>("width", "its total width").not_below_zero().default("0 deg"),
];

impl Choice for Hold {
    const WORDS: &'static [(&'static str, Self)] = &[
        (Self::Free.word(), Self::Free),
        (Self::Clamp.word(), Self::Clamp),
    ];
}

impl Choice for DeadBandKind {
    const WORDS: &'static [(&'static str, Self)] = &[
        (Self::None.word(), Self::None),
        (Self::DeadZone.word(), Self::DeadZone),
        (Self::Play.word(), Self::Play),
    ];
}

pub(super) fn read(table: &Table<'_>, gravity_m_s2: f64) -> Option<AxisTruth> {
    let inertia_kg_m2 = table.si::<Inertia>("inertia")?;
    let swinging_kg = table.si::<Mass>("swinging_mass").unwrap_or(0.0);
    let pivot_to_cg_m = table.si::<Length>("pivot_to_cg").unwrap_or(0.0);
    let weight_torque = swinging_kg * gravity_m_s2 * pivot_to_cg_m;
    let inertia_spent = table.si::<Inertia>("inertia_spent");
    let dead_band = table.table("dead_band");
    let kind = dead_band.and_then(|band| band.choice("kind"));
    let width = dead_band.map_or(0.0, |band| band.si_or_default::<Angle>("width"));
    Some(AxisTruth {
        gain: table.number_or_default("gain"),
        bias_deg: table.si_or_default::<Angle>("bias").to_degrees(),
        lag_s: table.si_or_default::<Time>("lag"),
        damping_ratio: table.number("damping_ratio"),
        delay_s: table.si_or_default::<Time>("delay"),
        dead_band: kind.unwrap_or(DeadBandKind::None),
        dead_band_width_deg: width.to_degrees(),
        travel_rad: table.si::<Angle>("travel"),
        slew_rad_s: table.si::<AngularRate>("slew"),
        arm_m: table.si::<Length>("arm")?,
        inertia_kg_m2,
        inertia_spent_kg_m2: inertia_spent.unwrap_or(inertia_kg_m2),
        misalignment_rad: table.si_or_default::<Angle>("misalignment"),
        coupling: table.si_or_default::<Ratio>("coupling"),
        damping_per_s: table.si_or_default::<Frequency>("damping"),
        stiffness_per_s2: weight_torque / inertia_kg_m2,
        coulomb_rad_s2: table.si_or_default::<Torque>("friction") / inertia_kg_m2,
        direction_noise_rad: table.si_or_default::<Angle>("direction_noise"),
        direction_drift_rad: table.si_or_default::<Angle>("direction_drift"),
        direction_drift_time_s: table.si_or_default::<Time>("direction_drift_time"),
        wind_rad_s2: table.si_or_default::<Torque>("wind") / inertia_kg_m2,
        wind_time_s: table.si_or_default::<Time>("wind_time"),
        hold: table.choice("hold").unwrap_or_default(),
        release_s: table.si_or_default::<Time>("release"),
        start_tilt_rad: table.si_or_default::<Angle>("start_tilt"),
        claims: table.stated(),
    })
}
