//! Rehearsal: an invented firing with known truth, in the same files a real one leaves.
//!
//! A rehearsal serves two ends. A maker tries a plan (recorders, rates, test pattern) before the
//! motors are spent; and the reduction is tested against a truth it had no part in. For the second
//! end the rehearsal shares with the reduction only the file formats and the equations as they are
//! written in the plant file's definition: the simulator ([`crate::flight`]), its dead bands, the thrust
//! model and the calibration have no part in the fit.
//!
//! ```text
//! REHEARSAL.toml -> read -> Rehearsal -> run (motor, rig, computer)
//!                                         |-> recorder, cell   -> logs, points
//!                                         |-> firing_file      -> firing.toml
//!                                         `-> truth            -> truth.json
//! ```
//!
//! Everything follows from the file and its seed; each source of noise has a random stream of its
//! own. Sines and exponentials come from the platform, so another platform may differ in the last
//! digit of a reading.
//!
//! The file's keys are described in `docs/rehearsal.md`.

mod cell;
mod chamber;
mod computer;
mod dirt;
mod firing_file;
mod motor;
pub(super) mod noise;
mod read;
mod recorder;
mod rig;
mod run;
pub(crate) mod spec;
mod tap;
mod trace;
mod truth;
pub(crate) mod truth_file;

use std::path::{Component, Path};

use crate::diagnostic::{Code, Diagnostic, Error, Place, read_bytes};

pub(crate) use read::KEYS;
pub(super) use read::ROUGHNESS_BAND_HZ;
pub use read::read_rehearsal;
pub use spec::Rehearsal;
pub use truth_file::Truth;

/// One file of a rehearsed firing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OutputFile {
    /// Its name, relative to the folder of the firing.
    pub path: String,
    /// Its bytes.
    pub bytes: Vec<u8>,
}

impl OutputFile {
    fn new(path: impl Into<String>, bytes: Vec<u8>) -> Self {
        Self {
            path: path.into(),
            bytes,
        }
    }
}

/// Reads a rehearsal file and makes the firing of it; `seed` takes the place of the file's.
///
/// # Errors
/// Every mistake in the file, with its place; else what cannot be worked out from it.
pub fn rehearse_file(path: &Path, seed: Option<u64>) -> Result<Vec<OutputFile>, Error> {
    let mut rehearsal = read_rehearsal(path)?;
    rehearsal.seed = seed.unwrap_or(rehearsal.seed);
    rehearse(&rehearsal)
}

/// Goes through a rehearsal and writes the files a real firing would have left, ready to be
/// reduced: the firing file, one log for each recorder, points for each cell, the certified motors,
/// and the truth.
///
/// # Errors
/// A certified motor without a thrust curve or with an unreadable file; file names that clash or
/// leave the folder.
pub fn rehearse(rehearsal: &Rehearsal) -> Result<Vec<OutputFile>, Error> {
    let run = run::run(rehearsal)?;
    let mut certified_files: Vec<OutputFile> = Vec::new();
    let mut certified_names = Vec::new();
    for motor in rehearsal.motors.values() {
        certified_names.push(file_name(&motor.certified_path));
        for file in certified(&motor.certified_path)? {
            if !certified_files.contains(&file) {
                certified_files.push(file);
            }
        }
    }
    let firing = firing_file::text(rehearsal, &certified_names);
    let mut out = vec![OutputFile::new("firing.toml", firing.into_bytes())];
    let logs = rehearsal.recorders.values().zip(logs_of(rehearsal, &run));
    out.extend(logs.map(|(one, bytes)| OutputFile::new(&one.file, bytes)));
    if let Some(plan) = &rehearsal.tap
        && let Some(bytes) = tap::csv(plan, rehearsal)
    {
        out.push(OutputFile::new(&plan.file, bytes));
    }
    for (name, one) in &rehearsal.cells {
        let bytes = cell::points_csv(one, name, rehearsal);
        out.push(OutputFile::new(firing_file::points_file(name), bytes));
    }
    out.extend(certified_files);
    out.push(OutputFile::new(
        "truth.json",
        truth_json(&truth::truth(rehearsal, &run)),
    ));
    check_names(rehearsal, &out)?;
    Ok(out)
}

/// The logs alone, in the order of the recorders.
///
/// # Errors
/// A motor without a thrust curve.
pub(super) fn logs(rehearsal: &Rehearsal) -> Result<Vec<Vec<u8>>, Error> {
    Ok(logs_of(rehearsal, &run::run(rehearsal)?))
}

