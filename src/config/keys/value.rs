//! A value of a file read as what its key declares, and what to say when it is not that.

use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::file::File;
use super::table::Value;
use super::{Key, Kind, Measure, TO_COMPLETE};
use crate::diagnostic::{Code, Diagnostic, Located, Place, nearest};
use crate::quantity::Spread;
use crate::quantity::given::{self, QuantityProblem, plausible};
use crate::quantity::range::Range as Allowed;
use crate::quantity::unit::{self, WrittenUnit};

/// What reads the value of one key.
pub(super) struct Reader<'a, 'b> {
    pub(super) file: &'a File<'a>,
    pub(super) key: &'static Key,
    /// Keys that lead to it, with points between them.
    pub(super) path: &'b str,
}

impl<'a, 'b> Reader<'a, 'b> {
    pub(super) fn new(file: &'a File<'a>, key: &'static Key, path: &'b str) -> Self {
        Self { file, key, path }
    }

    /// Reads a value that is no table; `None` when it was at fault, which has been told then.
    pub(super) fn read(&self, value: &Spanned<DeValue<'_>>) -> Option<Value<'a>> {
        match self.key.kind {
            Kind::Text | Kind::Path => self.text(value).map(Value::Text),
            Kind::Character => self.character(value).map(Value::Text),
            Kind::Date => self.date(value).map(Value::Text),
            Kind::Boolean => {
                let answer = value.get_ref().as_bool().map(Value::Boolean);
                self.or_wrong_kind(answer, value, "true or false")
            }
            Kind::Count => self.whole(value).map(Value::Number),
            Kind::Number => self.number(value).map(Value::Number),
            Kind::Plain => self.plain(value),
            Kind::Quantity(of) | Kind::QuantityOrWord(of, _) | Kind::QuantityOrTable(of, _) => {
                let (si, spread) = self.quantity(value, of)?;
                Some(Value::Quantity(si, spread))
            }
            Kind::Quantities(of) => self.quantities(value, of).map(Value::Numbers),
            Kind::Interval(of) => self.interval(value, of).map(Value::Numbers),
            Kind::Texts => self.texts(value).map(Value::Texts),
            Kind::Pairs => self.pairs(value).map(Value::Pairs),
            Kind::Choice(words) | Kind::ChoiceOrTable(words, _) => {
                self.choice(value, &words()).map(Value::Text)
            }
            Kind::Unit(of) => self.unit(value, of).map(Value::Unit),
            Kind::Signal(_)
            | Kind::Table(_)
            | Kind::Tables(_)
            | Kind::TablesBy(..)
            | Kind::Says => None,
        }
    }

    /// A table as it stands in the file.
    pub(super) fn table<'v, 'd>(&self, value: &'v Spanned<DeValue<'d>>) -> Option<&'v DeTable<'d>> {
        self.or_wrong_kind(value.get_ref().as_table(), value, "a table")
    }

    fn mistake(&self, mistake: Diagnostic) {
        self.file.mistake(mistake);
    }

    /// Whether the maker has yet to give the value; that is a mistake.
    pub(super) fn is_to_complete(&self, value: &Spanned<DeValue<'_>>) -> bool {
        let text = value.get_ref().as_str();
        let open = text.is_some_and(|text| text.starts_with(TO_COMPLETE));
        if open {
            self.to_complete(value.span());
        }
        open
    }

    fn to_complete(&self, span: Range<usize>) {
        let text = format!("`{}` is still to be completed", self.path);
        self.mistake(
            Diagnostic::error(Code::ToComplete, text)
                .at(self.file.inside(span))
                .hint("write what belongs here; the comment beside it says what"),
        );
    }

    fn wrong_kind(&self, value: &Spanned<DeValue<'_>>, wanted: &str) {
        self.mistake(
            Diagnostic::error(Code::WrongKind, format!("`{}` must be {wanted}", self.path))
                .at(self.file.place(value.span()))
                .label(format!("this is {}", article(value.get_ref().type_str()))),
        );
    }

    fn or_wrong_kind<T>(
        &self,
        read: Option<T>,
        value: &Spanned<DeValue<'_>>,
        wanted: &str,
    ) -> Option<T> {
        if read.is_none() {
            self.wrong_kind(value, wanted);
        }
        read
    }

    fn text(&self, value: &Spanned<DeValue<'_>>) -> Option<String> {
        let text = value.get_ref().as_str().map(str::to_owned);
        self.or_wrong_kind(text, value, "text in quotes")
    }

    fn character(&self, value: &Spanned<DeValue<'_>>) -> Option<String> {
        let text = self.text(value)?;
        let word = if text == "\\t" || text == "tab" {
            "\t"
        } else {
            text.as_str()
        };
        if word.len() == 1 {
            return Some(word.to_owned());
        }
        let message = format!("`{}` must be one plain character", self.path);
        self.mistake(
            Diagnostic::error(Code::WrongKind, message)
                .at(self.file.inside(value.span()))
                .hint("for a tabulator write \"\\t\""),
        );
        None
    }

    fn date(&self, value: &Spanned<DeValue<'_>>) -> Option<String> {
        let date = match value.get_ref() {
            DeValue::Datetime(date) => Some(date.to_string()),
            other => other.as_str().map(str::to_owned),
        };
        self.or_wrong_kind(date, value, "a date such as 2026-03-14")
    }

    fn number(&self, value: &Spanned<DeValue<'_>>) -> Option<f64> {
        let number = self.bare(value)?;
        self.in_range(number, 1.0, self.file.place(value.span()))
    }

    fn bare(&self, value: &Spanned<DeValue<'_>>) -> Option<f64> {
        let number = bare_number(value.get_ref());
        self.or_wrong_kind(number, value, "a finite number without quotes")
    }

    fn whole(&self, value: &Spanned<DeValue<'_>>) -> Option<f64> {
        let number = self.bare(value)?;
        let place = self.file.place(value.span());
        if number >= 0.0 && number.fract() == 0.0 && number <= MOST_COUNTED {
            return self.in_range(number, 1.0, place);
        }
        let message = format!("`{}` must be a whole number, zero or more", self.path);
        self.mistake(Diagnostic::error(Code::WrongKind, message).at(place));
        None
    }

    /// Refuses a number outside the range that the key declares.
    fn in_range(&self, value: f64, unit_size: f64, place: Place) -> Option<f64> {
        let (range, unit, why) = (self.key.range, self.key.unit, self.key.why);
        if range == Allowed::Any || range.holds(value, unit_size) {
            return Some(value);
        }
        let mut message = format!("`{}` {}", self.path, range.rule(unit));
        if !why.is_empty() {
            message += &format!(": {why}");
        }
        self.mistake(Diagnostic::error(Code::OutOfRange, message).at(place));
        None
    }

    /// Size of the unit that the ends of the range are in.
    fn unit_size(&self) -> f64 {
        unit::parse(self.key.unit).map_or(1.0, |unit| unit.factor)
    }

    fn quantity(&self, value: &Spanned<DeValue<'_>>, of: Measure) -> Option<(f64, Spread)> {
        let DeValue::String(text) = value.get_ref() else {
            self.not_quoted(value, of);
            return None;
        };
        match given::parse_as(text, of.dimension) {
            Ok((si, spread)) => {
                let place = self.file.inside(value.span());
                let si = self.in_range(si, self.unit_size(), place)?;
                Some((si, spread))
            }
            Err(problem) => {
                self.mistake(self.quantity_mistake(of, text, value.span(), problem));
                None
            }
        }
    }

    fn not_quoted(&self, value: &Spanned<DeValue<'_>>, of: Measure) {
        let (code, label) = if bare_number(value.get_ref()).is_some() {
            (Code::NoUnit, "a number without a unit".to_owned())
        } else {
            let kind = article(value.get_ref().type_str());
            (Code::WrongKind, format!("this is {kind}"))
        };
        let message = format!("`{}` needs {} with its unit", self.path, article(of.name));
        let units = of.units.join(", ");
        self.mistake(
            Diagnostic::error(code, message)
                .at(self.file.place(value.span()))
                .label(label)
                .hint(format!("write it in quotes with one of {units}")),
        );
    }

    /// A number without unit, bare or as text that may carry an uncertainty.
    fn plain(&self, value: &Spanned<DeValue<'_>>) -> Option<Value<'a>> {
        let hint = "a plain number will do, such as \"0.03 ± 0.005\"";
        let (number, spread, place) = match value.get_ref() {
            DeValue::String(text) => match given::parse_plain(text) {
                Ok(given) => (given.si(), given.spread, self.file.inside(value.span())),
                Err(problem) => {
                    let of = super::PLAIN;
                    let mistake = self.quantity_mistake(of, text, value.span(), problem);
                    self.mistake(mistake.hint(hint));
                    return None;
                }
            },
            other => {
                let wanted = "a number, such as 0.03 or \"0.03 ± 0.005\"";
                let number = self.or_wrong_kind(bare_number(other), value, wanted)?;
                (number, Spread::Unstated, self.file.place(value.span()))
            }
        };
        let number = self.in_range(number, 1.0, place)?;
        Some(Value::Quantity(number, spread))
    }

    fn list<'v, 'd>(
        &self,
        value: &'v Spanned<DeValue<'d>>,
        wanted: &str,
    ) -> Option<impl Iterator<Item = &'v Spanned<DeValue<'d>>>> {
        let list = value.get_ref().as_array();
        Some(self.or_wrong_kind(list, value, wanted)?.iter())
    }

    fn quantities(&self, value: &Spanned<DeValue<'_>>, of: Measure) -> Option<Vec<f64>> {
        let list = self.list(value, "a list in square brackets")?;
        // Every one is looked at before one that is at fault spoils the list.
        let read: Vec<Option<f64>> = list
            .map(|one| self.quantity(one, of).map(|read| read.0))
            .collect();
        read.into_iter().collect()
    }

    fn interval(&self, value: &Spanned<DeValue<'_>>, of: Measure) -> Option<Vec<f64>> {
        let ends = self.quantities(value, of)?;
        if let [low, high] = ends.as_slice()
            && low < high
        {
            return Some(ends);
        }
        let name = of.name;
        let message = format!(
            "`{}` needs two values of {name}, the smaller first",
            self.path
        );
        self.mistake(
            Diagnostic::error(Code::WrongKind, message)
                .at(self.file.place(value.span()))
                .hint(format!("write {}", self.key.example())),
        );
        None
    }

    fn texts(&self, value: &Spanned<DeValue<'_>>) -> Option<Vec<Located<String>>> {
        let list = self.list(value, "a list in square brackets")?;
        list.map(|one| {
            let text = one.get_ref().as_str();
            let text = self.or_wrong_kind(text, one, "a list of texts in quotes")?;
            Some(Located {
                value: text.to_owned(),
                place: self.file.inside(one.span()),
            })
        })
        .collect()
    }

    fn pairs(&self, value: &Spanned<DeValue<'_>>) -> Option<Vec<Located<(f64, f64)>>> {
        let wanted = "a list of pairs of numbers, such as [[0.0, 0.0], [0.1, 5.0]]";
        let list = self.list(value, wanted)?;
        list.map(|one| {
            let pair = self.or_wrong_kind(pair_of(one.get_ref()), one, wanted)?;
            Some(Located {
                value: pair,
                place: self.file.place(one.span()),
            })
        })
        .collect()
    }

    fn choice(&self, value: &Spanned<DeValue<'_>>, words: &[&'static str]) -> Option<String> {
        let text = self.text(value)?;
        if words.contains(&text.as_str()) {
            return Some(text);
        }
        let list: Vec<String> = words.iter().map(|word| format!("\"{word}\"")).collect();
        let message = format!("`{}` cannot be \"{text}\"", self.path);
        let mut mistake = Diagnostic::error(Code::UnknownWord, message)
            .at(self.file.inside(value.span()))
            .hint(format!("use one of {}", list.join(", ")));
        if let Some(word) = nearest(&text, words.iter().copied()) {
            mistake = mistake.label(format!("did you mean \"{word}\"?"));
        }
        self.mistake(mistake);
        None
    }

    fn unit(&self, value: &Spanned<DeValue<'_>>, of: Option<Measure>) -> Option<WrittenUnit> {
        let text = self.text(value)?;
        let place = self.file.inside(value.span());
        let units = of.map(|of| of.units.join(", "));
        match unit::parse(&text) {
            Ok(unit) if of.is_none_or(|of| of.dimension == unit.dimension) => return Some(unit),
            Ok(_) => {
                let what = of.map_or("this", |of| of.name);
                self.mistake(
                    Diagnostic::error(Code::WrongUnit, format!("`{text}` is not a unit of {what}"))
                        .at(place)
                        .hint(format!("use one of {}", units.unwrap_or_default())),
                );
            }
            Err(problem) => {
                let message = format!("`{}` is not a unit known here", problem.symbol);
                let examples = units.as_deref().unwrap_or("N, kg, mm, deg, deg/s, Hz, V");
                let mut mistake = Diagnostic::error(Code::UnknownUnit, message)
                    .at(place)
                    .hint(format!("units are written as in {examples}"));
                if let Some(near) = problem.nearest {
                    mistake = mistake.label(format!("did you mean `{near}`?"));
                }
                self.mistake(mistake);
            }
        }
        None
    }

    fn quantity_mistake(
        &self,
        of: Measure,
        text: &str,
        span: Range<usize>,
        problem: QuantityProblem,
    ) -> Diagnostic {
        let (path, what, units) = (self.path, article(of.name), of.units.join(", "));
        let place = |range| self.file.part(span.clone(), text, range);
        match problem {
            QuantityProblem::NotANumber { range } => Diagnostic::error(
                Code::NotANumber,
                format!("`{path}` must start with a number"),
            )
            .at(place(range))
            .hint(format!("write for example \"1.5 {}\"", of.units[0])),
            QuantityProblem::DecimalComma { range } => {
                let message = format!("`{path}` has a comma in its number");
                Diagnostic::error(Code::NotANumber, message)
                    .at(place(range))
                    .hint("write a decimal point: \"1.5\", not \"1,5\"")
            }
            QuantityProblem::NoUnit { range } => {
                Diagnostic::error(Code::NoUnit, format!("`{path}` needs {what} with its unit"))
                    .at(place(range))
                    .label("a number without a unit")
                    .hint(format!("add one of {units}"))
            }
            QuantityProblem::UnknownUnit {
                symbol,
                range,
                nearest,
            } => {
                let message = format!("`{symbol}` is not a unit known here");
                let out = Diagnostic::error(Code::UnknownUnit, message)
                    .at(place(range))
                    .hint(format!("`{path}` takes {what}: {units}"));
                match nearest {
                    Some(near) => out.label(format!("did you mean `{near}`?")),
                    None => out,
                }
            }
            QuantityProblem::WrongUnit { unit, range } => {
                let message = format!("`{path}` is {what}, and `{unit}` is not a unit of that");
                Diagnostic::error(Code::WrongUnit, message)
                    .at(place(range))
                    .label("wrong kind of unit")
                    .hint(format!("use one of {units}"))
            }
            QuantityProblem::OutOfRange { range } => {
                let message = format!(
                    "`{path}` must be of a size that a rig can have, and its uncertainty not below zero"
                );
                Diagnostic::error(Code::OutOfRange, message)
                    .at(place(range))
                    .hint("look for a mistyped exponent or sign")
            }
        }
    }
}

/// Largest count: above it a number has no ones.
const MOST_COUNTED: f64 = 1e15;

fn bare_number(value: &DeValue<'_>) -> Option<f64> {
    let text = match value {
        DeValue::Integer(number) if number.radix() == 10 => number.as_str(),
        DeValue::Float(number) => number.as_str(),
        _ => return None,
    };
    let number = text.replace('_', "").parse::<f64>().ok();
    number.filter(|number| plausible(*number))
}

fn pair_of(value: &DeValue<'_>) -> Option<(f64, f64)> {
    let pair = value.as_array().filter(|pair| pair.len() == 2)?;
    let number = |at: usize| bare_number(pair.get(at)?.get_ref());
    Some((number(0)?, number(1)?))
}

fn article(kind: &str) -> String {
    let an = kind.starts_with(['a', 'e', 'i', 'o', 'u']);
    format!("{} {kind}", if an { "an" } else { "a" })
}
