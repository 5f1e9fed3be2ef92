//! Rows of nothing but plain numbers, read eight bytes at a time.
//!
//! Nearly every line of nearly every log is digits, perhaps with a sign and a decimal mark, between separators. Such a
//! line is cut and read here in one go; whatever else stands in a log is left to [`super::rows`], which knows all
//! rules, and both give the same numbers to the last bit:
//!
//! - Eight digits become a number in three multiplications (D. Lemire, Software: Practice and Experience 51, 2021; from
//!   memory).
//! - A whole number below 2^53 divided by a power of ten up to 10^22 is rounded once, so it is the number nearest to what is
//!   written (W. Clinger, PLDI 1990; from memory).
//! - A cell that says what its column said one row before is not read again: most channels move slowly against the rate of
//!   a fast recorder.

use std::ops::Range;

use super::dialect::Dialect;
use super::number::{Numerals, Reading, number};
use super::split::Separator;

/// Digits of a number that are read here; more are left to the general way. Less than 2^53 with all of them.
const MOST_DIGITS: usize = 15;

/// The powers of ten that digits behind a decimal mark need, each exact.
const POWERS: [f64; MOST_DIGITS + 1] = [
    1.0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
];
const WHOLE_POWERS: [u64; MOST_DIGITS + 1] = {
    let mut out = [1; MOST_DIGITS + 1];
    let mut at = 1;
    while at < out.len() {
        out[at] = 10 * out[at - 1];
        at += 1;
    }
    out
};

/// What is read of a line.
#[derive(Debug, Clone)]
pub(super) struct PlainRows {
    separator: u8,
    numerals: Numerals,
    /// Bytes with which no comment begins.
    begins: Vec<bool>,
    cells: Vec<Cell>,
    /// Readings that the cell of an earlier one gives too: from, to.
    again: Vec<(usize, usize)>,
}

/// One cell of a row.
#[derive(Debug, Clone, Copy)]
struct Cell {
    /// The reading it gives, if any.
    reading: Option<usize>,
    /// What it said last with the byte behind it, as the bytes of a word under a mask; no word is like it at first.
    text: u64,
    mask: u64,
    /// Bytes of that, and the number.
    length: usize,
    value: f64,
}

impl PlainRows {
    /// For readings of these columns; `None` where a line of plain numbers may be something else than a row.
    pub(super) fn new(dialect: &Dialect, columns: &[usize], header: &[Vec<u8>]) -> Option<Self> {
        let Separator::Byte(separator) = dialect.separator else {
            return None;
        };
        let numerals = dialect.numerals.clone();
        let reads = |cell: &[u8]| number(cell, numerals.decimal).is_some();
        let missing_number = numerals.missing.iter().any(|word| reads(word.as_bytes()));
        let name = |column: &usize| header.get(*column);
        let named_by_numbers = columns
            .iter()
            .all(|at| name(at).is_some_and(|one| reads(one)));
        let in_numbers = separator.is_ascii_digit() || b"+-.\"\r\n".contains(&separator);
        if missing_number || named_by_numbers || in_numbers || separator == numerals.decimal {
            return None;
        }
        let bare = Cell {
            reading: None,
            text: 1,
            mask: 0,
            length: 0,
            value: f64::NAN,
        };
        let (mut cells, mut again) = (vec![bare; dialect.width], Vec::new());
        for (reading, column) in columns.iter().enumerate() {
            match &mut cells.get_mut(*column)?.reading {
                Some(first) => again.push((*first, reading)),
                none => *none = Some(reading),
            }
        }
        let marks = dialect.comments.iter().map(|mark| mark.bytes().next());
        let marks: Vec<u8> = marks.flatten().collect();
        let begins = (0..=u8::MAX).map(|byte| byte > b' ' && !marks.contains(&byte));
        Some(Self {
            separator,
            numerals,
            begins: begins.collect(),
            cells,
            again,
        })
    }

