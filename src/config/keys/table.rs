//! One table of a file, which hands its values out by type.
//!
//! A mistake never stops the reading: the getter gives `None` (or the default) and the file is refused
//! at the end with every mistake in it.

use std::path::PathBuf;

use super::file::File;
use super::{Choice, Key, Kind, Stated};
use crate::diagnostic::{Code, Diagnostic, Located, Place};
use crate::quantity::given;
use crate::quantity::{Given, Quantity, Ratio, Spread, WrittenUnit};

/// One table of the file.
#[derive(Debug)]
pub(crate) struct Table<'a> {
    file: &'a File<'a>,
    name: String,
    place: Place,
    keys: Vec<&'static Key>,
    entries: Vec<Entry<'a>>,
}

/// A key of the file that is declared.
#[derive(Debug)]
pub(super) struct Entry<'a> {
    /// The key.
    pub name: &'static str,
    /// Where its value stands.
    pub place: Place,
    /// As it is written; empty of lists and tables.
    pub written: String,
    /// Absent when it is at fault.
    pub value: Option<Value<'a>>,
}

/// What a key holds.
#[derive(Debug)]
pub(super) enum Value<'a> {
    /// The word that stands in place of a quantity.
    Word,
    /// Text, a path, a date or a word.
    Text(String),
    /// True or false.
    Boolean(bool),
    /// A bare number.
    Number(f64),
    /// A quantity, SI.
    Quantity(f64, Spread),
    /// Quantities, SI.
    Numbers(Vec<f64>),
    /// A list of texts.
    Texts(Vec<Located<String>>),
    /// A list of pairs.
    Pairs(Vec<Located<(f64, f64)>>),
    /// A unit.
    Unit(WrittenUnit),
    /// A table.
    Table(Table<'a>),
    /// Named tables.
    Tables(Vec<(String, Table<'a>)>),
}

impl<'a> Table<'a> {
    /// A table of the file without anything in it yet.
    pub(super) fn empty(
        file: &'a File<'a>,
        name: String,
        place: Place,
        keys: Vec<&'static Key>,
    ) -> Self {
        Self {
            file,
            name,
            place,
            keys,
            entries: Vec::new(),
        }
    }

    /// Adds what stands under a declared key; no value where that was at fault.
    pub(super) fn add(&mut self, entry: Entry<'a>) {
        self.entries.push(entry);
    }

    /// The keys that it may hold.
    pub(super) fn keys(&self) -> &[&'static Key] {
        &self.keys
    }

    /// Tells of a needed key that is absent.
    pub(super) fn missing(&self, key: &Key, others: &[&'static str]) {
        let place = if self.name.is_empty() {
            Place::file(&*self.file.source.file)
        } else {
            self.place.clone()
        };
        let or = others.iter().filter_map(|other| self.declared(other));
        let or: String = or
            .map(|other| format!("; or {}", other.example()))
            .collect();
        let path = self.path_of(key.name);
        self.mistake(
            Diagnostic::error(Code::MissingKey, format!("`{path}` is missing"))
                .at(place)
                .hint(format!("add {}, {}{or}", key.example(), key.meaning)),
        );
    }

    /// Refuses keys that another one leaves no room for.
    pub(crate) fn refuse(&self, keys: &[&'static str], beside: &str) {
        for entry in self.entries.iter().filter(|one| keys.contains(&one.name)) {
            let path = self.path_of(entry.name);
            self.mistake(
                Diagnostic::error(
                    Code::MisplacedKey,
                    format!("`{path}` does not go with {beside}"),
                )
                .at(entry.place.clone())
                .hint("take one of the two out"),
            );
        }
    }

    /// Tells of a declared key that is absent though another makes it needed.
    pub(crate) fn require(&self, keys: &[&'static str]) {
        for key in keys.iter().filter(|key| !self.has(key)) {
            if let Some(key) = self.declared(key) {
                self.missing(key, &[]);
            }
        }
    }

    /// Where the table begins.
    pub(crate) fn place(&self) -> Place {
        self.place.clone()
    }

    /// The table's name as written, such as `cell.base`; empty for the root.
    pub(crate) fn name(&self) -> &str {
        &self.name
    }

    /// Records a mistake.
    pub(crate) fn mistake(&self, mistake: Diagnostic) {
        self.file.mistake(mistake);
    }

    /// Whether a key is there, well or not.
    pub(crate) fn has(&self, key: &str) -> bool {
        self.entry(key).is_some()
    }

    /// Where the value of a key stands; `None` when the key is absent.
    pub(crate) fn place_of(&self, key: &str) -> Option<Place> {
        self.entry(key).map(|entry| entry.place.clone())
    }

    /// The value of a key as it is written, when nothing is wrong with it.
    pub(crate) fn written(&self, key: &str) -> Option<String> {
        let entry = self.entry(key)?;
        entry.value.as_ref().map(|_| entry.written.clone())
    }

    /// Keys that lead to one of its keys, with points between them.
    pub(super) fn path_of(&self, key: &str) -> String {
        if self.name.is_empty() {
            key.to_owned()
        } else {
            format!("{}.{key}", self.name)
        }
    }

    fn entry(&self, key: &str) -> Option<&Entry<'a>> {
        self.entries.iter().find(|entry| entry.name == key)
    }

    pub(super) fn declared(&self, name: &str) -> Option<&'static Key> {
        self.keys.iter().find(|key| key.name == name).copied()
    }

    /// The declaration and value of a key. One that is not declared as what it is read as would be
    /// silently absent for ever, so it spoils every file, which no test can miss.
    fn get(&self, name: &str, is: impl Fn(&Kind) -> bool) -> Option<(&Entry<'a>, &Value<'a>)> {
        if !self.declared(name).is_some_and(|key| is(&key.kind)) {
            let text = format!("`{}` is read, but not declared so", self.path_of(name));
            self.mistake(Diagnostic::error(Code::Undeclared, text));
        }
        let entry = self.entry(name)?;
        Some((entry, entry.value.as_ref()?))
    }

    /// What stands there when a key of numbers is absent, SI.
    fn default_of(&self, key: &str) -> f64 {
        let declared = self.declared(key);
        let default = declared.and_then(|key| Some((key, key.default?)));
        let value = default.and_then(|(key, text)| match key.kind {
            Kind::Quantity(of) => given::parse_as(text, of.dimension).ok().map(|read| read.0),
            _ => text.parse().ok(),
        });
        value.unwrap_or_else(|| {
            let text = format!("`{}` has no default", self.path_of(key));
            self.mistake(Diagnostic::error(Code::Undeclared, text));
            0.0
        })
    }

    /// A piece of text.
    pub(crate) fn text(&self, key: &str) -> Option<Located<String>> {
        let is = |kind: &Kind| matches!(kind, Kind::Text | Kind::Date | Kind::Choice(_));
        match self.get(key, is)? {
            (entry, Value::Text(text)) => Some(Located {
                value: text.clone(),
                place: entry.place.clone(),
            }),
            _ => None,
        }
    }

    /// A path, from the folder of the file.
    pub(crate) fn path(&self, key: &str) -> Option<Located<PathBuf>> {
        match self.get(key, |kind| matches!(kind, Kind::Path))? {
            (entry, Value::Text(text)) => Some(Located {
                value: self.file.folder.join(text),
                place: entry.place.clone(),
            }),
            _ => None,
        }
    }

    /// One plain character.
    pub(crate) fn character(&self, key: &str) -> Option<char> {
        match self.get(key, |kind| matches!(kind, Kind::Character))? {
            (_, Value::Text(text)) => text.chars().next(),
            _ => None,
        }
    }

    /// One of a list of words.
    pub(crate) fn choice<T: Choice>(&self, key: &str) -> Option<T> {
        let is = |kind: &Kind| matches!(kind, Kind::Choice(_) | Kind::ChoiceOrTable(..));
        match self.get(key, is)? {
            (_, Value::Text(text)) => {
                let found = T::WORDS.iter().find(|(word, _)| word == text);
                found.map(|(_, choice)| *choice)
            }
            _ => None,
        }
    }

    /// A bare number.
    pub(crate) fn number(&self, key: &str) -> Option<f64> {
        match self.get(key, |kind| matches!(kind, Kind::Number | Kind::Count))? {
            (_, Value::Number(number)) => Some(*number),
            _ => None,
        }
    }

    /// A bare number, or its default.
    pub(crate) fn number_or_default(&self, key: &str) -> f64 {
        self.number(key).unwrap_or_else(|| self.default_of(key))
    }

    /// A whole number.
    pub(crate) fn count(&self, key: &str) -> Option<u64> {
        self.number(key).map(|number| number as u64)
    }

    /// True or false.
    pub(crate) fn boolean(&self, key: &str) -> Option<bool> {
        match self.get(key, |kind| matches!(kind, Kind::Boolean))? {
            (_, Value::Boolean(answer)) => Some(*answer),
            _ => None,
        }
    }

    /// A quantity.
    pub(crate) fn quantity<Q: Quantity>(&self, key: &str) -> Option<Given<Q>> {
        let is = |kind: &Kind| match kind {
            Kind::Quantity(of) | Kind::QuantityOrWord(of, _) | Kind::QuantityOrTable(of, _) => {
                of.dimension == Q::DIMENSION
            }
            Kind::Plain => Q::DIMENSION == Ratio::DIMENSION,
            _ => false,
        };
        match self.get(key, is)? {
            (_, Value::Quantity(si, spread)) => Some(Given {
                value: Q::from_si(*si),
                spread: *spread,
            }),
            _ => None,
        }
    }

    /// A quantity in coherent SI units.
    pub(crate) fn si<Q: Quantity>(&self, key: &str) -> Option<f64> {
        self.quantity::<Q>(key).map(|given| given.si())
    }

    /// Whether the word that may stand in place of a quantity does.
    pub(crate) fn is_word(&self, key: &str) -> bool {
        let is = |kind: &Kind| matches!(kind, Kind::QuantityOrWord(..));
        matches!(self.get(key, is), Some((_, Value::Word)))
    }

    /// A quantity in coherent SI units, or its default.
    pub(crate) fn si_or_default<Q: Quantity>(&self, key: &str) -> f64 {
        self.si::<Q>(key).unwrap_or_else(|| self.default_of(key))
    }

    /// Quantities of a list, in coherent SI units.
    pub(crate) fn quantities<Q: Quantity>(&self, key: &str) -> Option<Vec<f64>> {
        let is = |kind: &Kind| matches!(kind, Kind::Quantities(of) | Kind::Interval(of) if of.dimension == Q::DIMENSION);
        match self.get(key, is)? {
            (_, Value::Numbers(list)) => Some(list.clone()),
            _ => None,
        }
    }

    /// Two quantities in coherent SI units, the smaller first.
    pub(crate) fn interval<Q: Quantity>(&self, key: &str) -> Option<(f64, f64)> {
        match self.quantities::<Q>(key)?.as_slice() {
            [low, high] => Some((*low, *high)),
            _ => None,
        }
    }

    /// A list of texts.
    pub(crate) fn texts(&self, key: &str) -> Option<Vec<Located<String>>> {
        match self.get(key, |kind| matches!(kind, Kind::Texts))? {
            (_, Value::Texts(list)) => Some(list.clone()),
            _ => None,
        }
    }

    /// A list of pairs of bare numbers.
    pub(crate) fn pairs(&self, key: &str) -> Option<Vec<Located<(f64, f64)>>> {
        match self.get(key, |kind| matches!(kind, Kind::Pairs))? {
            (_, Value::Pairs(list)) => Some(list.clone()),
            _ => None,
        }
    }

    /// A unit.
    pub(crate) fn unit(&self, key: &str) -> Option<Located<WrittenUnit>> {
        match self.get(key, |kind| matches!(kind, Kind::Unit(_)))? {
            (entry, Value::Unit(unit)) => Some(Located {
                value: unit.clone(),
                place: entry.place.clone(),
            }),
            _ => None,
        }
    }

    /// A table under a key (written either way: `[key]` or `key = { .. }`).
    pub(crate) fn table(&self, key: &str) -> Option<&Table<'a>> {
        let is = |kind: &Kind| {
            matches!(
                kind,
                Kind::Table(_)
                    | Kind::Signal(_)
                    | Kind::QuantityOrTable(..)
                    | Kind::ChoiceOrTable(..)
                    | Kind::Says
            )
        };
        match self.get(key, is)? {
            (_, Value::Table(table)) => Some(table),
            _ => None,
        }
    }

    /// Named tables under a key, such as `[cell.base]` and `[cell.top]`, in the order of the file.
    pub(crate) fn tables(&self, key: &str) -> &[(String, Table<'a>)] {
        match self.get(key, |kind| {
            matches!(kind, Kind::Tables(_) | Kind::TablesBy(..))
        }) {
            Some((_, Value::Tables(tables))) => tables,
            _ => &[],
        }
    }

    /// Of a rehearsal: what the firing file states of this table, in the order of the declaration: the
    /// words of `says`, or else those of the truth.
    pub(crate) fn stated(&self) -> Vec<(&'static str, String)> {
        let says = self.table("says");
        let all = says.map_or(&self.keys, |says| &says.keys);
        let stated = all.iter().filter(|key| key.stated != Stated::Never);
        let words = |key: &&&'static Key| {
            let said = says.and_then(|says| says.written(key.name));
            said.or_else(|| self.written(key.name))
                .filter(|words| !words.is_empty())
        };
        stated
            .filter_map(|key| Some((key.name, words(&key)?)))
            .collect()
    }
}
