//! What a file may hold: its keys declared in tables, one line a key.
//!
//! A [`Key`] says its kind, the range of its value, whether it must be there, what holds when it is absent,
//! and what it means. From the declaration follow reading and every message: [`read`] opens a TOML file by its
//! keys, and [`Table`] hands the values out by type. A new key is a line of the declaration and
//! the field it fills.

mod file;
mod open;
mod table;
mod value;

use crate::quantity::range::Range;
use crate::quantity::unit::Dimension;
use crate::quantity::{Quantity, Ratio};

pub(crate) use file::place_of;
pub(crate) use open::read;
pub(crate) use table::Table;

/// What a value that the maker has yet to give starts with; `look --start` writes it.
pub(crate) const TO_COMPLETE: &str = "??";

/// One key of a table.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Key {
    /// As it is written.
    pub name: &'static str,
    /// What its value is.
    pub kind: Kind,
    /// What it says, in one sentence without a full stop.
    pub meaning: &'static str,
    /// Whether it must be there.
    pub need: Need,
    /// What holds when it is absent, as it would be written without quotes.
    pub default: Option<&'static str>,
    /// Where its number may lie.
    pub range: Range,
    /// The unit of the range's ends.
    pub unit: &'static str,
    /// Why the range is what it is.
    pub why: &'static str,
    /// Of a rehearsal: whether the firing file that it writes states the key too.
    pub stated: Stated,
}

/// What a value is.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Kind {
    /// Text in quotes.
    Text,
    /// A path from the folder of the file.
    Path,
    /// One plain character, such as a delimiter.
    Character,
    /// A date, or text.
    Date,
    /// True or false.
    Boolean,
    /// A whole number, zero or more.
    Count,
    /// A bare number.
    Number,
    /// A number without unit, bare, or text that may carry an uncertainty.
    Plain,
    /// A number with its unit.
    Quantity(Measure),
    /// The same, or one word that stands in its place.
    QuantityOrWord(Measure, &'static str),
    /// The same, or a table of what it follows from.
    QuantityOrTable(Measure, &'static [Key]),
    /// A list of quantities.
    Quantities(Measure),
    /// Two quantities, the smaller first.
    Interval(Measure),
    /// A list of texts.
    Texts,
    /// A list of pairs of bare numbers.
    Pairs,
    /// One of these words.
    Choice(fn() -> Vec<&'static str>),
    /// The same, or a table that stands in its place.
    ChoiceOrTable(fn() -> Vec<&'static str>, &'static [Key]),
    /// The name of a unit, perhaps of a stated dimension.
    Unit(Option<Measure>),
    /// A column of a log, perhaps of a stated dimension.
    Signal(Option<Measure>),
    /// A table.
    Table(&'static [Key]),
    /// Named tables, such as `[cell.base]` and `[cell.top]`.
    Tables(&'static [Key]),
    /// Named tables, each with the keys that go with the word it has under this key.
    TablesBy(&'static str, fn(&str) -> &'static [Key]),
    /// Of a rehearsal: what the firing file will state in place of the truth, by keys of the same table.
    Says,
}

/// What a quantity is called, and what units it takes.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Measure {
    /// Its name.
    pub name: &'static str,
    /// Its dimension.
    pub dimension: Dimension,
    /// Units to suggest.
    pub units: &'static [&'static str],
}

impl Measure {
    /// That of a type of quantity.
    pub(crate) const fn of<Q: Quantity>() -> Self {
        Self {
            name: Q::NAME,
            dimension: Q::DIMENSION,
            units: Q::UNITS,
        }
    }
}

/// Whether a key must be there.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Need {
    /// It may be absent.
    Optional,
    /// It must be there.
    Always,
    /// It must be there, unless one of these is.
    Unless(&'static [&'static str]),
}

/// Whether the firing file of a rehearsal states a key.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Stated {
    /// It is truth alone.
    Never,
    /// As the truth, unless `says` gives other words.
    AsTruth,
    /// Only where `says` does: no truth stands behind it.
    OnlySaid,
}

/// A choice that a file makes by a word.
pub(crate) trait Choice: Copy + 'static {
    /// Each word and what it stands for.
    const WORDS: &'static [(&'static str, Self)];
}

/// The word that a file has for a choice.
pub(crate) fn word_of<T: Choice + PartialEq>(choice: T) -> &'static str {
    let found = T::WORDS.iter().find(|(_, one)| *one == choice);
    found.map_or("", |(word, _)| *word)
}

fn words<T: Choice>() -> Vec<&'static str> {
    T::WORDS.iter().map(|(word, _)| *word).collect()
}