    /// Reads a line by where it begins and ends among bytes; false, and no reading holds, where it is not plain.
    pub(super) fn read(&mut self, bytes: &[u8], line: &Range<usize>, out: &mut [f64]) -> bool {
        let first = bytes.get(line.start).map(|byte| usize::from(*byte));
        if first.is_none_or(|first| !self.begins[first]) {
            return false;
        }
        let (mut at, others) = (line.start, self.cells.len() - 1);
        let separator = self.separator;
        let ends = |to: usize, is_last: bool| {
            if is_last {
                to == line.end
            } else {
                bytes.get(to) == Some(&separator)
            }
        };
        for (nth, cell) in self.cells.iter_mut().enumerate() {
            let Some(word) = word_at(bytes, at) else {
                return false;
            };
            if word & cell.mask != cell.text {
                let is_last = nth == others;
                let plain = cell
                    .reading
                    .and_then(|_| plain(bytes, at, word, self.numerals.decimal));
                let (value, to) = match plain {
                    Some((value, to)) if ends(to, is_last) => (value, to),
                    _ => {
                        let to = end_of_word(&bytes[at..line.end], separator).map(|to| at + to);
                        let Some(to) = to.filter(|to| ends(*to, is_last)) else {
                            return false;
                        };
                        let read = cell.reading.map(|_| self.numerals.read(&bytes[at..to]));
                        match read {
                            Some(Reading::Number(number)) => (number, to),
                            Some(Reading::Missing) | None => (f64::NAN, to),
                            Some(Reading::Word) => return false,
                        }
                    }
                };
                cell.keep(word, to + 1 - at, value);
            }
            at += cell.length;
            if let Some(reading) = cell.reading {
                out[reading] = cell.value;
            }
        }
        for (from, to) in &self.again {
            out[*to] = out[*from];
        }
        at == line.end + 1
    }
}

impl Cell {
    /// Keeps what it says now; of more than a word only how long it is.
    fn keep(&mut self, word: u64, length: usize, value: f64) {
        (self.length, self.value) = (length, value);
        (self.mask, self.text) = match length {
            0..=8 => {
                let mask = u64::MAX >> (64 - 8 * length);
                (mask, word & mask)
            }
            _ => (0, 1),
        };
    }
}

/// Eight bytes, the first of them lowest.
fn word_at(bytes: &[u8], at: usize) -> Option<u64> {
    let eight = bytes.get(at..at + 8)?.try_into().ok()?;
    Some(u64::from_le_bytes(eight))
}

/// Digits, perhaps with a minus before them and a decimal mark among them: the number, and where it ends.
fn plain(bytes: &[u8], at: usize, word: u64, decimal: u8) -> Option<(f64, usize)> {
    let negative = word as u8 == b'-';
    let from = at + usize::from(negative);
    let word = if negative {
        word_at(bytes, from)?
    } else {
        word
    };
    let (whole, mark) = digits(bytes, from, word)?;
    let (size, to) = if bytes.get(mark) == Some(&decimal) {
        let (part, to) = digits(bytes, mark + 1, word_at(bytes, mark + 1)?)?;
        let behind = to - mark - 1;
        if mark - from + behind > MOST_DIGITS {
            return None;
        }
        let all = whole * WHOLE_POWERS[behind] + part;
        (exact(all) / POWERS[behind], to)
    } else {
        (exact(whole), mark)
    };
    Some((if negative { -size } else { size }, to))
}

/// Less than 2^53; there is a quick way for signed numbers only.
fn exact(whole: u64) -> f64 {
    whole as i64 as f64
}

/// A run of one to fifteen digits: their number, and where it ends.
fn digits(bytes: &[u8], from: usize, word: u64) -> Option<(u64, usize)> {
    let (first, count) = leading_digits(word);
    if count < 8 {
        return (count > 0).then_some((first, from + count));
    }
    let (more, further) = leading_digits(word_at(bytes, from + 8)?);
    let all = first * WHOLE_POWERS[further] + more;
    (further < 8).then_some((all, from + 8 + further))
}

/// The number that the first bytes of a word say in digits, and how many they are.
fn leading_digits(word: u64) -> (u64, usize) {
    const ZEROS: u64 = u64::from_ne_bytes([b'0'; 8]);
    const HIGH: u64 = u64::from_ne_bytes([0x80; 8]);
    const PAIRS: u64 = 0x0000_00ff_0000_00ff;
    let values = word ^ ZEROS;
    // What is above nine carries into the high bit; the lowest such byte is not disturbed by another.
    let others = (values.wrapping_add(u64::from_ne_bytes([0x76; 8])) | values) & HIGH;
    let count = others.trailing_zeros() as usize / 8;
    if count == 0 {
        return (0, 0);
    }
    // Zeros in front.
    let eight = values << (64 - 8 * count);
    let twos = eight.wrapping_mul(10).wrapping_add(eight >> 8);
    let upper = (twos & PAIRS).wrapping_mul(100 + (1_000_000 << 32));
    let lower = ((twos >> 16) & PAIRS).wrapping_mul(1 + (10_000 << 32));
    (upper.wrapping_add(lower) >> 32, count)
}

