//! A quantity as a person writes it: `"310 mm"`, `"310 mm ± 1 mm"`, `"310 mm u 0.4 mm"`.
//!
//! `±` (or `+-`) gives limits: the value is somewhere between them with nothing to prefer, so the
//! standard uncertainty is the half width over the square root of three (JCGM 100:2008, 4.3.7).
//! `u` gives a standard uncertainty. Either may be a share of the value, in `%`.

use std::ops::Range;

use super::unit::{self, Dimension, WrittenUnit};
use super::{Quantity, Ratio};

/// How sure the person was.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Spread {
    /// Nothing was said.
    Unstated,
    /// Half width of limits, in coherent SI units.
    Limits(f64),
    /// A standard uncertainty, in coherent SI units.
    Standard(f64),
}

/// A value somebody gave.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Given<Q> {
    /// The value.
    pub value: Q,
    /// How sure they were.
    pub spread: Spread,
}

impl<Q: Quantity> Given<Q> {
    /// A value without stated uncertainty.
    #[must_use]
    pub const fn plain(value: Q) -> Self {
        Self {
            value,
            spread: Spread::Unstated,
        }
    }

    /// Value in coherent SI units.
    #[must_use]
    pub fn si(&self) -> f64 {
        self.value.to_si()
    }

    /// Standard uncertainty in coherent SI units; `None` when nothing was stated.
    #[must_use]
    pub fn standard_uncertainty(&self) -> Option<f64> {
        match self.spread {
            Spread::Unstated => None,
            Spread::Limits(half_width) => Some(half_width / 3.0_f64.sqrt()),
            Spread::Standard(u) => Some(u),
        }
    }
}

/// Why a written quantity could not be read. Ranges are bytes of the text.
#[derive(Debug, Clone, PartialEq)]
pub enum QuantityProblem {
    /// It does not start with a number.
    NotANumber {
        /// Where.
        range: Range<usize>,
    },
    /// A number without a unit.
    NoUnit {
        /// Where the unit should stand.
        range: Range<usize>,
    },
    /// A comma where the decimal point should stand.
    DecimalComma {
        /// Where.
        range: Range<usize>,
    },
    /// A unit nobody knows.
    UnknownUnit {
        /// The symbol.
        symbol: String,
        /// Where.
        range: Range<usize>,
        /// A known symbol that looks alike.
        nearest: Option<&'static str>,
    },
    /// A unit of another dimension.
    WrongUnit {
        /// The unit.
        unit: String,
        /// Where.
        range: Range<usize>,
    },
    /// An uncertainty below zero, or a number that is not finite.
    OutOfRange {
        /// Where.
        range: Range<usize>,
    },
}

/// Largest size of a number that somebody gave, in coherent SI units: more than anything on a stand comes
/// to, and its square is still a number.
pub const LARGEST: f64 = 1e30;

/// Smallest size of such a number that is not zero: one over it is still a number.
const SMALLEST: f64 = 1e-30;

/// Whether a number can be meant.
#[must_use]
pub fn plausible(value: f64) -> bool {
    value == 0.0 || (SMALLEST..=LARGEST).contains(&value.abs())
}

/// Reads a quantity of a known kind.
///
/// # Errors
/// What is wrong, and which bytes of the text are to blame.
pub fn parse<Q: Quantity>(text: &str) -> Result<Given<Q>, QuantityProblem> {
    let (si, spread) = parse_as(text, Q::DIMENSION)?;
    Ok(Given {
        value: Q::from_si(si),
        spread,
    })
}

/// The same where only the dimension is known: the value in coherent SI units, and its spread.
///
/// # Errors
/// What is wrong, and which bytes of the text are to blame.
pub fn parse_as(text: &str, of: Dimension) -> Result<(f64, Spread), QuantityProblem> {
    let (head, tail) = split_spread(text);
    let (value, unit) = number_and_unit(text, head.clone(), of)?;
    let value_si = unit.to_si(value);
    if !plausible(value_si) {
        return Err(QuantityProblem::OutOfRange {
            range: trimmed(text, head),
        });
    }
    let spread = match tail {
        None => Spread::Unstated,
        Some((mark, range)) => {
            let relative = text[range.clone()].trim_end().ends_with('%');
            let dimension = if relative { Ratio::DIMENSION } else { of };
            let (half_width, unit) = number_and_unit(text, range.clone(), dimension)?;
            let share = relative && of != Ratio::DIMENSION;
            let size = half_width * unit.factor * if share { value_si.abs() } else { 1.0 };
            if half_width < 0.0 || !plausible(size) {
                return Err(QuantityProblem::OutOfRange {
                    range: trimmed(text, range),
                });
            }
            match mark {
                Mark::Limits => Spread::Limits(size),
                Mark::Standard => Spread::Standard(size),
            }
        }
    };
    Ok((value_si, spread))
}

