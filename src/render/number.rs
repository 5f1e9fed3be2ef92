//! Numbers as people read them: one notation, used everywhere.
//!
//! A result reads `29.72 N s (29.50 to 29.94)`: the best estimate with its unit and, in brackets,
//! the 95 % interval. The standard uncertainty is rounded to two significant digits and everything
//! else to the same decimal place (JCGM 100:2008, 7.2.6). Minus is a true minus sign. Times under
//! 0.1 s are written in milliseconds.

use std::fmt;

use crate::quantity::{Measured, Unit};
use crate::view::text::Shown;

/// The notation of a first screen.
pub(crate) const BRIEF_NOTATION: &str = "±, +− and brackets: 95 %.";

/// The notation, said once on the page and once in the summary.
pub(crate) const NOTATION: &str = "Results read: value (from to), where the brackets hold the interval \
that covers the truth with 95 % probability.";

/// Said of a number that is none.
const NOT_AVAILABLE: &str = "not available";

/// Times below this are written in milliseconds, s.
const SHORT_S: f64 = 0.1;

/// Below this size a number is written with a power of ten: more zeros cannot be counted at a glance.
const SMALLEST_PLAIN: f64 = 1e-4;

/// From this size on a number is written with a power of ten.
const LARGEST_PLAIN: f64 = 1e7;

/// A unit by its factor and name.
type Scale = (f64, &'static str);

/// A result with its interval and unit.
#[must_use]
pub(crate) fn measured(result: &Measured) -> String {
    whole(parts(result))
}

fn whole(parts: (String, Option<String>)) -> String {
    match parts {
        (value, Some(interval)) => format!("{value} {interval}"),
        (value, None) => value,
    }
}

impl fmt::Display for Measured {
    /// The value with unit and interval, rounded by its uncertainty.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&measured(self))
    }
}

/// A result with its unit, and its interval in brackets when it has one.
#[must_use]
pub(crate) fn parts(result: &Measured) -> (String, Option<String>) {
    parts_in(result, scaled(result.value, result.unit))
}

fn parts_in(result: &Measured, (factor, unit): Scale) -> (String, Option<String>) {
    let value = factor * result.value;
    let Some(u) = spread(result) else {
        return (joined(&significant(value, 6), unit), None);
    };
    let write = Rounding::to(factor * u, value);
    let interval = [result.low, result.high].map(|end| write.number(factor * end));
    (
        joined(&write.number(value), unit),
        Some(format!("({} to {})", interval[0], interval[1])),
    )
}

/// Share of its longer half by which an interval may reach further to one side and still be written with
/// one number.
const LOPSIDED: f64 = 0.1;

/// A result where there is no room for brackets: `59.477 ± 0.025 N s`, the 95 % interval that far to either
/// side; `22.0 +1.2−0.1 ms` where it reaches further to one side. One without an end keeps its brackets.
#[must_use]
pub(crate) fn compact(result: &Measured) -> String {
    let (below, above) = (result.value - result.low, result.high - result.value);
    let half = below.max(above);
    if !half.is_finite() || half <= 0.0 || below.min(above) < 0.0 {
        return measured(result);
    }
    let (factor, unit) = scaled(result.value, result.unit);
    let write = Rounding::brief(factor * half, factor * result.value);
    let alike = (above - below).abs() <= LOPSIDED * half;
    let [value, half, below, above] =
        [result.value, half, below, above].map(|one| write.number(factor * one));
    let reach = if alike || below == above {
        format!("± {half}")
    } else {
        format!("+{above}−{below}")
    };
    joined(&format!("{value} {reach}"), unit)
}

/// A number without uncertainty, to some significant digits, with its unit.
#[must_use]
pub(crate) fn plain(value: f64, digits: usize, unit: Unit) -> String {
    let (factor, unit) = scaled(value, unit);
    joined(&significant(factor * value, digits), unit)
}

/// The same numbers in US customary units, of what is compact the value alone; `None` where there is no such unit.
#[must_use]
pub(crate) fn customary(shown: &Shown) -> Option<String> {
    match shown {
        Shown::Measured(result) => Some(whole(parts_in(result, result.unit.customary()?))),
        Shown::Compact(result) => {
            let (factor, unit) = result.unit.customary()?;
            let (value, half) = (
                factor * result.value,
                factor * (result.high - result.low) / 2.0,
            );
            let number = if half.is_finite() && half > 0.0 {
                Rounding::brief(half, value).number(value)
            } else {
                significant(value, 6)
            };
            Some(joined(&number, unit))
        }
        Shown::Number(value, digits, unit) => {
            let (factor, unit) = unit.customary()?;
            Some(joined(&significant(factor * value, *digits), unit))
        }
        _ => None,
    }
}

