//! Tables of a file opened by their declared keys: unknown and missing keys are mistakes, and every value is
//! read as what its key declares.

use std::ops::Range;
use std::path::Path;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::file::File;
use super::table::{Entry, Table, Value};
use super::value::Reader;
use super::{Key, Kind, Measure, Need, SIGNAL, Stated};
use crate::diagnostic::{Code, Diagnostic, Error, Place, Source, nearest};

/// Reads a whole TOML file whose root table has these keys; paths in it start from the folder. What is
/// built of it may add mistakes of its own, and is `None` only where it did or a key is at fault.
///
/// # Errors
/// Every mistake in the file: syntax, unknown keys, wrong units, missing values.
pub(crate) fn read<T>(
    source: &Source,
    folder: &Path,
    keys: &'static [Key],
    build: impl FnOnce(&Table<'_>) -> Option<T>,
) -> Result<T, Error> {
    let root = DeTable::parse(&source.text).map_err(|error| {
        let place = source.place(error.span().unwrap_or(0..0));
        Error::from(
            Diagnostic::error(
                Code::TomlSyntax,
                format!("this is not valid TOML: {}", error.message()),
            )
            .at(place)
            .hint("text stands in quotes and ends on its line, tables in [ ]; no key stands twice"),
        )
    })?;
    let file = File::new(source, folder);
    let out = build(&open(
        &file,
        String::new(),
        (root.span(), root.get_ref()),
        keys,
    ));
    let mistakes = file.mistakes();
    Error::if_any(mistakes)?;
    out.ok_or_else(|| {
        Diagnostic::error(Code::Incomplete, "the file is incomplete")
            .at(Place::file(&*source.file))
            .into()
    })
}

/// A table as it stands in the file.
type Written<'v, 'd> = (Range<usize>, &'v DeTable<'d>);

/// Opens a table by its keys.
fn open<'a>(
    file: &'a File<'a>,
    name: String,
    written: Written<'_, '_>,
    keys: &'static [Key],
) -> Table<'a> {
    let mine = keys.iter().filter(|key| key.stated != Stated::OnlySaid);
    let out = fill(file, name, written, (mine.collect(), keys));
    for key in out.keys() {
        let others = match key.need {
            Need::Optional => continue,
            Need::Always => &[][..],
            Need::Unless(others) => others,
        };
        if !out.has(key.name) && !others.iter().any(|other| out.has(other)) {
            out.missing(key, others);
        }
    }
    out
}

/// Opens a table by some of the keys that are declared beside each other.
fn fill<'a>(
    file: &'a File<'a>,
    name: String,
    (span, table): Written<'_, '_>,
    (keys, beside): (Vec<&'static Key>, &'static [Key]),
) -> Table<'a> {
    let mut out = Table::empty(file, name, file.place(span), keys);
    let mut lines: Vec<_> = table.iter().collect();
    lines.sort_by_key(|(key, _)| key.span().start);
    for (word, value) in lines {
        let Some(key) = out.declared(word.get_ref()) else {
            unknown(file, &out, word);
            continue;
        };
        let path = out.path_of(key.name);
        let reader = Reader::new(file, key, &path);
        out.add(Entry {
            name: key.name,
            place: file.inside(value.span()),
            written: as_written(value.get_ref()),
            value: read_value(&reader, value, beside),
        });
    }
    out
}

fn unknown(file: &File<'_>, table: &Table<'_>, word: &Spanned<impl AsRef<str>>) {
    let whose = if table.name().is_empty() {
        String::new()
    } else {
        format!(" in `{}`", table.name())
    };
    let mut known: Vec<&str> = table.keys().iter().map(|key| key.name).collect();
    known.sort_unstable();
    let name = word.get_ref().as_ref();
    let label = match nearest(name, known.iter().copied()) {
        Some(near) => format!("did you mean `{near}`?"),
        None => "not a key of this table".to_owned(),
    };
    file.mistake(
        Diagnostic::error(Code::UnknownKey, format!("unknown key `{name}`{whose}"))
            .at(file.place(word.span()))
            .label(label)
            .hint(format!("known keys: {}", known.join(", "))),
    );
}

