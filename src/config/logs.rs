//! Recorders: which file, which clock, how that clock is tied to the first one.

use std::fmt;
use std::path::PathBuf;
use std::sync::Arc;

use super::keys::{
    Choice, Key, Table, boolean, character, choice, count, path, quantity, table, text, texts,
    unit_of,
};
use crate::diagnostic::{Located, Place};
use crate::quantity::WrittenUnit;
use crate::quantity::{Frequency, Given, Ratio, Time};

/// One recorder's file.
#[derive(Debug, Clone)]
pub struct LogFile {
    /// The name of its table.
    pub name: String,
    /// Where the table stands.
    pub place: Place,
    /// Path of the file, and where it is named.
    pub file: Located<PathBuf>,
    /// Its bytes, where it is not read from the disk: a firing that is only thought through.
    pub held: Option<Held>,
    /// Where its times come from; found from the file when absent.
    pub time: Option<TimeColumn>,
    /// How its clock is tied to another log's.
    pub align: Option<Align>,
    /// Field separator; found from the file when absent.
    pub delimiter: Option<char>,
    /// Decimal mark; found from the file when absent.
    pub decimal: Option<char>,
    /// What a comment line starts with.
    pub comment: Option<String>,
    /// Lines before the header that are not data.
    pub skip_lines: Option<usize>,
    /// Whether the first line names the columns; found from the file when absent.
    pub header: Option<bool>,
    /// Words that stand for a missing reading.
    pub missing: Vec<String>,
}

/// The bytes of a file that lies nowhere.
#[derive(Clone)]
pub struct Held(pub Arc<[u8]>);

impl fmt::Debug for Held {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} bytes", self.0.len())
    }
}

/// Where a log's times come from.
#[derive(Debug, Clone)]
pub enum TimeColumn {
    /// A column of numbers.
    Number {
        /// The column.
        column: Located<String>,
        /// Its unit.
        unit: WrittenUnit,
        /// Width of the counter that may wrap.
        counter_bits: Option<u32>,
    },
    /// A column of clock text.
    Clock {
        /// The column.
        column: Located<String>,
        /// Its format, in the usual `strptime` letters.
        format: Located<String>,
    },
    /// No column: readings at a steady rate.
    Rate(Given<Frequency>),
}

/// How a clock is tied to another.
#[derive(Debug, Clone)]
pub struct Align {
    /// The other log.
    pub to: Located<String>,
    /// The method.
    pub by: AlignBy,
    /// Where the method is named.
    pub place: Place,
}

/// Ways to tie two clocks together.
#[derive(Debug, Clone)]
pub enum AlignBy {
    /// First rise of one column in each log.
    Edge {
        /// Column of this log.
        here: Located<String>,
        /// Column of the other log.
        there: Located<String>,
    },
    /// A stated offset, and perhaps a drift.
    Offset {
        /// Offset: time on the other log when this one reads zero.
        offset: Given<Time>,
        /// Rate difference.
        drift: Option<Given<Ratio>>,
    },
    /// Two columns that move alike.
    Shape {
        /// Column of this log.
        here: Located<String>,
        /// Column of the other log.
        there: Located<String>,
    },
}

/// The same without what each of them needs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AlignMethod {
    /// First rise of one column in each log.
    Edge,
    /// A stated offset.
    Offset,
    /// Two columns that move alike.
    Shape,
}

impl AlignMethod {
    /// The word the firing file uses.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Edge => "edge",
            Self::Offset => "offset",
            Self::Shape => "shape",
        }
    }
}

impl Choice for AlignMethod {
    const WORDS: &'static [(&'static str, Self)] = &[
        (Self::Edge.word(), Self::Edge),
        (Self::Offset.word(), Self::Offset),
        (Self::Shape.word(), Self::Shape),
    ];
}

impl AlignBy {
    /// Which of the ways it is.
    #[must_use]
    pub const fn method(&self) -> AlignMethod {
        match self {
            Self::Edge { .. } => AlignMethod::Edge,
            Self::Offset { .. } => AlignMethod::Offset,
            Self::Shape { .. } => AlignMethod::Shape,
        }
    }

