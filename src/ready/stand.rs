//! The stand as it rings after a tap, and the files that the logs will lie in.

use std::path::{Path, PathBuf};
use std::thread;
use std::time::Duration;

use super::{plainly, undecided};
use crate::burn::ringing::taps;
use crate::burn::stand_report::agrees;
use crate::config::Firing;
use crate::finding::Finding;
use crate::plan::rest::AtRest;
use crate::quantity::{Measured, Unit};

/// How far the frequency may lie off the one stated, as a share: what puts back a tenth of the ringing.
const FREQUENCY_SHARE: f64 = 0.1;
/// Free bytes that are asked.
const ROOM: u64 = 100_000_000;
/// Between two looks at a file that is being written: recorders write in blocks.
const GROWS_WITHIN: Duration = Duration::from_millis(1500);

/// What a recording of taps shows.
pub(super) fn taps(firing: &Firing, tap: Option<&AtRest>) -> Option<Finding> {
    let of_cell = firing.cells.values().next().map(|cell| &cell.signal);
    let signal = firing
        .stand
        .tap
        .as_ref()
        .map(|tap| &tap.signal)
        .or(of_cell)?;
    let claim = "the stand rings at its stated natural frequency";
    let advice = "tap the rig sharply along thrust with the motors in it, a second apart, and give that with --tap";
    let Some(series) = tap.and_then(|tap| tap.all(signal)) else {
        return Some(undecided(claim, "no recording of taps is at hand", advice));
    };
    let Some(ringing) = taps::combined(&[series]) else {
        let why = "the recording shows no ringing that could be fitted";
        return Some(undecided(claim, why, advice));
    };
    let Some(stated) = firing.stand.natural_frequency.as_ref() else {
        let seen = ringing.natural_hz.value;
        let advice = format!(
            "add natural_frequency = \"{seen:.1} Hz\" and damping_ratio = \"{:.3}\" to [stand]",
            ringing.damping.value
        );
        return Some(undecided(claim, "it is not stated", &advice));
    };
    let u = stated.standard_uncertainty().unwrap_or(0.0);
    let stated = Measured::normal(stated.si(), u, Unit::Hertz);
    let within = FREQUENCY_SHARE * stated.value;
    Some(agrees(
        claim.to_owned(),
        &stated,
        &ringing.natural_hz,
        within,
    ))
}

/// Room on the disk, and whether logs that are being written grow.
pub(super) fn files(firing: &Firing, growing: &[PathBuf]) -> Vec<Finding> {
    let folder = Path::new(&firing.file).parent().unwrap_or(Path::new(""));
    let folder = if folder.as_os_str().is_empty() {
        Path::new(".")
    } else {
        folder
    };
    let claim = "the disk has room for the logs";
    let rule = "100 MB free where the firing file lies";
    let room = free_bytes(folder).map_or_else(
        || {
            undecided(
                claim,
                "free room is not known on this system",
                "look at it yourself",
            )
        },
        |free| plainly(claim, free >= ROOM, rule).advice("free some, or record to another disk"),
    );
    let mut out = vec![room];
    let claim = "the log grows while it is recorded";
    if growing.is_empty() {
        let advice = "while the recorder runs, give the file it writes with --growing";
        out.push(undecided(
            claim,
            "no file that is being written is named",
            advice,
        ));
        return out;
    }
    let sizes = || -> Vec<u64> {
        let each = growing.iter();
        each.map(|file| file.metadata().map_or(0, |of| of.len()))
            .collect()
    };
    let before = sizes();
    thread::sleep(GROWS_WITHIN);
    for ((file, before), after) in growing.iter().zip(before).zip(sizes()) {
        let name = file.file_name().unwrap_or_default().to_string_lossy();
        let rule = format!("{name} is longer after a second and a half");
        let advice = "is it the file of this firing, and does the recorder record?";
        out.push(plainly(claim, after > before, rule).advice(advice));
    }
    out
}

#[cfg(unix)]
fn free_bytes(folder: &Path) -> Option<u64> {
    let of = rustix::fs::statvfs(folder).ok()?;
    of.f_bavail.checked_mul(of.f_frsize)
}

#[cfg(not(unix))]
fn free_bytes(_: &Path) -> Option<u64> {
    None
}
