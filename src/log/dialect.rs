//! How one file is written: separator, decimal mark, comments, header.
//!
//! Each separator is tried on a sample of the lines. The one under which most cells of equally long
//! lines are numbers is taken, with the number of cells those lines have; whatever does not have
//! that many cells is not a row. The header is the line of words straight above the first row.

use std::ops::Range;

use super::error::RecordError;
use super::lines::{Lines, to_text};
use super::number::{Numerals, Reading, number};
use super::split::{Separator, unquoted};
use crate::config::LogFile;
use crate::quantity::unit;

/// What the firing file says about a file; whatever is absent is found.
#[derive(Debug, Clone, Default)]
pub(crate) struct Overrides {
    /// Separator.
    pub delimiter: Option<char>,
    /// Decimal mark.
    pub decimal: Option<char>,
    /// What a comment line starts with.
    pub comment: Option<String>,
    /// Lines to pass over.
    pub skip_lines: usize,
    /// Whether there is a header.
    pub header: Option<bool>,
    /// Words for a missing reading.
    pub missing: Vec<String>,
}

impl Overrides {
    /// What a log's table says.
    #[must_use]
    pub(crate) fn of(log: &LogFile) -> Self {
        Self {
            delimiter: log.delimiter,
            decimal: log.decimal,
            comment: log.comment.clone(),
            skip_lines: log.skip_lines.unwrap_or(0),
            header: log.header,
            missing: log.missing.clone(),
        }
    }
}

/// How a file is written.
#[derive(Debug, Clone)]
pub(crate) struct Dialect {
    /// What stands between cells.
    pub separator: Separator,
    /// Cells of a row.
    pub width: usize,
    /// How numbers are written.
    pub numerals: Numerals,
    /// What comment lines start with.
    pub comments: Vec<String>,
    /// Lines passed over because the firing file says so.
    pub skip_lines: usize,
    /// The line that names the columns, from 0.
    pub header: Option<usize>,
    /// The line under the header that holds units, from 0.
    pub units: Option<usize>,
    /// Names of the columns; numbers from 1 where there is no header.
    pub names: Vec<String>,
    /// The first row of readings, from 0.
    pub first_row: usize,
}

/// Comment marks that are understood without being overrides.
const COMMENT_MARKS: [&str; 3] = ["#", "%", "//"];

/// Separators that are tried, the likelier first.
const SEPARATORS: [Separator; 5] = [
    Separator::Byte(b','),
    Separator::Byte(b';'),
    Separator::Byte(b'\t'),
    Separator::Byte(b'|'),
    Separator::Blanks,
];

/// Rows in which a cell without a name is looked for.
const ROWS_LOOKED_AT: usize = 50;

/// Lines looked at in one stretch of the sample: enough to see past a page of boot text.
const STRETCH_LINES: usize = 700;

impl Dialect {
    /// Finds how a file is written; `None` when no line looks like a row of readings.
    #[must_use]
    pub(crate) fn find(lines: &Lines, overrides: &Overrides) -> Option<Self> {
        let mut out = Self {
            separator: Separator::None,
            width: 1,
            numerals: Numerals {
                decimal: b'.',
                missing: overrides.missing.clone(),
            },
            comments: overrides.comment.as_ref().map_or_else(
                || COMMENT_MARKS.map(str::to_owned).to_vec(),
                |mark| vec![mark.clone()],
            ),
            skip_lines: overrides.skip_lines,
            header: None,
            units: None,
            names: vec![],
            first_row: 0,
        };
        let sample = out.sample(lines);
        (out.separator, out.width) = best_shape(lines, &sample, overrides)?;
        out.numerals.decimal = match overrides.decimal.and_then(|mark| u8::try_from(mark).ok()) {
            Some(mark) => mark,
            None => out.find_decimal(lines, &sample),
        };
        out.find_header(lines, overrides.header)?;
        Some(out)
    }

    /// Whether a line is a comment.
    #[must_use]
    pub(crate) fn is_comment(&self, line: &[u8]) -> bool {
        let line = line.trim_ascii_start();
        self.comments
            .iter()
            .any(|mark| !mark.is_empty() && line.starts_with(mark.as_bytes()))
    }

    /// Whether a line holds nothing, or a comment.
    #[must_use]
    pub(crate) fn is_silent(&self, line: &[u8]) -> bool {
        line.trim_ascii().is_empty() || self.is_comment(line)
    }

    /// Whether the cells of a line look like a row: the right number, and a number among them.
    #[must_use]
    pub(crate) fn is_row(&self, line: &[u8], cells: &[Range<usize>]) -> bool {
        let is_number = |cell: &Range<usize>| {
            matches!(self.numerals.read(&line[cell.clone()]), Reading::Number(_))
        };
        cells.len() == self.width && cells.iter().any(is_number)
    }

