//! Where something stands in a text file.
//!
//! Places count from 1 and come from our own counting of lines, because a reader that skips blank
//! lines or carriage returns cannot be trusted with them.

use std::ops::Range;

/// A spot in a text file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Place {
    /// The file, as the user named it.
    pub file: String,
    /// Line, from 1; 0 when the place is the file as a whole.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
    /// Width in characters.
    pub width: usize,
    /// The whole line, without its end.
    pub text: String,
}

impl Place {
    /// The file as a whole.
    #[must_use]
    pub fn file(file: impl Into<String>) -> Self {
        Self {
            file: file.into(),
            line: 0,
            column: 0,
            width: 0,
            text: String::new(),
        }
    }
}

/// A value together with the spot where it was written.
#[derive(Debug, Clone, PartialEq)]
pub struct Located<T> {
    /// The value.
    pub value: T,
    /// Where it stands.
    pub place: Place,
}

/// The place of a range of bytes in a file that need not be valid text.
#[must_use]
pub(super) fn place_in(file: &str, bytes: &[u8], range: Range<usize>) -> Place {
    let start = range.start.min(bytes.len());
    let line = 1 + bytes[..start].iter().filter(|byte| **byte == b'\n').count();
    let line_start = bytes[..start]
        .iter()
        .rposition(|byte| *byte == b'\n')
        .map_or(0, |at| at + 1);
    let line_end = bytes[start..]
        .iter()
        .position(|byte| *byte == b'\n')
        .map_or(bytes.len(), |at| start + at);
    let end = range.end.clamp(start, line_end);
    let as_text = |part: &[u8]| {
        String::from_utf8_lossy(part)
            .trim_end_matches('\r')
            .to_owned()
    };
    Place {
        file: file.to_owned(),
        line,
        column: 1 + as_text(&bytes[line_start..start]).chars().count(),
        width: as_text(&bytes[start..end]).chars().count(),
        text: as_text(&bytes[line_start..line_end]),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn carriage_returns_and_bad_bytes_do_not_move_lines() {
        let bytes = b"a\r\n\r\n\xffb,c\r\n";
        let place = place_in("l", bytes, 8..9);
        assert_eq!((place.line, place.column, place.width), (3, 4, 1));
        assert_eq!(place.text, "\u{fffd}b,c");
    }
}
