//! What a cell says: a number, nothing, or a word.

use super::split::unquoted;

/// Words that stand for a missing reading in any log, whatever their case.
pub(crate) const MISSING_WORDS: [&str; 5] = ["", "nan", "--", "null", "#n/a"];

/// Longest cell that is read as a number, bytes: no recorder writes more digits.
const LONGEST_NUMBER: usize = 64;

/// What a cell says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Reading {
    /// A finite number.
    Number(f64),
    /// A word that stands for a missing reading.
    Missing,
    /// Anything else.
    Word,
}

/// How numbers and gaps are written in one file.
#[derive(Debug, Clone)]
pub(crate) struct Numerals {
    /// Decimal mark.
    pub decimal: u8,
    /// Further words for a missing reading.
    pub missing: Vec<String>,
}

impl Numerals {
    /// Reads a cell.
    #[must_use]
    pub(crate) fn read(&self, cell: &[u8]) -> Reading {
        let cell = &*unquoted(cell);
        if self.missing.iter().any(|word| word.as_bytes() == cell) {
            return Reading::Missing;
        }
        if let Some(number) = number(cell, self.decimal) {
            return Reading::Number(number);
        }
        if MISSING_WORDS
            .iter()
            .any(|word| word.as_bytes().eq_ignore_ascii_case(cell))
        {
            return Reading::Missing;
        }
        Reading::Word
    }
}

/// A finite number with a given decimal mark; `None` for anything else.
#[must_use]
pub(crate) fn number(cell: &[u8], decimal: u8) -> Option<f64> {
    let cell = match cell {
        [b'+', rest @ ..] if !rest.starts_with(b"-") && !rest.starts_with(b"+") => rest,
        _ => cell,
    };
    if decimal == b'.' || !cell.contains(&decimal) {
        if decimal != b'.' && cell.contains(&b'.') {
            return None;
        }
        return finite(cell);
    }
    if cell.len() > LONGEST_NUMBER || cell.contains(&b'.') {
        return None;
    }
    let mut with_point = [0; LONGEST_NUMBER];
    for (to, from) in with_point.iter_mut().zip(cell) {
        *to = if *from == decimal { b'.' } else { *from };
    }
    finite(&with_point[..cell.len()])
}

/// Largest size of a reading: more than any recorder writes, and its square is still a number.
const LARGEST: f64 = 1e30;

/// Whole numbers of so many digits are exact, and there is no shorter way to read them.
const EXACT_DIGITS: usize = 15;

fn finite(cell: &[u8]) -> Option<f64> {
    if !cell.is_empty() && cell.len() <= EXACT_DIGITS && cell.iter().all(u8::is_ascii_digit) {
        let whole = cell
            .iter()
            .fold(0_u64, |sum, digit| 10 * sum + u64::from(digit - b'0'));
        return Some(whole as f64);
    }
    fast_float2::parse::<f64, _>(cell)
        .ok()
        .filter(|number| number.abs() <= LARGEST)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_gaps_and_words_are_told_apart() {
        let plain = Numerals {
            decimal: b'.',
            missing: vec!["-999".into(), "over".into()],
        };
        for (cell, reading) in [
            ("-12.5", Reading::Number(-12.5)),
            ("+3e2", Reading::Number(300.0)),
            ("\"7\"", Reading::Number(7.0)),
            ("-999", Reading::Missing),
            ("over", Reading::Missing),
            ("", Reading::Missing),
            ("NaN", Reading::Missing),
            ("#N/A", Reading::Missing),
            ("12,5", Reading::Word),
            ("inf", Reading::Word),
            ("1e999", Reading::Word),
            ("-1e308", Reading::Word),
            ("+-3", Reading::Word),
            ("0x10", Reading::Word),
        ] {
            assert_eq!(plain.read(cell.as_bytes()), reading, "{cell}");
        }
    }

    #[test]
    fn a_decimal_comma_excludes_the_point() {
        assert_eq!(number(b"-0,25", b','), Some(-0.25));
        assert_eq!(number(b"1.234,5", b','), None);
        assert_eq!(number(b"1.5", b','), None);
        assert_eq!(number(b"15", b','), Some(15.0));
    }
}
