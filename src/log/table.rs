//! Small tables such as points files: named columns of numbers or words, each cell with its place.

use std::ops::Range;
use std::path::Path;

use super::account::{aside_note, cut_off, layout_note, same_name};
use super::dialect::{Dialect, Overrides};
use super::error::RecordError;
use super::lines::{Lines, to_text};
use super::number::Reading;
use super::read::{every_number_read, find_dialect};
use super::rows::{Rows, read_rows};
use super::source::sha256;
use super::split::unquoted;
use crate::diagnostic::{Diagnostic, Error, Place, read_bytes};

/// A table as it stands in its file.
#[derive(Debug, Clone)]
pub struct RawTable {
    /// SHA-256 of the file's bytes, in hexadecimal.
    pub sha256: String,
    /// What was found in the file, in words.
    pub notes: Vec<String>,
    /// What deserves attention.
    pub warnings: Vec<Diagnostic>,
    lines: Lines,
    dialect: Dialect,
    /// Line of each row, from 0, and the bytes of its cells.
    rows: Vec<(usize, Vec<Range<usize>>)>,
}

/// Reads a table; `file` is the name that messages use.
///
/// # Errors
/// The file is missing, empty, or holds no row with a number in it.
pub(crate) fn read_table(path: &Path, file: &str) -> Result<RawTable, Error> {
    RawTable::of_bytes(file, &read_bytes(path)?)
}

impl RawTable {
    /// Reads a table from the bytes of its file.
    ///
    /// # Errors
    /// The file is empty, or holds no row with a number in it.
    pub fn of_bytes(file: &str, bytes: &[u8]) -> Result<Self, Error> {
        let lines = Lines::new(file, bytes);
        let dialect = find_dialect(&lines, &Overrides::default())?;
        let found = read_rows(&lines, &dialect, &[], None);
        let mut notes = vec![layout_note(
            &dialect,
            found.line.len(),
            lines.last_is_open(),
        )];
        notes.extend(aside_note(0, &found, found.events.len()));
        let problems = same_name(&lines, &dialect);
        let problems = problems.into_iter().chain(cut_off(&lines, &found));
        let warnings = problems.map(|problem| problem.diagnostic()).collect();
        let cells = |at: usize| {
            let mut cells = Vec::new();
            dialect.separator.split(lines.get(at), &mut cells);
            (at, cells)
        };
        let rows = found.line.into_iter().map(cells).collect();
        Ok(Self {
            sha256: sha256(bytes),
            notes,
            warnings,
            rows,
            dialect,
            lines,
        })
    }

    /// The file, as messages name it.
    #[must_use]
    pub fn file(&self) -> &str {
        self.lines.file()
    }

    /// Names of the columns; numbers from 1 where there is no header.
    #[must_use]
    pub fn names(&self) -> &[String] {
        &self.dialect.names
    }

    /// Whether there is such a column.
    #[must_use]
    pub fn has(&self, column: &str) -> bool {
        self.dialect.column(column).is_some()
    }

    /// Number of rows.
    #[must_use]
    pub fn len(&self) -> usize {
        self.rows.len()
    }

    /// Whether there is no row.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// The numbers of a column; NaN where a reading is missing.
    ///
    /// # Errors
    /// There is no such column, or a word stands where a number should.
    pub fn numbers(&self, column: &str) -> Result<Vec<f64>, Error> {
        let index = self.index(column)?;
        let mut out = Vec::with_capacity(self.len());
        let mut problems = Rows::default();
        for (at, cells) in &self.rows {
            let cell = &self.lines.get(*at)[cells[index].clone()];
            match self.dialect.numerals.read(cell) {
                Reading::Number(number) => out.push(number),
                Reading::Missing => out.push(f64::NAN),
                Reading::Word => {
                    problems.add(&self.lines, &self.dialect, *at, index, &cells[index]);
                }
            }
        }
        every_number_read(&problems, self.file())?;
        Ok(out)
    }

    /// The words of a column, as they stand but for quotes and blanks around them.
    ///
    /// # Errors
    /// There is no such column.
    pub fn texts(&self, column: &str) -> Result<Vec<String>, Error> {
        let index = self.index(column)?;
        let text = |(at, cells): &(usize, Vec<Range<usize>>)| {
            to_text(&unquoted(&self.lines.get(*at)[cells[index].clone()]))
        };
        Ok(self.rows.iter().map(text).collect())
    }

    /// The place of a cell, or of the whole row when there is no such column.
    #[must_use]
    pub fn place(&self, row: usize, column: &str) -> Place {
        let Some((at, cells)) = self.rows.get(row) else {
            return Place::file(self.file());
        };
        let whole = 0..self.lines.get(*at).len();
        let cell = self
            .dialect
            .column(column)
            .map(|index| cells[index].clone());
        self.lines.place(*at, cell.unwrap_or(whole))
    }

    /// The place of the line that names the columns, or of the file when there is none.
    #[must_use]
    pub fn header_place(&self) -> Place {
        match self.dialect.header {
            Some(at) => self.lines.place(at, 0..self.lines.get(at).len()),
            None => Place::file(self.file()),
        }
    }

    fn index(&self, column: &str) -> Result<usize, Error> {
        self.dialect.column(column).ok_or_else(|| {
            let problem = RecordError::NoColumn {
                place: self.header_place(),
                column: column.to_owned(),
                log: "this table".to_owned(),
                names: self.names().to_vec(),
            };
            problem.diagnostic().into()
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::diagnostic::Code;

    fn table(text: &str) -> RawTable {
        RawTable::of_bytes("points.csv", text.as_bytes()).unwrap()
    }

    #[test]
    fn numbers_and_words_of_a_points_file_are_read() {
        let points =
            table("raw;mass_g;direction;run\r\n8123;0;up;1\r\n\r\n9000,5;500;\"down\";2\r\n");
        assert_eq!(points.numbers("raw").unwrap(), [8123.0, 9000.5]);
        assert_eq!(points.texts("direction").unwrap(), ["up", "down"]);
        assert!(points.has("run") && !points.has("force_n"));
        assert_eq!(points.place(1, "direction").line, 4);
        assert_eq!(
            points.notes,
            [
                "separator \";\", decimal \",\", header on line 1, 2 rows",
                "1 blank line"
            ]
        );
    }

    #[test]
    fn a_word_in_a_number_column_is_shown_with_a_caret() {
        let points = table("raw,mass_g\r\n8123,0\r\n9000,half a kilo\r\n");
        assert_eq!(
            points.numbers("mass_g").unwrap_err().render(),
            "error: `half a kilo` in column \"mass_g\" is not a number\n  \
             at points.csv:3:6\n    |\n  3 | 9000,half a kilo\n    |      ^^^^^^^^^^^ expected a number\n  \
             hint: if it stands for a missing reading, list it: missing = [\"half a kilo\"]\n"
        );
    }

    #[test]
    fn a_column_that_is_not_there_is_named_with_its_neighbour() {
        assert_eq!(
            table("raw,mas_g\n1,2\n")
                .numbers("mass_g")
                .unwrap_err()
                .render(),
            "error: there is no column \"mass_g\" in this table\n  at points.csv:1:1\n    |\n  \
             1 | raw,mas_g\n    | ^^^^^^^^^ did you mean \"mas_g\"?\n  \
             hint: the columns of that file: raw, mas_g\n"
        );
    }

    #[test]
    fn an_empty_table_says_so() {
        let problems = RawTable::of_bytes("points.csv", b"\r\n").unwrap_err();
        assert_eq!(problems.problems()[0].code, Code::EmptyLog);
    }
}