fn logs_of(rehearsal: &Rehearsal, run: &run::Run) -> Vec<Vec<u8>> {
    let recorders = rehearsal.recorders.iter();
    let each = recorders.zip(run.rows.iter().zip(&run.columns));
    each.map(|((name, one), (rows, columns))| {
        let kept = recorder::kept(one, name, rehearsal.seed, rows.len());
        let lines = recorder::lines(one, (name, rehearsal.seed), rows, &kept, columns);
        dirt::file(one, name, rehearsal.seed, lines)
    })
    .collect()
}

fn truth_json(truth: &Truth) -> Vec<u8> {
    // Plain numbers and texts: nothing in it can fail to become JSON.
    let mut bytes = serde_json::to_vec_pretty(truth).unwrap_or_default();
    bytes.push(b'\n');
    bytes
}

fn file_name(path: &Path) -> String {
    path.file_name()
        .map(|name| name.to_string_lossy().into_owned())
        .unwrap_or_default()
}

/// A certified motor's file, and the thrust file it names, so that the folder stands alone.
fn certified(path: &Path) -> Result<Vec<OutputFile>, Error> {
    let bytes = read_bytes(path)?;
    let thrust_file = std::str::from_utf8(&bytes)
        .ok()
        .and_then(|text| text.parse::<toml::Table>().ok())
        .and_then(|table| Some(table.get("thrust_file")?.as_str()?.to_owned()));
    let mut out = vec![OutputFile::new(file_name(path), bytes)];
    if let Some(name) = thrust_file {
        let beside = path.with_file_name(&name);
        out.push(OutputFile::new(name, read_bytes(&beside)?));
    }
    Ok(out)
}

/// File names come from the rehearsal file: they stay within its folder and differ.
fn check_names(rehearsal: &Rehearsal, files: &[OutputFile]) -> Result<(), Error> {
    let mut names: Vec<&str> = files.iter().map(|file| file.path.as_str()).collect();
    names.push("REHEARSAL.toml");
    names.sort_unstable();
    let outside = |name: &&&str| {
        let mut parts = Path::new(name).components();
        name.is_empty() || !parts.all(|part| matches!(part, Component::Normal(_)))
    };
    let double = names.windows(2).find(|pair| pair[0] == pair[1]);
    let what = if let Some(name) = names.iter().find(outside) {
        format!("`{name}` would lie outside the folder of the firing")
    } else if let Some(pair) = double {
        format!("two files of this firing would be named `{}`", pair[0])
    } else {
        return Ok(());
    };
    Err(Diagnostic::error(Code::FileName, what)
        .at(Place::file(&*rehearsal.file))
        .hint("give each recorder a file name of its own, without a folder")
        .into())
}

#[cfg(test)]
mod tests {
    use super::spec::tests::still_rehearsal;
    use super::*;

    fn file<'a>(files: &'a [OutputFile], path: &str) -> &'a [u8] {
        let found = files.iter().find(|file| file.path == path);
        &found.unwrap().bytes
    }

    #[test]
    fn the_same_rehearsal_gives_the_same_bytes_and_another_seed_does_not() {
        let mut rehearsal = still_rehearsal();
        rehearsal.recorders[0].jitter_s = 1e-5;
        let first = rehearse(&rehearsal).unwrap();
        assert_eq!(first, rehearse(&rehearsal).unwrap());
        rehearsal.seed += 1;
        let other = rehearse(&rehearsal).unwrap();
        assert_ne!(file(&first, "stand.csv"), file(&other, "stand.csv"));
    }

    #[test]
    fn noise_on_one_column_moves_no_other() {
        let column = |rehearsal: &Rehearsal, at: usize| -> Vec<String> {
            let files = rehearse(rehearsal).unwrap();
            let text = String::from_utf8(file(&files, "stand.csv").to_vec()).unwrap();
            let cell = |line: &str| line.split(',').nth(at).unwrap().to_owned();
            text.lines().map(cell).collect()
        };
        let mut rehearsal = still_rehearsal();
        for column in rehearsal.recorders[0].columns.values_mut() {
            column.noise_si = 0.01;
        }
        let before = (column(&rehearsal, 1), column(&rehearsal, 2));
        rehearsal.recorders[0].columns[0].noise_si = 0.02;
        assert_ne!(column(&rehearsal, 1), before.0);
        assert_eq!(column(&rehearsal, 2), before.1);
    }

    #[test]
    fn files_stay_in_their_folder_and_differ() {
        for name in [
            "../stand.csv",
            "/tmp/stand.csv",
            "firing.toml",
            "REHEARSAL.toml",
            "",
        ] {
            let mut rehearsal = still_rehearsal();
            rehearsal.recorders[0].file = name.to_owned();
            let problems = rehearse(&rehearsal).unwrap_err();
            assert_eq!(problems.problems()[0].code, Code::FileName, "{name}");
        }
    }
}
