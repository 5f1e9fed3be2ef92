//! Walking through data with the path at hand: what is taken from it as [`Text`] knows where it stands.
//!
//! `at!(burn.ignition_s)` is the field together with `/burn/ignition_s`, so that path and value cannot
//! part. A field that the file calls by another name says so: `at!(fit.share as "share_percent")`.

use indexmap::IndexMap;

use super::text::{Part, Shown, Text};
use crate::numeric::least_squares::Ended;
use crate::plan::expected::Origin;
use crate::plan::families::Family;
use crate::quantity::{Measured, Unit};
use crate::uncertainty::Kind;

/// What is said where a value is not known.
const NOT_AVAILABLE: &str = "not available";

/// Data and where it stands.
pub(crate) struct At<'a, T> {
    /// The data.
    pub of: &'a T,
    path: String,
}

/// A field, or a field of a field, with its path.
macro_rules! at {
    ($from:ident . $field:ident) => {
        $from.child(stringify!($field), &$from.of.$field)
    };
    ($from:ident . $field:ident as $key:literal) => {
        $from.child($key, &$from.of.$field)
    };
}
pub(crate) use at;

impl<'a, T> At<'a, T> {
    /// The whole of a file.
    pub(crate) fn root(of: &'a T) -> Self {
        Self {
            of,
            path: String::new(),
        }
    }

    /// Something inside, by its key.
    pub(crate) fn child<U>(&self, key: &str, of: &'a U) -> At<'a, U> {
        At {
            of,
            path: joined(&self.path, key),
        }
    }

    /// Something further inside, by the keys that lead to it.
    pub(crate) fn descendant<'k, U>(
        &self,
        keys: impl Iterator<Item = &'k str>,
        of: &'a U,
    ) -> At<'a, U> {
        let mut out = self.child("", of);
        out.path.clone_from(&self.path);
        for key in keys {
            out = out.child(key, of);
        }
        out
    }

    /// The elements of a list.
    pub(crate) fn each<U: 'a>(&self) -> impl ExactSizeIterator<Item = At<'a, U>> + use<'a, T, U>
    where
        T: AsRef<[U]>,
    {
        let path = self.path.clone();
        let elements = self.of.as_ref().iter().enumerate();
        elements.map(move |(nth, of)| At {
            of,
            path: format!("{path}/{nth}"),
        })
    }

    /// An element of an array.
    pub(crate) fn nth<U>(&self, nth: usize) -> At<'a, U>
    where
        T: AsRef<[U]>,
    {
        self.child(&nth.to_string(), &self.of.as_ref()[nth])
    }

    /// How many elements there are.
    pub(crate) fn length<U>(&self) -> Text
    where
        T: AsRef<[U]>,
    {
        self.value(Shown::Length(self.of.as_ref().len()))
    }

    /// Which element of its list this is, counted from one.
    pub(crate) fn ordinal(&self) -> Text {
        let last = self.path.rsplit('/').next().unwrap_or_default();
        self.value(Shown::Ordinal(
            last.parse::<usize>().map_or(0, |nth| nth + 1),
        ))
    }

    fn value(&self, shown: Shown) -> Text {
        let path = self.path.clone();
        Part::Value { path, shown }.into()
    }

    fn known<V>(&self, value: Option<V>, shown: impl FnOnce(V) -> Shown) -> Text {
        self.value(value.map_or(Shown::Missing(NOT_AVAILABLE), shown))
    }

    /// That it is not known, in these words.
    pub(crate) fn missing(&self, words: &'static str) -> Text {
        self.value(Shown::Missing(words))
    }
}

impl<'a, T> At<'a, Option<T>> {
    /// What is there, when something is.
    pub(crate) fn some(&self) -> Option<At<'a, T>> {
        let path = self.path.clone();
        self.of.as_ref().map(|of| At { of, path })
    }
}

