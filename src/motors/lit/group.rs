//! Cells that carry motors in common belong together, and are read together.

use super::hypothesis::MOST_MOTORS;
use crate::config::Firing;

/// Cells that carry motors in common, and their motors by number.
pub(super) struct Group<'a> {
    pub cells: Vec<&'a str>,
    pub motors: Vec<usize>,
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