/// Reads a number that needs no unit: `"0.03"`, `"3 %"`, `"0.03 ± 0.005"`, `"0.03 u 0.003"`. An
/// uncertainty in `%` is a share of the value, unless the value is in `%` itself.
///
/// # Errors
/// What is wrong, and which bytes of the text are to blame.
pub fn parse_plain(text: &str) -> Result<Given<Ratio>, QuantityProblem> {
    let (head, tail) = split_spread(text);
    let (value, value_percent) = plain_number(text, head)?;
    let spread = match tail {
        None => Spread::Unstated,
        Some((mark, range)) => {
            let (size, percent) = plain_number(text, range.clone())?;
            let size = if percent && !value_percent {
                size * value.abs()
            } else {
                size
            };
            if size < 0.0 || !plausible(size) {
                return Err(QuantityProblem::OutOfRange {
                    range: trimmed(text, range),
                });
            }
            match mark {
                Mark::Limits => Spread::Limits(size),
                Mark::Standard => Spread::Standard(size),
            }
        }
    };
    Ok(Given {
        value: Ratio::from_si(value),
        spread,
    })
}

/// A number as a fraction, and whether it was written in `%`.
fn plain_number(text: &str, range: Range<usize>) -> Result<(f64, bool), QuantityProblem> {
    match number_and_unit(text, range.clone(), Ratio::DIMENSION) {
        Ok((value, unit)) => Ok((unit.to_si(value), true)),
        Err(QuantityProblem::NoUnit { range }) => {
            let word = &text[range.clone()];
            match word.parse::<f64>() {
                Ok(value) if plausible(value) => Ok((value, false)),
                Ok(_) => Err(QuantityProblem::OutOfRange { range }),
                Err(_) => Err(QuantityProblem::NotANumber { range }),
            }
        }
        Err(other) => Err(other),
    }
}

#[derive(Clone, Copy)]
enum Mark {
    Limits,
    Standard,
}

type SpreadPart = Option<(Mark, Range<usize>)>;

fn split_spread(text: &str) -> (Range<usize>, SpreadPart) {
    let marks = [
        ("±", Mark::Limits),
        ("+-", Mark::Limits),
        (" u ", Mark::Standard),
    ];
    for (word, mark) in marks {
        if let Some(at) = text.find(word) {
            return (0..at, Some((mark, at + word.len()..text.len())));
        }
    }
    (0..text.len(), None)
}

fn trimmed(text: &str, range: Range<usize>) -> Range<usize> {
    let part = &text[range.clone()];
    let start = range.start + (part.len() - part.trim_start().len());
    let end = start + part.trim().len();
    start..end
}

fn number_and_unit(
    text: &str,
    range: Range<usize>,
    dimension: Dimension,
) -> Result<(f64, WrittenUnit), QuantityProblem> {
    let range = trimmed(text, range);
    let part = &text[range.clone()];
    let digits = number_length(part);
    let Ok(value) = part[..digits].parse::<f64>() else {
        return Err(QuantityProblem::NotANumber { range });
    };
    if !value.is_finite() {
        return Err(QuantityProblem::OutOfRange {
            range: range.start..range.start + digits,
        });
    }
    let unit_range = trimmed(text, range.start + digits..range.end);
    let rest = &text[unit_range.clone()];
    if rest.starts_with(',') && rest[1..].starts_with(|letter: char| letter.is_ascii_digit()) {
        return Err(QuantityProblem::DecimalComma {
            range: unit_range.start..unit_range.start + 1,
        });
    }
    if unit_range.is_empty() {
        return Err(QuantityProblem::NoUnit { range });
    }
    let word = &text[unit_range.clone()];
    let unit = unit::parse(word).map_err(|problem| QuantityProblem::UnknownUnit {
        range: unit_range.start + problem.range.start..unit_range.start + problem.range.end,
        symbol: problem.symbol,
        nearest: problem.nearest,
    })?;
    if unit.dimension != dimension {
        return Err(QuantityProblem::WrongUnit {
            unit: unit.name,
            range: unit_range,
        });
    }
    Ok((value, unit))
}

