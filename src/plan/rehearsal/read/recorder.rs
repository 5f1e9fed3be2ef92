//! Recorders and their columns.

use super::super::spec::{AlignClaim, Column, Dirt, Recorder, Shows, TimeStamp};
use crate::config::each;
use crate::config::keys::{
    Choice, Key, Table, boolean, choice, count, number, quantity, table, tables_by, text, unit_of,
};
use crate::config::logs::{ALIGN, AlignMethod};
use crate::diagnostic::{Code, Diagnostic};
use crate::quantity::range::Range;
use crate::quantity::{Angle, AngularRate, Frequency, Pressure, Quantity, Ratio, Time, unit};

/// The keys of `[recorder.NAME]`.
#[rustfmt::skip] // one key a line
pub(super) const KEYS: &[Key] = &[
    text("file", "the recorder's file, without a folder").needed(),
    quantity::<Frequency>("rate", "rows for each second of its own clock").range(Range::AboveUpTo(0.0, 20.0), "kHz").because("that is the step of the integration").needed(),
    quantity::<Time>("jitter", "standard deviation of a row's instant").between(0.0, 1.0, "s").default("0 s"),
    quantity::<Time>("starts", "its first row, on the first recorder's clock").between(-600.0, 600.0, "s").default("0 s"),
    quantity::<Ratio>("drift", "how much slower than the first recorder's its clock runs").between(-1e5, 1e5, "ppm").default("0 ppm"),
    quantity::<Ratio>("dropped", "share of rows lost").between(0.0, 90.0, "%").default("0 %"),
    table("time", TIME, "its time column; none when absent"),
    table("align", ALIGN, "how the firing file ties its clock to another"),
    table("dirt", DIRT, "what is untidy about its file"),
    tables_by("columns", ("of", keys_of_column), "its columns, in their order"),
];

#[rustfmt::skip] // one key a line
const TIME: &[Key] = &[
    text("column", "the name of the time column").needed(),
    unit_of::<Time>("unit", "the unit of the time column").needed(),
    count("digits", "decimals").between(0.0, 12.0, "").default("0"),
    number("start", "reading at the first row, in its unit").default("0"),
    count("counter_bits", "width of the counter, which wraps when it is full").between(8.0, 52.0, ""),
];

#[rustfmt::skip] // one key a line
const DIRT: &[Key] = &[
    count("head_lines", "lines of chatter above the header").between(0.0, 1e4, "").default("0"),
    choice::<Delimiter>("delimiter", "between the fields").default(","),
    boolean("decimal_comma", "whether numbers have a decimal comma").default("false"),
    boolean("crlf", "whether lines end in carriage return and line feed").default("false"),
    quantity::<Ratio>("wild", "share of rows in which a cell reads its full-scale code").between(0.0, 50.0, "%").default("0 %"),
    quantity::<Ratio>("doubled", "share of rows written twice").between(0.0, 50.0, "%").default("0 %"),
    quantity::<Ratio>("swapped", "share of rows that change places with the next").between(0.0, 50.0, "%").default("0 %"),
    boolean("cut_off", "whether the last line stops in its middle").default("false"),
];

const OF: Key = text("of", "what the column shows, such as tilt.pitch").needed();
const USED: Key = boolean("used", "whether the firing file refers to it").default("true");

/// The keys of a column of counts or of a line.
const COUNTS: &[Key] = &[OF, USED];
const ANGLES: &[Key] = &column::<Angle>("deg", "0 deg");
const RATES: &[Key] = &column::<AngularRate>("deg/s", "0 deg/s");
const PRESSURES: &[Key] = &column::<Pressure>("kPa", "0 kPa");

/// The keys of a column that shows a quantity.
const fn column<Q: Quantity>(unit: &'static str, zero: &'static str) -> [Key; 7] {
    [
        OF,
        USED,
        unit_of::<Q>("unit", "its unit").default(unit),
        quantity::<Q>("noise", "standard deviation of the noise")
            .between(0.0, 1e9, unit)
            .default(zero),
        quantity::<Q>("bias", "what the reading has too much").default(zero),
        quantity::<Q>("step", "smallest step of the reading; 0 for none")
            .between(0.0, 1e9, unit)
            .default(zero),
        count("digits", "decimals")
            .between(0.0, 12.0, "")
            .default("3"),
    ]
}

fn keys_of_column(of: &str) -> &'static [Key] {
    match shows(of) {
        Some(Shows::Rate(_)) => RATES,
        Some(Shows::Pressure) => PRESSURES,
        Some(Shows::Cell(_) | Shows::Fire) => COUNTS,
        Some(Shows::Tilt(_) | Shows::Nozzle(_) | Shows::Command(_)) | None => ANGLES,
    }
}

