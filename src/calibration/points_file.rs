//! Reading a points file: a column of raw readings, one of known loads, and what else it may state.

use std::path::Path;

use super::gravity::Gravity;
use super::points::{Direction, LoadKind, Points, directions_in};
use super::wide_points;
use crate::diagnostic::{Code, Diagnostic, Error, Severity};
use crate::log::{RawTable, read_table};

/// A column that may hold known values.
struct KnownColumn {
    name: &'static str,
    kind: LoadKind,
    /// Size of its unit in N, rad or Pa; in kg where it is a mass.
    unit_size: f64,
    is_mass: bool,
}

const fn known(name: &'static str, kind: LoadKind, unit_size: f64) -> KnownColumn {
    KnownColumn {
        name,
        kind,
        unit_size,
        is_mass: false,
    }
}

const fn mass(name: &'static str, unit_kg: f64) -> KnownColumn {
    KnownColumn {
        is_mass: true,
        ..known(name, LoadKind::Force, unit_kg)
    }
}

/// Pound-force in newtons, exact (international pound, standard gravity).
const POUND_FORCE_N: f64 = 4.448_221_615_260_5;

/// Pound-force per square inch in pascals (NIST SP 811).
const PSI_PA: f64 = 6_894.757_293_168;

/// Every column that may hold known values.
const KNOWN_COLUMNS: [KnownColumn; 10] = [
    mass("mass_g", 1e-3),
    mass("mass_kg", 1.0),
    known("force_n", LoadKind::Force, 1.0),
    known("force_lbf", LoadKind::Force, POUND_FORCE_N),
    known("pressure_pa", LoadKind::Pressure, 1.0),
    known("pressure_kpa", LoadKind::Pressure, 1e3),
    known("pressure_mpa", LoadKind::Pressure, 1e6),
    known("pressure_bar", LoadKind::Pressure, 1e5),
    known("pressure_psi", LoadKind::Pressure, PSI_PA),
    known("angle_deg", LoadKind::Angle, LoadKind::Angle.unit_size()),
];

/// Reads a points file whose known values are of one kind.
///
/// # Errors
/// A missing column, text in a number column, or no row.
pub(crate) fn read(path: &Path, kind: LoadKind, gravity: &Gravity) -> Result<Points, Error> {
    let table = raw_table(path)?;
    if kind == LoadKind::Force
        && let Some(points) = wide(&table, gravity)?
    {
        return Ok(points);
    }
    from_table(&table, kind, gravity)
}

fn raw_table(path: &Path) -> Result<RawTable, Error> {
    read_table(path, &path.display().to_string()).map_err(|problems| {
        problems.each(|one| {
            if matches!(one.code, Code::EmptyLog | Code::NoRows) {
                let rows =
                    "write one row for each known load under a line of names, such as raw,mass_g";
                one.hints = vec![rows.to_owned()];
            }
        })
    })
}

/// Reads a points file of either kind: its columns say which.
///
/// # Errors
/// As [`read`], or columns of both kinds.
pub fn read_any(path: &Path, gravity: &Gravity) -> Result<Points, Error> {
    let table = raw_table(path)?;
    if let Some(points) = wide(&table, gravity)? {
        return Ok(points);
    }
    let mut present: Vec<LoadKind> = KNOWN_COLUMNS
        .iter()
        .filter_map(|column| table.has(column.name).then_some(column.kind))
        .collect();
    present.dedup();
    match present.as_slice() {
        [kind] => from_table(&table, *kind, gravity),
        [] => Err(columns_problem(&table, "no column of known values")),
        _ => Err(columns_problem(
            &table,
            "columns of known values of two kinds",
        )),
    }
}

fn columns_problem(table: &RawTable, what: &str) -> Error {
    let known: Vec<&str> = KNOWN_COLUMNS.iter().map(|column| column.name).collect();
    let known = known.join(", ");
    Diagnostic::error(Code::PointsColumns, what)
        .at(table.header_place())
        .hint(format!("have `raw` and one of {known}"))
        .hint("or one column of readings for each load, named by it: 0 g, 500 g")
        .hint(format!("the columns are {}", table.names().join(", ")))
        .into()
}

fn from_table(table: &RawTable, kind: LoadKind, gravity: &Gravity) -> Result<Points, Error> {
    if let Some(warning) = table.warnings.iter().find(|one| one.code == Code::SameName) {
        let mut refused = warning.clone();
        refused.severity = Severity::Error;
        return Err(refused.hint("give each column a name of its own").into());
    }
    let raw = complete(table, "raw")?;
    let (load, is_mass) = read_known(table, kind, gravity)?;
    let stated = read_directions(table, raw.len())?;
    // Known forces are exact and say best which way the load went; of a command and a measured angle
    // the command is.
    let ordered = match kind {
        LoadKind::Force | LoadKind::Pressure => &load,
        LoadKind::Angle => &raw,
    };
    let found = if table.has("direction") {
        None
    } else {
        directions_in(ordered)
    };
    let run = if table.has("run") {
        table.texts("run")?
    } else {
        vec![String::new(); raw.len()]
    };
    Ok(Points {
        file: table.file().to_owned(),
        kind,
        direction_found: found.is_some(),
        direction: found.map_or(stated, |found| found.into_iter().map(Some).collect()),
        run,
        raw,
        load,
        unit: kind.si_unit(),
        gravity_m_s2: is_mass.then_some(gravity.value_m_s2),
        gravity_relative_u: if is_mass { gravity.relative_u } else { 0.0 },
    })
}

