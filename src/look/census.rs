//! Which columns of a log hold numbers, before anybody has said which ones matter.
//!
//! A column counts as numbers when most of its cells are, and the words among them are few different
//! ones: a converter's `ovr` is a missing reading, a phase's name is not.

use std::ops::Range;

use crate::log::dialect::Dialect;
use crate::log::lines::{Lines, to_text};
use crate::log::number::Reading;
use crate::log::split::unquoted;

/// Different words that are kept of each column; one more makes it a column of words.
const WORDS_KEPT: usize = 5;

/// Cells of one column.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Cells {
    /// Cells that are numbers.
    pub numbers: usize,
    /// Cells that are words.
    pub words: usize,
    /// The first different words.
    pub different: Vec<String>,
}

impl Cells {
    /// Whether the column holds numbers.
    #[must_use]
    pub(crate) fn holds_numbers(&self) -> bool {
        self.numbers > self.words && self.different.len() <= WORDS_KEPT
    }

    fn take(&mut self, cell: &[u8], dialect: &Dialect) {
        match dialect.numerals.read(cell) {
            Reading::Number(_) => self.numbers += 1,
            Reading::Missing => {}
            Reading::Word => {
                self.words += 1;
                if self.different.len() <= WORDS_KEPT {
                    let word = to_text(&unquoted(cell));
                    if !self.different.contains(&word) {
                        self.different.push(word);
                    }
                }
            }
        }
    }
}

/// Counts the cells of each column, one pass over the file.
#[must_use]
pub(crate) fn census(lines: &Lines, dialect: &Dialect) -> Vec<Cells> {
    let mut out = vec![Cells::default(); dialect.width];
    let mut cells: Vec<Range<usize>> = Vec::new();
    let header = dialect.header.map(|at| lines.get(at));
    for at in dialect.first_row..lines.len() {
        let line = lines.get(at);
        // A header written again after a restart, and a last line cut off, are not readings.
        let open = at + 1 == lines.len() && lines.last_is_open();
        if dialect.is_silent(line) || open || header == Some(line) {
            continue;
        }
        dialect.separator.split(line, &mut cells);
        if dialect.is_row(line, &cells) {
            for (column, cell) in out.iter_mut().zip(&cells) {
                column.take(&line[cell.clone()], dialect);
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::log::dialect::Overrides;

    #[test]
    fn words_for_missing_readings_are_told_from_columns_of_words() {
        let text = "t,raw,phase\n0,5,rest\n1,ovr,rest\n2,6,fire\n3,7,fire\n4,8,re";
        let lines = Lines::new("a.csv", text.as_bytes());
        let dialect = Dialect::find(&lines, &Overrides::default()).unwrap();
        let seen = census(&lines, &dialect);
        let numbers: Vec<bool> = seen.iter().map(Cells::holds_numbers).collect();
        assert_eq!(numbers, [true, true, false]);
        assert_eq!(seen[1].different, ["ovr"]);
        assert_eq!(seen[2].different, ["rest", "fire"]);
    }
}
