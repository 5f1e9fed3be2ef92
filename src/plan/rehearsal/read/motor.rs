//! Motors: the certified design, and what this one does differently.

use std::path::Path;

use indexmap::IndexMap;

use super::super::spec::MotorTruth;
use super::{Says, or};
use crate::config::Certified;
use crate::config::document::Table;
use crate::config::motors::read_certified;
use crate::diagnostic::{Diagnostic, Located};
use crate::quantity::{Frequency, Given, Length, Mass, Ratio, Time};

/// Band of rough burning when nothing is said, Hz: below the filters of common recorders, above
/// the shape of a burn.
const ROUGHNESS_BAND_HZ: (f64, f64) = (15.0, 150.0);

pub(super) fn read(table: &mut Table<'_>, folder: &Path) -> Option<MotorTruth> {
    let file = table.need_text("certified", "the certified motor's file");
    let certified = file
        .as_ref()
        .and_then(|file| read_design(table, folder, file));
    let mut says = Says::open(table);
    let propellant_kg = says.quantity::<Mass>(table, "propellant");
    let (offset_m, offset_claims) = read_offset(table, &mut says);
    // Every key is asked for before a design that cannot be read ends it: a key that nobody asked
    // for would be complained of as unknown.
    let impulse_scale = or::<Ratio>(table, "impulse_scale", 1.0);
    let time_scale = or::<Ratio>(table, "time_scale", 1.0);
    let delay_s = or::<Time>(table, "delay", 0.0);
    let lights = table.boolean("lights").unwrap_or(true);
    let goes_out_s = table.quantity::<Time>("goes_out").map(|time| time.si());
    let roughness = or::<Ratio>(table, "roughness", 0.0);
    let roughness_band_hz = read_band(table);
    let certified = certified?;
    let stated_kg = certified.propellant.as_ref().map(Given::si);
    if propellant_kg.or(stated_kg).is_none() {
        table.missing("propellant", "a mass; the certified file states none");
    }
    Some(MotorTruth {
        certified_path: folder.join(&file?.value),
        propellant_kg: propellant_kg.or(stated_kg)?,
        certified,
        impulse_scale,
        time_scale,
        delay_s,
        lights,
        goes_out_s,
        roughness,
        roughness_band_hz,
        offset_m,
        claims: says.close(),
        offset_claims,
    })
}

fn read_design(table: &Table<'_>, folder: &Path, file: &Located<String>) -> Option<Certified> {
    match read_certified(&folder.join(&file.value)) {
        Ok(certified) => Some(certified),
        Err(problems) => {
            for problem in problems.0 {
                let whole_file = problem.place.as_ref().is_none_or(|place| place.line == 0);
                table.mistake(if whole_file {
                    problem.at(file.place.clone())
                } else {
                    problem
                });
            }
            None
        }
    }
}

fn read_offset(
    table: &mut Table<'_>,
    says: &mut Says<'_>,
) -> (IndexMap<String, f64>, Vec<(&'static str, String)>) {
    let mut offset_m = IndexMap::new();
    let mut claims = Vec::new();
    let mut said = says.said.as_mut().and_then(|said| said.table("offset"));
    let mut truth = table.table("offset");
    for axis in ["pitch", "yaw"] {
        if let Some(length) = truth
            .as_mut()
            .and_then(|table| table.quantity::<Length>(axis))
        {
            offset_m.insert(axis.to_owned(), length.si());
        }
        let words = [said.as_mut(), truth.as_mut()]
            .into_iter()
            .flatten()
            .find_map(|table| {
                table
                    .quantity::<Length>(axis)
                    .and_then(|_| table.text(axis))
            });
        claims.extend(words.map(|text| (axis, text.value)));
    }
    [said, truth]
        .into_iter()
        .flatten()
        .for_each(|mut table| table.finish());
    (offset_m, claims)
}

fn read_band(table: &mut Table<'_>) -> (f64, f64) {
    let Some(ends) = table.quantities::<Frequency>("roughness_band") else {
        return ROUGHNESS_BAND_HZ;
    };
    match ends.as_slice() {
        [low, high] if 0.0 < low.si() && low.si() < high.si() => (low.si(), high.si()),
        _ => {
            table.mistake(
                Diagnostic::error(
                    "wrong-kind",
                    "a band needs two frequencies, the lower first",
                )
                .at(table.place())
                .hint("write roughness_band = [\"15 Hz\", \"150 Hz\"]"),
            );
            ROUGHNESS_BAND_HZ
        }
    }
}
