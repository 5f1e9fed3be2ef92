//! Whether the numbers of the program's own files are plausible.
//!
//! `plant.json` and `gains.json` are written by the program and read back, perhaps edited or made by
//! another one in between. What reads them asks here first: a number out of its range is named by its
//! path, so that whoever holds the text can show it. The ranges are wide, and no measured rig comes near
//! their ends; beyond them loops and flights take for ever, or come out as no number at all.

use std::cmp::Ordering;

use indexmap::IndexMap;

use crate::diagnostic::{Code, Diagnostic, Error, Place};
use crate::quantity::Measured;
use crate::quantity::range::{Range, plainly};

/// One number out of its range.
#[derive(Debug, Clone, PartialEq)]
pub struct Misfit {
    /// Keys and places in lists that lead to it.
    pub path: Vec<String>,
    /// What is wrong with it, after its path.
    pub what: String,
}

impl Misfit {
    /// The message, at a place that is known.
    #[must_use]
    pub fn at(&self, place: Place) -> Diagnostic {
        Diagnostic::error(
            Code::Implausible,
            format!("`{}` {}", self.path.join("."), self.what),
        )
        .at(place)
        .hint("correct it, or write the file anew with the command that makes it")
    }
}

/// Data whose numbers have plausible ranges.
pub trait Plausible {
    /// Every number out of its range.
    fn misfits(&self) -> Vec<Misfit>;

    /// Refuses such numbers; `named` is the file they came from.
    ///
    /// # Errors
    /// There are any.
    fn validate(&self, named: &str) -> Result<(), Error> {
        let found = self.misfits();
        let told = found.iter().map(|one| one.at(Place::file(named)));
        Error::if_any(told.collect())
    }
}

/// Collects misfits under a path.
#[derive(Debug, Default)]
pub(crate) struct Validator {
    path: Vec<String>,
    found: Vec<Misfit>,
}

impl Validator {
    /// Looks at what lies under a key.
    pub(crate) fn within(&mut self, key: &(impl ToString + ?Sized), look: impl FnOnce(&mut Self)) {
        self.path.push(key.to_string());
        look(self);
        self.path.pop();
    }

    /// Tells of the value under a key.
    pub(crate) fn misfit(&mut self, key: &(impl ToString + ?Sized), what: impl Into<String>) {
        let mut path = self.path.clone();
        path.push(key.to_string());
        self.found.push(Misfit {
            path,
            what: what.into(),
        });
    }

    /// How each of the program's files of axes begins: a schema number that this program reads, and one axis or
    /// more, each of which is looked at.
    pub(crate) fn axes<Axis>(
        &mut self,
        (schema, read): (u32, u32),
        axes: &IndexMap<String, Axis>,
        look: impl Fn(&Axis, &mut Self),
    ) {
        if schema != read {
            self.misfit(
                "schema",
                format!("is {schema}, and this program reads {read}"),
            );
        }
        if axes.is_empty() {
            self.misfit("axes", "holds no axis");
        }
        self.within("axes", |validator| {
            for (name, axis) in axes {
                validator.within(name, |validator| look(axis, validator));
            }
        });
    }

    /// A number that lies between two ends.
    pub(crate) fn number(&mut self, key: &str, value: f64, low: f64, high: f64) {
        let range = Range::Between(low, high);
        if !range.holds(value, 1.0) {
            self.misfit(key, range.rule(""));
        }
    }

    /// The same of a number that may be absent.
    pub(crate) fn perhaps(&mut self, key: &str, value: Option<f64>, low: f64, high: f64) {
        if let Some(value) = value {
            self.number(key, value, low, high);
        }
    }

    /// A measured number that lies between two ends, if it is known.
    pub(crate) fn measured(&mut self, key: &str, of: Option<&Measured>, low: f64, high: f64) {
        if let Some(of) = of {
            self.within(key, |validator| {
                validator.number("value", of.value, low, high);
                validator.number("u", of.u, 0.0, LARGEST);
            });
        }
    }

    /// Times that rise, from and to no further than a number of seconds, and a value for each.
    pub(crate) fn course(
        &mut self,
        (key, time_s): (&str, &[f64]),
        values: (&str, &[f64], f64),
        ends_s: f64,
    ) {
        let (named, values, largest) = values;
        if time_s.len() < 2 {
            self.misfit(key, "needs two times or more");
        }
        if time_s.len() != values.len() {
            self.misfit(named, format!("needs one number for each of `{key}`"));
        }
        let falls = time_s
            .windows(2)
            .position(|pair| pair[0].partial_cmp(&pair[1]) != Some(Ordering::Less));
        let far = time_s
            .iter()
            .position(|time| !(-ends_s..=ends_s).contains(time));
        let large = values
            .iter()
            .position(|value| !(-largest..=largest).contains(value));
        if let Some(at) = falls {
            self.within(key, |validator| {
                validator.misfit(&(at + 1), "must be later than the one before it");
            });
        } else if let Some(at) = far {
            self.within(key, |validator| {
                validator.misfit(&at, format!("lies more than {} s away", plainly(ends_s)));
            });
        }
        if let Some(at) = large {
            self.within(named, |validator| {
                validator.misfit(&at, format!("must be no larger than {}", plainly(largest)));
            });
        }
    }

    /// What was found.
    #[must_use]
    pub(crate) fn done(self) -> Vec<Misfit> {
        self.found
    }
}

/// Largest size of anything.
pub(crate) const LARGEST: f64 = 1e12;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_number_is_named_by_its_path() {
        let mut validator = Validator::default();
        validator.within("axes", |validator| {
            validator.number("gain", f64::NAN, 0.0, 1e9);
            validator.perhaps("travel", Some(5.0), 0.0, 90.0);
            validator.course(("t", &[0.0, 2.0, 1.0]), ("n", &[0.0, 1e99], 10.0), 9.0);
        });
        let told: Vec<String> = validator
            .done()
            .iter()
            .map(|one| one.at(Place::file("f")).message)
            .collect();
        assert_eq!(
            told,
            [
                "`axes.gain` must lie between 0 and 1e9",
                "`axes.n` needs one number for each of `t`",
                "`axes.t.2` must be later than the one before it",
                "`axes.n.1` must be no larger than 10",
            ]
        );
    }
}