/// Where a cell without blanks and quotes ends: at a separator, or with its line.
fn end_of_word(rest: &[u8], separator: u8) -> Option<usize> {
    const ONES: u64 = u64::from_ne_bytes([1; 8]);
    const HIGH: u64 = u64::from_ne_bytes([0x80; 8]);
    let mut at = 0;
    // The lowest byte that is found is one; only bytes above it may be found wrongly.
    while let Some(word) = word_at(rest, at) {
        let other = word ^ (ONES * u64::from(separator));
        let separates = other.wrapping_sub(ONES) & !other;
        let blank = word.wrapping_sub(ONES * (u64::from(b'"') + 1)) & !word;
        let found = (separates | blank) & HIGH;
        if found != 0 {
            at += found.trailing_zeros() as usize / 8;
            return (rest[at] == separator).then_some(at);
        }
        at += 8;
    }
    for (byte, at) in rest[at..].iter().zip(at..) {
        if *byte == separator {
            return Some(at);
        }
        if *byte <= b'"' {
            return None;
        }
    }
    Some(rest.len())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::log::dialect::Overrides;
    use crate::log::lines::Lines;
    use proptest::prelude::*;

    fn rows(text: &str, columns: &[usize]) -> (Lines, Option<PlainRows>) {
        let lines = Lines::new("log", text.as_bytes());
        let dialect = Dialect::find(&lines, &Overrides::default()).unwrap();
        let plain = PlainRows::new(&dialect, columns, &[]);
        (lines, plain)
    }

    fn read(text: &str, columns: &[usize]) -> Vec<Option<Vec<f64>>> {
        let (lines, plain) = rows(text, columns);
        let mut plain = plain.unwrap();
        let mut out = vec![0.0; columns.len()];
        let mut one = |at: usize| {
            let (bytes, line) = lines.among_all(at);
            plain.read(bytes, &line, &mut out).then(|| out.clone())
        };
        (0..lines.len()).map(&mut one).collect()
    }

    #[test]
    fn plain_lines_are_read_and_others_are_left() {
        let text = "t,a,b,c\n1,2.5,x,-7\n1,2.5,x y,-7\n12345678901,-0.125,,8\n+2,3e2,nan,9\r\n\
                    3,4,\"5\",6\n4, 5,6,7\n5,6,7\n6,7,8,9,\n#7,8,9,10\n8,9,10,0123456789012345\n9,1,2,3\nend of the log\n";
        let rows = read(text, &[0, 1, 3, 0]);
        let row = |at: usize| rows[at].as_deref();
        assert_eq!(row(1), Some(&[1.0, 2.5, -7.0, 1.0][..]));
        assert_eq!(
            row(3),
            Some(&[12_345_678_901.0, -0.125, 8.0, 12_345_678_901.0][..])
        );
        assert_eq!(row(4), Some(&[2.0, 300.0, 9.0, 2.0][..]));
        assert_eq!(row(10), Some(&[8.0, 9.0, 123_456_789_012_345.0, 8.0][..]));
        assert_eq!(row(11), Some(&[9.0, 1.0, 3.0, 9.0][..]));
        for left in [0, 2, 5, 6, 7, 8, 9, 12] {
            assert_eq!(row(left), None, "line {}", left + 1);
        }
    }

    proptest! {
        // The standard library reads to the nearest number.
        #[test]
        fn numbers_are_those_of_the_standard_library_to_the_last_bit(
            cells in prop::collection::vec("-?[0-9]{1,17}(\\.[0-9]{1,17})?|-?[0-9]{1,3}\\.?[0-9]{0,6}(e-?[0-9])?", 60)
        ) {
            let mut text = "a,b,c\n".to_owned();
            for three in cells.chunks(3) {
                // Twice, so that what is kept of the row before is used too.
                for _ in 0..2 {
                    text += &format!("{}\n", three.join(","));
                }
            }
            text += "this is the end\n";
            let rows = read(&text, &[0, 1, 2]);
            let lines: Vec<&str> = text.lines().collect();
            for (row, line) in rows.iter().zip(&lines).skip(1).take(40) {
                let row = row.as_ref().unwrap();
                for (number, cell) in row.iter().zip(line.split(',')) {
                    prop_assert_eq!(number.to_bits(), cell.parse::<f64>().unwrap().to_bits());
                }
            }
        }
    }
}
