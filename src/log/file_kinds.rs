//! Files that are something else than a log, told by their first bytes.

use super::error::RecordError;
use super::lines::Lines;

/// What the first bytes of other files are, what they say, and what to do about it.
const KINDS: [(&[u8], &str, &str); 7] = [
    (
        b"\x1f\x8b",
        "it is packed by gzip",
        "unpack it, once more if it is a log: only logs are read as packed, and those once",
    ),
    (
        b"\x28\xb5\x2f\xfd",
        "it is packed by Zstandard",
        "unpack it, once more if it is a log: only logs are read as packed, and those once",
    ),
    (
        b"PK\x03\x04",
        "it is a zip archive, as spreadsheets are",
        "unpack it, or export the sheet as CSV",
    ),
    (
        b"\xd0\xcf\x11\xe0",
        "it is a spreadsheet",
        "export the sheet as CSV",
    ),
    (
        b"\x89PNG",
        "it is a picture",
        "name the recorder's own file",
    ),
    (b"%PDF", "it is a PDF", "name the recorder's own file"),
    (
        b"SQLite format",
        "it is a database",
        "export the table as CSV",
    ),
];

/// Share of bytes that no text holds, from which on a file is none.
const ODD_SHARE: f64 = 0.1;

/// Bytes looked at.
const LOOKED_AT: usize = 4096;

/// Whether a file begins as one of those that are no log.
pub(super) fn is_marked(lines: &Lines) -> bool {
    lines.len() > 0
        && KINDS
            .iter()
            .any(|(mark, ..)| lines.get(0).starts_with(mark))
}

/// What a file without a row of readings seems to be; `None` when it is text like any other.
pub(super) fn not_readings(lines: &Lines) -> Option<RecordError> {
    let head: Vec<u8> = (0..lines.len())
        .flat_map(|at| lines.get(at).iter().copied().chain([b'\n']))
        .take(LOOKED_AT)
        .collect();
    let known = KINDS.iter().find(|(mark, ..)| head.starts_with(mark));
    let nul = head.iter().filter(|byte| **byte == 0).count();
    let odd = |byte: &&u8| byte.is_ascii_control() && !byte.is_ascii_whitespace();
    let odd = head.iter().filter(odd).count();
    let text = head.iter().filter(|byte| byte.is_ascii_graphic()).count();
    let (like, hint) = if let Some((_, like, hint)) = known {
        (*like, *hint)
    } else if nul > 0 && text == 0 {
        (
            "it holds NUL bytes only",
            "the recorder lost what it wrote: look for another copy on the card",
        )
    } else if 2 * nul >= text && 2 * text >= nul {
        (
            "every other byte is NUL, as in UTF-16 without its mark",
            "save it again as UTF-8 text",
        )
    } else if odd as f64 > ODD_SHARE * head.len() as f64 {
        (
            "its bytes are no letters",
            "if the recorder writes binary files, its own program exports them as CSV",
        )
    } else {
        return None;
    };
    let file = lines.file().to_owned();
    Some(RecordError::NotReadings { file, like, hint })
}
