//! What is expected of a firing that is still to come: the table `[plan]`, which only `plan` and `ready` use.

use std::path::PathBuf;

use indexmap::IndexMap;

use super::each;
use super::keys::{Key, Table, number, path, plain, quantity, tables};
use crate::diagnostic::Located;
use crate::quantity::range::Range;
use crate::quantity::{Angle, AngularRate, Force, Frequency, Given, Impulse, Ratio, Time, Torque};

/// What the maker expects. What is absent is learned from files that are there, or assumed.
#[derive(Debug, Clone, Default)]
pub struct Plan {
    /// The commands of the burn.
    pub pattern: Option<Located<PathBuf>>,
    /// Fire command to first gas.
    pub ignition: Option<Given<Time>>,
    /// How narrow the interval of the impulse is wanted: half its width.
    pub impulse_within: Option<Given<Impulse>>,
    /// Rows a second of each recorder, Hz.
    pub rates_hz: IndexMap<String, f64>,
    /// Each load cell.
    pub cells: IndexMap<String, PlannedCell>,
    /// Each steering axis.
    pub axes: IndexMap<String, PlannedAxis>,
}

/// What the maker expects of one load cell.
#[derive(Debug, Clone, Default)]
pub struct PlannedCell {
    /// Standard deviation of a reading.
    pub noise: Option<Given<Force>>,
    /// Standard deviation of its zero within seconds.
    pub zero_drift: Option<Given<Force>>,
    /// Largest reading of its recorder, counts.
    pub full_scale: Option<f64>,
}

/// What the maker expects of one axis.
#[derive(Debug, Clone, Default)]
pub struct PlannedAxis {
    /// Nozzle angle per command.
    pub gain: Option<Given<Ratio>>,
    /// First-order lag.
    pub lag: Option<Given<Time>>,
    /// Dead time.
    pub delay: Option<Given<Time>>,
    /// Backlash, total width.
    pub backlash: Option<Given<Angle>>,
    /// Damping of the tilt.
    pub damping: Option<Given<Frequency>>,
    /// Dry friction of the pivot.
    pub friction: Option<Given<Torque>>,
    /// Standard deviation of the thrust direction.
    pub wander: Option<Given<Angle>>,
    /// Standard deviations of readings of nozzle angle, tilt and tilt rate.
    pub nozzle_noise: Option<Given<Angle>>,
    /// See above.
    pub tilt_noise: Option<Given<Angle>>,
    /// See above.
    pub rate_noise: Option<Given<AngularRate>>,
    /// Largest command of a pattern.
    pub command_limit: Option<Given<Angle>>,
    /// Largest change of the command from one row to the next.
    pub command_step: Option<Given<Angle>>,
    /// What a controller below the pattern commands for each tilt.
    pub kp: Option<f64>,
    /// And for each tilt rate.
    pub kd: Option<Given<Time>>,
    /// Largest tilt of the rig.
    pub tilt_limit: Option<Given<Angle>>,
}

/// The keys of `[plan]`.
#[rustfmt::skip] // one key a line
pub(super) const KEYS: &[Key] = &[
    path("pattern", "the commands of the burn: a table of time_s after the fire command and the command of each axis, such as pitch_deg"),
    quantity::<Time>("ignition", "fire command to first gas; 120 ms u 30 ms when absent").not_below_zero(),
    quantity::<Impulse>("impulse_within", "half the width of the impulse's interval that is wanted").above_zero(),
    tables("log", LOG, "what is expected of one recorder"),
    tables("cell", CELL, "what is expected of one load cell"),
    tables("axis", AXIS, "what is expected of one steering axis"),
];

#[rustfmt::skip] // one key a line
const LOG: &[Key] = &[
    quantity::<Frequency>("rate", "rows a second; that of the file where it is there, else 1 kHz with a cell and 200 Hz without").range(Range::AboveUpTo(0.0, 20.0), "kHz").needed(),
];

