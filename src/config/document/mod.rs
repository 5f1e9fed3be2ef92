//! A TOML file read key by key, with the place of everything and all mistakes collected.
//!
//! [`Table`] hands out values by key and notes each key it was asked for; whatever was not asked
//! for when [`Table::finish`] is called is an unknown key, and the nearest known one is named. A
//! mistake never stops the reading: the getter gives `None` and the file is refused at the end with
//! every mistake in it.

mod quantities;

use std::cell::RefCell;
use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::diagnostic::{Diagnostic, Located, Place, Problems, Source, nearest};
use crate::quantity::given::believable;

/// Mistakes found so far in one file.
pub type Mistakes = RefCell<Vec<Diagnostic>>;

/// What a value that the maker has yet to give starts with; `look --start` writes it.
pub const TO_COMPLETE: &str = "??";

/// Reads a whole TOML file through a function that walks its root table.
///
/// # Errors
/// Every mistake in the file: syntax, unknown keys, wrong units, missing values.
pub fn read<T>(
    source: &Source,
    walk: impl FnOnce(&mut Table<'_>) -> Option<T>,
) -> Result<T, Problems> {
    let text: &str = &source.text;
    let root = DeTable::parse(text).map_err(|error| {
        let place = source.place(error.span().unwrap_or(0..0));
        Problems::from(
            Diagnostic::error(
                "toml-syntax",
                format!("this is not valid TOML: {}", error.message()),
            )
            .at(place)
            .hint("text stands in quotes and ends on its line, tables in [ ]; no key stands twice"),
        )
    })?;
    let mistakes = Mistakes::default();
    let mut table = Table::new(
        source,
        &mistakes,
        String::new(),
        root.span(),
        root.get_ref(),
    );
    let out = walk(&mut table);
    table.finish();
    let mut mistakes = mistakes.into_inner();
    mistakes.sort_by_key(|one| one.place.as_ref().map(|place| (place.line, place.column)));
    // Two motors may name the same file, and its mistakes are told once.
    mistakes.dedup();
    match out {
        Some(out) if mistakes.is_empty() => Ok(out),
        _ if mistakes.is_empty() => Err(Diagnostic::error("incomplete", "the file is incomplete")
            .at(Place::file(&*source.file))
            .into()),
        _ => Err(Problems(mistakes)),
    }
}

/// Where a value stands that keys lead to, such as `recorder.stand.rate`, or what is nearest above it; the
/// file as a whole when nothing of it is there.
#[must_use]
pub fn place_of(source: &Source, path: &[&str]) -> Place {
    let whole = || Place::file(&*source.file);
    let Ok(root) = DeTable::parse(&source.text) else {
        return whole();
    };
    let mut table = root.get_ref();
    let mut found = None;
    for key in path {
        let Some((key, value)) = table.get_key_value(*key) else {
            break;
        };
        match value.get_ref() {
            DeValue::Table(inner) => {
                found = Some(key.span());
                table = inner;
            }
            _ => {
                found = Some(value.span());
                break;
            }
        }
    }
    found.map_or_else(whole, |span| source.place(span))
}

struct Entry<'a> {
    key: &'a str,
    key_span: Range<usize>,
    value: &'a Spanned<DeValue<'a>>,
    used: bool,
}

/// One table of the file.
pub struct Table<'a> {
    source: &'a Source,
    mistakes: &'a Mistakes,
    name: String,
    span: Range<usize>,
    entries: Vec<Entry<'a>>,
    asked: Vec<&'static str>,
    open: bool,
}

impl<'a> Table<'a> {
    fn new(
        source: &'a Source,
        mistakes: &'a Mistakes,
        name: String,
        span: Range<usize>,
        table: &'a DeTable<'a>,
    ) -> Self {
        let mut entries: Vec<Entry<'a>> = table
            .iter()
            .map(|(key, value)| Entry {
                key: key.get_ref(),
                key_span: key.span(),
                value,
                used: false,
            })
            .collect();
        entries.sort_by_key(|entry| entry.key_span.start);
        Self {
            source,
            mistakes,
            name,
            span,
            entries,
            asked: Vec::new(),
            open: false,
        }
    }