/// How many bytes at the start form a number.
fn number_length(part: &str) -> usize {
    let bytes = part.as_bytes();
    let mut at = 0;
    let digit = |at: usize| bytes.get(at).is_some_and(u8::is_ascii_digit);
    if matches!(bytes.first(), Some(b'+' | b'-')) {
        at += 1;
    }
    while digit(at) || bytes.get(at) == Some(&b'.') {
        at += 1;
    }
    if matches!(bytes.get(at), Some(b'e' | b'E')) {
        let signed = usize::from(matches!(bytes.get(at + 1), Some(b'+' | b'-')));
        if digit(at + 1 + signed) {
            at += 1 + signed;
            while digit(at) {
                at += 1;
            }
        }
    }
    at
}

#[cfg(test)]
mod tests {
    use super::super::{Angle, Length, Mass, Time};
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn limits_become_a_rectangular_standard_uncertainty() {
        let arm: Given<Length> = parse("310 mm ± 1 mm").unwrap();
        assert_relative_eq!(arm.value.to_metres(), 0.310, max_relative = 1e-15);
        // JCGM 100:2008, 4.3.7: u = a / sqrt 3.
        assert_relative_eq!(
            arm.standard_uncertainty().unwrap(),
            0.001 / 3.0_f64.sqrt(),
            max_relative = 1e-15
        );
        assert_eq!(parse::<Length>("310 mm +- 1 mm").unwrap(), arm);
    }

    #[test]
    fn a_stated_standard_uncertainty_is_taken_as_it_is() {
        let offset: Given<Time> = parse("12.310 s u 2 ms").unwrap();
        assert_eq!(offset.spread, Spread::Standard(0.002));
        let mass: Given<Mass> = parse("20 g u 1 %").unwrap();
        assert_relative_eq!(
            mass.standard_uncertainty().unwrap(),
            2e-4,
            max_relative = 1e-12
        );
        assert_eq!(
            parse::<Angle>("-5e-1 deg").unwrap().value,
            Angle::degrees(-0.5)
        );
    }

    #[test]
    fn a_plain_number_needs_no_unit_and_takes_an_uncertainty_all_the_same() {
        let read = |text: &str| {
            let given = parse_plain(text).unwrap();
            (given.si(), given.spread)
        };
        assert_eq!(read("0.03"), (0.03, Spread::Unstated));
        assert_eq!(read(" 0.03 ± 0.005 "), (0.03, Spread::Limits(0.005)));
        assert_eq!(read("0.03 u 0.003"), (0.03, Spread::Standard(0.003)));
        assert_relative_eq!(read("3 %").0, 0.03, max_relative = 1e-15);
        let share = parse_plain("0.04 u 10 %").unwrap();
        assert_relative_eq!(
            share.standard_uncertainty().unwrap(),
            0.004,
            epsilon = 1e-15
        );
        let points = parse_plain("4 % u 1 %").unwrap();
        assert_relative_eq!(
            points.standard_uncertainty().unwrap(),
            0.01,
            epsilon = 1e-15
        );
        assert_eq!(
            parse_plain("0.03 Hz"),
            Err(QuantityProblem::WrongUnit {
                unit: "Hz".into(),
                range: 5..7
            })
        );
        assert!(matches!(
            parse_plain("0.03 ± -1"),
            Err(QuantityProblem::OutOfRange { .. })
        ));
        assert!(matches!(
            parse_plain("little"),
            Err(QuantityProblem::NotANumber { .. })
        ));
    }

    #[test]
    fn each_mistake_points_at_the_bytes_that_are_wrong() {
        assert_eq!(
            parse::<Length>("310"),
            Err(QuantityProblem::NoUnit { range: 0..3 })
        );
        assert_eq!(
            parse::<Length>("310 N"),
            Err(QuantityProblem::WrongUnit {
                unit: "N".into(),
                range: 4..5
            })
        );
        assert_eq!(
            parse::<Length>("about 3 m"),
            Err(QuantityProblem::NotANumber { range: 0..9 })
        );
        assert!(matches!(
            parse::<Length>("3 m ± -1 m"),
            Err(QuantityProblem::OutOfRange { .. })
        ));
        assert!(matches!(
            parse::<Length>("1e999 m"),
            Err(QuantityProblem::OutOfRange { .. })
        ));
        // Finite as written, but not in metres.
        for text in ["1e308 km", "1 m ± 1e308 km", "1e300 m u 1e300 %"] {
            let problem = parse::<Length>(text);
            assert!(
                matches!(problem, Err(QuantityProblem::OutOfRange { .. })),
                "{text}: {problem:?}"
            );
        }
    }
}