/// A time on a recorder's clock: a first look is good to a reading or so.
#[must_use]
pub(crate) fn clock_time(time_s: f64) -> String {
    format!("{} s", fixed(time_s, 3))
}

/// The unit that a value is written in, and the factor to it.
fn scaled(value: f64, unit: Unit) -> Scale {
    if unit == Unit::Second && value != 0.0 && value.abs() < SHORT_S {
        (1e3, "ms")
    } else {
        (1.0, unit.printed())
    }
}

/// What the rounding goes by: u, or failing that a quarter of the interval's width.
fn spread(result: &Measured) -> Option<f64> {
    [result.u, (result.high - result.low) / 4.0]
        .into_iter()
        .find(|u| u.is_finite() && *u > 0.0)
}

fn joined(number: &str, unit: &str) -> String {
    format!("{number} {unit}").trim_end().to_owned()
}

/// A decimal place, and a power of ten taken out.
struct Rounding {
    decimals: i32,
    power: i32,
}

impl Rounding {
    /// The place of the second significant digit of `u`.
    fn to(u: f64, value: f64) -> Self {
        let size = value.abs().max(u);
        let power = if (SMALLEST_PLAIN..LARGEST_PLAIN).contains(&size) {
            0
        } else {
            exponent(size, 1)
        };
        Self {
            decimals: 1 - exponent(u, 2) + power,
            power,
        }
    }

    /// For half an interval in little room: one digit of it from 0.355 of a power of ten to 0.95, else two (Particle
    /// Data Group, Review of Particle Physics, introduction, 5.3).
    fn brief(half: f64, value: f64) -> Self {
        let mut out = Self::to(half, value);
        let first = exponent(half, 1);
        let share = half / 10_f64.powi(first);
        let digits = if (3.55..9.5).contains(&share) { 1 } else { 2 };
        out.decimals = digits - 1 - first + out.power;
        out
    }

    fn number(&self, value: f64) -> String {
        if !value.is_finite() {
            return "no limit".to_owned();
        }
        let text = fixed(value / 10_f64.powi(self.power), self.decimals);
        if self.power == 0 {
            text
        } else {
            with_power(&text, self.power)
        }
    }
}

/// Power of ten of a positive number once it is rounded to some significant digits.
fn exponent(size: f64, digits: usize) -> i32 {
    let text = format!("{size:.*e}", digits - 1);
    let power = text.split_once('e').map(|(_, power)| power.parse());
    power.and_then(Result::ok).unwrap_or(0)
}

/// Rounds to a decimal place, which may lie left of the point; never gives minus zero.
fn fixed(value: f64, decimals: i32) -> String {
    if !value.is_finite() {
        return NOT_AVAILABLE.to_owned();
    }
    let text = match usize::try_from(decimals) {
        Ok(decimals) => format!("{value:.decimals$}"),
        Err(_) => {
            let step = 10_f64.powi(-decimals);
            format!("{:.0}", (value / step).round() * step)
        }
    };
    match text.strip_prefix('-') {
        Some(rest) if rest.chars().all(|c| matches!(c, '0' | '.')) => rest.to_owned(),
        Some(rest) => format!("−{rest}"),
        None => text,
    }
}

fn with_power(mantissa: &str, power: i32) -> String {
    format!("{mantissa}e{power}").replace('-', "−")
}

/// A number without uncertainty, to some significant digits, without trailing zeros.
#[must_use]
pub(crate) fn significant(value: f64, digits: usize) -> String {
    if !value.is_finite() {
        return NOT_AVAILABLE.to_owned();
    }
    if value == 0.0 {
        return "0".to_owned();
    }
    let power = exponent(value.abs(), digits);
    let last = i32::try_from(digits).unwrap_or(1) - 1;
    if (SMALLEST_PLAIN..LARGEST_PLAIN).contains(&value.abs()) {
        // Whole digits are never rounded away: 12345 counts stay 12345 counts.
        trimmed(&fixed(value, (last - power).max(0))).to_owned()
    } else {
        let mantissa = fixed(value / 10_f64.powi(power), last);
        with_power(trimmed(&mantissa), power)
    }
}

fn trimmed(text: &str) -> &str {
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.')
    } else {
        text
    }
}

/// Digits a probability may have at most.
const PROBABILITY_DECIMALS: i32 = 6;