#[rustfmt::skip] // one key a line
const CELL: &[Key] = &[
    quantity::<Force>("noise", "standard deviation of a reading; that of the file where it is there, else of the points").not_below_zero(),
    quantity::<Force>("zero_drift", "standard deviation of the zero within seconds; a ten-thousandth of the largest calibrated load when absent").not_below_zero(),
    number("full_scale", "largest reading of its recorder, such as 8388607 of 24 bits").range(Range::Above(0.0), ""),
];

#[rustfmt::skip] // one key a line
const AXIS: &[Key] = &[
    plain("gain", "nozzle angle per command; 1 u 0.05 when absent").between(-100.0, 100.0, ""),
    quantity::<Time>("lag", "first-order lag of the nozzle; 25 ms u 8 ms when absent").range(Range::AtLeast(0.5), "ms"),
    quantity::<Time>("delay", "dead time of the nozzle; 12 ms u 4 ms when absent").not_below_zero(),
    quantity::<Angle>("backlash", "total width of the linkage's play; 0.3 deg u 0.1 deg when absent").not_below_zero(),
    quantity::<Frequency>("damping", "damping of the tilt; 0.3 1/s when absent").not_below_zero(),
    quantity::<Torque>("friction", "dry friction of the pivot; 2.5 mN m when absent").not_below_zero(),
    quantity::<Angle>("wander", "standard deviation of the thrust direction; 0.1 deg when absent").not_below_zero(),
    quantity::<Angle>("nozzle_noise", "standard deviation of a reading of the nozzle angle; that of the file, else 0.03 deg").not_below_zero(),
    quantity::<Angle>("tilt_noise", "the same of the tilt; that of the file, else 0.01 deg").not_below_zero(),
    quantity::<AngularRate>("rate_noise", "the same of the tilt rate; that of the file, else 0.25 deg/s").not_below_zero(),
    quantity::<Angle>("command_limit", "largest command of a pattern; 90 % of the travel, else 3 deg").range(Range::AboveUpTo(0.0, 90.0), "deg"),
    quantity::<Angle>("command_step", "largest change of the command from one row to the next; any when absent").above_zero(),
    number("kp", "command per tilt of a controller below the pattern; 0.45 where tilt or rate is measured").between(-1e3, 1e3, ""),
    quantity::<Time>("kd", "its command per tilt rate; 60 ms where tilt or rate is measured").between(-1e3, 1e3, "s"),
    quantity::<Angle>("tilt_limit", "largest tilt of the rig; 10 deg when absent").range(Range::AboveUpTo(0.0, 90.0), "deg"),
];

pub(super) fn read(table: &Table<'_>) -> Plan {
    Plan {
        pattern: table.path("pattern"),
        ignition: table.quantity("ignition"),
        impulse_within: table.quantity("impulse_within"),
        rates_hz: each(table, "log", |_, log| log.si::<Frequency>("rate")),
        cells: each(table, "cell", |_, cell| {
            Some(PlannedCell {
                noise: cell.quantity("noise"),
                zero_drift: cell.quantity("zero_drift"),
                full_scale: cell.number("full_scale"),
            })
        }),
        axes: each(table, "axis", |_, axis| Some(read_axis(axis))),
    }
}

fn read_axis(table: &Table<'_>) -> PlannedAxis {
    PlannedAxis {
        gain: table.quantity("gain"),
        lag: table.quantity("lag"),
        delay: table.quantity("delay"),
        backlash: table.quantity("backlash"),
        damping: table.quantity("damping"),
        friction: table.quantity("friction"),
        wander: table.quantity("wander"),
        nozzle_noise: table.quantity("nozzle_noise"),
        tilt_noise: table.quantity("tilt_noise"),
        rate_noise: table.quantity("rate_noise"),
        command_limit: table.quantity("command_limit"),
        command_step: table.quantity("command_step"),
        kp: table.number("kp"),
        kd: table.quantity("kd"),
        tilt_limit: table.quantity("tilt_limit"),
    }
}