/// Reads the value of a key; `None` when it was at fault, which has been told then.
fn read_value<'a>(
    reader: &Reader<'a, '_>,
    value: &Spanned<DeValue<'_>>,
    beside: &'static [Key],
) -> Option<Value<'a>> {
    if reader.is_to_complete(value) {
        return None;
    }
    match reader.key.kind {
        Kind::QuantityOrWord(_, word) if value.get_ref().as_str() == Some(word) => {
            Some(Value::Word)
        }
        Kind::QuantityOrTable(_, keys) | Kind::ChoiceOrTable(_, keys)
            if value.get_ref().is_table() =>
        {
            table(reader, value, keys).map(Value::Table)
        }
        Kind::Signal(of) => signal(reader, value, of).map(Value::Table),
        Kind::Table(keys) => table(reader, value, keys).map(Value::Table),
        Kind::Tables(keys) => tables(reader, value, |_| keys),
        Kind::TablesBy(word, keys) => tables(reader, value, |table| {
            let word = table.get(word).and_then(|word| word.get_ref().as_str());
            keys(word.unwrap_or_default())
        }),
        Kind::Says => {
            let written = (value.span(), reader.table(value)?);
            let said = beside.iter().filter(|key| key.stated != Stated::Never);
            let keys = (said.collect(), beside);
            let name = reader.path.to_owned();
            Some(Value::Table(fill(reader.file, name, written, keys)))
        }
        _ => reader.read(value),
    }
}

fn table<'a>(
    reader: &Reader<'a, '_>,
    value: &Spanned<DeValue<'_>>,
    keys: &'static [Key],
) -> Option<Table<'a>> {
    let written = (value.span(), reader.table(value)?);
    Some(open(reader.file, reader.path.to_owned(), written, keys))
}

/// Named tables, each opened by the keys that go with it.
fn tables<'a>(
    reader: &Reader<'a, '_>,
    value: &Spanned<DeValue<'_>>,
    keys: impl Fn(&DeTable<'_>) -> &'static [Key],
) -> Option<Value<'a>> {
    let mut group: Vec<_> = reader.table(value)?.iter().collect();
    group.sort_by_key(|(name, _)| name.span().start);
    let mut out = Vec::new();
    for (name, value) in group {
        let path = format!("{}.{}", reader.path, name.get_ref());
        let reader = Reader::new(reader.file, reader.key, &path);
        if let Some(inner) = reader.table(value) {
            let written = (value.span(), inner);
            let opened = open(reader.file, path.clone(), written, keys(inner));
            out.push((name.get_ref().to_string(), opened));
        }
    }
    Some(Value::Tables(out))
}

/// A signal, whose unit must be of the kind that is declared, unless a points file gives it.
fn signal<'a>(
    reader: &Reader<'a, '_>,
    value: &Spanned<DeValue<'_>>,
    of: Option<Measure>,
) -> Option<Table<'a>> {
    let signal = table(reader, value, SIGNAL)?;
    let Some(of) = of else {
        return Some(signal);
    };
    let message = match signal.unit("unit") {
        Some(unit) if unit.value.dimension == of.dimension => return Some(signal),
        Some(unit) => format!("`{}` cannot be in `{}`", reader.path, unit.value.name),
        // One that could not be read has been complained of already.
        None if signal.has("unit") => return None,
        None if signal.has("points") => return Some(signal),
        None => format!("`{}` needs the unit of its column", reader.path),
    };
    let place = ["unit", "column"].into_iter();
    let place = place.filter_map(|key| signal.place_of(key)).next();
    reader.file.mistake(
        Diagnostic::error(Code::WrongUnit, message)
            .at(place.unwrap_or_else(|| signal.place()))
            .hint(format!(
                "use one of {}, or a points file",
                of.units.join(", ")
            )),
    );
    None
}

fn as_written(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(text) => text.to_string(),
        DeValue::Integer(number) => number.as_str().to_owned(),
        DeValue::Float(number) => number.as_str().to_owned(),
        DeValue::Datetime(date) => date.to_string(),
        _ => String::new(),
    }
}
