//! Where no burn is found: of which motors does the silence speak?
//!
//! Only of those whose cells can be believed and show nothing that a motor could have done. A motor that bursts is over in
//! some hundredths of a second, so a short high spike is no silence; nor are full-scale codes that a fast push can leave.

use super::burst;
use super::cells::{Group, groups};
use super::evidence;
use super::firing_evidence::{BURST_PEAK, peak_of};
use super::hypothesis::{EvidenceTerm, MOST_MOTORS};
use crate::burn::segmentation::{Choice, SegmentKind};
use crate::burn::{Recording, locate};
use crate::calibration::{CellReadings, Load};
use crate::config::Motor;

/// Codes that go on for so long, s, may be a push beyond what the converter holds; shorter ones are a bit that flipped.
const NO_FLIPPED_BIT_S: f64 = 4e-3;

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
    let mine = |cell: &&CellReadings| group.cells.contains(&cell.name.as_str());
    let readings: Vec<CellReadings> = recording.readings.iter().filter(mine).cloned().collect();
    let load = Load::from_cells(&readings);
    let Some(load) = load.filter(|_| readings.iter().all(|cell| recording.believes(cell))) else {
        return false;
    };
    let split = locate::split(firing, &load, firing.reduce.window_s);
    let motors: Vec<&Motor> = group
        .motors
        .iter()
        .filter_map(|at| firing.motors.get_index(*at))
        .map(|(_, motor)| motor)
        .collect();
    let spike = |(height_n, area_ns): (f64, f64)| {
        motors
            .iter()
            .any(|motor| may_be_burst(motor, height_n, area_ns))
    };
    let pushes = split
        .segments
        .iter()
        .filter(|one| one.kind != SegmentKind::Rest);
    let all_s = (f64::NEG_INFINITY, f64::INFINITY);
    matches!(split.choice(), Choice::Nothing)
        && !pushes.map(|one| (one.level_n, one.area_ns)).any(spike)
        && !readings
            .iter()
            .any(|cell| motors.iter().any(|motor| lost_spike(cell, motor, all_s)))
}

/// Whether so high a push with so little impulse may be this motor, bursting.
fn may_be_burst(motor: &Motor, height_n: f64, area_ns: f64) -> bool {
    let certified_ns = motor
        .certified
        .as_ref()
        .and_then(|one| one.total_impulse_ns());
    peak_of(motor).is_some_and(|peak_n| height_n > BURST_PEAK * peak_n)
        && certified_ns.is_some_and(|impulse_ns| area_ns > burst::LEAST * impulse_ns)
}

/// Whether what was left out of a cell between two times, s, may be this motor, bursting: codes in a row, far up.
pub(super) fn lost_spike(cell: &CellReadings, motor: &Motor, (from_s, to_s): (f64, f64)) -> bool {
    let (Some(peak_n), Some(step_s)) = (peak_of(motor), cell.raw.step_s()) else {
        return false;
    };
    let near = cell
        .left_out
        .iter()
        .filter(|one| (from_s..=to_s).contains(&one.0));
    let near: Vec<(f64, f64)> = near.copied().collect();
    let in_a_row = |a: &(f64, f64), b: &(f64, f64)| b.0 - a.0 < 1.5 * step_s;
    let up = |reading: f64| {
        let load_n = cell.curve.load(reading);
        // Beyond the curve: the side on which loads press.
        load_n.is_none_or(|load_n| load_n > BURST_PEAK * peak_n)
    };
    near.chunk_by(in_a_row)
        .filter(|run| run.iter().all(|one| up(one.1)))
        .any(|run| run.len() as f64 * step_s > NO_FLIPPED_BIT_S)
}