/// A character between fields.
#[derive(Clone, Copy)]
struct Delimiter(char);

impl Choice for Delimiter {
    const WORDS: &'static [(&'static str, Self)] = &[
        (",", Self(',')),
        (";", Self(';')),
        ("tab", Self('\t')),
        ("|", Self('|')),
    ];
}

pub(super) fn read(table: &Table<'_>) -> Option<Recorder> {
    Some(Recorder {
        file: table.text("file")?.value,
        rate_hz: table.si::<Frequency>("rate")?,
        jitter_s: table.si_or_default::<Time>("jitter"),
        starts_s: table.si_or_default::<Time>("starts"),
        drift_ppm: table.si_or_default::<Ratio>("drift") * 1e6,
        dropped: table.si_or_default::<Ratio>("dropped"),
        time: table.table("time").and_then(read_time),
        align: table.table("align").and_then(read_align),
        columns: each(table, "columns", |_, table| read_column(table)),
        dirt: table.table("dirt").map(read_dirt).unwrap_or_default(),
    })
}

fn read_dirt(table: &Table<'_>) -> Dirt {
    Dirt {
        head_lines: table.number_or_default("head_lines") as usize,
        delimiter: table.choice("delimiter").map_or(',', |Delimiter(one)| one),
        decimal_comma: table.boolean("decimal_comma").unwrap_or(false),
        crlf: table.boolean("crlf").unwrap_or(false),
        wild: table.si_or_default::<Ratio>("wild"),
        doubled: table.si_or_default::<Ratio>("doubled"),
        swapped: table.si_or_default::<Ratio>("swapped"),
        cut_off: table.boolean("cut_off").unwrap_or(false),
    }
}

fn read_time(table: &Table<'_>) -> Option<TimeStamp> {
    let unit = table.unit("unit")?.value;
    Some(TimeStamp {
        column: table.text("column")?.value,
        unit_s: unit.factor,
        unit: unit.name,
        digits: table.number_or_default("digits") as usize,
        start: table.number_or_default("start"),
        counter_bits: table.count("counter_bits").map(|bits| bits as u32),
    })
}

fn read_align(table: &Table<'_>) -> Option<AlignClaim> {
    let by: AlignMethod = table.choice("by")?;
    let (keys, others) = match by {
        AlignMethod::Offset => (["offset", "drift"], ["here", "there"]),
        AlignMethod::Edge | AlignMethod::Shape => (["here", "there"], ["offset", "drift"]),
    };
    table.refuse(&others, &format!("by = \"{}\"", by.word()));
    let rest = keys.into_iter();
    Some(AlignClaim {
        to: table.text("to")?.value,
        by,
        rest: rest
            .filter_map(|key| Some((key, table.written(key)?)))
            .collect(),
    })
}

fn read_column(table: &Table<'_>) -> Option<Column> {
    let of = table.text("of")?;
    let Some(shows) = shows(&of.value) else {
        let text = format!("a column cannot show `{}`", of.value);
        table.mistake(Diagnostic::error(Code::UnknownWord, text).at(of.place).hint(
            "use fire, pressure, cell.NAME, tilt.AXIS, rate.AXIS, nozzle.AXIS or command.AXIS",
        ));
        return None;
    };
    let out = Column {
        used: table.boolean("used").unwrap_or(true),
        ..Column::plain(shows)
    };
    match &out.shows {
        Shows::Cell(_) | Shows::Fire => Some(out),
        Shows::Rate(_) => measured::<AngularRate>(table, out, "deg/s"),
        Shows::Pressure => measured::<Pressure>(table, out, "kPa"),
        _ => measured::<Angle>(table, out, "deg"),
    }
}

/// A column with a unit and what its readings have besides the truth.
fn measured<Q: Quantity>(table: &Table<'_>, column: Column, standard: &str) -> Option<Column> {
    let given = table.unit("unit").map(|unit| unit.value);
    let unit = given.or_else(|| unit::parse(standard).ok())?;
    Some(Column {
        unit_si: unit.factor,
        unit: unit.name,
        noise_si: table.si_or_default::<Q>("noise"),
        bias_si: table.si_or_default::<Q>("bias"),
        step_si: table.si_or_default::<Q>("step"),
        digits: table.number_or_default("digits") as usize,
        ..column
    })
}

fn shows(words: &str) -> Option<Shows> {
    match words {
        "fire" => return Some(Shows::Fire),
        "pressure" => return Some(Shows::Pressure),
        _ => {}
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
