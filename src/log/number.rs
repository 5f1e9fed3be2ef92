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

/// Whole numbers of so many digits are exact, and so are powers of ten.
const EXACT_DIGITS: usize = 15;
const POWERS_OF_TEN: [f64; EXACT_DIGITS] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14,
];

/// A number of few digits, perhaps with a sign and a point among them: a quotient of two exact numbers is the nearest
/// there is (Clinger 1990).
fn short(cell: &[u8]) -> Option<f64> {
    let (negative, digits) = match cell {
        [b'-', rest @ ..] => (true, rest),
        _ => (false, cell),
    };
    if digits.is_empty() || digits.len() > EXACT_DIGITS {
        return None;
    }
    let (mut whole, mut behind) = (0_u64, None);
    for (at, byte) in digits.iter().enumerate() {
        match byte {
            b'0'..=b'9' => whole = 10 * whole + u64::from(byte - b'0'),
            b'.' if behind.is_none() && at > 0 => behind = Some(digits.len() - at - 1),
            _ => return None,
        }
    }
    let size = match behind {
        None => whole as f64,
        Some(0) => return None,
        Some(behind) => whole as f64 / POWERS_OF_TEN[behind],
    };
    Some(if negative { -size } else { size })
}

fn finite(cell: &[u8]) -> Option<f64> {
    if let Some(number) = short(cell) {
        return Some(number);
    }
    fast_float2::parse::<f64, _>(cell)
        .ok()
        .filter(|number| number.abs() <= LARGEST)
}

#[cfg(test)]
mod tests {
    use super::*;

    // What the standard library reads, to the last bit; what is no number stays none.
    #[test]
    fn short_numbers_are_the_nearest_there_are() {
        for cell in [
            "0",
            "-0",
            "7",
            "-12.5",
            "0.1",
            "-0.3",
            "123456.789012345",
            "99999999999999",
            "0.00000000000001",
        ] {
            let read = number(cell.as_bytes(), b'.').map(f64::to_bits);
            assert_eq!(read, cell.parse().ok().map(f64::to_bits), "{cell}");
        }
        for at in 0..2000_i32 {
            let cell = format!("{}.{:03}", at - 1000, (at * 37) % 1000);
            let read = number(cell.as_bytes(), b'.').map(f64::to_bits);
            assert_eq!(read, cell.parse().ok().map(f64::to_bits), "{cell}");
        }
        for cell in ["-", "--", "1.2.3", "1-2", "-+1"] {
            assert_eq!(number(cell.as_bytes(), b'.'), None, "{cell}");
        }
    }

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
