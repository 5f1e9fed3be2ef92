//! Certified curves at hand: the folder in which the motor that was really fired is looked for.
//!
//! `[reduce] curves` names the folder; without it, the folders of the certified files that the
//! motors name are taken. A file there that is not a certified motor with a thrust curve is passed
//! over, because other things may lie beside it.

use std::path::{Path, PathBuf};

use indexmap::IndexMap;

use super::certified::{Certified, read_certified};
use super::motors::Motor;
use crate::diagnostic::{Code, Diagnostic, Located};

/// Files of one folder that are looked at, at most.
const MOST_FILES: usize = 500;
/// A certified file is not longer than this, bytes.
const LONGEST_FILE: u64 = 1_000_000;

/// Every certified motor with a thrust curve at hand, those of the firing's own motors first.
///
/// # Errors
/// A named folder that cannot be read, or that holds no thrust curve.
pub(super) fn at_hand(
    folder: Option<&Located<PathBuf>>,
    motors: &IndexMap<String, Motor>,
) -> Result<Vec<Certified>, Box<Diagnostic>> {
    let own: Vec<&Certified> = motors
        .values()
        .filter_map(|motor| motor.certified.as_ref())
        .collect();
    let mut out: Vec<Certified> = own.iter().copied().cloned().collect();
    let folders: Vec<PathBuf> = match folder {
        Some(named) => vec![named.value.clone()],
        None => own.iter().filter_map(|one| folder_of(&one.file)).collect(),
    };
    let mut found = 0;
    for (at, each) in folders.iter().enumerate() {
        if folders[..at].contains(each) {
            continue;
        }
        let read = curves_in(each);
        found += read.len();
        out.extend(read);
    }
    out.retain(|one| one.thrust_curve.is_some());
    let mut names: Vec<String> = Vec::new();
    out.retain(|one| {
        let new = !names.contains(&one.name);
        names.push(one.name.clone());
        new
    });
    match folder {
        Some(named) if found == 0 => {
            let message = format!("no thrust curve lies in `{}`", named.value.display());
            Err(Box::new(
                Diagnostic::error(Code::NoCurves, message)
                    .at(named.place.clone())
                    .hint(
                        "name a folder of certified-motor files, such as curves = \"motor-curves\"",
                    ),
            ))
        }
        _ => Ok(out),
    }
}

fn folder_of(file: &str) -> Option<PathBuf> {
    let parent = Path::new(file).parent()?;
    Some(if parent.as_os_str().is_empty() {
        PathBuf::from(".")
    } else {
        parent.to_path_buf()
    })
}

fn curves_in(folder: &Path) -> Vec<Certified> {
    let Ok(entries) = std::fs::read_dir(folder) else {
        return Vec::new();
    };
    let mut files: Vec<PathBuf> = entries
        .flatten()
        .filter(|entry| {
            entry
                .metadata()
                .is_ok_and(|about| about.is_file() && about.len() <= LONGEST_FILE)
        })
        .map(|entry| entry.path())
        .filter(|path| path.extension().is_some_and(|ending| ending == "toml"))
        .collect();
    files.sort();
    files.truncate(MOST_FILES);
    files
        .iter()
        .filter_map(|file| read_certified(file).ok())
        .filter(|one| one.thrust_curve.is_some())
        .collect()
}
