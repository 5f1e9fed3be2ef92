//! Results on disk: where they are, and what each says.

use std::fs;
use std::path::{Path, PathBuf};

use crate::config::json_file;
use crate::control::GainsFile;
use crate::diagnostic::{Code, Diagnostic, Error, Place};
use crate::log::source::sha256;
use crate::plausible::{Misfit, Plausible, Validator};
use crate::reduce::{FiringResult, SCHEMA};

/// The file that makes a folder one of results.
const RESULT: &str = "result.json";

/// Folders in folders are followed this far.
const DEEPEST: usize = 32;

/// A result: how it is called in the tables, and where it is.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct ResultPlace {
    /// Its folder, beginning with the name of the folder that was searched.
    pub name: String,
    /// The file.
    pub file: PathBuf,
}

/// What a folder of results holds.
pub(super) struct Found {
    /// Its folder, as in the tables.
    pub folder: String,
    /// SHA-256 of `result.json`.
    pub sha256: String,
    /// What it says.
    pub result: FiringResult,
    /// The gains beside it.
    pub gains: Option<GainsFile>,
    /// The text of the `thrust.csv` beside it.
    pub thrust: Option<String>,
}

impl Plausible for FiringResult {
    /// That it is of the kind that this program writes: its numbers are told, not calculated with.
    fn misfits(&self) -> Vec<Misfit> {
        let mut judge = Validator::default();
        if self.schema != SCHEMA {
            let what = format!("is {}, and this program reads {SCHEMA}", self.schema);
            judge.misfit("schema", what);
        }
        judge.done()
    }
}

impl Found {
    /// Reads a result and what is beside it.
    pub(super) fn read(place: &ResultPlace) -> Result<Self, Error> {
        let result: FiringResult = json_file::read(&place.file, ("result", "reduce"))?;
        let bytes = fs::read(&place.file).map_err(|error| unreadable(&place.file, &error))?;
        let beside =
            |name: &str| Some(place.file.with_file_name(name)).filter(|path| path.exists());
        let thrust = beside("thrust.csv")
            .map(|path| fs::read_to_string(&path).map_err(|error| unreadable(&path, &error)));
        Ok(Self {
            folder: place.name.clone(),
            sha256: sha256(&bytes),
            result,
            gains: beside("gains.json")
                .map(|path| GainsFile::read(&path))
                .transpose()?,
            thrust: thrust.transpose()?,
        })
    }
}

/// Every result in a folder and those inside it, in the order of their names. Hidden folders and links to folders are left
/// alone.
pub(super) fn results_under(folder: &Path) -> Result<Vec<ResultPlace>, Error> {
    if !folder.is_dir() {
        let says = if folder.exists() {
            Diagnostic::error(Code::NoFolder, "this is a file, and results lie in folders")
                .hint("name the folder that `reduce` wrote, or one above it")
        } else {
            Diagnostic::error(Code::NoFile, "there is no such folder")
        };
        return Err(says.at(Place::file(folder.display().to_string())).into());
    }
    let real = folder
        .canonicalize()
        .map_err(|error| unreadable(folder, &error))?;
    let name = real.file_name().unwrap_or_default().to_string_lossy();
    let mut out = Vec::new();
    search(folder, &name, DEEPEST, &mut out)?;
    Ok(out)
}

fn search(
    folder: &Path,
    name: &str,
    deeper: usize,
    out: &mut Vec<ResultPlace>,
) -> Result<(), Error> {
    let file = folder.join(RESULT);
    if file.is_file() {
        let name = name.to_owned();
        out.push(ResultPlace { name, file });
    }
    let entries = fs::read_dir(folder).map_err(|error| unreadable(folder, &error))?;
    for entry in entries {
        let entry = entry.map_err(|error| unreadable(folder, &error))?;
        let own = entry.file_name().to_string_lossy().into_owned();
        let is_folder = entry.file_type().is_ok_and(|kind| kind.is_dir());
        if is_folder && !own.starts_with('.') && deeper > 0 {
            search(&entry.path(), &format!("{name}/{own}"), deeper - 1, out)?;
        }
    }
    Ok(())
}

pub(super) fn unreadable(path: &Path, error: &std::io::Error) -> Error {
    Diagnostic::error(Code::Unreadable, format!("it cannot be read: {error}"))
        .at(Place::file(path.display().to_string()))
        .into()
}