    /// Index of a column by name; the first of several of one name has its place in its name as the others have.
    #[must_use]
    pub(crate) fn column(&self, name: &str) -> Option<usize> {
        let known = || self.names.iter().enumerate();
        let named = known().find(|(_, known)| *known == name);
        let placed = || known().find(|(at, known)| placed_name(known, *at) == name);
        named.or_else(placed).map(|(at, _)| at)
    }

    /// Whether rows have one cell more than the header has names, and something in it. A row that ends in a
    /// separator has nothing there.
    #[must_use]
    pub(crate) fn unnamed(&self, lines: &Lines) -> Option<RecordError> {
        let header = self.header?;
        let mut cells = Vec::new();
        let line = lines.get(header);
        let named = if self.is_comment(line) {
            self.without_mark(line)
        } else {
            line
        };
        self.separator.split(named, &mut cells);
        let names = cells.len();
        if names >= self.width {
            return None;
        }
        let rows = (self.first_row..lines.len()).take(ROWS_LOOKED_AT);
        for at in rows {
            let line = lines.get(at);
            self.separator.split(line, &mut cells);
            let last = cells.last().filter(|_| self.is_row(line, &cells));
            if let Some(last) = last.filter(|cell| !line[(*cell).clone()].trim_ascii().is_empty()) {
                return Some(RecordError::Unnamed {
                    place: lines.place(at, last.clone()),
                    names,
                    cells: self.width,
                });
            }
        }
        None
    }

    /// Cells of one column in the first rows, as text.
    #[must_use]
    pub(crate) fn first_cells(&self, lines: &Lines, column: usize, rows: usize) -> Vec<Vec<u8>> {
        let mut cells = Vec::new();
        let mut out = Vec::new();
        for at in self.first_row..lines.len() {
            let line = lines.get(at);
            if self.is_silent(line) {
                continue;
            }
            self.separator.split(line, &mut cells);
            if self.is_row(line, &cells) {
                out.push(unquoted(&line[cells[column].clone()]).into_owned());
            }
            if out.len() == rows {
                break;
            }
        }
        out
    }

    /// Lines to look at: a stretch at the start, in the middle and at the end.
    fn sample(&self, lines: &Lines) -> Vec<usize> {
        let all = self.skip_lines.min(lines.len())..lines.len();
        let speaks = |at: &usize| !self.is_silent(lines.get(*at));
        if all.len() <= 3 * STRETCH_LINES {
            return all.filter(speaks).collect();
        }
        let middle = all.start + all.len() / 2;
        (all.start..all.start + STRETCH_LINES)
            .chain(middle..middle + STRETCH_LINES)
            .chain(all.end - STRETCH_LINES..all.end)
            .filter(speaks)
            .collect()
    }

    /// The decimal mark under which more cells of the sample are numbers; the point when equal.
    fn find_decimal(&self, lines: &Lines, sample: &[usize]) -> u8 {
        if self.separator == Separator::Byte(b',') {
            return b'.';
        }
        let mut cells = Vec::new();
        let (mut point, mut comma) = (0, 0);
        for at in sample {
            let line = lines.get(*at);
            self.separator.split(line, &mut cells);
            if cells.len() != self.width {
                continue;
            }
            for cell in &cells {
                let cell = unquoted(&line[cell.clone()]);
                point += usize::from(number(&cell, b'.').is_some());
                comma += usize::from(number(&cell, b',').is_some());
            }
        }
        if comma > point { b',' } else { b'.' }
    }

    /// Finds the first row and the line above it that names the columns.
    fn find_header(&mut self, lines: &Lines, stated: Option<bool>) -> Option<()> {
        let mut cells = Vec::new();
        let from = self.skip_lines.min(lines.len());
        let mut words = Vec::new();
        let mut row = None;
        let mut last_comment = None;
        for at in from..lines.len() {
            let line = lines.get(at);
            if self.is_comment(line) {
                last_comment = Some(at);
            }
            if self.is_silent(line) {
                continue;
            }
            self.separator.split(line, &mut cells);
            let takes_name = stated == Some(true) && words.is_empty() && cells.len() == self.width;
            if !takes_name && self.is_row(line, &cells) {
                row = Some(at);
                break;
            }
            let settled = stated == Some(true);
            let follows = !settled || !words.is_empty();
            if takes_name || (follows && self.could_name(line, &cells)) {
                words.push(at);
            } else if !settled {
                words.clear();
            }
        }
        self.first_row = row?;
        let (header, units) = match words.as_slice() {
            _ if stated == Some(false) => (None, None),
            [] => (
                last_comment.filter(|at| self.comment_names(lines, *at)),
                None,
            ),
            [.., header, units] if self.holds_units(lines.get(*units)) => {
                (Some(*header), Some(*units))
            }
            [first, ..] if stated == Some(true) => (Some(*first), None),
            [.., header] => (Some(*header), None),
        };
        (self.header, self.units) = (header, units);
        self.names = self.name_columns(lines);
        Some(())
    }

