//! Cells that carry motors in common belong together, and are read together.

use super::burst;
use super::hypothesis::MOST_MOTORS;
use crate::burn::Recording;
use crate::calibration::CellReadings;
use crate::config::{Firing, Motor};

/// Cells that carry motors in common, and their motors by number.
pub(super) struct Group<'a> {
    pub cells: Vec<&'a str>,
    pub motors: Vec<usize>,
}

impl Group<'_> {
    /// What its cells read.
    pub(super) fn readings(&self, recording: &Recording<'_>) -> Vec<CellReadings> {
        let mine = |cell: &&CellReadings| self.cells.contains(&cell.name.as_str());
        recording.readings.iter().filter(mine).cloned().collect()
    }

    /// The motors it carries.
    pub(super) fn loaded<'a>(&self, firing: &'a Firing) -> Vec<&'a Motor> {
        let each = self.motors.iter();
        each.filter_map(|at| Some(firing.motors.get_index(*at)?.1))
            .collect()
    }

    /// Whether one of its motors may have burst between two times, s, and only full-scale codes would tell.
    pub(super) fn hides_spike(&self, recording: &Recording<'_>, within_s: (f64, f64)) -> bool {
        let motors = self.loaded(recording.firing);
        let cells = recording.readings.iter();
        let mut mine = cells.filter(|cell| self.cells.contains(&cell.name.as_str()));
        mine.any(|cell| {
            let lost = |motor: &&Motor| burst::lost_spike(cell, motor, within_s);
            motors.iter().any(lost)
        })
    }
}

/// The groups of a firing's cells.
pub(super) fn groups(firing: &Firing) -> Vec<Group<'_>> {
    let mut out: Vec<Group<'_>> = Vec::new();
    for (name, cell) in &firing.cells {
        let of = firing.motors_of(cell);
        let motors = firing.motors.keys().take(MOST_MOTORS).enumerate();
        let motors = motors.filter(|(_, motor)| of.contains(&motor.as_str()));
        let mut group = Group {
            cells: vec![name],
            motors: motors.map(|(at, _)| at).collect(),
        };
        let (joined, rest): (Vec<Group<'_>>, Vec<Group<'_>>) = out
            .into_iter()
            .partition(|other| other.motors.iter().any(|at| group.motors.contains(at)));
        out = rest;
        for other in joined {
            group.cells.extend(other.cells);
            group.motors.extend(other.motors);
        }
        group.motors.sort_unstable();
        group.motors.dedup();
        out.push(group);
    }
    out.retain(|group| !group.motors.is_empty());
    out
}