    /// Where the table begins.
    #[must_use]
    pub fn place(&self) -> Place {
        self.source.place(self.span.clone())
    }

    /// The table's name as written, such as `cell.base`; empty for the root.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Where the value of a key stands; `None` when the key is absent.
    #[must_use]
    pub fn place_of(&self, key: &str) -> Option<Place> {
        let entry = self.entries.iter().find(|entry| entry.key == key)?;
        Some(self.inside(entry.value.span()))
    }

    /// Records a mistake.
    pub fn mistake(&self, mistake: Diagnostic) {
        self.mistakes.borrow_mut().push(mistake);
    }

    /// Whether a key is present, without taking its value.
    pub fn has(&mut self, key: &'static str) -> bool {
        self.asked.push(key);
        self.entries.iter().any(|entry| entry.key == key)
    }

    /// Whether a key holds a table, without taking it.
    pub fn holds_table(&mut self, key: &'static str) -> bool {
        self.asked.push(key);
        let mut entries = self.entries.iter();
        entries.any(|entry| entry.key == key && matches!(entry.value.get_ref(), DeValue::Table(_)))
    }

    fn take(&mut self, key: &'static str) -> Option<&'a Spanned<DeValue<'a>>> {
        self.asked.push(key);
        let entry = self.entries.iter_mut().find(|entry| entry.key == key)?;
        entry.used = true;
        let value = entry.value;
        let DeValue::String(text) = value.get_ref() else {
            return Some(value);
        };
        if !text.starts_with(TO_COMPLETE) {
            return Some(value);
        }
        let path = self.path_of(key);
        self.mistake(
            Diagnostic::error("to-complete", format!("`{path}` is still to be completed"))
                .at(self.inside(value.span()))
                .hint("write what belongs here; the comment beside it says what"),
        );
        None
    }

    fn wrong_kind(&self, key: &str, value: &Spanned<DeValue<'_>>, wanted: &str) {
        self.mistake(
            Diagnostic::error(
                "wrong-kind",
                format!("`{}` must be {wanted}", self.path_of(key)),
            )
            .at(self.source.place(value.span()))
            .label(format!("this is {}", article(value.get_ref().type_str()))),
        );
    }

    fn path_of(&self, key: &str) -> String {
        if self.name.is_empty() {
            key.to_owned()
        } else {
            format!("{}.{key}", self.name)
        }
    }

    /// Records that a needed key is absent.
    pub fn missing(&self, key: &str, what: &str) {
        let place = if self.name.is_empty() {
            Place::file(&*self.source.file)
        } else {
            self.place()
        };
        self.mistake(
            Diagnostic::error("missing-key", format!("`{}` is missing", self.path_of(key)))
                .at(place)
                .hint(format!("add {what}")),
        );
    }

    /// A piece of text.
    pub fn text(&mut self, key: &'static str) -> Option<Located<String>> {
        let value = self.take(key)?;
        match value.get_ref() {
            DeValue::String(text) => Some(Located {
                value: text.to_string(),
                place: self.inside(value.span()),
            }),
            _ => {
                self.wrong_kind(key, value, "text in quotes");
                None
            }
        }
    }

    /// A piece of text that must be there.
    pub fn need_text(&mut self, key: &'static str, what: &str) -> Option<Located<String>> {
        if !self.has(key) {
            self.missing(key, what);
        }
        self.text(key)
    }

    /// One of a list of words; anything else is a mistake that names the words.
    pub fn choice<T: Copy>(&mut self, key: &'static str, words: &[(&str, T)]) -> Option<T> {
        let text = self.text(key)?;
        let found = words.iter().find(|(word, _)| *word == text.value);
        if found.is_none() {
            let list: Vec<String> = words
                .iter()
                .map(|(word, _)| format!("\"{word}\""))
                .collect();
            let mut mistake = Diagnostic::error(
                "unknown-word",
                format!("`{}` cannot be \"{}\"", self.path_of(key), text.value),
            )
            .at(text.place)
            .hint(format!("use one of {}", list.join(", ")));
            if let Some(word) = nearest(&text.value, words.iter().map(|(word, _)| *word)) {
                mistake = mistake.label(format!("did you mean \"{word}\"?"));
            }
            self.mistake(mistake);
        }
        found.map(|(_, choice)| *choice)
    }

