//! Quantities and units in a TOML file: what a person may write, and what to say when it is not that.

use std::ops::Range;

use toml::Spanned;
use toml::de::DeValue;

use super::{Table, article, bare_number};
use crate::diagnostic::{Diagnostic, Located};
use crate::quantity::given::{self, QuantityProblem};
use crate::quantity::unit::{self, Unit};
use crate::quantity::{Given, Quantity, Ratio};

impl<'a> Table<'a> {
    /// A quantity with its unit.
    pub fn quantity<Q: Quantity>(&mut self, key: &'static str) -> Option<Given<Q>> {
        self.located_quantity(key).map(|located| located.value)
    }

    /// A quantity with its unit, and where it stands.
    pub fn located_quantity<Q: Quantity>(
        &mut self,
        key: &'static str,
    ) -> Option<Located<Given<Q>>> {
        let value = self.take(key)?;
        let value = self.quantity_in::<Q>(key, value)?;
        Some(value)
    }

    /// A quantity that only makes sense above zero: a length of an arm, a mass, a capacity.
    pub fn positive<Q: Quantity>(&mut self, key: &'static str) -> Option<Given<Q>> {
        self.bounded(key, |value| value > 0.0, "must be above zero")
    }

    /// A quantity that may be zero, but not less: a tolerance, a share.
    pub fn not_negative<Q: Quantity>(&mut self, key: &'static str) -> Option<Given<Q>> {
        self.bounded(key, |value| value >= 0.0, "cannot be below zero")
    }

    /// A quantity that a test accepts; `rule` completes the sentence "`key` ..".
    pub fn bounded<Q: Quantity>(
        &mut self,
        key: &'static str,
        accepts: impl Fn(f64) -> bool,
        rule: &str,
    ) -> Option<Given<Q>> {
        let found = self.located_quantity::<Q>(key)?;
        if accepts(found.value.si()) {
            return Some(found.value);
        }
        let message = format!("`{}` {rule}", self.path_of(key));
        self.mistake(Diagnostic::error("out-of-range", message).at(found.place));
        None
    }

    /// A quantity above zero that must be there.
    pub fn need_positive<Q: Quantity>(&mut self, key: &'static str) -> Option<Given<Q>> {
        if !self.has(key) {
            self.missing(
                key,
                &format!("{} such as \"1 {}\"", article(Q::NAME), Q::UNITS[0]),
            );
        }
        self.positive(key)
    }

    /// A quantity that must be there.
    pub fn need_quantity<Q: Quantity>(&mut self, key: &'static str) -> Option<Given<Q>> {
        if !self.has(key) {
            self.missing(
                key,
                &format!("{} such as \"1 {}\"", article(Q::NAME), Q::UNITS[0]),
            );
        }
        self.quantity(key)
    }

    /// A list of quantities.
    pub fn quantities<Q: Quantity>(&mut self, key: &'static str) -> Option<Vec<Given<Q>>> {
        let value = self.take(key)?;
        let DeValue::Array(list) = value.get_ref() else {
            self.wrong_kind(key, value, "a list in square brackets");
            return None;
        };
        list.iter()
            .map(|one| self.quantity_in::<Q>(key, one).map(|one| one.value))
            .collect()
    }

    /// A number without unit, bare or as text that may carry an uncertainty.
    pub fn plain_ratio(&mut self, key: &'static str) -> Option<Located<Given<Ratio>>> {
        let value = self.take(key)?;
        if let Some(number) = bare_number(value.get_ref()) {
            return Some(Located {
                value: Given::plain(Ratio::fraction(number)),
                place: self.source.place(value.span()),
            });
        }
        let DeValue::String(text) = value.get_ref() else {
            self.wrong_kind(key, value, "a number, such as 0.03 or \"0.03 ± 0.005\"");
            return None;
        };
        match given::parse_plain(text) {
            Ok(ratio) => Some(Located {
                value: ratio,
                place: self.inside(value.span()),
            }),
            Err(problem) => {
                let mistake = self.quantity_mistake::<Ratio>(key, text, value.span(), problem);
                self.mistake(mistake.hint("a plain number will do, such as \"0.03 ± 0.005\""));
                None
            }
        }
    }

