//! Files read whole, with words for those that cannot be.

use std::io::Read;
use std::ops::Range;
use std::path::Path;
use std::sync::Arc;

use super::place::place_in;
use super::{Code, Diagnostic, Error, Place};

/// A text file held in memory, able to say where a byte stands.
#[derive(Debug, Clone)]
pub(crate) struct Source {
    /// The file, as the user named it.
    pub file: String,
    /// Its text.
    pub text: Arc<str>,
}

impl Source {
    /// Holds a text under a file name.
    #[must_use]
    pub(crate) fn new(file: impl Into<String>, text: impl Into<Arc<str>>) -> Self {
        Self {
            file: file.into(),
            text: text.into(),
        }
    }

    /// Reads a file that must be UTF-8 text.
    ///
    /// # Errors
    /// A diagnostic when the file is missing, unreadable, or not text.
    pub(crate) fn read(path: &Path) -> Result<Self, Error> {
        let shown = path.display().to_string();
        let bytes = read_at_most(path, LONGEST_TEXT)?;
        match String::from_utf8(bytes) {
            Ok(text) => Ok(Self::new(
                shown,
                text.strip_prefix('\u{feff}').unwrap_or(&text),
            )),
            Err(error) => {
                let at = error.utf8_error().valid_up_to();
                Err(
                    Diagnostic::error(Code::NotText, "the file is not UTF-8 text")
                        .at(place_in(&shown, error.as_bytes(), at..at + 1))
                        .label("not a letter in UTF-8")
                        .hint("save it again as UTF-8, as most editors do by themselves")
                        .into(),
                )
            }
        }
    }

    /// The place of a range of bytes. A range over several lines is cut at the end of its first.
    #[must_use]
    pub(crate) fn place(&self, range: Range<usize>) -> Place {
        place_in(&self.file, self.text.as_bytes(), range)
    }
}

/// Reads a whole file.
///
/// # Errors
/// A diagnostic that names the file and says what to check.
pub(crate) fn read_bytes(path: &Path) -> Result<Vec<u8>, Error> {
    read_at_most(path, LONGEST_TABLE)
}

/// Longest file that is read as TOML or JSON, bytes: what is understood of it takes a hundred times as much.
const LONGEST_TEXT: u64 = 4 << 20;

/// Longest table that is held whole, bytes.
const LONGEST_TABLE: u64 = 64 << 20;

fn read_at_most(path: &Path, most: u64) -> Result<Vec<u8>, Error> {
    not_a_folder(path)?;
    let read = |path| {
        let mut bytes = Vec::new();
        std::fs::File::open(path)?
            .take(most + 1)
            .read_to_end(&mut bytes)?;
        Ok(bytes)
    };
    let bytes = read(path).map_err(|error| cannot_read(path, &error))?;
    if bytes.len() as u64 <= most {
        return Ok(bytes);
    }
    let message = format!("the file is longer than {} MiB", most >> 20);
    Err(Diagnostic::error(Code::TooLong, message)
        .at(Place::file(path.display().to_string()))
        .hint("is it the right file? none of this kind is nearly as long")
        .into())
}

/// Refuses a folder where a file is meant.
///
/// # Errors
/// It is a folder.
pub(crate) fn not_a_folder(path: &Path) -> Result<(), Error> {
    if !path.is_dir() {
        return Ok(());
    }
    let place = Place::file(path.display().to_string());
    let folder = Diagnostic::error(Code::IsFolder, "this is a folder, not a file");
    Err(folder.at(place).into())
}

/// What to say of a file that cannot be read.
#[must_use]
pub(crate) fn cannot_read(path: &Path, error: &std::io::Error) -> Error {
    let missing = error.kind() == std::io::ErrorKind::NotFound;
    let (code, message) = if missing {
        (Code::NoFile, "there is no such file".to_owned())
    } else {
        (
            Code::Unreadable,
            format!("the file cannot be read: {error}"),
        )
    };
    let place = Place::file(path.display().to_string());
    let mut problem = Diagnostic::error(code, message).at(place);
    if let Some(name) = missing.then(|| similar_file(path)).flatten() {
        problem = problem.hint(format!("a file named `{name}` lies in that folder"));
    }
    problem.into()
}

fn similar_file(path: &Path) -> Option<String> {
    let wanted = path.file_name()?.to_string_lossy().into_owned();
    let folder = path
        .parent()
        .filter(|parent| !parent.as_os_str().is_empty());
    let names = std::fs::read_dir(folder.unwrap_or(Path::new("."))).ok()?;
    let mut names: Vec<String> = names
        .flatten()
        .map(|entry| entry.file_name().to_string_lossy().into_owned())
        .collect();
    names.sort();
    nearest(&wanted, names.iter().map(String::as_str)).map(str::to_owned)
}

/// The candidate that looks most like a word, if one is close enough to be a slip of the pen.
#[must_use]
pub(crate) fn nearest<'a>(
    word: &str,
    candidates: impl IntoIterator<Item = &'a str>,
) -> Option<&'a str> {
    let lower = word.to_lowercase();
    candidates
        .into_iter()
        .map(|name| {
            (
                strsim::damerau_levenshtein(&lower, &name.to_lowercase()),
                name,
            )
        })
        .filter(|(distance, name)| *distance <= 1 + name.chars().count().min(word.len()) / 4)
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, name)| name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_name_must_be_near() {
        assert_eq!(
            nearest("capcity", ["capacity", "carries"]),
            Some("capacity")
        );
        assert_eq!(nearest("thrust", ["capacity", "carries"]), None);
    }
}
