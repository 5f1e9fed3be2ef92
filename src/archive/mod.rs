//! A season of reduced firings as tables that any data engine reads.
//!
//! The folders are searched for `result.json`; each is one firing, with the `thrust.csv` and `gains.json` beside it. Five
//! tables come of them: [`rows`] says what stands in each. An archive that is there already is read back and written anew
//! with what is new: a firing that is found again (the same logs, byte for byte, ignition within a tenth of a second) takes
//! the place of its earlier rows. Rows are sorted by date, title and folder, so the same firings give the same bytes in
//! whatever order they come. Two folders with the same firing would count it twice: the first is kept, the other is told.
//!
//! Nothing is computed here that is not in the results; a number that is not known is null.

mod earlier;
mod found;
mod rows;
pub(crate) mod table;

use std::path::{Path, PathBuf};

use serde::Serialize;

pub(crate) use self::table::Table;
use crate::compare::Failed;
use crate::diagnostic::{Code, Diagnostic, Error, Place};
use found::Found;
use table::Cell;

/// Schema number of the summary.
const SCHEMA: u32 = 1;

/// Ignitions in the same logs that lie nearer than this are one, s.
const SAME_IGNITION_S: f64 = 0.1;

/// A season.
#[derive(Debug, Clone, Serialize)]
#[non_exhaustive]
pub struct Archive {
    /// Schema number.
    pub schema: u32,
    /// Firings in the folders that were searched.
    pub found: usize,
    /// Firings of the archive that was there, kept as they are.
    pub kept: usize,
    /// Firings of that archive that were found again, with the rows of now.
    pub replaced: usize,
    /// The tables.
    pub tables: Vec<TableSize>,
    /// Results that were left out, and why.
    pub left_out: Vec<Failed>,
    /// What stands in the tables.
    #[serde(skip)]
    pub(crate) contents: Vec<Table>,
}

/// How large a table is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[non_exhaustive]
pub struct TableSize {
    /// Its name; its files are called so.
    pub name: String,
    /// Its rows.
    pub rows: usize,
    /// Its columns.
    pub columns: usize,
}

/// One firing with its rows.
struct Firing {
    /// Digests of its logs, one after the other.
    logs: String,
    /// When it ignited, on the first log's clock, s.
    ignition_s: Option<f64>,
    /// What rows are sorted by.
    order: [String; 3],
    /// Its rows in each table.
    tables: Vec<Table>,
}

impl Firing {
    /// From its rows; the first table has one that says which firing it is.
    fn new(tables: Vec<Table>) -> Self {
        let of = |name: &str| tables.first().and_then(|firings| firings.cell(name, 0));
        let text = |name: &str| match of(name) {
            Some(Cell::Text(Some(text))) => text.to_string(),
            _ => String::new(),
        };
        Self {
            logs: text("logs_sha256"),
            ignition_s: match of("ignition_s") {
                Some(Cell::Number(number)) => number,
                _ => None,
            },
            order: [text("date"), text("title"), text("folder")],
            tables,
        }
    }

    fn is(&self, other: &Self) -> bool {
        let apart = self
            .ignition_s
            .zip(other.ignition_s)
            .is_some_and(|(one, other)| (one - other).abs() > SAME_IGNITION_S);
        !apart && self.logs == other.logs
    }
}

/// Gathers the firings under some folders, with those of an archive that is in `into` already; `progress` hears how many
/// results are read, of how many.
///
/// # Errors
/// A folder that cannot be read, no result in any, or an archive that cannot be read back. A result that cannot be read is
/// left out, and the summary says why.
pub fn archive(
    folders: &[PathBuf],
    into: &Path,
    progress: &dyn Fn(usize, usize),
) -> Result<Archive, Error> {
    let mut places = Vec::new();
    for folder in folders {
        places.extend(found::results_under(folder)?);
    }
    places.sort();
    places.dedup();
    if places.is_empty() {
        let none = Diagnostic::error(Code::NoFile, "there is no result.json in these folders");
        let place = folders
            .first()
            .map(|one| Place::file(one.display().to_string()));
        let none = none.hint("reduce the firings first: `burnwright reduce FIRING.toml`");
        return Err(place.map_or(none.clone(), |place| none.at(place)).into());
    }
    let (mut firings, mut left_out) = (Vec::<(String, Firing)>::new(), Vec::new());
    for (done, place) in places.iter().enumerate() {
        let file = place.file.display().to_string();
        match Found::read(place) {
            Ok(found) => {
                let firing = Firing::new(rows::of(&found));
                match firings.iter().find(|(_, one)| one.is(&firing)) {
                    Some((first, _)) => left_out.push(Failed::new(file, &twice(first))),
                    None => firings.push((file, firing)),
                }
            }
            Err(why) => left_out.push(Failed::new(file, &why)),
        }
        progress(done + 1, places.len());
    }
    let mut all: Vec<Firing> = firings.into_iter().map(|(_, firing)| firing).collect();
    let found = all.len();
    let mut replaced = 0;
    for earlier in earlier::read(into)? {
        if all[..found].iter().any(|one| one.is(&earlier)) {
            replaced += 1;
        } else {
            all.push(earlier);
        }
    }
    let kept = all.len() - found;
    all.sort_by(|one, other| one.order.cmp(&other.order));
    let mut contents = rows::empty();
    for firing in all {
        for (whole, own) in contents.iter_mut().zip(firing.tables) {
            whole.append(own);
        }
    }
    let size = |table: &Table| TableSize {
        name: table.name.to_owned(),
        rows: table.rows(),
        columns: table.columns.len(),
    };
    Ok(Archive {
        schema: SCHEMA,
        found,
        kept,
        replaced,
        tables: contents.iter().map(size).collect(),
        left_out,
        contents,
    })
}

fn twice(first: &str) -> Error {
    let says = format!("its logs are those of {first}, byte for byte");
    Diagnostic::error(Code::NamedTwice, says)
        .hint("a second time it would count as another firing; it is left out")
        .into()
}
