//! A TOML file read by its declared keys: all mistakes collected, each with its place.

use std::cell::RefCell;
use std::ops::Range;
use std::path::{Path, PathBuf};

use toml::de::{DeTable, DeValue};

use super::{Key, Table};
use crate::diagnostic::{Diagnostic, Place, Problems, Source};

/// The file that is being read, and what is wrong with it so far.
#[derive(Debug)]
pub(crate) struct File<'a> {
    pub(super) source: &'a Source,
    /// Folder that its paths start from.
    pub(super) folder: PathBuf,
    mistakes: RefCell<Vec<Diagnostic>>,
}

impl File<'_> {
    pub(super) fn mistake(&self, mistake: Diagnostic) {
        self.mistakes.borrow_mut().push(mistake);
    }

    pub(super) fn place(&self, span: Range<usize>) -> Place {
        self.source.place(span)
    }

    /// The inside of a quoted string.
    pub(super) fn inside(&self, span: Range<usize>) -> Place {
        let quoted = span.len() >= 2 && self.source.text[span.clone()].starts_with(['"', '\'']);
        self.place(if quoted {
            span.start + 1..span.end - 1
        } else {
            span
        })
    }

    /// A part of a quoted string; the whole string when escapes make the two differ.
    pub(super) fn part(&self, span: Range<usize>, text: &str, range: Range<usize>) -> Place {
        let start = span.start + 1;
        let plain = self.source.text.get(start..start + text.len()) == Some(text);
        self.place(if plain {
            start + range.start..start + range.end
        } else {
            span
        })
    }
}

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
) -> Result<T, Problems> {
    let root = DeTable::parse(&source.text).map_err(|error| {
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
    let file = File {
        source,
        folder: folder.to_path_buf(),
        mistakes: RefCell::default(),
    };
    let out = build(&Table::root(&file, root.span(), root.get_ref(), keys));
    let mut mistakes = file.mistakes.into_inner();
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
pub(crate) fn place_of(source: &Source, path: &[&str]) -> Place {
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
