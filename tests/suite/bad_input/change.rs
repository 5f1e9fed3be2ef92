//! What a case does to the folder it starts from.

use std::io::Write;

use serde::Deserialize;

use super::DEMO;
use crate::runner::Folder;

/// One change; files are named from the demo's folder, and from the run's own where `./` stands in front.
#[derive(Deserialize)]
#[serde(untagged, deny_unknown_fields)]
pub enum Change {
    /// Text put in place of other text, once.
    Edit {
        edit: String,
        from: String,
        to: String,
    },
    /// A whole text.
    Text { file: String, text: String },
    /// Text that repeats.
    Long {
        file: String,
        head: String,
        unit: String,
        times: usize,
        tail: String,
    },
    /// Bytes, in hexadecimal.
    Bytes { file: String, hex: String },
    /// A folder in place of a file.
    Folder { folder: String },
    /// A file that is not there.
    Gone { gone: String },
    /// Every reading of a column, or that of one row (from 1).
    Column {
        table: String,
        column: String,
        value: String,
        row: Option<usize>,
    },
    /// Rows that stay, counted from 0, the last not among them; from the end when turned about.
    Rows {
        table: String,
        rows: [usize; 2],
        #[serde(default)]
        turned: bool,
    },
    /// Rows written with their columns in another order.
    Order { table: String, order: Vec<usize> },
    /// Another way to write a file.
    Written { write: String, r#as: Writing },
    /// A value of a JSON file, by its pointer; without a value it is taken away.
    Json {
        json: String,
        at: String,
        value: Option<String>,
    },
}

#[derive(Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Writing {
    /// UTF-16, little end first, without a mark that says so.
    Utf16WithoutMark,
    Gzip,
    /// The first half of a gzip file.
    GzipCut,
    /// A gzip file of which one byte in the middle is another.
    GzipDamaged,
    /// The first half of its lines, and half of one more.
    Cut,
    /// The second half in NUL bytes, as after a pulled plug.
    NulEnd,
    /// Two GiB of zero bytes, packed.
    GzipBomb,
    /// 128 MiB of line ends, packed.
    GzipOfLineEnds,
}

fn path(name: &str) -> String {
    name.strip_prefix("./")
        .map_or_else(|| format!("{DEMO}/{name}"), str::to_owned)
}

impl Change {
    pub fn apply(&self, folder: Folder) -> Folder {
        match self {
            Self::Edit { edit, from, to } => folder.edit(&path(edit), from, to),
            Self::Text { file, text } => folder.file(&path(file), text),
            Self::Long {
                file,
                head,
                unit,
                times,
                tail,
            } => {
                let text = format!("{head}{}{tail}", unit.repeat(*times));
                folder.file(&path(file), &text)
            }
            Self::Bytes { file, hex } => {
                let bytes = |at: usize| u8::from_str_radix(&hex[at..at + 2], 16).unwrap();
                let bytes: Vec<u8> = (0..hex.len()).step_by(2).map(bytes).collect();
                write(folder, file, &bytes)
            }
            Self::Folder { folder: name } => {
                let place = folder.path(&path(name));
                let _ = std::fs::remove_file(&place);
                std::fs::create_dir_all(place).unwrap();
                folder
            }
            Self::Gone { gone } => {
                std::fs::remove_file(folder.path(&path(gone))).unwrap();
                folder
            }
            Self::Column {
                table,
                column,
                value,
                row,
            } => rows(folder, table, |header, rows| {
                let at = header.iter().position(|name| name == column).unwrap();
                let all = row.map_or(0..rows.len(), |row| row - 1..row);
                rows[all]
                    .iter_mut()
                    .for_each(|row| row[at].clone_from(value));
            }),
            Self::Rows {
                table,
                rows: [from, to],
                turned,
            } => rows(folder, table, |_, rows| {
                rows.truncate(*to);
                rows.drain(..*from);
                if *turned {
                    rows.reverse();
                }
            }),
            Self::Order { table, order } => rows(folder, table, |_, rows| {
                for row in rows {
                    *row = order.iter().map(|at| row[*at].clone()).collect();
                }
            }),
            Self::Written { write: file, r#as } => {
                let bytes = std::fs::read(folder.path(&path(file))).unwrap_or_default();
                write(folder, file, &r#as.bytes(bytes))
            }
            Self::Json { json, at, value } => {
                let mut whole = folder.json(&path(json));
                let (parent, key) = at.rsplit_once('/').unwrap();
                let parent = whole
                    .pointer_mut(parent)
                    .unwrap_or_else(|| panic!("no {at}"));
                match (value, key.parse::<usize>()) {
                    (Some(value), Ok(key)) => parent[key] = serde_json::from_str(value).unwrap(),
                    (Some(value), Err(_)) => parent[key] = serde_json::from_str(value).unwrap(),
                    (None, _) => {
                        assert!(
                            parent.as_object_mut().unwrap().remove(key).is_some(),
                            "{at}"
                        );
                    }
                }
                folder.file(&path(json), &serde_json::to_string_pretty(&whole).unwrap())
            }
        }
    }
}

fn write(folder: Folder, name: &str, bytes: &[u8]) -> Folder {
    std::fs::write(folder.path(&path(name)), bytes).unwrap();
    folder
}

/// Changes the rows of a table with a header.
fn rows(
    folder: Folder,
    table: &str,
    change: impl FnOnce(&[String], &mut Vec<Vec<String>>),
) -> Folder {
    let text = folder.read(&path(table));
    let cells = |line: &str| line.split(',').map(str::to_owned).collect::<Vec<_>>();
    let mut lines = text.lines();
    let head = lines.next().unwrap();
    let mut rows = lines.map(cells).collect();
    change(&cells(head), &mut rows);
    let mut out = format!("{head}\n");
    for row in rows {
        out += &row.join(",");
        out.push('\n');
    }
    folder.file(&path(table), &out)
}

impl Writing {
    fn bytes(&self, plain: Vec<u8>) -> Vec<u8> {
        match self {
            Self::Utf16WithoutMark => {
                let text = String::from_utf8(plain).unwrap();
                text.encode_utf16().flat_map(u16::to_le_bytes).collect()
            }
            Self::Gzip => gzip(&plain),
            Self::GzipCut => {
                let mut packed = gzip(&plain);
                packed.truncate(packed.len() / 2);
                packed
            }
            Self::GzipDamaged => {
                let mut packed = gzip(&plain);
                let middle = packed.len() / 2;
                packed[middle] ^= 0x55;
                packed
            }
            Self::Cut => {
                let lines: Vec<&[u8]> = plain.split_inclusive(|byte| *byte == b'\n').collect();
                let (kept, rest) = lines.split_at(lines.len() / 2);
                [kept.concat().as_slice(), &rest[0][..rest[0].len() / 2]].concat()
            }
            Self::NulEnd => {
                let mut out = plain;
                let half = out.len() / 2;
                out[half..].fill(0);
                out
            }
            Self::GzipBomb => repeated(&[0; 1 << 20], 2 << 10),
            Self::GzipOfLineEnds => repeated(&[b'\n'; 1 << 20], 128),
        }
    }
}

fn gzip(plain: &[u8]) -> Vec<u8> {
    let mut packer = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
    packer.write_all(plain).unwrap();
    packer.finish().unwrap()
}

/// A block so many times over, each time a gzip member of its own: packing gigabytes takes long.
fn repeated(block: &[u8], times: usize) -> Vec<u8> {
    gzip(block).repeat(times)
}
