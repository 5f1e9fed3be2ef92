//! The rig along thrust, and a tap test of it.

use super::super::spec::{StandTruth, TapPlan};
use crate::config::keys::{
    Key, SAYS, Table, boolean, choice, plain, quantities, quantity, text, word_of,
};
use crate::config::{CellsOn, Mount};
use crate::quantity::range::Range;
use crate::quantity::{Force, Frequency, Ratio, Time};

/// The keys of `[stand]`.
#[rustfmt::skip] // one key a line
pub(super) const KEYS: &[Key] = &[
    choice::<Mount>("mount", "which way the nozzle points: the sign of the weight loss").default("nozzle-down"),
    choice::<CellsOn>("cells_on", "what the cells are fixed to").default("rocket"),
    quantity::<Frequency>("natural_frequency", "natural frequency; a stiff stand when absent").between(0.1, 5000.0, "Hz").stated(),
    plain("damping_ratio", "damping ratio").between(0.0, 0.99, "").default("0").stated(),
    boolean("stated", "whether the firing file states the two").default("true"),
    SAYS,
];

pub(super) fn read(table: &Table<'_>) -> StandTruth {
    let mount = table.choice("mount").unwrap_or_default();
    let cells_on = table.choice("cells_on").unwrap_or_default();
    let natural_frequency_hz = table.si::<Frequency>("natural_frequency");
    let mut claims = vec![
        ("mount", word_of::<Mount>(mount).to_owned()),
        ("cells_on", word_of::<CellsOn>(cells_on).to_owned()),
    ];
    // A maker who taps the rig, or knows nothing, states neither.
    if natural_frequency_hz.is_some() && table.boolean("stated").unwrap_or(true) {
        claims.extend(table.stated());
        if claims.last().is_none_or(|last| last.0 != "damping_ratio") {
            claims.push(("damping_ratio", "0".to_owned()));
        }
    }
    StandTruth {
        mount,
        cells_on,
        natural_frequency_hz,
        damping_ratio: table.si_or_default::<Ratio>("damping_ratio"),
        claims,
    }
}

/// The keys of `[tap]`.
#[rustfmt::skip] // one key a line
pub(super) const TAP: &[Key] = &[
    quantity::<Frequency>("rate", "readings for each second").range(Range::AboveUpTo(0.0, 20.0), "kHz").needed(),
    quantity::<Time>("lasts", "length of the log").range(Range::AboveUpTo(0.0, 600.0), "s").needed(),
    quantities::<Time>("taps", "when the rig is tapped, on the log's own clock").needed(),
    quantity::<Force>("size", "largest force of a tap, half a sine").above_zero().needed(),
    quantity::<Time>("contact", "how long the hammer touches").above_zero().default("2 ms"),
    text("cell", "the cell that is read; the first when absent"),
    text("log", "name of the log").default("tap"),
    text("file", "name of its file; that of the log when absent"),
    text("column", "name of its column").default("raw"),
];

pub(super) fn read_tap(table: &Table<'_>, first_cell: Option<&String>) -> Option<TapPlan> {
    let text = |key, otherwise: &str| {
        let given = table.text(key);
        given.map_or_else(|| otherwise.to_owned(), |text| text.value)
    };
    let log = text("log", "tap");
    Some(TapPlan {
        file: text("file", &format!("{log}.csv")),
        column: text("column", "raw"),
        cell: text("cell", first_cell.map_or("", String::as_str)),
        log,
        rate_hz: table.si::<Frequency>("rate")?,
        lasts_s: table.si::<Time>("lasts")?,
        taps_s: table.quantities::<Time>("taps")?,
        size_n: table.si::<Force>("size")?,
        contact_s: table.si_or_default::<Time>("contact"),
    })
}
