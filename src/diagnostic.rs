//! What went wrong, where, and what to do: one shape for every message.
//!
//! Stages describe a problem by facts in an enum of their own and turn it into a [`Diagnostic`] in
//! one place; [`Diagnostic::render`] draws the source line and the caret, once for all of them.
//! Places count from 1 and come from our own counting of lines, because a reader that skips blank
//! lines or carriage returns cannot be trusted with them.

use std::fmt;
use std::io::Read;
use std::ops::Range;
use std::path::Path;
use std::sync::Arc;

use serde::{Deserialize, Serialize};
use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

/// A spot in a text file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Place {
    /// The file, as the user named it.
    pub file: String,
    /// Line, from 1; 0 when the place is the file as a whole.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
    /// Width in characters.
    pub width: usize,
    /// The whole line, without its end.
    pub text: String,
}

impl Place {
    /// The file as a whole.
    #[must_use]
    pub fn file(file: impl Into<String>) -> Self {
        Self {
            file: file.into(),
            line: 0,
            column: 0,
            width: 0,
            text: String::new(),
        }
    }
}

/// A value together with the spot where it was written.
#[derive(Debug, Clone, PartialEq)]
pub struct Located<T> {
    /// The value.
    pub value: T,
    /// Where it stands.
    pub place: Place,
}

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
    pub(crate) fn read(path: &Path) -> Result<Self, Problems> {
        let shown = path.display().to_string();
        let bytes = read_at_most(path, LONGEST_TEXT)?;
        match String::from_utf8(bytes) {
            Ok(text) => Ok(Self::new(
                shown,
                text.strip_prefix('\u{feff}').unwrap_or(&text),
            )),
            Err(error) => {
                let at = error.utf8_error().valid_up_to();
                Err(Diagnostic::error("not-text", "the file is not UTF-8 text")
                    .at(place_in(&shown, error.as_bytes(), at..at + 1))
                    .label("not a letter in UTF-8")
                    .hint("save it again as UTF-8, as most editors do by themselves")
                    .into())
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
pub(crate) fn read_bytes(path: &Path) -> Result<Vec<u8>, Problems> {
    read_at_most(path, LONGEST_TABLE)
}

/// Longest file that is read as TOML or JSON, bytes: what is understood of it takes a hundred times as much.
const LONGEST_TEXT: u64 = 4 << 20;

/// Longest table that is held whole, bytes.
const LONGEST_TABLE: u64 = 64 << 20;

fn read_at_most(path: &Path, most: u64) -> Result<Vec<u8>, Problems> {
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
    Err(Diagnostic::error("too-long", message)
        .at(Place::file(path.display().to_string()))
        .hint("is it the right file? none of this kind is nearly as long")
        .into())
}

/// Refuses a folder where a file is meant.
///
/// # Errors
/// It is a folder.
pub(crate) fn not_a_folder(path: &Path) -> Result<(), Problems> {
    if !path.is_dir() {
        return Ok(());
    }
    let place = Place::file(path.display().to_string());
    let folder = Diagnostic::error("is-folder", "this is a folder, not a file");
    Err(folder.at(place).into())
}

/// What to say of a file that cannot be read.
#[must_use]
pub(crate) fn cannot_read(path: &Path, error: &std::io::Error) -> Problems {
    let missing = error.kind() == std::io::ErrorKind::NotFound;
    let (code, message) = if missing {
        ("no-file", "there is no such file".to_owned())
    } else {
        ("unreadable", format!("the file cannot be read: {error}"))
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

/// The place of a range of bytes in a file that need not be valid text.
#[must_use]
pub(crate) fn place_in(file: &str, bytes: &[u8], range: Range<usize>) -> Place {
    let start = range.start.min(bytes.len());
    let line = 1 + bytes[..start].iter().filter(|byte| **byte == b'\n').count();
    let line_start = bytes[..start]
        .iter()
        .rposition(|byte| *byte == b'\n')
        .map_or(0, |at| at + 1);
    let line_end = bytes[start..]
        .iter()
        .position(|byte| *byte == b'\n')
        .map_or(bytes.len(), |at| start + at);
    let end = range.end.clamp(start, line_end);
    let as_text = |part: &[u8]| {
        String::from_utf8_lossy(part)
            .trim_end_matches('\r')
            .to_owned()
    };
    Place {
        file: file.to_owned(),
        line,
        column: 1 + as_text(&bytes[line_start..start]).chars().count(),
        width: as_text(&bytes[start..end]).chars().count(),
        text: as_text(&bytes[line_start..line_end]),
    }
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

/// How bad it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Severity {
    /// The work cannot be done.
    Error,
    /// The work was done; look at this.
    Warning,
}

/// One message.
#[derive(Debug, Clone, PartialEq)]
pub struct Diagnostic {
    /// How bad it is.
    pub severity: Severity,
    /// A short fixed word for machines, such as `unknown-key`.
    pub code: &'static str,
    /// What is wrong.
    pub message: String,
    /// Where.
    pub place: Option<Place>,
    /// A few words to stand beside the caret.
    pub label: Option<String>,
    /// What to do.
    pub hints: Vec<String>,
}

impl Diagnostic {
    /// A message that stops the work.
    #[must_use]
    pub fn error(code: &'static str, message: impl Into<String>) -> Self {
        let message = message.into();
        Self {
            severity: Severity::Error,
            code,
            message,
            place: None,
            label: None,
            hints: vec![],
        }
    }

    /// A message that goes with a result.
    #[must_use]
    pub fn warning(code: &'static str, message: impl Into<String>) -> Self {
        Self {
            severity: Severity::Warning,
            ..Self::error(code, message)
        }
    }

    /// Says where.
    #[must_use]
    pub fn at(mut self, place: Place) -> Self {
        self.place = Some(place);
        self
    }

    /// Says something beside the caret.
    #[must_use]
    pub fn label(mut self, label: impl Into<String>) -> Self {
        self.label = Some(label.into());
        self
    }

    /// Says what to do.
    #[must_use]
    pub fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hints.push(hint.into());
        self
    }

    /// The whole message as text: what, where, the source line with a caret, what to do.
    #[must_use]
    pub fn render(&self) -> String {
        let word = match self.severity {
            Severity::Error => "error",
            Severity::Warning => "warning",
        };
        let mut out = format!("{word}: {}\n", self.message);
        if let Some(place) = &self.place {
            out += &render_place(place, self.label.as_deref());
        }
        for hint in &self.hints {
            out += &format!("  hint: {hint}\n");
        }
        // Names from files stand in all of it.
        let harmless = |ch: char| if ch == '\n' { ch } else { printable(ch) };
        out.chars().map(harmless).collect()
    }
}

/// Longest source line that is shown whole, in characters.
const LINE_SHOWN: usize = 160;

fn render_place(place: &Place, label: Option<&str>) -> String {
    if place.line == 0 {
        return format!("  in {}\n", place.file);
    }
    let mut out = format!("  at {}:{}:{}\n", place.file, place.line, place.column);
    if place.text.is_empty() {
        return out;
    }
    let number = place.line.to_string();
    let gutter = " ".repeat(number.len());
    let before = place.column.saturating_sub(1);
    let skipped = before.saturating_sub(LINE_SHOWN / 2);
    let shown: String = place
        .text
        .chars()
        .skip(skipped)
        .take(LINE_SHOWN)
        .map(printable)
        .collect();
    let lead: String = shown.chars().take(before - skipped).collect();
    let marked: String = shown
        .chars()
        .skip(before - skipped)
        .take(place.width)
        .collect();
    let carets = "^".repeat(marked.width().max(1));
    out += &format!("  {gutter} |\n  {number} | {shown}\n");
    out += &format!("  {gutter} | {}{carets}", " ".repeat(lead.width()));
    if let Some(label) = label {
        out += &format!(" {label}");
    }
    out.push('\n');
    out
}

/// Tabs, control characters and marks that turn the writing take one column and cannot reach the
/// terminal.
fn printable(ch: char) -> char {
    if ch.is_control() || ch.width().is_none() || turns_writing(ch) {
        ' '
    } else {
        ch
    }
}

/// Marks that turn the writing direction or end a line: they could rewrite what stands around them.
#[must_use]
pub(crate) fn turns_writing(ch: char) -> bool {
    matches!(ch, '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

/// Everything that stopped a stage: at least one message.
#[derive(Debug, Clone, PartialEq)]
pub struct Problems(pub Vec<Diagnostic>);

impl Problems {
    /// The messages as text, one after the other.
    #[must_use]
    pub fn render(&self) -> String {
        self.0
            .iter()
            .map(Diagnostic::render)
            .collect::<Vec<_>>()
            .join("\n")
    }
}

impl Problems {
    /// Moves "this file cannot be read" to the spot where another file names it: that is where the
    /// mistake is mended. Problems inside the file stay where they are.
    #[must_use]
    pub fn where_named(self, named: &Place, path: &Path) -> Self {
        let moved = self.0.into_iter().map(|mut one| {
            let whole = one.place.as_ref().is_none_or(|place| place.line == 0);
            if NOT_READ.contains(&one.code) && named.line > 0 && whole {
                one.message += &format!(": {}", path.display());
                one.place = Some(named.clone());
            }
            one
        });
        Self(moved.collect())
    }
}

impl Problems {
    /// Says in which file the mistake lies, where no place is told.
    #[must_use]
    pub fn in_file(mut self, file: &str) -> Self {
        for one in self.0.iter_mut().filter(|one| one.place.is_none()) {
            one.place = Some(Place::file(file));
        }
        self
    }

    /// Names a file by the path that leads there from where the program was called, so that
    /// `file:line:column` can be followed.
    #[must_use]
    pub fn at_path(mut self, name: &str, path: &Path) -> Self {
        let places = self.0.iter_mut().filter_map(|one| one.place.as_mut());
        for place in places.filter(|place| place.file == name) {
            place.file = path.display().to_string();
        }
        self
    }
}

/// Codes of problems with a file as a whole, before anything in it was looked at.
const NOT_READ: [&str; 3] = ["is-folder", "no-file", "unreadable"];

impl From<Diagnostic> for Problems {
    fn from(one: Diagnostic) -> Self {
        Self(vec![one])
    }
}

impl fmt::Display for Problems {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.render().trim_end())
    }
}

impl std::error::Error for Problems {}

/// A warning as it stands in the results file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Warning {
    /// A short fixed word for machines.
    pub code: String,
    /// What was noticed.
    pub text: String,
    /// The file it was noticed in.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub file: Option<String>,
    /// The line, from 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub line: Option<usize>,
    /// What to do.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub hint: Option<String>,
}

impl From<&Diagnostic> for Warning {
    fn from(one: &Diagnostic) -> Self {
        let place = one.place.as_ref();
        Self {
            code: one.code.to_owned(),
            text: one.message.clone(),
            file: place.map(|place| place.file.clone()),
            line: place.map(|place| place.line).filter(|line| *line > 0),
            hint: (!one.hints.is_empty()).then(|| one.hints.join("; ")),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_caret_stands_under_the_word_even_behind_tabs_and_wide_letters() {
        let source = Source::new("a.toml", "x = 1\n\tä = \"漢 N\"\n");
        let at = source.text.find("漢").unwrap();
        let place = source.place(at..at + "漢 N".len());
        assert_eq!((place.line, place.column, place.width), (2, 7, 3));
        let text = Diagnostic::error("e", "wrong")
            .at(place)
            .label("here")
            .hint("mend it")
            .render();
        assert_eq!(
            text,
            "error: wrong\n  at a.toml:2:7\n    |\n  2 |  ä = \"漢 N\"\n    |       ^^^^ here\n  hint: mend it\n"
        );
    }

    #[test]
    fn no_name_reaches_the_terminal_as_more_than_text() {
        let name = "a\u{1b}[31m\u{202e}b\u{200f}\t";
        let source = Source::new(name, &*format!("{name} = 1\n"));
        let text = Diagnostic::error("e", format!("unknown key `{name}`"))
            .at(source.place(0..3))
            .label(name)
            .hint(name)
            .render();
        let hostile = |ch: char| ch != '\n' && (ch.is_control() || turns_writing(ch));
        assert!(!text.contains(hostile), "{text:?}");
        assert_eq!(text.lines().count(), 6, "{text}");
    }

    #[test]
    fn carriage_returns_and_bad_bytes_do_not_move_lines() {
        let bytes = b"a\r\n\r\n\xffb,c\r\n";
        let place = place_in("l", bytes, 8..9);
        assert_eq!((place.line, place.column, place.width), (3, 4, 1));
        assert_eq!(place.text, "\u{fffd}b,c");
    }

    #[test]
    fn the_nearest_name_must_be_near() {
        assert_eq!(
            nearest("capcity", ["capacity", "carries"]),
            Some("capacity")
        );
        assert_eq!(nearest("thrust", ["capacity", "carries"]), None);
    }
}
