//! The rows of a file: numbers of the wanted columns, and everything that is not a row.

use std::ops::Range;
use std::panic::resume_unwind;

use super::Event;
use super::dialect::Dialect;
use super::error::RecordError;
use super::lines::{Lines, to_text};
use super::number::Reading;
use super::plain::PlainRows;
use super::split::unquoted;

/// The rows of a file, before anything is known about their times.
#[derive(Debug, Default)]
pub(crate) struct Rows {
    /// Line of each row, from 0.
    pub line: Vec<usize>,
    /// Numbers of each wanted column; NaN where a reading is missing.
    pub numbers: Vec<Vec<f64>>,
    /// Bytes in its line of each cell of the text column, if one is wanted.
    pub text: Vec<Range<usize>>,
    /// Lines that are not rows.
    pub events: Vec<Event>,
    /// Number of comment lines, and of lines that hold nothing.
    pub comments: usize,
    pub blank: usize,
    /// The last line, if it was cut off while being written.
    pub cut_off: Option<usize>,
    /// Words where numbers should stand: the first few.
    pub problems: Vec<RecordError>,
    /// How many there are in all.
    pub problem_count: usize,
}

/// Words in number columns that are listed one by one.
const PROBLEMS_LISTED: usize = 5;

impl Rows {
    /// Adds the rows of the lines that follow.
    fn append(&mut self, next: Self) {
        let rows_before = self.line.len();
        self.line.extend(next.line);
        for (column, values) in self.numbers.iter_mut().zip(next.numbers) {
            column.extend(values);
        }
        self.text.extend(next.text);
        self.events
            .extend(next.events.into_iter().map(|event| Event {
                rows_before: rows_before + event.rows_before,
                ..event
            }));
        self.comments += next.comments;
        self.blank += next.blank;
        self.cut_off = self.cut_off.or(next.cut_off);
        self.problems.extend(next.problems);
        self.problems.truncate(PROBLEMS_LISTED);
        self.problem_count += next.problem_count;
    }

    /// Notes a word that stands where a number should.
    pub(crate) fn add(
        &mut self,
        lines: &Lines,
        dialect: &Dialect,
        line: usize,
        column: usize,
        cell: &Range<usize>,
    ) {
        self.problem_count += 1;
        if self.problems.len() < PROBLEMS_LISTED {
            self.problems.push(RecordError::NotANumber {
                place: lines.place(line, cell.clone()),
                column: dialect.names[column].clone(),
                word: to_text(&unquoted(&lines.get(line)[cell.clone()])),
                decimal: char::from(dialect.numerals.decimal),
            });
        }
    }
}

/// Logs of more lines are read by several threads.
const LINES_FOR_ONE: usize = 50_000;

/// Reads every row: the cells of `numbers` as numbers, that of `text` as text.
#[must_use]
pub(crate) fn read_rows(
    lines: &Lines,
    dialect: &Dialect,
    numbers: &[usize],
    text: Option<usize>,
) -> Rows {
    let header = header_cells(lines, dialect);
    let plain = match text {
        None => PlainRows::new(dialect, numbers, &header),
        Some(_) => None,
    };
    let read = |part: Range<usize>| {
        let reader = RowReader {
            lines,
            dialect,
            columns: numbers,
            text,
            header: &header,
            plain: plain.clone(),
            cells: Vec::new(),
            readings: vec![0.0; numbers.len()],
        };
        reader.read(part)
    };
    let threads = match std::thread::available_parallelism() {
        Ok(threads) if lines.len() > LINES_FOR_ONE => threads.get(),
        _ => 1,
    };
    let share = lines.len().div_ceil(threads);
    let part = |at: usize| {
        let from = (at * share).max(dialect.skip_lines);
        from..((at + 1) * share).min(lines.len()).max(from)
    };
    let mut parts = std::thread::scope(|scope| {
        let others: Vec<_> = (1..threads)
            .map(|at| scope.spawn(move || read(part(at))))
            .collect();
        let mut parts = vec![read(part(0))];
        for other in others {
            parts.push(other.join().unwrap_or_else(|why| resume_unwind(why)));
        }
        parts
    })
    .into_iter();
    let mut rows = parts.next().unwrap_or_default();
    for part in parts {
        rows.append(part);
    }
    rows
}

fn header_cells(lines: &Lines, dialect: &Dialect) -> Vec<Vec<u8>> {
    let Some(at) = dialect.header else {
        return vec![];
    };
    let mut cells = Vec::new();
    dialect.separator.split(lines.get(at), &mut cells);
    let line = lines.get(at);
    cells.into_iter().map(|cell| line[cell].to_vec()).collect()
}

struct RowReader<'a> {
    lines: &'a Lines,
    dialect: &'a Dialect,
    columns: &'a [usize],
    text: Option<usize>,
    /// Cells of the header, which some recorders write again.
    header: &'a [Vec<u8>],
    /// What takes most lines.
    plain: Option<PlainRows>,
    cells: Vec<Range<usize>>,
    readings: Vec<f64>,
}

