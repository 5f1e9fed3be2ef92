//! Tables in columns, as data engines keep them.

use std::sync::Arc;

use crate::quantity::Measured;

/// One value; `None` is null.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Cell {
    Text(Option<Arc<str>>),
    Number(Option<f64>),
    Count(Option<i64>),
}

/// The values of a column, all of one kind.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Cells {
    Text(Vec<Option<Arc<str>>>),
    Number(Vec<Option<f64>>),
    Count(Vec<Option<i64>>),
}

impl Cells {
    fn beginning(cell: &Cell) -> Self {
        match cell {
            Cell::Text(_) => Self::Text(Vec::new()),
            Cell::Number(_) => Self::Number(Vec::new()),
            Cell::Count(_) => Self::Count(Vec::new()),
        }
    }

    /// How many there are.
    pub(crate) fn len(&self) -> usize {
        match self {
            Self::Text(cells) => cells.len(),
            Self::Number(cells) => cells.len(),
            Self::Count(cells) => cells.len(),
        }
    }

    /// One of them.
    pub(crate) fn get(&self, at: usize) -> Option<Cell> {
        match self {
            Self::Text(cells) => cells.get(at).cloned().map(Cell::Text),
            Self::Number(cells) => cells.get(at).copied().map(Cell::Number),
            Self::Count(cells) => cells.get(at).copied().map(Cell::Count),
        }
    }

    /// Adds one; one of another kind is null.
    pub(crate) fn push(&mut self, cell: Cell) {
        match (self, cell) {
            (Self::Text(cells), Cell::Text(cell)) => cells.push(cell),
            (Self::Number(cells), Cell::Number(cell)) => cells.push(cell),
            (Self::Count(cells), Cell::Count(cell)) => cells.push(cell),
            (Self::Text(cells), _) => cells.push(None),
            (Self::Number(cells), _) => cells.push(None),
            (Self::Count(cells), _) => cells.push(None),
        }
    }

    fn append(&mut self, other: Self) {
        match (self, other) {
            (Self::Text(cells), Self::Text(mut more)) => cells.append(&mut more),
            (Self::Number(cells), Self::Number(mut more)) => cells.append(&mut more),
            (Self::Count(cells), Self::Count(mut more)) => cells.append(&mut more),
            // Columns of one name are made by one function.
            _ => {}
        }
    }
}

/// A column under its name.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Column {
    pub name: String,
    pub cells: Cells,
}

/// A table.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Table {
    pub name: &'static str,
    pub columns: Vec<Column>,
}

impl Table {
    /// Without rows, in the columns of one.
    pub(crate) fn like(name: &'static str, row: &Row) -> Self {
        let columns = row.0.iter().map(|(name, cell)| Column {
            name: name.clone(),
            cells: Cells::beginning(cell),
        });
        Self {
            name,
            columns: columns.collect(),
        }
    }

    /// How many rows it has.
    pub(crate) fn rows(&self) -> usize {
        self.columns.first().map_or(0, |column| column.cells.len())
    }

    /// Adds a row, its cells in the order of the columns.
    pub(crate) fn push(&mut self, row: Row) {
        self.push_cells(row.0.into_iter().map(|(_, cell)| cell));
    }

    /// The same of a row that has no names.
    pub(crate) fn push_cells(&mut self, cells: impl IntoIterator<Item = Cell>) {
        for (column, cell) in self.columns.iter_mut().zip(cells) {
            column.cells.push(cell);
        }
    }

    /// Adds the rows of a table of the same columns.
    pub(crate) fn append(&mut self, other: Self) {
        for (column, more) in self.columns.iter_mut().zip(other.columns) {
            column.cells.append(more.cells);
        }
    }

    /// The value of a column in a row.
    pub(crate) fn cell(&self, name: &str, row: usize) -> Option<Cell> {
        let column = self.columns.iter().find(|column| column.name == name)?;
        column.cells.get(row)
    }
}

/// A row being written: names and values, from left to right.
#[derive(Debug, Default)]
pub(crate) struct Row(Vec<(String, Cell)>);

impl Row {
    fn and(mut self, name: impl Into<String>, cell: Cell) -> Self {
        self.0.push((name.into(), cell));
        self
    }

    pub(super) fn text(self, name: impl Into<String>, value: Option<&str>) -> Self {
        self.and(name, Cell::Text(value.map(Into::into)))
    }

    pub(super) fn number(self, name: impl Into<String>, value: Option<f64>) -> Self {
        self.and(name, Cell::Number(value.filter(|value| value.is_finite())))
    }

    pub(super) fn count(self, name: impl Into<String>, value: Option<usize>) -> Self {
        let value = value.and_then(|value| i64::try_from(value).ok());
        self.and(name, Cell::Count(value))
    }

    /// Best estimate, standard uncertainty, and both ends of the 95 % interval; the name ends in the unit of all four.
    pub(super) fn measured(self, name: &str, of: Option<&Measured>) -> Self {
        self.number(name, of.map(|of| of.value))
            .number(format!("{name}_u"), of.map(|of| of.u))
            .number(format!("{name}_low"), of.map(|of| of.low))
            .number(format!("{name}_high"), of.map(|of| of.high))
    }
}
