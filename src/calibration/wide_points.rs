//! A points file with one column of readings for each load, named by it: as a table beside the scale is written.

use super::gravity::Gravity;
use super::points::Points;
use crate::diagnostic::Error;
use crate::log::RawTable;
use crate::numeric::noise::median;
use crate::quantity::unit::{self, Dimension};

/// Rows of a wide table up to which each is a run; in more the readings of each load stand below one another.
const MOST_RUNS: usize = 10;

/// The load that a column's name states, such as `500 g`, `raw_0.5kg` or `20 N`, in kg or N, and whether it is a mass.
fn load_in_name(name: &str) -> Option<(f64, bool)> {
    let from = name.find(|ch: char| ch.is_ascii_digit())?;
    let rest = &name[from..];
    let to = rest
        .find(|ch: char| !ch.is_ascii_digit() && ch != '.')
        .unwrap_or(rest.len());
    let unit = rest[to..].trim_matches(|ch: char| " _()[]".contains(ch));
    let unit = match unit.to_lowercase().as_str() {
        "gram" | "grams" => "g",
        "lbs" => "lb",
        _ => unit,
    };
    let unit = unit::parse(unit).ok()?;
    let is_mass = unit.dimension == Dimension::MASS;
    let size: f64 = rest[..to].parse().ok()?;
    (is_mass || unit.dimension == Dimension::FORCE).then_some((size * unit.factor, is_mass))
}

/// Points of a wide table, with one column of readings for each load, named by it; `None` for any other table.
pub(super) fn read(table: &RawTable, gravity: &Gravity) -> Result<Option<Points>, Error> {
    let loads: Vec<(&String, f64, bool)> = table
        .names()
        .iter()
        .filter_map(|name| load_in_name(name).map(|(size, is_mass)| (name, size, is_mass)))
        .collect();
    if loads.len() < 2 {
        return Ok(None);
    }
    let is_mass = loads.iter().any(|(.., is_mass)| *is_mass);
    let (mut raw, mut load, mut run) = (Vec::new(), Vec::new(), Vec::new());
    for (name, size, is_mass) in loads {
        let force_n = if is_mass {
            size * gravity.value_m_s2
        } else {
            size
        };
        let readings = table.numbers(name)?;
        let readings = readings.iter().copied().enumerate();
        let readings: Vec<(usize, f64)> = readings.filter(|(_, one)| one.is_finite()).collect();
        if table.len() <= MOST_RUNS {
            for (row, reading) in readings {
                raw.push(reading);
                load.push(force_n);
                run.push((row + 1).to_string());
            }
        } else if let Some(middle) =
            median(&readings.iter().map(|(_, one)| *one).collect::<Vec<f64>>())
        {
            // Readings one after the other under a weight that stands are no repeated loads.
            raw.push(middle);
            load.push(force_n);
            run.push(String::new());
        }
    }
    Ok(Some(Points {
        file: table.file().to_owned(),
        run,
        gravity_m_s2: is_mass.then_some(gravity.value_m_s2),
        gravity_relative_u: if is_mass { gravity.relative_u } else { 0.0 },
        ..Points::exact(raw, load)
    }))
}
