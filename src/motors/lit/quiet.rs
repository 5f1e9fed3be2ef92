//! Where no burn is found: of which motors does the silence speak?
//!
//! Only of those whose cells can be believed and show nothing that a motor could have done. A motor that bursts is over in
//! some hundredths of a second, so a short high spike is no silence; nor are full-scale codes that a fast push can leave.

use super::burst;
use super::evidence;
use super::group::{Group, groups};
use super::hypothesis::{EvidenceTerm, MOST_MOTORS};
use super::input::Top;
use crate::burn::segmentation::{Choice, SegmentKind};
use crate::burn::{Recording, locate};
use crate::calibration::{CellReadings, Load, soundness};
use crate::config::Motor;
use crate::numeric::noise;
use crate::series::Series;

/// A motor's certified peak must be this many standard deviations of the load's noise (of a mean over some milliseconds) high, or
/// it may burn unheard.
const HEARD_SDS: f64 = 20.0;

/// A converter at its rail for so long, s, may hide a burn.
const STOOD_STILL_S: f64 = 0.05;

/// What the silence of every group of cells says.
pub(super) fn evidence(recording: &Recording<'_>) -> Vec<EvidenceTerm> {
    let firing = recording.firing;
    let count = firing.motors.len().min(MOST_MOTORS);
    if firing.cells.is_empty() {
        let all: Vec<usize> = (0..count).collect();
        return vec![evidence::nothing(count, &all)];
    }
    let groups = groups(firing);
    let silent = groups.iter().filter(|group| is_silent(recording, group));
    silent
        .map(|group| evidence::nothing(count, &group.motors))
        .collect()
}

/// Whether the cells of a group can be believed and show nothing that one of its motors could have done.
fn is_silent(recording: &Recording<'_>, group: &Group<'_>) -> bool {
    let firing = recording.firing;
    let readings = group.readings(recording);
    let load = Load::from_cells(&readings);
    let believed = |cell: &CellReadings| {
        recording.believes(cell) && !soundness::stood_still(cell, STOOD_STILL_S)
    };
    let Some(load) = load.filter(|_| readings.iter().all(believed)) else {
        return false;
    };
    let split = locate::split(firing, &load, firing.reduce.window_s);
    let motors = group.loaded(firing);
    let spike = |push: Top| motors.iter().any(|motor| burst::may_be(motor, push));
    // A spike of some readings is no segment.
    let rest_n = noise::median(&load.force_n).unwrap_or(0.0);
    let above: Vec<f64> = load.force_n.iter().map(|force| force - rest_n).collect();
    let top = burst::top_of(&Series::new(&load.time_s, &above));
    let pushes = split
        .segments
        .iter()
        .filter(|one| one.kind != SegmentKind::Rest)
        .map(|one| Top {
            peak_n: one.level_n,
            impulse_ns: one.area_ns,
        })
        .chain([top]);
    let heard = |motor: &&Motor| {
        burst::peak_of(motor).is_none_or(|peak_n| peak_n > HEARD_SDS * split.noise_n)
    };
    let all_s = (f64::NEG_INFINITY, f64::INFINITY);
    matches!(split.choice(), Choice::Nothing)
        && motors.iter().all(heard)
        && !pushes.into_iter().any(spike)
        && !group.hides_spike(recording, all_s)
}