impl Key {
    const fn new(name: &'static str, kind: Kind, meaning: &'static str) -> Self {
        Self {
            name,
            kind,
            meaning,
            need: Need::Optional,
            default: None,
            range: Range::Any,
            unit: "",
            why: "",
            stated: Stated::Never,
        }
    }

    /// The key must be there.
    pub(crate) const fn needed(mut self) -> Self {
        self.need = Need::Always;
        self
    }

    /// The key must be there, unless one of these is.
    pub(crate) const fn needed_unless(mut self, others: &'static [&'static str]) -> Self {
        self.need = Need::Unless(others);
        self
    }

    /// What holds when the key is absent.
    pub(crate) const fn default(mut self, text: &'static str) -> Self {
        self.default = Some(text);
        self
    }

    /// Where its number may lie, with the unit of the ends.
    pub(crate) const fn range(mut self, range: Range, unit: &'static str) -> Self {
        self.range = range;
        self.unit = unit;
        self
    }

    /// Between two ends in a unit, both of which will do.
    pub(crate) const fn between(self, low: f64, high: f64, unit: &'static str) -> Self {
        self.range(Range::Between(low, high), unit)
    }

    /// Only above zero.
    pub(crate) const fn above_zero(self) -> Self {
        self.range(Range::Above(0.0), "")
    }

    /// Zero or more.
    pub(crate) const fn not_below_zero(self) -> Self {
        self.range(Range::AtLeast(0.0), "")
    }

    /// Why the range is what it is.
    pub(crate) const fn because(mut self, why: &'static str) -> Self {
        self.why = why;
        self
    }

    /// Of a rehearsal: the firing file states it too.
    pub(crate) const fn stated(mut self) -> Self {
        self.stated = Stated::AsTruth;
        self
    }

    /// Of a rehearsal: only `says` may hold it.
    pub(crate) const fn only_said(mut self) -> Self {
        self.stated = Stated::OnlySaid;
        self
    }
}