impl RowReader<'_> {
    fn read(mut self, part: Range<usize>) -> Rows {
        let (lines, dialect) = (self.lines, self.dialect);
        let mut rows = Rows {
            numbers: vec![Vec::with_capacity(part.len()); self.columns.len()],
            line: Vec::with_capacity(part.len()),
            ..Rows::default()
        };
        for at in part {
            let last_open = at + 1 == lines.len() && lines.last_is_open();
            if at > dialect.first_row
                && !last_open
                && let Some(plain) = &mut self.plain
            {
                let (bytes, line) = lines.among_all(at);
                if plain.read(bytes, &line, &mut self.readings) {
                    self.add(at, &mut rows);
                    continue;
                }
            }
            let line = lines.get(at);
            let is_head = Some(at) == dialect.header || Some(at) == dialect.units;
            let is_blank = line.trim_ascii().is_empty();
            if is_head || is_blank {
                rows.blank += usize::from(is_blank);
                continue;
            }
            if dialect.is_comment(line) {
                rows.comments += 1;
                continue;
            }
            dialect.separator.split(line, &mut self.cells);
            let names_again = at > dialect.first_row && self.says(line, self.header);
            if at < dialect.first_row || names_again || !self.take(at, last_open, &mut rows) {
                if last_open && at > dialect.first_row {
                    rows.cut_off = Some(at);
                }
                rows.events.push(Event {
                    line: lines.number(at),
                    text: to_text(line),
                    rows_before: rows.line.len(),
                });
            }
        }
        rows
    }

    /// Takes the line whose cells were just cut as a row; false when it is not one.
    fn take(&mut self, at: usize, last_open: bool, rows: &mut Rows) -> bool {
        if self.cells.len() != self.dialect.width {
            return false;
        }
        // No separator follows the last cell of an open line: digits may be missing of it.
        let torn = |column: usize| last_open && column + 1 == self.dialect.width;
        if self.text.is_some_and(torn) {
            return false;
        }
        let line = self.lines.get(at);
        let (mut any_number, mut words) = (false, Vec::new());
        for (column, reading) in self.columns.iter().zip(&mut self.readings) {
            let cell = self.cells[*column].clone();
            *reading = match self.dialect.numerals.read(&line[cell]) {
                Reading::Number(number) => {
                    any_number = true;
                    if torn(*column) { f64::NAN } else { number }
                }
                Reading::Missing => f64::NAN,
                Reading::Word => {
                    words.push(*column);
                    f64::NAN
                }
            };
        }
        // A line of words that happens to have the right number of cells is not a row; a line of
        // missing readings is one.
        let gap = words.is_empty() && !self.columns.is_empty();
        if !any_number && !gap && !self.dialect.is_row(line, &self.cells) {
            return false;
        }
        if !words.is_empty() && last_open {
            return false;
        }
        for column in words {
            rows.add(self.lines, self.dialect, at, column, &self.cells[column]);
        }
        rows.text
            .extend(self.text.map(|column| self.cells[column].clone()));
        self.add(at, rows);
        true
    }

    /// Adds a row of the readings that were just taken.
    fn add(&self, at: usize, rows: &mut Rows) {
        rows.line.push(at);
        for (at, column) in rows.numbers.iter_mut().enumerate() {
            column.push(self.readings[at]);
        }
    }

    /// Whether the cells just cut say the same as those of another line.
    fn says(&self, line: &[u8], other: &[Vec<u8>]) -> bool {
        !other.is_empty()
            && self.cells.len() == other.len()
            && self
                .cells
                .iter()
                .zip(other)
                .all(|(cell, other)| &line[cell.clone()] == other.as_slice())
    }
}

#[cfg(test)]
mod tests {
    use super::super::dialect::Overrides;
    use super::*;

    fn read(text: &str, columns: &[usize]) -> Rows {
        let lines = Lines::new("a.csv", text.as_bytes());
        let dialect = Dialect::find(&lines, &Overrides::default()).unwrap();
        read_rows(&lines, &dialect, columns, None)
    }

    #[test]
    fn whatever_is_not_a_row_is_kept_as_an_event() {
        let text = "boot\nt,x\n0,1\nfire!\n1,2\nt,x\n2,3,4\nrst:0x1,boot:0x13\n# note\n2,3\n";
        let rows = read(text, &[0, 1]);
        assert_eq!(rows.line, [2, 4, 9]);
        assert_eq!(rows.numbers[1], [1.0, 2.0, 3.0]);
        let events: Vec<(usize, &str, usize)> = rows
            .events
            .iter()
            .map(|event| (event.line, event.text.as_str(), event.rows_before))
            .collect();
        assert_eq!(
            events,
            [
                (1, "boot", 0),
                (4, "fire!", 1),
                (6, "t,x", 2),
                (7, "2,3,4", 2),
                (8, "rst:0x1,boot:0x13", 2)
            ]
        );
        assert_eq!((rows.comments, rows.cut_off), (1, None));
    }

    #[test]
    fn a_last_line_that_was_cut_off_is_no_row_and_no_mistake() {
        assert_eq!(read("t,x\n0,1\n1,2\n2", &[0, 1]).cut_off, Some(3));
        let minus = read("t,x\n0,1\n1,2\n2,-", &[0, 1]);
        assert_eq!((minus.cut_off, minus.problem_count), (Some(3), 0));
        // Of its last cell, digits may be missing.
        let open = read("t,x\n0,1\n1,2\n2,3", &[0, 1]);
        assert_eq!((open.line.len(), open.cut_off), (3, None));
        assert!(open.numbers[0][2] == 2.0 && open.numbers[1][2].is_nan());
    }

    #[test]
    fn missing_readings_keep_their_row_and_words_are_counted() {
        let rows = read("t,x\n0,1\n1,--\n2,\n3,off\n4,5\n", &[0, 1]);
        assert_eq!(rows.line.len(), 5);
        assert!(rows.numbers[1][1].is_nan() && rows.numbers[1][2].is_nan());
        assert_eq!(rows.problem_count, 1);
        // A word in a column that nobody asked for is none of our business.
        assert_eq!(read("t,x\n0,1\n1,off\n", &[0]).problem_count, 0);
    }
}