impl<'a, T> At<'a, IndexMap<String, T>> {
    /// The entries, each with its name.
    pub(crate) fn entries(&self) -> impl ExactSizeIterator<Item = (Text, At<'a, T>)> + use<'a, T> {
        let whole = At {
            of: self.of,
            path: self.path.clone(),
        };
        self.of.iter().map(move |(name, of)| {
            let at = whole.child(name, of);
            (at.value(Shown::Name(name.clone())), at)
        })
    }

    /// How many entries there are.
    pub(crate) fn size(&self) -> Text {
        self.value(Shown::Length(self.of.len()))
    }
}

/// A path and one key more, written as a JSON pointer (RFC 6901).
fn joined(path: &str, key: &str) -> String {
    format!("{path}/{}", key.replace('~', "~0").replace('/', "~1"))
}

/// A number, or none.
pub(crate) trait Real {
    fn real(&self) -> Option<f64>;
}

impl Real for f64 {
    fn real(&self) -> Option<f64> {
        Some(*self)
    }
}

impl Real for Option<f64> {
    fn real(&self) -> Option<f64> {
        *self
    }
}

impl<T: Real> At<'_, T> {
    /// To some significant digits, with a unit.
    pub(crate) fn number(&self, digits: usize, unit: Unit) -> Text {
        self.known(self.of.real(), |value| Shown::Number(value, digits, unit))
    }

    /// As a term of a sum that is not the first.
    pub(crate) fn term(&self, digits: usize) -> Text {
        self.known(self.of.real(), |value| Shown::Term(value, digits))
    }

    /// As it is typed into a file.
    pub(crate) fn typed(&self, digits: usize) -> Text {
        self.known(self.of.real(), |value| Shown::Typed(value, digits))
    }

    /// A share as per cent.
    pub(crate) fn share(&self, digits: usize) -> Text {
        self.known(self.of.real(), |value| Shown::Share(value, digits))
    }

    /// A probability.
    pub(crate) fn probability(&self) -> Text {
        self.known(self.of.real(), Shown::Probability)
    }

    /// A time on a recorder's clock.
    pub(crate) fn clock_time(&self) -> Text {
        self.known(self.of.real(), Shown::ClockTime)
    }
}

/// A result, or none.
pub(crate) trait Quantity {
    fn quantity(&self) -> Option<&Measured>;
}

impl Quantity for Measured {
    fn quantity(&self) -> Option<&Measured> {
        Some(self)
    }
}

impl Quantity for Option<Measured> {
    fn quantity(&self) -> Option<&Measured> {
        self.as_ref()
    }
}

impl<T: Quantity> At<'_, T> {
    /// With interval and unit.
    pub(crate) fn measured(&self) -> Text {
        self.known(self.of.quantity().cloned(), Shown::Measured)
    }

    /// The same where there is little room.
    pub(crate) fn compact(&self) -> Text {
        self.known(self.of.quantity().cloned(), Shown::Compact)
    }
}

/// A word or a sentence, or none.
pub(crate) trait Said {
    fn said(&self) -> Option<&str>;
}

impl Said for String {
    fn said(&self) -> Option<&str> {
        Some(self)
    }
}

impl Said for Unit {
    fn said(&self) -> Option<&str> {
        Some(self.symbol())
    }
}

impl Said for Kind {
    fn said(&self) -> Option<&str> {
        Some(self.word())
    }
}

impl Said for Ended {
    fn said(&self) -> Option<&str> {
        Some(self.words())
    }
}

impl Said for Origin {
    fn said(&self) -> Option<&str> {
        Some(self.word())
    }
}

impl Said for Family {
    fn said(&self) -> Option<&str> {
        Some(self.word())
    }
}

impl Said for Option<String> {
    fn said(&self) -> Option<&str> {
        self.as_deref()
    }
}

impl<T: Said> At<'_, T> {
    /// Whole.
    pub(crate) fn quote(&self) -> Text {
        self.known(self.of.said().map(str::to_owned), Shown::Quote)
    }

    /// As a name inside a sentence.
    pub(crate) fn name(&self) -> Text {
        self.known(self.of.said().map(str::to_owned), Shown::Name)
    }
}

/// A whole number.
pub(crate) trait Whole: Copy {
    fn whole(self) -> u64;
}

impl Whole for usize {
    fn whole(self) -> u64 {
        self as u64
    }
}

impl Whole for u64 {
    fn whole(self) -> u64 {
        self
    }
}

impl<T: Whole> At<'_, T> {
    /// As it is.
    pub(crate) fn count(&self) -> Text {
        self.value(Shown::Count(self.of.whole()))
    }
}