    /// A date or a piece of text, as text.
    pub fn date(&mut self, key: &'static str) -> Option<String> {
        let value = self.take(key)?;
        match value.get_ref() {
            DeValue::Datetime(date) => Some(date.to_string()),
            DeValue::String(text) => Some(text.to_string()),
            _ => {
                self.wrong_kind(key, value, "a date such as 2026-03-14");
                None
            }
        }
    }

    /// A bare number.
    pub fn number(&mut self, key: &'static str) -> Option<Located<f64>> {
        let value = self.take(key)?;
        let number = bare_number(value.get_ref());
        if number.is_none() {
            self.wrong_kind(key, value, "a finite number without quotes");
        }
        number.map(|number| Located {
            value: number,
            place: self.source.place(value.span()),
        })
    }

    /// A whole number that is not negative.
    pub fn count(&mut self, key: &'static str) -> Option<Located<u64>> {
        let number = self.number(key)?;
        if number.value < 0.0 || number.value.fract() != 0.0 || number.value > 1e15 {
            self.mistake(
                Diagnostic::error(
                    "wrong-kind",
                    format!(
                        "`{}` must be a whole number, zero or more",
                        self.path_of(key)
                    ),
                )
                .at(number.place),
            );
            return None;
        }
        Some(Located {
            value: number.value as u64,
            place: number.place,
        })
    }

    /// True or false.
    pub fn boolean(&mut self, key: &'static str) -> Option<bool> {
        let value = self.take(key)?;
        let answer = value.get_ref().as_bool();
        if answer.is_none() {
            self.wrong_kind(key, value, "true or false");
        }
        answer
    }

    /// A list of texts.
    pub fn texts(&mut self, key: &'static str) -> Option<Vec<Located<String>>> {
        let value = self.take(key)?;
        let DeValue::Array(list) = value.get_ref() else {
            self.wrong_kind(key, value, "a list in square brackets");
            return None;
        };
        list.iter()
            .map(|one| match one.get_ref() {
                DeValue::String(text) => Some(Located {
                    value: text.to_string(),
                    place: self.inside(one.span()),
                }),
                _ => {
                    self.wrong_kind(key, one, "a list of texts in quotes");
                    None
                }
            })
            .collect()
    }

    /// A list of pairs of bare numbers, such as `[[0.0, 0.0], [0.05, 18.0]]`.
    pub fn pairs(&mut self, key: &'static str) -> Option<Vec<Located<(f64, f64)>>> {
        let value = self.take(key)?;
        let wanted = "a list of pairs of numbers, such as [[0.0, 0.0], [0.1, 5.0]]";
        let DeValue::Array(list) = value.get_ref() else {
            self.wrong_kind(key, value, wanted);
            return None;
        };
        list.iter()
            .map(|one| {
                let pair = one
                    .get_ref()
                    .as_array()
                    .filter(|pair| pair.len() == 2)
                    .and_then(|pair| {
                        let first = pair.iter().next()?;
                        let second = pair.get(1)?;
                        Some((
                            bare_number(first.get_ref())?,
                            bare_number(second.get_ref())?,
                        ))
                    });
                if pair.is_none() {
                    self.wrong_kind(key, one, wanted);
                }
                pair.map(|pair| Located {
                    value: pair,
                    place: self.source.place(one.span()),
                })
            })
            .collect()
    }

    /// A table under a key (written either way: `[key]` or `key = { .. }`).
    pub fn table(&mut self, key: &'static str) -> Option<Table<'a>> {
        let value = self.take(key)?;
        self.table_in(key, value)
    }

    fn table_in(&self, key: &str, value: &'a Spanned<DeValue<'a>>) -> Option<Table<'a>> {
        match value.get_ref() {
            DeValue::Table(table) => Some(Table::new(
                self.source,
                self.mistakes,
                self.path_of(key),
                value.span(),
                table,
            )),
            _ => {
                self.wrong_kind(key, value, "a table");
                None
            }
        }
    }

