//! Tables as Parquet files, in the plainest form that every reader knows: no compression, every column optional, numbers
//! PLAIN, texts by a dictionary, the footer in Thrift's compact protocol.
//!
//! Reference: Apache Parquet format 2.10 (`parquet.thrift`, Encodings.md) and Apache Thrift, compact protocol. Written here
//! because the usual crate adds more than twenty crates and over a minute of CPU time to every build; the files are read
//! value by value by two engines in `python/tests/test_season.py`. Left out: statistics, pages of more than one row group's
//! column, nested columns, all types but UTF-8 text, double and 64-bit integer.

use std::collections::HashMap;
use std::sync::Arc;

use crate::archive::Table;
use crate::archive::table::{Cells, Column};

const MAGIC: &[u8] = b"PAR1";

/// Rows of a row group: engines read groups one after the other, or on several threads.
const GROUP_ROWS: usize = 1 << 20;

/// Numbers of `parquet.thrift`.
mod number {
    pub(super) const INT64: i64 = 2;
    pub(super) const DOUBLE: i64 = 5;
    pub(super) const BYTE_ARRAY: i64 = 6;
    pub(super) const OPTIONAL: i64 = 1;
    pub(super) const UTF8: i64 = 0;
    pub(super) const PLAIN: i64 = 0;
    pub(super) const RLE: i64 = 3;
    pub(super) const RLE_DICTIONARY: i64 = 8;
    pub(super) const UNCOMPRESSED: i64 = 0;
    pub(super) const DATA_PAGE: i64 = 0;
    pub(super) const DICTIONARY_PAGE: i64 = 2;
}

/// The bytes of a file that holds a table.
#[must_use]
pub(crate) fn bytes(table: &Table) -> Vec<u8> {
    let mut out = MAGIC.to_vec();
    let mut groups = Vec::new();
    for from in (0..table.rows()).step_by(GROUP_ROWS) {
        let to = (from + GROUP_ROWS).min(table.rows());
        let chunks: Vec<Chunk> = table
            .columns
            .iter()
            .map(|column| chunk(column, from, to, &mut out))
            .collect();
        groups.push((to - from, chunks));
    }
    let footer = footer(table, &groups);
    out.extend(&footer);
    // A footer of a few columns' names is nowhere near 4 GiB.
    out.extend(
        u32::try_from(footer.len())
            .unwrap_or(u32::MAX)
            .to_le_bytes(),
    );
    out.extend(MAGIC);
    out
}

/// A column of a row group, as the footer tells it.
struct Chunk {
    name: String,
    physical: i64,
    encodings: [i64; 2],
    values: usize,
    dictionary_at: Option<usize>,
    data_at: usize,
    size: usize,
}

fn chunk(column: &Column, from: usize, to: usize, out: &mut Vec<u8>) -> Chunk {
    let begin = out.len();
    let mut dictionary_at = None;
    let mut values = Vec::new();
    let (physical, encoding, known): (i64, i64, Vec<bool>) = match &column.cells {
        Cells::Number(cells) => {
            let cells = &cells[from..to];
            values.extend(cells.iter().flatten().flat_map(|one| one.to_le_bytes()));
            let known = cells.iter().map(Option::is_some).collect();
            (number::DOUBLE, number::PLAIN, known)
        }
        Cells::Count(cells) => {
            let cells = &cells[from..to];
            values.extend(cells.iter().flatten().flat_map(|one| one.to_le_bytes()));
            let known = cells.iter().map(Option::is_some).collect();
            (number::INT64, number::PLAIN, known)
        }
        Cells::Text(cells) => {
            let cells = &cells[from..to];
            let (dictionary, distinct, indexes) = dictionary(cells);
            dictionary_at = Some(out.len());
            page(
                number::DICTIONARY_PAGE,
                distinct,
                number::PLAIN,
                &dictionary,
                out,
            );
            values = indexes;
            let known = cells.iter().map(Option::is_some).collect();
            (number::BYTE_ARRAY, number::RLE_DICTIONARY, known)
        }
    };
    let mut levels = Vec::new();
    runs(known.iter().map(|known| u32::from(*known)), 1, &mut levels);
    let mut data = u32::try_from(levels.len())
        .unwrap_or(u32::MAX)
        .to_le_bytes()
        .to_vec();
    data.append(&mut levels);
    data.append(&mut values);
    let data_at = out.len();
    page(number::DATA_PAGE, to - from, encoding, &data, out);
    Chunk {
        name: column.name.clone(),
        physical,
        encodings: [number::RLE, encoding],
        values: to - from,
        dictionary_at,
        data_at,
        size: out.len() - begin,
    }
}