    /// The word the firing file uses.
    #[must_use]
    pub const fn word(&self) -> &'static str {
        self.method().word()
    }
}

/// The keys of `[log.NAME]`.
#[rustfmt::skip] // one key a line
pub(super) const KEYS: &[Key] = &[
    path("file", "the recorder's file").needed(),
    table("time", TIME, "where its times come from; found from the file when absent"),
    table("align", ALIGN, "how its clock is tied to another log's"),
    character("delimiter", "field separator; found from the file when absent"),
    character("decimal", "decimal mark; found from the file when absent"),
    text("comment", "what a comment line starts with"),
    count("skip_lines", "lines before the header that are not data"),
    boolean("header", "whether the first line names the columns; found when absent"),
    texts("missing", "words that stand for a missing reading"),
];

#[rustfmt::skip] // one key a line
const TIME: &[Key] = &[
    text("column", "the name of the time column").needed_unless(&["rate"]),
    unit_of::<Time>("unit", "the unit of the time column").needed_unless(&["rate", "format"]),
    count("counter_bits", "width of a counter that may wrap").between(8.0, 64.0, ""),
    text("format", "format of clock text, in the usual `strptime` letters"),
    quantity::<Frequency>("rate", "readings at a steady rate, without a time column").between(0.1, 1e7, "Hz"),
];

/// The keys of `align`.
#[rustfmt::skip] // one key a line
pub(crate) const ALIGN: &[Key] = &[
    text("to", "the log whose clock this one is tied to").needed(),
    choice::<AlignMethod>("by", "how").needed(),
    text("here", "a column of this log"),
    text("there", "the matching column of the other log"),
    quantity::<Time>("offset", "time on the other log when this one reads zero").between(-8760.0, 8760.0, "h").because("the logs are of one firing"),
    quantity::<Ratio>("drift", "rate difference of the clocks").between(-10.0, 10.0, "%").because("worse is no clock"),
];

pub(super) fn read(name: &str, table: &Table<'_>) -> Option<LogFile> {
    let time = table.table("time").and_then(read_time);
    let align = table.table("align").and_then(read_align);
    let missing = table.texts("missing").unwrap_or_default();
    Some(LogFile {
        name: name.to_owned(),
        place: table.place(),
        file: table.path("file")?,
        held: None,
        time,
        align,
        delimiter: table.character("delimiter"),
        decimal: table.character("decimal"),
        comment: table.text("comment").map(|text| text.value),
        skip_lines: table.count("skip_lines").map(|count| count as usize),
        header: table.boolean("header"),
        missing: missing.into_iter().map(|word| word.value).collect(),
    })
}

fn read_time(table: &Table<'_>) -> Option<TimeColumn> {
    if table.has("rate") {
        table.refuse(&["column", "unit", "counter_bits", "format"], "`rate`");
        return table.quantity("rate").map(TimeColumn::Rate);
    }
    let column = table.text("column");
    if table.has("format") {
        table.refuse(&["unit", "counter_bits"], "`format`");
        return Some(TimeColumn::Clock {
            column: column?,
            format: table.text("format")?,
        });
    }
    Some(TimeColumn::Number {
        column: column?,
        unit: table.unit("unit")?.value,
        counter_bits: table.count("counter_bits").map(|bits| bits as u32),
    })
}

fn read_align(table: &Table<'_>) -> Option<Align> {
    let method = table.choice("by")?;
    let by = if method == AlignMethod::Offset {
        table.require(&["offset"]);
        table.refuse(&["here", "there"], "by = \"offset\"");
        AlignBy::Offset {
            offset: table.quantity("offset")?,
            drift: table.quantity("drift"),
        }
    } else {
        table.require(&["here", "there"]);
        table.refuse(&["offset", "drift"], "two columns");
        let (here, there) = (table.text("here")?, table.text("there")?);
        match method {
            AlignMethod::Shape => AlignBy::Shape { here, there },
            _ => AlignBy::Edge { here, there },
        }
    };
    Some(Align {
        to: table.text("to")?,
        by,
        place: table.place(),
    })
}