    /// Named tables under a key, such as `[cell.base]` and `[cell.top]`, in the order of the file.
    pub fn named_tables(&mut self, key: &'static str) -> Vec<(String, Table<'a>)> {
        let Some(mut group) = self.table(key) else {
            return Vec::new();
        };
        group.open = true;
        let mut out: Vec<(String, Table<'a>)> = Vec::new();
        for entry in &group.entries {
            if let Some(table) = group.table_in(entry.key, entry.value) {
                out.push((entry.key.to_owned(), table));
            }
        }
        out
    }

    /// Reports every key that nobody asked for.
    pub fn finish(&mut self) {
        if self.open {
            return;
        }
        for entry in self
            .entries
            .iter()
            .filter(|entry| !self.asked.contains(&entry.key))
        {
            let whose = if self.name.is_empty() {
                String::new()
            } else {
                format!(" in `{}`", self.name)
            };
            let mut known: Vec<&str> = self.asked.clone();
            known.sort_unstable();
            known.dedup();
            let mut mistake =
                Diagnostic::error("unknown-key", format!("unknown key `{}`{whose}", entry.key))
                    .at(self.source.place(entry.key_span.clone()));
            mistake = match nearest(entry.key, known.iter().copied()) {
                Some(near) => mistake.label(format!("did you mean `{near}`?")),
                None => mistake.label("not a key of this table"),
            };
            self.mistake(mistake.hint(format!("known keys: {}", known.join(", "))));
        }
    }

    /// The inside of a quoted string.
    fn inside(&self, span: Range<usize>) -> Place {
        let quoted = span.len() >= 2 && self.source.text[span.clone()].starts_with(['"', '\'']);
        self.source.place(if quoted {
            span.start + 1..span.end - 1
        } else {
            span
        })
    }

    /// A part of a quoted string; the whole string when escapes make the two differ.
    fn part(&self, span: Range<usize>, text: &str, range: Range<usize>) -> Place {
        let start = span.start + 1;
        let plain = self.source.text.get(start..start + text.len()) == Some(text);
        if plain {
            self.source.place(start + range.start..start + range.end)
        } else {
            self.source.place(span)
        }
    }
}

fn bare_number(value: &DeValue<'_>) -> Option<f64> {
    let text = match value {
        DeValue::Integer(number) if number.radix() == 10 => number.as_str(),
        DeValue::Float(number) => number.as_str(),
        _ => return None,
    };
    text.replace('_', "")
        .parse::<f64>()
        .ok()
        .filter(|number| believable(*number))
}

fn article(kind: &str) -> String {
    let an = kind.starts_with(['a', 'e', 'i', 'o', 'u']);
    format!("{} {kind}", if an { "an" } else { "a" })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Length;

    fn mistakes(text: &str) -> Vec<String> {
        let source = Source::new("f.toml", text);
        let out = read(&source, |root| {
            let mut axis = root.table("axis")?;
            let arm = axis.need_quantity::<Length>("arm");
            axis.choice("kind", &[("play", 1), ("none", 2)]);
            axis.finish();
            arm
        });
        out.map_or_else(
            |problems| problems.0.iter().map(Diagnostic::render).collect(),
            |_| vec![],
        )
    }

    #[test]
    fn a_correct_file_has_no_mistakes() {
        assert!(mistakes("[axis]\narm = \"310 mm\"\nkind = \"play\"\n").is_empty());
    }

    #[test]
    fn all_mistakes_are_told_at_once_in_the_order_of_the_file() {
        let found = mistakes("[axis]\narm = 310\nkind = \"plai\"\nsped = 1\n");
        assert_eq!(found.len(), 3);
        assert_eq!(
            found[0],
            "error: `axis.arm` needs a length with its unit\n  at f.toml:2:7\n    |\n  2 | arm = 310\n    |       ^^^ a number without a unit\n  hint: write it in quotes with one of m, mm, cm, in, ft\n"
        );
        assert!(found[1].contains("did you mean \"play\"?"));
        assert!(found[2].contains("unknown key `sped` in `axis`"));
    }

    #[test]
    fn a_wrong_unit_is_marked_alone() {
        let found = mistakes("[axis]\narm = \"310 mm ± 1 kg\"\n");
        assert!(found[0].contains("f.toml:2:19"), "{}", found[0]);
    }
}
