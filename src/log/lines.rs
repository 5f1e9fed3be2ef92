//! A recorder's file as numbered lines of bytes.
//!
//! Loggers write whatever they like: UTF-8, one byte for each letter, UTF-16 with a mark in front,
//! carriage returns, a line cut off by a pulled plug. Lines are split and counted here, and every
//! place in a message comes from this count.

use std::ops::Range;

use crate::diagnostic::Place;

/// A file held in memory, split into lines.
#[derive(Debug, Clone)]
pub(crate) struct Lines {
    file: String,
    bytes: Vec<u8>,
    lines: Vec<Range<usize>>,
    last_is_open: bool,
    left_out: LeftOut,
}

/// Lines of a file that are not held.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) struct LeftOut {
    /// So many lines at the beginning are held, ...
    pub after: usize,
    /// ... so many after them are not, ...
    pub lines: usize,
    /// ... and so many after the last that is.
    pub behind: usize,
}

impl Lines {
    /// Splits the bytes of a file; `file` is the name messages use.
    #[must_use]
    pub(crate) fn new(file: impl Into<String>, bytes: impl Into<Vec<u8>>) -> Self {
        let bytes = without_wide_letters(bytes.into());
        let start = if bytes.starts_with(b"\xef\xbb\xbf") {
            3
        } else {
            0
        };
        // Files of old desktop computers end lines with a carriage return alone.
        let end = if bytes.contains(&b'\n') { b'\n' } else { b'\r' };
        let mut lines = Vec::new();
        let mut from = start;
        let whole = memchr::memchr_iter(end, &bytes[start..]).map(|at| start + at);
        for to in whole.chain([bytes.len()]) {
            let mut trimmed = to;
            while trimmed > from && bytes[trimmed - 1] == b'\r' {
                trimmed -= 1;
            }
            if from < bytes.len() {
                lines.push(from..trimmed);
            }
            from = to + 1;
        }
        Self {
            file: file.into(),
            last_is_open: bytes.last().is_some_and(|byte| *byte != end),
            bytes,
            lines,
            left_out: LeftOut::default(),
        }
    }

    /// Says that these are not all lines of the file.
    #[must_use]
    pub(crate) fn with_left_out(self, left_out: LeftOut) -> Self {
        Self { left_out, ..self }
    }

    /// Lines of the file that are not held.
    #[must_use]
    pub(crate) const fn left_out(&self) -> LeftOut {
        self.left_out
    }

    /// Number of a line in its file, from 1.
    #[must_use]
    pub(crate) const fn number(&self, index: usize) -> usize {
        if index < self.left_out.after {
            index + 1
        } else {
            index + 1 + self.left_out.lines
        }
    }

    /// The file, as messages name it.
    #[must_use]
    pub(crate) fn file(&self) -> &str {
        &self.file
    }

    /// Number of lines.
    #[must_use]
    pub(crate) fn len(&self) -> usize {
        self.lines.len()
    }

    /// Whether the last line has no line end, as when a recorder was switched off while writing.
    #[must_use]
    pub(crate) const fn last_is_open(&self) -> bool {
        self.last_is_open
    }

    /// Bytes of a line without its end, counted from 0; empty past the last.
    #[must_use]
    pub(crate) fn get(&self, index: usize) -> &[u8] {
        self.lines
            .get(index)
            .map_or(&[], |range| &self.bytes[range.clone()])
    }

    /// All bytes.
    #[must_use]
    pub(crate) fn bytes(&self) -> &[u8] {
        &self.bytes
    }

    /// All bytes, and where among them a line lies.
    ///
    /// # Panics
    /// There is no such line.
    #[inline]
    #[must_use]
    pub(super) fn among_all(&self, index: usize) -> (&[u8], Range<usize>) {
        (&self.bytes, self.lines[index].clone())
    }

    /// The place of the line of this number, if it is held.
    #[must_use]
    pub(super) fn place_of_number(&self, number: usize) -> Option<Place> {
        let index = number.checked_sub(self.number(0))?;
        (index < self.len()).then(|| self.place(index, 0..self.get(index).len()))
    }

    /// The place of some bytes of a line.
    #[must_use]
    pub(crate) fn place(&self, index: usize, cell: Range<usize>) -> Place {
        let line = self.get(index);
        let end = cell.end.min(line.len());
        let start = cell.start.min(end);
        let width = |part: &[u8]| to_text_like(part, line).chars().count();
        Place {
            file: self.file.clone(),
            line: self.number(index),
            column: 1 + width(&line[..start]),
            width: width(&line[start..end]),
            text: to_text(line),
        }
    }
}

/// Bytes as text: UTF-8, or else one letter for each byte (ISO 8859-1).
#[must_use]
pub(crate) fn to_text(bytes: &[u8]) -> String {
    to_text_like(bytes, bytes)
}

/// A part of a line, read the way the whole line is read.
fn to_text_like(part: &[u8], line: &[u8]) -> String {
    if std::str::from_utf8(line).is_ok() {
        return String::from_utf8_lossy(part).into_owned();
    }
    part.iter().map(|byte| char::from(*byte)).collect()
}

/// Turns UTF-16 with a byte-order mark into UTF-8; anything else stays as it is.
fn without_wide_letters(bytes: Vec<u8>) -> Vec<u8> {
    let pair: fn([u8; 2]) -> u16 = match bytes.as_slice() {
        [0xff, 0xfe, ..] => u16::from_le_bytes,
        [0xfe, 0xff, ..] => u16::from_be_bytes,
        _ => return bytes,
    };
    let letters = bytes[2..].chunks_exact(2).map(|two| pair([two[0], two[1]]));
    let text: String = char::decode_utf16(letters)
        .map(|letter| letter.unwrap_or(char::REPLACEMENT_CHARACTER))
        .collect();
    text.into_bytes()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mark_in_front_carriage_returns_and_blank_lines_do_not_move_the_count() {
        let lines = Lines::new("a.csv", *b"\xef\xbb\xbft,x\r\n\r\n1,\xc2\xb52\r\n3,4");
        assert_eq!(lines.len(), 4);
        assert_eq!(to_text(lines.get(0)), "t,x");
        assert!(lines.last_is_open());
        let place = lines.place(2, 2..5);
        assert_eq!((place.line, place.column, place.width), (3, 3, 2));
        assert_eq!(place.text, "1,µ2");
    }

    #[test]
    fn one_byte_letters_and_wide_letters_are_read() {
        assert_eq!(to_text(Lines::new("a", *b"\xb5s;N\n").get(0)), "µs;N");
        assert_eq!(
            to_text(Lines::new("a", *b"\xff\xfet\0\r\0\n\x001\0\n\0").get(1)),
            "1"
        );
        let old = Lines::new("a", *b"t\r1\r");
        assert_eq!((old.len(), old.last_is_open()), (2, false));
    }

    #[test]
    fn a_place_past_the_end_is_cut_off_instead_of_failing() {
        let lines = Lines::new("a", *b"12\n");
        assert_eq!(lines.place(0, 1..9).width, 1);
        assert_eq!(lines.place(7, 0..1).text, "");
    }
}
