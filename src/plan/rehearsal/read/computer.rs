//! The flight computer and what it does on each axis.

use super::super::spec::{Computer, Pattern, Steering};
use crate::config::each;
use crate::config::keys::{
    Choice, Key, Table, choice_or_table, number, path, quantity, tables, text,
};
use crate::plan::pattern_file;
use crate::quantity::{Angle, Frequency, Time};

/// The keys of `[computer]`.
#[rustfmt::skip] // one key a line
pub(super) const KEYS: &[Key] = &[
    text("recorder", "the recorder that logs the computer's loop").needed(),
    quantity::<Time>("starts", "when steering starts, after the fire command").between(-600.0, 600.0, "s").default("0 s"),
    quantity::<Time>("lasts", "how long it steers").between(-600.0, 600.0, "s").default("60 s"),
    quantity::<Angle>("limit", "largest command").between(0.0, 90.0, "deg").default("90 deg"),
    quantity::<Angle>("step", "smallest step of a command; 0 for none").between(0.0, 90.0, "deg").default("0 deg"),
    quantity::<Angle>("attitude_noise", "standard deviation of its tilt estimate").default("0 deg"),
    tables("axis", STEERING, "what it does on one axis"),
];

#[rustfmt::skip] // one key a line
const STEERING: &[Key] = &[
    choice_or_table::<Pattern>("pattern", PATTERN_FILE, "test pattern").default("none"),
    quantity::<Angle>("amplitude", "the pattern's largest step from zero").default("0 deg"),
    quantity::<Angle>("smallest", "its smallest; the amplitude when absent"),
    quantity::<Time>("dwell", "its longest stay").default("0 s"),
    quantity::<Time>("shortest", "its shortest stay; the dwell when absent"),
    number("kp", "command per tilt").between(-1e3, 1e3, "").default("0"),
    quantity::<Frequency>("ki", "command per tilt integral").between(-1e3, 1e3, "1/s").default("0 1/s"),
    quantity::<Time>("kd", "command per tilt rate").between(-1e3, 1e3, "s").default("0 s"),
];

const PATTERN_FILE: &[Key] = &[path(
    "file",
    "a table of time_s, after the steering begins, and the command of each axis, such as pitch_deg",
)
.needed()];

impl Choice for Pattern {
    const WORDS: &'static [(&'static str, Self)] = &[
        ("none", Self::None),
        ("doublets", Self::Doublets),
        ("steps", Self::Steps),
    ];
}

pub(super) fn read(table: &Table<'_>) -> Option<Computer> {
    Some(Computer {
        recorder: table.text("recorder")?.value,
        starts_s: table.si_or_default::<Time>("starts"),
        lasts_s: table.si_or_default::<Time>("lasts"),
        limit_deg: table.si_or_default::<Angle>("limit").to_degrees(),
        step_deg: table.si_or_default::<Angle>("step").to_degrees(),
        attitude_noise_rad: table.si_or_default::<Angle>("attitude_noise"),
        steering: each(table, "axis", |axis, table| {
            Some(read_steering(axis, table))
        }),
    })
}

fn read_steering(axis: &str, table: &Table<'_>) -> Steering {
    let amplitude_deg = table.si_or_default::<Angle>("amplitude").to_degrees();
    // Back to radians and forth, as a value that is given goes: the two may differ in the last digit.
    let smallest = table.si::<Angle>("smallest");
    let dwell_s = table.si_or_default::<Time>("dwell");
    let given = from_file(axis, table);
    let chosen = || table.choice("pattern").unwrap_or_default();
    Steering {
        pattern: given.as_ref().map_or_else(chosen, |_| Pattern::Given),
        given: given.unwrap_or_default(),
        amplitude_deg,
        smallest_deg: smallest.unwrap_or(amplitude_deg.to_radians()).to_degrees(),
        dwell_s,
        shortest_s: table.si::<Time>("shortest").unwrap_or(dwell_s),
        kp: table.number_or_default("kp"),
        ki: table.si_or_default::<Frequency>("ki"),
        kd: table.si_or_default::<Time>("kd"),
    }
}

/// The pattern of an axis from the file that its table names.
fn from_file(axis: &str, table: &Table<'_>) -> Option<Vec<(f64, f64)>> {
    // A word is no table, and asked for as one would be a mistake of ours.
    let file = table.table("pattern")?.path("file")?;
    match pattern_file::read(&file.value, axis) {
        Ok(pattern) => Some(pattern),
        Err(problems) => {
            let told = problems.where_named(&file.place, &file.value);
            told.into_iter().for_each(|problem| table.mistake(problem));
            None
        }
    }
}
