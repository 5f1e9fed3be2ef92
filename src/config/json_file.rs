//! Reading the program's own JSON files back, with the place of what is wrong in them.

use std::collections::HashMap;
use std::path::Path;

use serde::de::DeserializeOwned;
use serde_json::value::RawValue;

use crate::diagnostic::{Code, Diagnostic, Error, Place, Source};
use crate::plausible::Plausible;

/// Reads a file of a kind: what it is, and the command that writes it.
pub(crate) fn read<T: DeserializeOwned + Plausible>(
    path: &Path,
    (what, command): (&str, &str),
) -> Result<T, Error> {
    let writes = format!("`burnwright {command}` writes one");
    let source = Source::read(path).map_err(|error| {
        error.each(|one| {
            if one.hints.is_empty() {
                one.hints.push(writes.clone());
            }
        })
    })?;
    let wrong = |message: String, at: usize| {
        let at = at.min(source.text.len());
        Diagnostic::error(Code::NotItsKind, message)
            .at(source.place(at..at + 1))
            .hint(writes.clone())
    };
    let begins = source.text.find(|letter: char| !letter.is_whitespace());
    match begins.map(|at| (at, source.text[at..].starts_with('{'))) {
        None => return Err(wrong(format!("this is no {what}: it is empty"), 0).into()),
        Some((at, false)) => {
            let message = format!("this is no {what}: it does not begin with {{");
            return Err(wrong(message, at).into());
        }
        Some((_, true)) => {}
    }
    let read: T = serde_json::from_str(&source.text).map_err(|error| {
        let before: usize = source
            .text
            .split_inclusive('\n')
            .take(error.line().saturating_sub(1))
            .map(str::len)
            .sum();
        // The line and column stand in the place, counted as everywhere.
        let told = error.to_string();
        let told = told
            .rsplit_once(" at line ")
            .map_or(&*told, |(told, _)| told);
        let at = before + error.column().saturating_sub(1);
        Error::from(wrong(format!("this is no {what}: {told}"), at))
    })?;
    let misfits = read.misfits();
    let told = misfits
        .iter()
        .map(|one| one.at(place_of(&source, &one.path)));
    Error::if_any(told.collect())?;
    Ok(read)
}

/// Where the value lies that a path leads to, or what is nearest above it.
fn place_of(source: &Source, path: &[String]) -> Place {
    let mut value: &str = source.text.trim();
    for part in path {
        let list = || serde_json::from_str::<Vec<&RawValue>>(value).ok();
        let table = || serde_json::from_str::<HashMap<String, &RawValue>>(value).ok();
        let inner = match part
            .parse::<usize>()
            .ok()
            .and_then(|at| Some((at, list()?)))
        {
            Some((at, list)) => list.get(at).copied(),
            None => table().and_then(|table| table.get(part).copied()),
        };
        let Some(inner) = inner else { break };
        value = inner.get();
    }
    let at = value
        .as_ptr()
        .addr()
        .saturating_sub(source.text.as_ptr().addr());
    source.place(at..at + value.len())
}
