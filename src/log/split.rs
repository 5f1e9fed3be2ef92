//! A line cut into cells, with the bytes each cell stands on.
//!
//! The usual rules for comma-separated values (RFC 4180) with any separator, runs of blanks among
//! them. Two differences, because a log is not a document: a cell never goes on over the end of its
//! line, and quotes count only in a line that has an even number of them, so that one stray quote
//! in a line of junk can spoil no other line.

use std::borrow::Cow;
use std::ops::Range;

/// What stands between two cells.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Separator {
    /// Nothing: each line is one cell.
    None,
    /// One or more blanks or tabulators.
    Blanks,
    /// One byte.
    Byte(u8),
}

impl Separator {
    /// From the character a firing file gives.
    #[must_use]
    pub(crate) fn from_char(ch: char) -> Self {
        match u8::try_from(ch) {
            Ok(b' ') => Self::Blanks,
            Ok(byte) => Self::Byte(byte),
            Err(_) => Self::None,
        }
    }

    /// As notes and messages write it.
    #[must_use]
    pub(crate) fn words(self) -> String {
        match self {
            Self::None => "none (one column)".to_owned(),
            Self::Blanks => "blanks".to_owned(),
            Self::Byte(b'\t') => "tabulator".to_owned(),
            Self::Byte(byte) => format!("\"{}\"", char::from(byte)),
        }
    }

    /// Cuts a line into cells; blanks around a cell are left out of its range, quotes are not.
    pub(crate) fn split(self, line: &[u8], cells: &mut Vec<Range<usize>>) {
        cells.clear();
        match self {
            Self::None => cells.push(trimmed(line, 0..line.len(), b'\n')),
            Self::Blanks => split_blanks(line, cells),
            Self::Byte(byte) => split_byte(line, byte, cells),
        }
    }
}

fn split_blanks(line: &[u8], cells: &mut Vec<Range<usize>>) {
    let mut start = None;
    for (at, byte) in line.iter().enumerate() {
        if matches!(byte, b' ' | b'\t') {
            cells.extend(start.take().map(|from| from..at));
        } else if start.is_none() {
            start = Some(at);
        }
    }
    cells.extend(start.map(|from| from..line.len()));
}

fn split_byte(line: &[u8], separator: u8, cells: &mut Vec<Range<usize>>) {
    let quotes = || line.iter().filter(|byte| **byte == b'"').count();
    if !line.contains(&b'"') || quotes() % 2 == 1 {
        let mut from = 0;
        for (at, byte) in line.iter().enumerate() {
            if *byte == separator {
                cells.push(trimmed(line, from..at, separator));
                from = at + 1;
            }
        }
        cells.push(trimmed(line, from..line.len(), separator));
        return;
    }
    let (mut from, mut inside, mut fresh) = (0, false, true);
    for (at, byte) in line.iter().enumerate() {
        match byte {
            // A quote opens only at the start of a cell; a doubled one closes and opens again.
            b'"' if inside => inside = false,
            b'"' if fresh || line.get(at.wrapping_sub(1)) == Some(&b'"') => inside = true,
            byte if *byte == separator && !inside => {
                cells.push(trimmed(line, from..at, separator));
                from = at + 1;
                fresh = true;
                continue;
            }
            _ => {}
        }
        fresh &= *byte == b' ';
    }
    cells.push(trimmed(line, from..line.len(), separator));
}

fn trimmed(line: &[u8], mut range: Range<usize>, separator: u8) -> Range<usize> {
    let blank = |byte: u8| byte == b' ' || (byte == b'\t' && separator != b'\t');
    while range.start < range.end && blank(line[range.start]) {
        range.start += 1;
    }
    while range.start < range.end && blank(line[range.end - 1]) {
        range.end -= 1;
    }
    range
}

/// What a cell says, its quotes taken off.
#[must_use]
pub(crate) fn unquoted(cell: &[u8]) -> Cow<'_, [u8]> {
    let inner = match cell {
        [b'"', inner @ .., b'"'] => inner,
        _ => return Cow::Borrowed(cell),
    };
    if !inner.contains(&b'"') {
        return Cow::Borrowed(inner.trim_ascii());
    }
    let mut out = Vec::with_capacity(inner.len());
    let mut after_quote = false;
    for byte in inner {
        after_quote = *byte == b'"' && !after_quote;
        if !after_quote {
            out.push(*byte);
        }
    }
    Cow::Owned(out)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn cut(separator: Separator, line: &str) -> Vec<String> {
        let mut cells = Vec::new();
        separator.split(line.as_bytes(), &mut cells);
        cells
            .into_iter()
            .map(|cell| String::from_utf8_lossy(&unquoted(&line.as_bytes()[cell])).into_owned())
            .collect()
    }

    #[test]
    fn cells_lose_their_blanks_and_quotes_but_not_what_the_quotes_protect() {
        let comma = Separator::Byte(b',');
        assert_eq!(
            cut(comma, " 1 , \"a,\"\"b\"\"\",,3"),
            ["1", "a,\"b\"", "", "3"]
        );
        assert_eq!(cut(Separator::Blanks, "  1\t 2   3 "), ["1", "2", "3"]);
        assert_eq!(cut(Separator::Byte(b'\t'), "1\t\t3"), ["1", "", "3"]);
        assert_eq!(cut(Separator::None, " 12,5 "), ["12,5"]);
    }

    #[test]
    fn a_stray_quote_is_a_letter_like_any_other() {
        let comma = Separator::Byte(b',');
        assert_eq!(cut(comma, "1,\"2,3"), ["1", "\"2", "3"]);
        assert_eq!(cut(comma, "5\" tube,6\" tube"), ["5\" tube", "6\" tube"]);
    }

    proptest! {
        // The second way of knowing: the csv crate, on cells written by the csv crate.
        #[test]
        fn cells_are_those_that_the_csv_crate_wrote(
            cells in prop::collection::vec("[a-z0-9,;\"]{0,6}", 2..6)
        ) {
            let mut writer = csv::WriterBuilder::new().from_writer(Vec::new());
            writer.write_record(&cells).unwrap();
            let line = String::from_utf8(writer.into_inner().unwrap()).unwrap();
            prop_assert_eq!(cut(Separator::Byte(b','), line.trim_end_matches('\n')), cells);
        }
    }
}