    /// Whether a line may name the columns. A row may end in a separator that the header lacks;
    /// `load:0x3f` and `gain=2` state something and name nothing; in quotes they are a name.
    fn could_name(&self, line: &[u8], cells: &[Range<usize>]) -> bool {
        let states = |mark: u8| {
            let mut bare = cells
                .iter()
                .filter(|cell| line.get(cell.start) != Some(&b'"'));
            self.separator != Separator::Byte(mark)
                && bare.any(|cell| line[cell.clone()].contains(&mark))
        };
        if states(b':') || states(b'=') {
            return false;
        }
        let named = cells.iter().filter(|cell| !cell.is_empty()).count();
        let short_by_one = self.width > 2 && cells.len() + 1 == self.width;
        (cells.len() == self.width || short_by_one)
            && 2 * named >= cells.len()
            && cells
                .iter()
                .all(|cell| number(&unquoted(&line[cell.clone()]), b'.').is_none())
    }

    /// Whether a comment straight above the first row names the columns.
    fn comment_names(&self, lines: &Lines, at: usize) -> bool {
        let line = self.without_mark(lines.get(at));
        let mut cells = Vec::new();
        self.separator.split(line, &mut cells);
        self.width > 1 && cells.len() == self.width && self.could_name(line, &cells)
    }

    fn without_mark<'a>(&self, line: &'a [u8]) -> &'a [u8] {
        let line = line.trim_ascii_start();
        let mark = self
            .comments
            .iter()
            .find(|mark| line.starts_with(mark.as_bytes()));
        mark.map_or(line, |mark| line[mark.len()..].trim_ascii_start())
    }

    fn holds_units(&self, line: &[u8]) -> bool {
        let mut cells = Vec::new();
        self.separator.split(line, &mut cells);
        cells.iter().all(|cell| {
            let word = to_text(&unquoted(&line[cell.clone()]));
            let word = word.trim_matches(|ch: char| "[]() ".contains(ch));
            word.is_empty() || word == "-" || unit::parse(word).is_ok()
        })
    }

    fn name_columns(&self, lines: &Lines) -> Vec<String> {
        let mut names: Vec<String> = Vec::with_capacity(self.width);
        let mut cells = Vec::new();
        let line = match self.header {
            Some(at) if self.is_comment(lines.get(at)) => self.without_mark(lines.get(at)),
            Some(at) => lines.get(at),
            None => &[],
        };
        if self.header.is_some() {
            self.separator.split(line, &mut cells);
        }
        for column in 0..self.width {
            let name = cells.get(column).map(|cell| &line[cell.clone()]);
            let name = name
                .map(|cell| to_text(&unquoted(cell)))
                .unwrap_or_default();
            let name = if name.is_empty() {
                (column + 1).to_string()
            } else {
                name
            };
            let copies = names.iter().filter(|known| **known == name).count();
            names.push(if copies == 0 {
                name
            } else {
                placed_name(&name, column)
            });
        }
        names
    }
}

/// The name of a column whose own others have: with its place, counted from one.
fn placed_name(name: &str, column: usize) -> String {
    format!("{name} (column {})", column + 1)
}

/// The separator and the number of cells under which most cells are numbers.
fn best_shape(
    lines: &Lines,
    sample: &[usize],
    overrides: &Overrides,
) -> Option<(Separator, usize)> {
    let mut best: Option<(i64, Separator, usize)> = None;
    let candidates: Vec<Separator> = match overrides.delimiter {
        Some(ch) => vec![Separator::from_char(ch)],
        None => [Separator::None].into_iter().chain(SEPARATORS).collect(),
    };
    for separator in candidates {
        if overrides.decimal == Some(',') && separator == Separator::Byte(b',') {
            continue;
        }
        for (width, score) in scores(lines, sample, separator).into_iter().enumerate() {
            let Some(score) = score else { continue };
            // One cell a line is the business of "no separator".
            let lone = width == 1 && separator != Separator::None && overrides.delimiter.is_none();
            if !lone && best.is_none_or(|(most, ..)| score > most) {
                best = Some((score, separator, width));
            }
        }
    }
    best.map(|(_, separator, width)| (separator, width))
}

