//! Text whose every number, name and quotation knows where in the data it stands.
//!
//! The words between them are fixed at compile time, so that nothing can be shown that is not in the
//! JSON: a [`Part`] is either a word of the program or a value with its path (RFC 6901, from the root
//! of the file that the same data is written to). A renderer decides how a value is written.

use crate::finding::Outcome;
use crate::quantity::{Measured, Unit};

/// Words and values in a row.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Text {
    /// From left to right, without spaces between them.
    pub parts: Vec<Part>,
}

/// A piece of a text.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Part {
    /// Words of the program.
    Words(&'static str),
    /// A word in the colour of an outcome.
    Judged(Outcome, &'static str),
    /// Something of the data.
    Value {
        /// Where it stands in the file.
        path: String,
        /// What it is, and how it is to be written.
        shown: Shown,
    },
}

/// A value of the data.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Shown {
    /// A sentence or a word, whole.
    Quote(String),
    /// A name that a key holds or a text is, shortened where it is too long for a sentence.
    Name(String),
    /// A result with its interval.
    Measured(Measured),
    /// The same where there is little room.
    Compact(Measured),
    /// Such a result, or a number, in US customary units.
    Customary(Box<Shown>),
    /// A number without uncertainty, to some significant digits, with its unit.
    Number(f64, usize, Unit),
    /// A term of a sum that is not the first: its sign, and its size to some significant digits.
    Term(f64, usize),
    /// A number as it is typed into a file: with a plain hyphen.
    Typed(f64, usize),
    /// A share, written as per cent to some digits.
    Share(f64, usize),
    /// A probability.
    Probability(f64),
    /// A time on a recorder's clock, to the millisecond.
    ClockTime(f64),
    /// A whole number.
    Count(u64),
    /// How many there are in a list or table.
    Length(usize),
    /// Which one of a list, counted from one.
    Ordinal(usize),
    /// Nothing is known; what to say instead.
    Missing(&'static str),
}

impl Shown {
    /// Whether there is a US customary unit for it.
    pub(crate) fn is_customary(&self) -> bool {
        let unit = match self {
            Self::Measured(of) | Self::Compact(of) => of.unit,
            Self::Number(.., unit) => *unit,
            _ => return false,
        };
        unit.customary().is_some()
    }
}

impl Text {
    /// The text with something behind it.
    #[must_use]
    pub(crate) fn and(mut self, more: impl Into<Self>) -> Self {
        self.parts.extend(more.into().parts);
        self
    }

    /// Texts with something between them.
    #[must_use]
    pub(crate) fn joined(texts: impl IntoIterator<Item = Self>, between: &'static str) -> Self {
        let mut out = Self::default();
        for (nth, text) in texts.into_iter().enumerate() {
            if nth > 0 {
                out = out.and(between);
            }
            out = out.and(text);
        }
        out
    }

    /// Texts as one says them: `a`, `a and b`, `a, b and c`.
    #[must_use]
    pub(crate) fn listed(mut texts: Vec<Self>) -> Self {
        let Some(last) = texts.pop() else {
            return Self::default();
        };
        if texts.is_empty() {
            return last;
        }
        Self::joined(texts, ", ").and(" and ").and(last)
    }

    /// Whether the same is read in another, wherever it stands.
    #[must_use]
    pub(crate) fn reads_as(&self, other: &Self) -> bool {
        let same = |pair: (&Part, &Part)| match pair {
            (Part::Value { shown: one, .. }, Part::Value { shown: two, .. }) => one == two,
            (one, two) => one == two,
        };
        self.parts.len() == other.parts.len() && self.parts.iter().zip(&other.parts).all(same)
    }

    /// Whether there is nothing to read in it.
    #[must_use]
    pub(crate) fn is_empty(&self) -> bool {
        let silent = |part: &Part| matches!(part, Part::Words(""));
        self.parts.iter().all(silent)
    }
}

impl From<&'static str> for Text {
    fn from(words: &'static str) -> Self {
        Self {
            parts: vec![Part::Words(words)],
        }
    }
}

impl From<&&'static str> for Text {
    fn from(words: &&'static str) -> Self {
        Self::from(*words)
    }
}

impl From<Part> for Text {
    fn from(part: Part) -> Self {
        Self { parts: vec![part] }
    }
}

impl From<Option<Text>> for Text {
    fn from(text: Option<Self>) -> Self {
        text.unwrap_or_default()
    }
}

/// Words and values one behind the other.
macro_rules! text {
    ($($part:expr),+ $(,)?) => {
        $crate::view::text::Text::default()$(.and($part))+
    };
}
pub(crate) use text;