macro_rules! plain_kinds {
    ($($(#[$doc:meta])* $name:ident $kind:ident;)+) => { $(
        $(#[$doc])*
        pub(crate) const fn $name(name: &'static str, meaning: &'static str) -> Key {
            Key::new(name, Kind::$kind, meaning)
        }
    )+ };
}

plain_kinds! {
    /// A key for text.
    text Text;
    /// A key for a path.
    path Path;
    /// A key for one plain character.
    character Character;
    /// A key for a date.
    date Date;
    /// A key for true or false.
    boolean Boolean;
    /// A key for a whole number.
    count Count;
    /// A key for a bare number.
    number Number;
    /// A key for a number without unit that may carry an uncertainty.
    plain Plain;
    /// A key for a list of texts.
    texts Texts;
    /// A key for a list of pairs of numbers.
    pairs Pairs;
}

/// A key for a quantity.
pub(crate) const fn quantity<Q: Quantity>(name: &'static str, meaning: &'static str) -> Key {
    Key::new(name, Kind::Quantity(Measure::of::<Q>()), meaning)
}

/// A key for a quantity or a word that stands in its place.
pub(crate) const fn quantity_or_word<Q: Quantity>(
    name: &'static str,
    word: &'static str,
    meaning: &'static str,
) -> Key {
    Key::new(
        name,
        Kind::QuantityOrWord(Measure::of::<Q>(), word),
        meaning,
    )
}

/// A key for a quantity or a table of what it follows from.
pub(crate) const fn quantity_or_table<Q: Quantity>(
    name: &'static str,
    keys: &'static [Key],
    meaning: &'static str,
) -> Key {
    Key::new(
        name,
        Kind::QuantityOrTable(Measure::of::<Q>(), keys),
        meaning,
    )
}

/// A key for a list of quantities.
pub(crate) const fn quantities<Q: Quantity>(name: &'static str, meaning: &'static str) -> Key {
    Key::new(name, Kind::Quantities(Measure::of::<Q>()), meaning)
}

/// A key for two quantities, the smaller first.
pub(crate) const fn interval<Q: Quantity>(name: &'static str, meaning: &'static str) -> Key {
    Key::new(name, Kind::Interval(Measure::of::<Q>()), meaning)
}

/// A key for a choice.
pub(crate) const fn choice<T: Choice>(name: &'static str, meaning: &'static str) -> Key {
    Key::new(name, Kind::Choice(words::<T>), meaning)
}

/// A key for a choice or a table that stands in its place.
pub(crate) const fn choice_or_table<T: Choice>(
    name: &'static str,
    keys: &'static [Key],
    meaning: &'static str,
) -> Key {
    Key::new(name, Kind::ChoiceOrTable(words::<T>, keys), meaning)
}

/// A key for the name of a unit of any dimension.
pub(crate) const fn any_unit(name: &'static str, meaning: &'static str) -> Key {
    Key::new(name, Kind::Unit(None), meaning)
}

/// A key for the name of a unit of one dimension.
pub(crate) const fn unit_of<Q: Quantity>(name: &'static str, meaning: &'static str) -> Key {
    Key::new(name, Kind::Unit(Some(Measure::of::<Q>())), meaning)
}

/// A key for a column of a log, in any unit.
pub(crate) const fn signal(name: &'static str, meaning: &'static str) -> Key {
    Key::new(name, Kind::Signal(None), meaning)
}

/// A key for a column of a log in units of one dimension.
pub(crate) const fn signal_of<Q: Quantity>(name: &'static str, meaning: &'static str) -> Key {
    Key::new(name, Kind::Signal(Some(Measure::of::<Q>())), meaning)
}

/// A key for a table.
pub(crate) const fn table(name: &'static str, keys: &'static [Key], meaning: &'static str) -> Key {
    Key::new(name, Kind::Table(keys), meaning)
}

/// A key for named tables.
pub(crate) const fn tables(name: &'static str, keys: &'static [Key], meaning: &'static str) -> Key {
    Key::new(name, Kind::Tables(keys), meaning)
}

/// A key for named tables, whose keys follow from what each has under one of them.
pub(crate) const fn tables_by(
    name: &'static str,
    by: (&'static str, fn(&str) -> &'static [Key]),
    meaning: &'static str,
) -> Key {
    Key::new(name, Kind::TablesBy(by.0, by.1), meaning)
}

/// The key under which a rehearsal says what the firing file will state in place of the truth.
pub(crate) const SAYS: Key = Key::new("says", Kind::Says, "what the firing file states instead");

/// The keys of a column of a log.
#[rustfmt::skip] // one key a line
pub(crate) const SIGNAL: &[Key] = &[
    text("log", "the log that holds the column").needed(),
    text("column", "the name of the column").needed(),
    any_unit("unit", "the unit of its numbers; raw counts when absent"),
    path("points", "points file that turns raw readings into the quantity"),
];

/// A number without unit, as messages call it.
const PLAIN: Measure = Measure::of::<Ratio>();

impl Key {
    /// How a line with the key begins.
    pub(crate) fn example(&self) -> String {
        let name = self.name;
        let value = match self.kind {
            Kind::Text | Kind::Path | Kind::Character => "\"..\"".to_owned(),
            Kind::Date => "2026-03-14".to_owned(),
            Kind::Boolean => "true".to_owned(),
            Kind::Count | Kind::Number | Kind::Plain => "1".to_owned(),
            Kind::Quantity(of) | Kind::QuantityOrWord(of, _) | Kind::QuantityOrTable(of, _) => {
                format!("\"1 {}\"", of.units[0])
            }
            Kind::Quantities(of) | Kind::Interval(of) => {
                format!("[\"1 {0}\", \"2 {0}\"]", of.units[0])
            }
            Kind::Texts => "[\"..\"]".to_owned(),
            Kind::Pairs => "[[0.0, 0.0], [0.1, 5.0]]".to_owned(),
            Kind::Choice(words) | Kind::ChoiceOrTable(words, _) => either(&words()),
            Kind::Unit(of) => format!("\"{}\"", of.map_or("N", |of| of.units[0])),
            Kind::Signal(None) => "{ log = \"..\", column = \"..\" }".to_owned(),
            Kind::Signal(Some(of)) => {
                format!(
                    "{{ log = \"..\", column = \"..\", unit = \"{}\" }}",
                    of.units[0]
                )
            }
            Kind::Table(keys) => {
                let needed = keys.iter().filter(|key| matches!(key.need, Need::Always));
                let inside: Vec<String> = needed.map(Self::example).collect();
                format!("{{ {} }}", inside.join(", "))
            }
            Kind::Tables(_) | Kind::TablesBy(..) | Kind::Says => "{ }".to_owned(),
        };
        format!("{name} = {value}")
    }
}

/// Words in quotes, with an "or" before the last.
fn either(words: &[&str]) -> String {
    let quoted: Vec<String> = words.iter().map(|word| format!("\"{word}\"")).collect();
    match quoted.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} or {last}", rest.join(", ")),
        _ => quoted.join(""),
    }
}

#[cfg(test)]
pub(crate) mod tests;