/// The distinct texts of some cells, how many there are, and for each cell that is known which it is.
fn dictionary(cells: &[Option<Arc<str>>]) -> (Vec<u8>, usize, Vec<u8>) {
    let mut places: HashMap<&str, u32> = HashMap::new();
    let mut dictionary = Vec::new();
    let mut indexes: Vec<u32> = Vec::new();
    for text in cells.iter().flatten() {
        let next = u32::try_from(places.len()).unwrap_or(u32::MAX);
        let at = *places.entry(text).or_insert_with(|| {
            dictionary.extend(u32::try_from(text.len()).unwrap_or(u32::MAX).to_le_bytes());
            dictionary.extend(text.as_bytes());
            next
        });
        indexes.push(at);
    }
    let width = (usize::BITS - places.len().saturating_sub(1).leading_zeros()).max(1);
    let mut out = vec![width as u8];
    runs(indexes.into_iter(), width, &mut out);
    (dictionary, places.len(), out)
}

/// Numbers of some bits as runs of equal ones (the RLE half of the RLE and bit-packing hybrid).
fn runs(values: impl Iterator<Item = u32>, width: u32, out: &mut Vec<u8>) {
    let mut write = |value: u32, length: u64| {
        varint(length << 1, out);
        out.extend(&value.to_le_bytes()[..width.div_ceil(8) as usize]);
    };
    let mut run: Option<(u32, u64)> = None;
    for value in values {
        run = match run {
            Some((same, length)) if same == value => Some((same, length + 1)),
            Some((other, length)) => {
                write(other, length);
                Some((value, 1))
            }
            None => Some((value, 1)),
        };
    }
    if let Some((value, length)) = run {
        write(value, length);
    }
}

/// A page with its header.
fn page(kind: i64, values: usize, encoding: i64, data: &[u8], out: &mut Vec<u8>) {
    let mut header = Struct::default();
    header.integer(1, kind);
    header.integer(2, data.len() as i64);
    header.integer(3, data.len() as i64);
    let mut own = Struct::default();
    own.integer(1, values as i64);
    own.integer(2, encoding);
    if kind == number::DATA_PAGE {
        own.integer(3, number::RLE);
        own.integer(4, number::RLE);
        header.structure(5, own);
    } else {
        header.structure(7, own);
    }
    out.extend(header.done());
    out.extend(data);
}

fn footer(table: &Table, groups: &[(usize, Vec<Chunk>)]) -> Vec<u8> {
    let mut root = Struct::default();
    root.text(4, "schema");
    root.integer(5, table.columns.len() as i64);
    let mut schema = vec![root];
    schema.extend(table.columns.iter().map(|column| {
        let mut element = Struct::default();
        let physical = match column.cells {
            Cells::Text(_) => number::BYTE_ARRAY,
            Cells::Number(_) => number::DOUBLE,
            Cells::Count(_) => number::INT64,
        };
        element.integer(1, physical);
        element.integer(3, number::OPTIONAL);
        element.text(4, &column.name);
        if physical == number::BYTE_ARRAY {
            element.integer(6, number::UTF8);
            // The logical type STRING, a union whose first member is empty.
            let mut string = Struct::default();
            string.structure(1, Struct::default());
            element.structure(10, string);
        }
        element
    }));
    let groups = groups.iter().map(|(rows, chunks)| {
        let mut group = Struct::default();
        group.structures(1, chunks.iter().map(column_chunk).collect());
        let size: usize = chunks.iter().map(|chunk| chunk.size).sum();
        group.long(2, size as i64);
        group.long(3, *rows as i64);
        group
    });
    let mut file = Struct::default();
    file.integer(1, 1);
    file.structures(2, schema);
    file.long(3, table.rows() as i64);
    file.structures(4, groups.collect());
    file.text(6, concat!("burnwright version ", env!("CARGO_PKG_VERSION")));
    file.done()
}

fn column_chunk(of: &Chunk) -> Struct {
    let mut data = Struct::default();
    data.integer(1, of.physical);
    data.integers(2, &of.encodings);
    data.texts(3, &[&of.name]);
    data.integer(4, number::UNCOMPRESSED);
    data.long(5, of.values as i64);
    data.long(6, of.size as i64);
    data.long(7, of.size as i64);
    data.long(9, of.data_at as i64);
    if let Some(at) = of.dictionary_at {
        data.long(11, at as i64);
    }
    let mut chunk = Struct::default();
    chunk.long(2, of.dictionary_at.unwrap_or(of.data_at) as i64);
    chunk.structure(3, data);
    chunk
}