/// A probability: three decimals, and more where it would otherwise read as certain.
#[must_use]
pub(crate) fn probability(p: f64) -> String {
    let rest = p.min(1.0 - p);
    let needed = if rest > 0.0 { -exponent(rest, 1) } else { 0 };
    fixed(p, needed.clamp(3, PROBABILITY_DECIMALS))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn normal(value: f64, u: f64, unit: Unit) -> String {
        measured(&Measured::normal(value, u, unit))
    }

    // JCGM 100:2008, 7.2.6: 10.057 62 ohm with u = 27 milliohm is given as 10.058 ohm; no result is in ohm.
    #[test]
    fn the_value_is_rounded_where_the_uncertainty_ends() {
        let (value, _) = parts(&Measured::normal(10.057_62, 0.027, Unit::One));
        assert_eq!(value, "10.058");
        assert_eq!(
            normal(29.7183, 0.1122, Unit::NewtonSecond),
            "29.72 N s (29.50 to 29.94)"
        );
    }

    #[test]
    fn times_under_a_tenth_of_a_second_are_in_milliseconds() {
        assert_eq!(
            normal(0.0284, 0.0013, Unit::Second),
            "28.4 ms (25.9 to 30.9)"
        );
        assert_eq!(
            normal(-0.0121, 0.0009, Unit::Second),
            "−12.10 ms (−13.86 to −10.34)"
        );
        assert_eq!(
            normal(0.284, 0.0013, Unit::Second),
            "0.2840 s (0.2815 to 0.2865)"
        );
        assert_eq!(plain(0.005, 3, Unit::Second), "5 ms");
        assert_eq!(plain(0.0, 3, Unit::Second), "0 s");
        assert_eq!(plain(0.05, 3, Unit::Metre), "0.05 m");
        assert_eq!(clock_time(0.0123), "0.012 s");
    }

    #[test]
    fn an_uncertainty_that_rounds_up_to_the_next_power_keeps_two_digits() {
        // 0.0996 is 0.10 to two digits, so the value has two decimals, not three.
        assert_eq!(normal(1.0, 0.0996, Unit::Second), "1.00 s (0.80 to 1.20)");
        assert_eq!(
            normal(56_712.0, 1_234.0, Unit::One),
            "56700 (54300 to 59100)"
        );
    }

    #[test]
    fn zero_has_no_sign_and_small_numbers_carry_a_power_of_ten() {
        assert_eq!(
            normal(-0.0004, 0.01, Unit::Degree),
            "0.000 deg (−0.020 to 0.019)"
        );
        assert_eq!(
            normal(3.21e-6, 1.0e-7, Unit::KilogramSquareMetre),
            "3.21e−6 kg m² (3.01e−6 to 3.41e−6)"
        );
    }

    #[test]
    fn what_has_no_spread_or_no_limit_is_said_so() {
        let exact = Measured::interval(5.0, 0.0, 5.0, 5.0, Unit::Degree);
        assert_eq!(measured(&exact), "5 deg");
        let open = Measured::interval(0.2, 0.1, 0.0, f64::INFINITY, Unit::Degree);
        assert_eq!(measured(&open), "0.20 deg (0.00 to no limit)");
    }

    // By hand: 1.96 times 0.1122 is 0.2199, two digits 0.22; the lopsided interval keeps its ends.
    #[test]
    fn where_there_is_little_room_half_the_interval_follows_the_value() {
        let of = |value, u, unit| compact(&Measured::normal(value, u, unit));
        assert_eq!(of(29.7183, 0.1122, Unit::NewtonSecond), "29.72 ± 0.22 N s");
        assert_eq!(of(-0.0284, 0.0013, Unit::Second), "−28.4 ± 2.5 ms");
        // Halves of 0.392, 0.0931 and 0.0961: one digit, one, and two of what rounds up to 0.10.
        assert_eq!(of(30.251, 0.2, Unit::NewtonSecond), "30.3 ± 0.4 N s");
        assert_eq!(of(0.014_031, 0.0475e-3, Unit::Second), "14.03 ± 0.09 ms");
        assert_eq!(of(24.68, 0.049, Unit::Degree), "24.68 ± 0.10 deg");
        let lopsided = Measured::interval(0.42, 0.05, 0.33, 0.55, Unit::Degree);
        assert_eq!(compact(&lopsided), "0.42 +0.13−0.09 deg");
        let open = Measured::interval(0.2, 0.1, 0.0, f64::INFINITY, Unit::Degree);
        assert_eq!(compact(&open), measured(&open));
        assert_eq!(
            compact(&Measured::interval(5.0, 0.0, 5.0, 5.0, Unit::Degree)),
            "5 deg"
        );
    }

    #[test]
    fn a_probability_close_to_one_does_not_read_as_certain() {
        assert_eq!(probability(0.97), "0.970");
        assert_eq!(probability(0.999_93), "0.99993");
        assert_eq!(probability(0.000_04), "0.00004");
        assert_eq!(probability(1.0), "1.000");
    }

    #[test]
    fn numbers_without_uncertainty_keep_their_whole_digits() {
        assert_eq!(significant(12_345.678, 3), "12346");
        assert_eq!(significant(0.061_27, 3), "0.0613");
        assert_eq!(significant(-2.5e-9, 3), "−2.5e−9");
        assert_eq!(plain(61.4, 2, Unit::Percent), "61 %");
    }
}