    fn quantity_in<Q: Quantity>(
        &self,
        key: &str,
        value: &'a Spanned<DeValue<'a>>,
    ) -> Option<Located<Given<Q>>> {
        let DeValue::String(text) = value.get_ref() else {
            let path = self.path_of(key);
            let number = bare_number(value.get_ref()).is_some();
            let (code, label) = if number {
                ("no-unit", "a number without a unit".to_owned())
            } else {
                (
                    "wrong-kind",
                    format!("this is {}", article(value.get_ref().type_str())),
                )
            };
            self.mistake(
                Diagnostic::error(
                    code,
                    format!("`{path}` needs {} with its unit", article(Q::NAME)),
                )
                .at(self.source.place(value.span()))
                .label(label)
                .hint(format!(
                    "write it in quotes with one of {}",
                    Q::UNITS.join(", ")
                )),
            );
            return None;
        };
        let place = self.inside(value.span());
        match given::parse::<Q>(text) {
            Ok(quantity) => Some(Located {
                value: quantity,
                place,
            }),
            Err(problem) => {
                let mistake = self.quantity_mistake::<Q>(key, text, value.span(), problem);
                self.mistake(mistake);
                None
            }
        }
    }

    fn quantity_mistake<Q: Quantity>(
        &self,
        key: &str,
        text: &str,
        span: Range<usize>,
        problem: QuantityProblem,
    ) -> Diagnostic {
        let path = self.path_of(key);
        let units = Q::UNITS.join(", ");
        let place = |range| self.part(span.clone(), text, range);
        match problem {
            QuantityProblem::NotANumber { range } => {
                Diagnostic::error("not-a-number", format!("`{path}` must start with a number"))
                    .at(place(range))
                    .hint(format!("write for example \"1.5 {}\"", Q::UNITS[0]))
            }
            QuantityProblem::DecimalComma { range } => Diagnostic::error(
                "not-a-number",
                format!("`{path}` has a comma in its number"),
            )
            .at(place(range))
            .hint("write a decimal point: \"1.5\", not \"1,5\""),
            QuantityProblem::NoUnit { range } => Diagnostic::error(
                "no-unit",
                format!("`{path}` needs {} with its unit", article(Q::NAME)),
            )
            .at(place(range))
            .label("a number without a unit")
            .hint(format!("add one of {units}")),
            QuantityProblem::UnknownUnit {
                symbol,
                range,
                nearest,
            } => {
                let out = Diagnostic::error(
                    "unknown-unit",
                    format!("`{symbol}` is not a unit known here"),
                )
                .at(place(range))
                .hint(format!("`{path}` takes {}: {units}", article(Q::NAME)));
                match nearest {
                    Some(near) => out.label(format!("did you mean `{near}`?")),
                    None => out,
                }
            }
            QuantityProblem::WrongUnit { unit, range } => Diagnostic::error(
                "wrong-unit",
                format!(
                    "`{path}` is {}, and `{unit}` is not a unit of that",
                    article(Q::NAME)
                ),
            )
            .at(place(range))
            .label("wrong kind of unit")
            .hint(format!("use one of {units}")),
            QuantityProblem::OutOfRange { range } => Diagnostic::error(
                "out-of-range",
                format!(
                    "`{path}` must be a number that can be meant, and an uncertainty not below zero"
                ),
            )
            .at(place(range))
            .hint("look for a mistyped exponent or sign"),
        }
    }

    /// A unit word.
    pub fn unit(&mut self, key: &'static str) -> Option<Located<Unit>> {
        let text = self.text(key)?;
        match unit::parse(&text.value) {
            Ok(unit) => Some(Located {
                value: unit,
                place: text.place,
            }),
            Err(problem) => {
                let mut mistake = Diagnostic::error(
                    "unknown-unit",
                    format!("`{}` is not a unit known here", problem.symbol),
                )
                .at(text.place)
                .hint("units are written as in N, kg, mm, deg, deg/s, Hz, V");
                if let Some(near) = problem.nearest {
                    mistake = mistake.label(format!("did you mean `{near}`?"));
                }
                self.mistake(mistake);
                None
            }
        }
    }
}
