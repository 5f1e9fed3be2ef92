//! The file that is being read: where everything in it stands, and what is wrong with it so far.

use std::cell::RefCell;
use std::ops::Range;
use std::path::{Path, PathBuf};

use toml::de::{DeTable, DeValue};

use crate::diagnostic::{Diagnostic, Place, Source};

/// A file that is being read.
#[derive(Debug)]
pub(crate) struct File<'a> {
    pub(super) source: &'a Source,
    /// Folder that its paths start from.
    pub(super) folder: PathBuf,
    mistakes: RefCell<Vec<Diagnostic>>,
}

impl<'a> File<'a> {
    pub(super) fn new(source: &'a Source, folder: &Path) -> Self {
        Self {
            source,
            folder: folder.to_path_buf(),
            mistakes: RefCell::default(),
        }
    }

    /// All mistakes, in the order of the file.
    pub(super) fn mistakes(self) -> Vec<Diagnostic> {
        let mut mistakes = self.mistakes.into_inner();
        mistakes.sort_by_key(|one| one.place.as_ref().map(|place| (place.line, place.column)));
        // Two motors may name the same file, and its mistakes are told once.
        mistakes.dedup();
        mistakes
    }

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
