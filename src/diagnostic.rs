//! What went wrong, where, and what to do: one shape for every message.
//!
//! Stages describe a problem by facts in an enum of their own and turn it into a [`Diagnostic`] in
//! one place; [`Diagnostic::render`] draws the source line and the caret, once for all of them.

mod code;
mod error;
mod place;
mod source;

use serde::{Deserialize, Serialize};
use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

pub use code::{Code, ErrorKind};
pub use error::Error;
pub(crate) use place::Located;
pub use place::Place;
pub(crate) use source::{Source, cannot_read, nearest, not_a_folder, read_bytes};

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
    /// What it is about.
    pub code: Code,
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
    pub fn error(code: Code, message: impl Into<String>) -> Self {
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
    pub fn warning(code: Code, message: impl Into<String>) -> Self {
        Self {
            severity: Severity::Warning,
            ..Self::error(code, message)
        }
    }

    /// The kind of thing it is about.
    #[must_use]
    pub const fn kind(&self) -> ErrorKind {
        self.code.kind()
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

/// A warning as it stands in the results file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Warning {
    /// A short fixed word for machines.
    #[cfg_attr(test, schemars(with = "String"))]
    pub code: Code,
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
            code: one.code,
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
        let text = Diagnostic::error(Code::UnknownKey, "wrong")
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
        let text = Diagnostic::error(Code::UnknownKey, format!("unknown key `{name}`"))
            .at(source.place(0..3))
            .label(name)
            .hint(name)
            .render();
        let hostile = |ch: char| ch != '\n' && (ch.is_control() || turns_writing(ch));
        assert!(!text.contains(hostile), "{text:?}");
        assert_eq!(text.lines().count(), 6, "{text}");
    }
}
