//! Rehearsal: an invented firing with known truth, in the same files a real one leaves.
//!
//! A rehearsal serves two ends. A maker tries a plan (recorders, rates, test pattern) before the
//! motors are spent; and the reduction is tested against a truth it had no part in. For the second
//! end the rehearsal shares with the reduction only the file formats and the equations as they are
//! written in the plant file's definition: the integrator, the dead bands, the thrust model and the
//! calibration are its own.
//!
//! ```text
//! REHEARSAL.toml -> read -> Rehearsal -> run (motor, actuator, rig, computer)
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

mod actuator;
mod cell;
mod computer;
mod firing_file;
mod motor;
mod noise;
mod read;
mod recorder;
mod rig;
mod run;
pub mod spec;
mod truth;
pub mod truth_file;

use std::path::Path;

use crate::diagnostic::{Diagnostic, Place, Problems, read_bytes};

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

/// Goes through a rehearsal and writes the files a real firing would have left, ready to be
/// reduced: the firing file, one log for each recorder, points for each cell, the certified motors,
/// and the truth.
///
/// # Errors
/// A certified motor without a thrust curve or with an unreadable file; two files of one name.
pub fn rehearse(rehearsal: &Rehearsal) -> Result<Vec<OutputFile>, Problems> {
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
    for (at, (name, one)) in rehearsal.recorders.iter().enumerate() {
        let rows = &run.rows[at];
        let kept = recorder::kept(one, name, rehearsal.seed, rows.len());
        let bytes = recorder::csv(one, rows, &kept, &run.columns[at]);
        out.push(OutputFile::new(&one.file, bytes));
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
    refuse_doubles(rehearsal, &out)?;
    Ok(out)
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
fn certified(path: &Path) -> Result<Vec<OutputFile>, Problems> {
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

fn refuse_doubles(rehearsal: &Rehearsal, files: &[OutputFile]) -> Result<(), Problems> {
    let mut names: Vec<&str> = files.iter().map(|file| file.path.as_str()).collect();
    names.push("REHEARSAL.toml");
    names.sort_unstable();
    let Some(pair) = names.windows(2).find(|pair| pair[0] == pair[1]) else {
        return Ok(());
    };
    let what = format!("two files of this firing would be named `{}`", pair[0]);
    Err(Diagnostic::error("same-name", what)
        .at(Place::file(&*rehearsal.file))
        .hint("rename a recorder's file")
        .into())
}
