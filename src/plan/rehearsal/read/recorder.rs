//! Recorders and their columns.

use indexmap::IndexMap;

use super::super::spec::{AlignClaim, Claims, Column, Dirt, Recorder, Shows, TimeStamp};
use super::{number_or, or};
use crate::config::document::Table;
use crate::diagnostic::{Diagnostic, Located};
use crate::quantity::unit::Dimension;
use crate::quantity::{Angle, AngularRate, Frequency, Pressure, Ratio, Time, Unit, unit};

/// Decimals of an angle or a rate when nothing is said.
const DIGITS: usize = 3;

pub(super) fn read(table: &mut Table<'_>) -> Option<Recorder> {
    let file = table.need_text("file", "the name of the recorder's file");
    let rate = table.need_quantity::<Frequency>("rate");
    let time = table.table("time").and_then(|mut time| {
        let out = read_time(&mut time);
        time.finish();
        out
    });
    let align = table.table("align").and_then(|mut align| {
        let out = read_align(&mut align);
        align.finish();
        out
    });
    let dirt = table.table("dirt").map(|mut dirt| {
        let out = read_dirt(&mut dirt);
        dirt.finish();
        out
    });
    let mut columns = IndexMap::new();
    for (title, mut column) in table.named_tables("columns") {
        if let Some(read) = read_column(&mut column) {
            columns.insert(title, read);
        }
        column.finish();
    }
    Some(Recorder {
        jitter_s: or::<Time>(table, "jitter", 0.0),
        starts_s: or::<Time>(table, "starts", 0.0),
        drift_ppm: or::<Ratio>(table, "drift", 0.0) * 1e6,
        dropped: or::<Ratio>(table, "dropped", 0.0),
        time,
        align,
        columns,
        dirt: dirt.unwrap_or_default(),
        rate_hz: rate?.si(),
        file: file?.value,
    })
}

fn read_dirt(table: &mut Table<'_>) -> Dirt {
    let delimiters = [(",", ','), (";", ';'), ("tab", '\t'), ("|", '|')];
    Dirt {
        head_lines: table
            .count("head_lines")
            .map_or(0, |count| count.value as usize),
        delimiter: table.choice("delimiter", &delimiters).unwrap_or(','),
        decimal_comma: table.boolean("decimal_comma").unwrap_or(false),
        crlf: table.boolean("crlf").unwrap_or(false),
        wild: or::<Ratio>(table, "wild", 0.0),
        doubled: or::<Ratio>(table, "doubled", 0.0),
        swapped: or::<Ratio>(table, "swapped", 0.0),
        cut_off: table.boolean("cut_off").unwrap_or(false),
    }
}

fn read_time(table: &mut Table<'_>) -> Option<TimeStamp> {
    let column = table.need_text("column", "the name of the time column");
    if !table.has("unit") {
        table.missing("unit", "the unit of the time column, such as unit = \"ms\"");
    }
    let unit = table
        .unit("unit")
        .and_then(|unit| of_dimension(table, unit, Dimension::TIME));
    let digits = table
        .count("digits")
        .map_or(0, |digits| digits.value as usize);
    let start = number_or(table, "start", 0.0);
    let counter_bits = table.count("counter_bits").map(|bits| bits.value as u32);
    let unit = unit?;
    Some(TimeStamp {
        column: column?.value,
        unit_s: unit.factor,
        unit: unit.name,
        digits,
        start,
        counter_bits,
    })
}

fn of_dimension(table: &Table<'_>, unit: Located<Unit>, dimension: Dimension) -> Option<Unit> {
    if unit.value.dimension == dimension {
        return Some(unit.value);
    }
    table.mistake(
        Diagnostic::error(
            "wrong-unit",
            format!(
                "`{}` is not a unit of what this column shows",
                unit.value.name
            ),
        )
        .at(unit.place),
    );
    None
}

fn read_align(table: &mut Table<'_>) -> Option<AlignClaim> {
    let to = table.need_text("to", "the recorder whose clock this one is tied to");
    if !table.has("by") {
        table.missing("by", "by = \"edge\", \"offset\" or \"shape\"");
    }
    let ways = [("edge", "edge"), ("offset", "offset"), ("shape", "shape")];
    let by = table.choice("by", &ways);
    let mut rest = Claims::new();
    let keys: [&'static str; 2] = match by? {
        "offset" => {
            table.quantity::<Time>("offset");
            table.quantity::<Ratio>("drift");
            ["offset", "drift"]
        }
        _ => ["here", "there"],
    };
    for key in keys {
        if let Some(text) = table.text(key) {
            rest.push((key, text.value));
        }
    }
    Some(AlignClaim {
        to: to?.value,
        by: by?.to_owned(),
        rest,
    })
}

fn read_column(table: &mut Table<'_>) -> Option<Column> {
    let of = table.need_text("of", "what it shows, such as of = \"tilt.pitch\"")?;
    let Some(shows) = shows(&of.value) else {
        table.mistake(
            Diagnostic::error(
                "unknown-word",
                format!("a column cannot show `{}`", of.value),
            )
            .at(of.place)
            .hint(
                "use fire, pressure, cell.NAME, tilt.AXIS, rate.AXIS, nozzle.AXIS or command.AXIS",
            ),
        );
        return None;
    };
    let used = table.boolean("used").unwrap_or(true);
    let plain = matches!(shows, Shows::Cell(_) | Shows::Fire);
    let rate = matches!(shows, Shows::Rate(_));
    let pressure = shows == Shows::Pressure;
    let (dimension, standard) = if rate {
        (Dimension::ANGULAR_RATE, "deg/s")
    } else if pressure {
        (Dimension::PRESSURE, "kPa")
    } else {
        (Dimension::ANGLE, "deg")
    };
    let mut out = Column {
        shows,
        unit: String::new(),
        unit_si: 1.0,
        noise_si: 0.0,
        bias_si: 0.0,
        step_si: 0.0,
        digits: 0,
        used,
    };
    if plain {
        return Some(out);
    }
    let unit = match table.unit("unit") {
        Some(unit) => of_dimension(table, unit, dimension),
        None => unit::parse(standard).ok(),
    }?;
    let mut size = |key| {
        if rate {
            or::<AngularRate>(table, key, 0.0)
        } else if pressure {
            or::<Pressure>(table, key, 0.0)
        } else {
            or::<Angle>(table, key, 0.0)
        }
    };
    (out.noise_si, out.bias_si, out.step_si) = (size("noise"), size("bias"), size("step"));
    out.digits = table
        .count("digits")
        .map_or(DIGITS, |digits| digits.value as usize);
    (out.unit_si, out.unit) = (unit.factor, unit.name);
    Some(out)
}

fn shows(words: &str) -> Option<Shows> {
    if words == "fire" {
        return Some(Shows::Fire);
    }
    if words == "pressure" {
        return Some(Shows::Pressure);
    }
    let (kind, name) = words.split_once('.')?;
    let name = name.to_owned();
    match kind {
        "cell" => Some(Shows::Cell(name)),
        "tilt" => Some(Shows::Tilt(name)),
        "rate" => Some(Shows::Rate(name)),
        "nozzle" => Some(Shows::Nozzle(name)),
        "command" => Some(Shows::Command(name)),
        _ => None,
    }
}
