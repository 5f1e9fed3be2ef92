//! Motors: the certified design, and what this one does differently.

use super::super::spec::{Claims, MotorTruth};
use crate::config::certified;
use crate::config::keys::{Key, SAYS, Table, boolean, interval, path, quantity, table};
use crate::config::motors::{OFFSET, read_offset};
use crate::diagnostic::{Code, Diagnostic};
use crate::quantity::range::Range;
use crate::quantity::{Frequency, Given, Mass, Ratio, Time};

/// Band of rough burning when nothing is said, Hz: below the filters of common recorders, above
/// the shape of a burn.
pub(in crate::plan) const ROUGHNESS_BAND_HZ: (f64, f64) = (15.0, 150.0);

/// The keys of `[motor.NAME]`.
#[rustfmt::skip] // one key a line
pub(super) const KEYS: &[Key] = &[
    path("certified", "the certified motor's file, with a thrust curve").needed(),
    quantity::<Ratio>("impulse_scale", "impulse over that of the certified curve").between(1.0, 1000.0, "%").default("100 %"),
    quantity::<Ratio>("time_scale", "duration over that of the certified curve").between(1.0, 1000.0, "%").default("100 %"),
    quantity::<Time>("delay", "fire command to first gas").not_below_zero().default("0 s"),
    boolean("lights", "whether its igniter works").default("true"),
    quantity::<Time>("goes_out", "goes out this long after first gas; at its end when absent"),
    quantity::<Ratio>("roughness", "standard deviation of rough burning, as a share of thrust").between(0.0, 100.0, "%").default("0 %"),
    interval::<Frequency>("roughness_band", "band of the roughness").above_zero(),
    quantity::<Mass>("propellant", "propellant; the certified value when absent").range(Range::AboveUpTo(0.0, 1000.0), "kg").stated(),
    table("offset", OFFSET, "its axis from the rocket's, by steering axis").stated(),
    SAYS,
];

pub(super) fn read(table: &Table<'_>) -> Option<MotorTruth> {
    let certified = certified::named(table, "certified")?;
    let propellant_kg = table.si::<Mass>("propellant");
    let propellant_kg = propellant_kg.or_else(|| certified.propellant.as_ref().map(Given::si));
    if propellant_kg.is_none() && !table.has("propellant") {
        let text = format!("`{}.propellant` is missing", table.name());
        table.mistake(
            Diagnostic::error(Code::MissingKey, text)
                .at(table.place())
                .hint("add a mass; the certified file states none"),
        );
    }
    let offset = table.table("offset");
    let offset_m = read_offset(offset);
    Some(MotorTruth {
        certified_path: table.path("certified")?.value,
        certified,
        impulse_scale: table.si_or_default::<Ratio>("impulse_scale"),
        time_scale: table.si_or_default::<Ratio>("time_scale"),
        delay_s: table.si_or_default::<Time>("delay"),
        lights: table.boolean("lights").unwrap_or(true),
        goes_out_s: table.si::<Time>("goes_out"),
        roughness: table.si_or_default::<Ratio>("roughness"),
        roughness_band_hz: table
            .interval::<Frequency>("roughness_band")
            .unwrap_or(ROUGHNESS_BAND_HZ),
        propellant_kg: propellant_kg?,
        offset_m: offset_m
            .into_iter()
            .map(|(axis, length)| (axis, length.si()))
            .collect(),
        claims: table.stated(),
        offset_claims: offset_claims(table),
    })
}

/// What the firing file says of the offset: of each axis its own words, or those of the truth.
fn offset_claims(table: &Table<'_>) -> Claims {
    let said = table.table("says").and_then(|says| says.table("offset"));
    let tables = [said, table.table("offset")];
    let words = |axis: &str| {
        tables
            .iter()
            .flatten()
            .find_map(|table| table.written(axis))
    };
    let axes = OFFSET.iter().map(|key| key.name);
    axes.filter_map(|axis| Some((axis, words(axis)?))).collect()
}