/// A struct in Thrift's compact protocol, its fields in rising order.
#[derive(Default)]
struct Struct {
    bytes: Vec<u8>,
    last: u8,
}

impl Struct {
    const I32: u8 = 5;
    const I64: u8 = 6;
    const BINARY: u8 = 8;
    const LIST: u8 = 9;
    const STRUCT: u8 = 12;

    /// The head of a field: how far its number is from the last one's, and its kind.
    fn field(&mut self, id: u8, kind: u8) {
        self.bytes.push((id - self.last) << 4 | kind);
        self.last = id;
    }

    fn integer(&mut self, id: u8, value: i64) {
        self.field(id, Self::I32);
        varint(zigzag(value), &mut self.bytes);
    }

    fn long(&mut self, id: u8, value: i64) {
        self.field(id, Self::I64);
        varint(zigzag(value), &mut self.bytes);
    }

    fn text(&mut self, id: u8, value: &str) {
        self.field(id, Self::BINARY);
        binary(value, &mut self.bytes);
    }

    fn structure(&mut self, id: u8, value: Self) {
        self.field(id, Self::STRUCT);
        self.bytes.extend(value.done());
    }

    fn list(&mut self, id: u8, kind: u8, length: usize) {
        self.field(id, Self::LIST);
        if length < 15 {
            self.bytes.push((length as u8) << 4 | kind);
        } else {
            self.bytes.push(0xf0 | kind);
            varint(length as u64, &mut self.bytes);
        }
    }

    fn integers(&mut self, id: u8, values: &[i64]) {
        self.list(id, Self::I32, values.len());
        for value in values {
            varint(zigzag(*value), &mut self.bytes);
        }
    }

    fn texts(&mut self, id: u8, values: &[&str]) {
        self.list(id, Self::BINARY, values.len());
        for value in values {
            binary(value, &mut self.bytes);
        }
    }

    fn structures(&mut self, id: u8, values: Vec<Self>) {
        self.list(id, Self::STRUCT, values.len());
        for value in values {
            self.bytes.extend(value.done());
        }
    }

    fn done(mut self) -> Vec<u8> {
        self.bytes.push(0);
        self.bytes
    }
}

fn binary(value: &str, out: &mut Vec<u8>) {
    varint(value.len() as u64, out);
    out.extend(value.as_bytes());
}

const fn zigzag(value: i64) -> u64 {
    ((value << 1) ^ (value >> 63)) as u64
}

/// Seven bits a byte, the lowest first.
fn varint(mut value: u64, out: &mut Vec<u8>) {
    while value > 0x7f {
        out.push((value & 0x7f) as u8 | 0x80);
        value >>= 7;
    }
    out.push(value as u8);
}

#[cfg(test)]
mod tests {
    use super::*;

    // By the protocol's description: 300 is 0xac 0x02; -1 is 1 and 1 is 2 in zigzag; a field two further on of kind i32.
    #[test]
    fn numbers_are_written_as_the_protocol_says() {
        let mut out = Vec::new();
        varint(300, &mut out);
        assert_eq!(out, [0xac, 0x02]);
        assert_eq!(
            (zigzag(0), zigzag(-1), zigzag(1), zigzag(i64::MIN)),
            (0, 1, 2, u64::MAX)
        );
        let mut one = Struct::default();
        one.integer(2, -1);
        one.text(3, "é");
        assert_eq!(one.done(), [0x25, 1, 0x18, 2, 0xc3, 0xa9, 0]);
    }

    // Encodings.md: a run of five ones of one bit is its length doubled, and the value in one byte.
    #[test]
    fn runs_are_length_and_value() {
        let mut out = Vec::new();
        runs([1, 1, 1, 1, 1, 0].into_iter(), 1, &mut out);
        assert_eq!(out, [10, 1, 2, 0]);
        let mut out = Vec::new();
        runs([300].into_iter(), 9, &mut out);
        assert_eq!(out, [2, 0x2c, 0x01]);
    }

    #[test]
    fn texts_that_come_again_are_written_once() {
        let cells = ["b", "a", "b"].map(|text| Some(Arc::from(text)));
        let (dictionary, distinct, indexes) = dictionary(&cells);
        assert_eq!(dictionary, b"\x01\0\0\0b\x01\0\0\0a");
        assert_eq!((distinct, indexes), (2, vec![1, 2, 0, 2, 1, 2, 0]));
    }
}