/// Known values from the one column of a kind that a table has, and whether they are masses.
fn read_known(
    table: &RawTable,
    kind: LoadKind,
    gravity: &Gravity,
) -> Result<(Vec<f64>, bool), Error> {
    let of_kind = || KNOWN_COLUMNS.iter().filter(|column| column.kind == kind);
    let present: Vec<_> = of_kind().filter(|one| table.has(one.name)).collect();
    let [column] = present.as_slice() else {
        let names: Vec<&str> = of_kind().map(|column| column.name).collect();
        let what = if present.is_empty() {
            "no column"
        } else {
            "more than one column"
        };
        return Err(
            Diagnostic::error(Code::PointsColumns, format!("{what} of known loads"))
                .at(table.header_place())
                .hint(format!("have one column named {}", names.join(", ")))
                .hint(format!("the columns are {}", table.names().join(", ")))
                .into(),
        );
    };
    let gravity = if column.is_mass {
        gravity.value_m_s2
    } else {
        1.0
    };
    let factor = column.unit_size * gravity;
    let mut values = complete(table, column.name)?;
    values.iter_mut().for_each(|value| *value *= factor);
    Ok((values, column.is_mass))
}

fn read_directions(table: &RawTable, rows: usize) -> Result<Vec<Option<Direction>>, Error> {
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
                    Diagnostic::error(Code::UnknownWord, "a direction is `up` or `down`")
                        .at(table.place(row, "direction"))
                        .hint("leave it empty where it is not known")
                        .into(),
                );
            }
        });
    }
    Ok(out)
}

/// Points of a table with a column for each load; `None` where it has columns for readings or known values.
fn wide(table: &RawTable, gravity: &Gravity) -> Result<Option<Points>, Error> {
    if table.has("raw") || KNOWN_COLUMNS.iter().any(|column| table.has(column.name)) {
        return Ok(None);
    }
    wide_points::read(table, gravity).map_err(no_missing_words)
}

/// What is said of a log suits no points file in all: it has no words for a missing reading, and is
/// written by hand.
fn no_missing_words(problems: Error) -> Error {
    problems.each(|one| match one.code {
        Code::NotANumber => one.hints = vec!["correct it, or take the whole row out".to_owned()],
        Code::NoColumn => one
            .hints
            .push("the first line names the columns, such as raw,mass_g".to_owned()),
        _ => {}
    })
}

/// A column in which no number may be missing.
fn complete(table: &RawTable, column: &str) -> Result<Vec<f64>, Error> {
    let values = table.numbers(column).map_err(no_missing_words)?;
    match values.iter().position(|value| !value.is_finite()) {
        None => Ok(values),
        Some(row) => Err(
            Diagnostic::error(Code::MissingReading, "a number is missing here")
                .at(table.place(row, column))
                .hint("fill it in, or take the whole row out")
                .into(),
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wide_table_has_a_column_of_readings_for_each_load() {
        let gravity = Gravity {
            value_m_s2: 10.0,
            relative_u: 0.001,
        };
        let of = |text: &str| {
            let table = RawTable::of_bytes("points.csv", text.as_bytes()).unwrap();
            wide(&table, &gravity).unwrap()
        };
        let runs = of("0 g,raw_500g,1 kg\n8000,9000,10010\n8002,9001,\n").unwrap();
        assert_eq!(runs.raw, [8000.0, 8002.0, 9000.0, 9001.0, 10010.0]);
        assert_eq!(runs.load, [0.0, 0.0, 5.0, 5.0, 10.0]);
        assert_eq!(runs.run, ["1", "2", "1", "2", "1"]);
        let mut long = "time_s,0 N,20 N\n".to_owned();
        (0..30).for_each(|row| long += &format!("{row},{},{}\n", 100 + row % 3, 300 + row % 3));
        let long = of(&long).unwrap();
        assert_eq!((long.raw, long.load), (vec![101.0, 301.0], vec![0.0, 20.0]));
        assert!(of("raw,mass_g\n1,0\n2,5\n").is_none());
    }

    #[test]
    fn a_sequence_that_goes_up_then_down_says_so() {
        use Direction::{Down, Up};
        let found = directions_in(&[0.0, 1.0, 2.0, 3.0, 3.0, 2.0, 1.0, 0.0]).unwrap();
        assert_eq!(found, [Up, Up, Up, Up, Down, Down, Down, Down]);
        // One way only, too short a run, or any order: nothing is said.
        assert_eq!(directions_in(&[0.0, 1.0, 2.0, 3.0]), None);
        assert_eq!(directions_in(&[0.0, 1.0, 2.0, 3.0, 2.0]), None);
        assert_eq!(directions_in(&[0.0, 5.0, 1.0, 4.0, 2.0, 3.0]), None);
        assert_eq!(directions_in(&[]), None);
    }
}
