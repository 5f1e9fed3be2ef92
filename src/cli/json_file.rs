//! Reading the program's own JSON files back, with the place of what is wrong in them.

use std::path::Path;

use serde::de::DeserializeOwned;

use crate::diagnostic::{Diagnostic, Problems, Source};

/// Reads a file of a kind: what it is, and the command that writes it.
pub(super) fn read<T: DeserializeOwned>(
    path: &Path,
    (what, command): (&str, &str),
) -> Result<T, Problems> {
    let source = Source::read(path)?;
    serde_json::from_str(&source.text).map_err(|error| {
        let before: usize = source
            .text
            .split_inclusive('\n')
            .take(error.line().saturating_sub(1))
            .map(str::len)
            .sum();
        let at = (before + error.column().saturating_sub(1)).min(source.text.len());
        Diagnostic::error("not-its-kind", format!("this is no {what}: {error}"))
            .at(source.place(at..at + 1))
            .hint(format!("`burnwright {command}` writes one"))
            .into()
    })
}
