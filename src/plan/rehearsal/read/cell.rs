//! Load cells and their points.

use super::super::spec::{CellTruth, PointsPlan};
use crate::config::keys::{Choice, Key, SAYS, Table, choice, count, number, quantities, quantity};
use crate::config::keys::{table, texts};
use crate::diagnostic::{Code, Diagnostic};
use crate::quantity::{Force, Frequency, Mass, Ratio, Time};

/// Largest noise, counts.
const LOUDEST: f64 = 1e12;

/// The keys of `[cell.NAME]`; the converter has 24 bits when nothing is said.
#[rustfmt::skip] // one key a line
pub(super) const KEYS: &[Key] = &[
    number("zero", "reading without load, counts").needed(),
    number("slope", "counts/N").needed(),
    number("bend", "counts/N2").default("0"),
    number("cubic", "counts/N3").default("0"),
    number("zero_shift", "counts by which the zero moved after the points were made").default("0"),
    number("noise", "standard deviation of the white noise, counts").between(0.0, LOUDEST, "").default("0"),
    number("wander", "standard deviation of the slow baseline drift, counts").between(0.0, LOUDEST, "").default("0"),
    quantity::<Time>("wander_time", "its correlation time").default("1 s"),
    number("drift", "steady drift, counts/s").default("0"),
    quantity::<Force>("capacity", "rated load; only stated").above_zero().stated(),
    quantity::<Time>("delay", "how late the readings are").between(0.0, 1.0, "s").default("0 s").stated(),
    quantity::<Ratio>("masses", "tolerance of the masses").not_below_zero().only_said(),
    quantity::<Frequency>("converts", "the converter's own rate; the recorder's when absent"),
    number("lowest", "the converter's smallest reading, counts").default("-8388608"),
    number("highest", "the converter's largest reading, counts").default("8388607"),
    texts("carries", "the motors whose thrust it feels; all when absent"),
    table("points", POINTS, "how its points were made").needed(),
    SAYS,
];

#[rustfmt::skip] // one key a line
const POINTS: &[Key] = &[
    quantities::<Mass>("loads", "masses put on, as marked").needed(),
    count("runs", "how often the whole series was run").between(1.0, 100.0, "").default("1"),
    choice::<Order>("order", "whether each run also came down again").default("up"),
    quantity::<Ratio>("mass_error", "by how much all masses are heavier than marked").default("0 %"),
    number("noise", "standard deviation of a noted reading, counts; the cell's when absent").between(0.0, LOUDEST, ""),
    number("hysteresis", "counts by which readings at half load are higher on the way down").default("0"),
    number("creep", "standard deviation of a run's zero, counts").default("0"),
];

/// The way of one run.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Order {
    Up,
    UpDown,
}

impl Choice for Order {
    const WORDS: &'static [(&'static str, Self)] = &[("up", Self::Up), ("up-down", Self::UpDown)];
}

pub(super) fn read(table: &Table<'_>) -> Option<CellTruth> {
    let curve = [
        table.number("zero")?,
        table.number("slope")?,
        table.number_or_default("bend"),
        table.number_or_default("cubic"),
    ];
    let noise = table.number_or_default("noise");
    let carries = table.texts("carries");
    Some(CellTruth {
        curve,
        zero_shift: table.number_or_default("zero_shift"),
        noise,
        wander: table.number_or_default("wander"),
        wander_time_s: table.si_or_default::<Time>("wander_time"),
        drift_per_s: table.number_or_default("drift"),
        delay_s: table.si_or_default::<Time>("delay"),
        converts_hz: table.si::<Frequency>("converts"),
        step: 1.0,
        range: (
            table.number_or_default("lowest"),
            table.number_or_default("highest"),
        ),
        carries: carries.map(|names| names.into_iter().map(|name| name.value).collect()),
        points: read_points(table.table("points")?, noise)?,
        claims: table.stated(),
    })
}

fn read_points(table: &Table<'_>, noise: f64) -> Option<PointsPlan> {
    let loads_kg = table.quantities::<Mass>("loads")?;
    if loads_kg.len() < 2 {
        table.mistake(
            Diagnostic::error(Code::PointsFew, "points need at least two loads")
                .at(table.place())
                .hint("write loads = [\"0 kg\", \"1 kg\", \"2 kg\"]"),
        );
    }
    Some(PointsPlan {
        loads_kg,
        runs: table.count("runs").unwrap_or(1) as usize,
        down: table.choice("order") == Some(Order::UpDown),
        mass_error: table.si_or_default::<Ratio>("mass_error"),
        noise: table.number("noise").unwrap_or(noise),
        hysteresis: table.number_or_default("hysteresis"),
        creep: table.number_or_default("creep"),
    })
}
