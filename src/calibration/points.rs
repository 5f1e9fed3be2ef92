//! Points: known loads against raw readings.

use std::path::Path;

use super::gravity::Gravity;
use crate::diagnostic::{Diagnostic, Problems};
use crate::record::{RawTable, read_table};

/// What the known values are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LoadKind {
    /// Forces, or masses that press by their weight.
    Force,
    /// Angles.
    Angle,
    /// Pressures.
    Pressure,
}

/// Which way the load was changing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Direction {
    /// Rising.
    Up,
    /// Falling.
    Down,
}

/// Points of one calibration.
#[derive(Debug, Clone)]
pub struct Points {
    /// The file they came from.
    pub file: String,
    /// Raw readings.
    pub raw: Vec<f64>,
    /// Known values: N, rad or Pa.
    pub load: Vec<f64>,
    /// Which way each was reached, where stated.
    pub direction: Vec<Option<Direction>>,
    /// Relative standard uncertainty that all loads share because gravity is not known better.
    pub gravity_relative_u: f64,
}

impl Points {
    /// Points without file, direction or shared uncertainty.
    #[must_use]
    pub fn exact(raw: Vec<f64>, load: Vec<f64>) -> Self {
        let direction = vec![None; raw.len()];
        Self {
            file: "points".to_owned(),
            raw,
            load,
            direction,
            gravity_relative_u: 0.0,
        }
    }

    /// Smallest and largest known value.
    #[must_use]
    pub fn range(&self) -> [f64; 2] {
        let low = self.load.iter().copied().fold(f64::INFINITY, f64::min);
        let high = self.load.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        [low, high]
    }
}

/// Pound-force in newtons, exact (international pound, standard gravity).
const POUND_FORCE_N: f64 = 4.448_221_615_260_5;

/// The columns that may hold known forces: name, size in N (or in kg where it is a mass).
const FORCE_COLUMNS: [(&str, f64, bool); 4] = [
    ("mass_g", 1e-3, true),
    ("mass_kg", 1.0, true),
    ("force_n", 1.0, false),
    ("force_lbf", POUND_FORCE_N, false),
];

/// Pound-force per square inch in pascals (NIST SP 811).
const PSI_PA: f64 = 6_894.757_293_168;

/// The columns that may hold known pressures: name, size in Pa; none is a mass.
const PRESSURE_COLUMNS: [(&str, f64, bool); 5] = [
    ("pressure_pa", 1.0, false),
    ("pressure_kpa", 1e3, false),
    ("pressure_mpa", 1e6, false),
    ("pressure_bar", 1e5, false),
    ("pressure_psi", PSI_PA, false),
];

/// Reads a points file.
///
/// # Errors
/// A missing column, text in a number column, or no row.
pub fn read(path: &Path, kind: LoadKind, gravity: &Gravity) -> Result<Points, Problems> {
    let table = read_table(path, &path.display().to_string())?;
    let raw = complete(&table, "raw")?;
    let (load, is_mass) = match kind {
        LoadKind::Angle => {
            let degrees = complete(&table, "angle_deg")?;
            (degrees.into_iter().map(f64::to_radians).collect(), false)
        }
        LoadKind::Force => read_known(&table, &FORCE_COLUMNS, gravity)?,
        LoadKind::Pressure => read_known(&table, &PRESSURE_COLUMNS, gravity)?,
    };
    Ok(Points {
        file: table.file().to_owned(),
        direction: read_directions(&table, raw.len())?,
        raw,
        load,
        gravity_relative_u: if is_mass { gravity.relative_u } else { 0.0 },
    })
}

/// Known values from the one column of the list that a table has, and whether they are masses.
fn read_known(
    table: &RawTable,
    columns: &[(&str, f64, bool)],
    gravity: &Gravity,
) -> Result<(Vec<f64>, bool), Problems> {
    let present: Vec<_> = columns
        .iter()
        .filter(|(name, ..)| table.has(name))
        .collect();
    let [(name, size, is_mass)] = present.as_slice() else {
        let names: Vec<&str> = columns.iter().map(|(name, ..)| *name).collect();
        let what = if present.is_empty() {
            "no column"
        } else {
            "more than one column"
        };
        return Err(
            Diagnostic::error("points-columns", format!("{what} of known loads"))
                .at(table.header_place())
                .hint(format!("have one column named {}", names.join(", ")))
                .hint(format!("the columns are {}", table.names().join(", ")))
                .into(),
        );
    };
    let factor = size * if *is_mass { gravity.value_m_s2 } else { 1.0 };
    let values = complete(table, name)?;
    Ok((
        values.into_iter().map(|value| value * factor).collect(),
        *is_mass,
    ))
}

fn read_directions(table: &RawTable, rows: usize) -> Result<Vec<Option<Direction>>, Problems> {
    if !table.has("direction") {
        return Ok(vec![None; rows]);
    }
    let mut out = Vec::with_capacity(rows);
    for (row, field) in table.texts("direction")?.iter().enumerate() {
        out.push(match field.as_str() {
            "up" => Some(Direction::Up),
            "down" => Some(Direction::Down),
            "" => None,
            _ => {
                return Err(
                    Diagnostic::error("unknown-word", "a direction is `up` or `down`")
                        .at(table.place(row, "direction"))
                        .into(),
                );
            }
        });
    }
    Ok(out)
}

/// A log may have words for a missing reading; a points file has none.
fn no_missing_words(problems: Problems) -> Problems {
    let told = problems.0.into_iter().map(|mut one| {
        if one.code == "not-a-number" {
            one.hints = vec!["correct it, or take the whole row out".to_owned()];
        }
        one
    });
    Problems(told.collect())
}

/// A column in which no number may be missing.
fn complete(table: &RawTable, column: &str) -> Result<Vec<f64>, Problems> {
    let values = table.numbers(column).map_err(no_missing_words)?;
    match values.iter().position(|value| !value.is_finite()) {
        None => Ok(values),
        Some(row) => Err(
            Diagnostic::error("missing-reading", "a number is missing here")
                .at(table.place(row, column))
                .hint("fill it in, or take the whole row out")
                .into(),
        ),
    }
}