/// A number speaks for a shape twice as much as a word speaks against it; lines without any
/// number do not speak.
const NUMBER_SCORE: i64 = 2;

/// For each number of cells: the score of the lines that have so many.
fn scores(lines: &Lines, sample: &[usize], separator: Separator) -> Vec<Option<i64>> {
    let mut out: Vec<Option<i64>> = Vec::new();
    let mut cells = Vec::new();
    for at in sample {
        let line = lines.get(*at);
        separator.split(line, &mut cells);
        let count = |is: fn(&[u8]) -> bool| {
            let is = |cell: &&Range<usize>| is(&unquoted(&line[(*cell).clone()]));
            cells.iter().filter(is).count()
        };
        let numbers = if separator == Separator::Byte(b',') {
            count(|cell| number(cell, b'.').is_some())
        } else {
            count(|cell| number(cell, b'.').is_some() || number(cell, b',').is_some())
        };
        let empty = count(<[u8]>::is_empty);
        if numbers == 0 {
            continue;
        }
        let words = cells.len() - numbers - empty;
        let score = NUMBER_SCORE * numbers as i64 - words as i64;
        if out.len() <= cells.len() {
            out.resize(cells.len() + 1, None);
        }
        *out[cells.len()].get_or_insert(0) += score;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn find(text: &str) -> Dialect {
        Dialect::find(&Lines::new("a", text.as_bytes()), &Overrides::default()).unwrap()
    }

    fn seen(text: &str) -> (String, char, Option<usize>, String) {
        let found = find(text);
        let decimal = char::from(found.numerals.decimal);
        let header = found.header.map(|at| at + 1);
        (
            found.separator.words(),
            decimal,
            header,
            found.names.join("/"),
        )
    }

    #[test]
    fn each_separator_and_decimal_mark_is_found() {
        for (text, separator, decimal) in [
            ("t,x\n0,1.5\n1,2.5\n", "\",\"", '.'),
            ("t;x\n0,1;1,5\n0,2;2,5\n", "\";\"", ','),
            ("t\tx\n0,1\t1,5\n0,2\t2,5\n", "tabulator", ','),
            ("t|x\n0|1.5\n1|2.5\n", "\"|\"", '.'),
            (" t   x\n 0.0  1.5\n 1.0  2.5\n", "blanks", '.'),
            ("x\n1.5\n2.5\n", "none (one column)", '.'),
        ] {
            let found = seen(text);
            assert_eq!(
                (found.0.as_str(), found.1, found.2),
                (separator, decimal, Some(1)),
                "{text}"
            );
        }
    }

    #[test]
    fn the_header_is_the_line_of_words_straight_above_the_rows() {
        let junk = "boot v1.2\nload:0x3f,len:14\n\n";
        assert_eq!(seen(&format!("{junk}1,2\n2,3\n")).2, None);
        assert_eq!(seen(&format!("{junk}t,x\n1,2\n2,3\n")).2, Some(4));
        let units = find("t,thrust\n[s],[N]\n0,1\n1,2\n");
        assert_eq!((units.header, units.units), (Some(0), Some(1)));
        let comment = seen("# logger 7\n# t,x\n0,1\n1,2\n");
        assert_eq!((comment.2, comment.3.as_str()), (Some(2), "t/x"));
        assert_eq!(seen("1,2\n2,3\n").3, "1/2");
        assert_eq!(seen("t,\"a=b: c\"\n1,2\n2,3\n").3, "t/a=b: c");
        assert_eq!(seen("t,,t\n1,2,3\n2,3,4\n").3, "t/2/t (column 3)");
        assert_eq!(seen("t,x,y\n1,2,3,\n2,3,4,\n").3, "t/x/y/4");
    }

    #[test]
    fn what_the_firing_file_says_is_not_guessed() {
        let lines = Lines::new("a", b"junk\n1,2\n3,4\n");
        let overrides = Overrides {
            delimiter: Some(';'),
            decimal: Some(','),
            header: Some(true),
            skip_lines: 1,
            ..Overrides::default()
        };
        let found = Dialect::find(&lines, &overrides).unwrap();
        assert_eq!(
            (found.width, found.header, found.first_row),
            (1, Some(1), 2)
        );
        assert_eq!(found.names, ["1,2"]);
    }

    #[test]
    fn a_file_without_a_single_number_has_no_rows() {
        assert!(
            Dialect::find(&Lines::new("a", b"hello\nworld\n"), &Overrides::default()).is_none()
        );
    }
}
