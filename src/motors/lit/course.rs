//! What the course of the thrust in the cells of one motor looks like: its own burn, a share of what others read, a hand.

use super::evidence::Course;
use super::input::OwnCell;
use crate::config::{Certified, Motor};
use crate::series::Series;

/// A course of which this share of the square is that of another is taken for a share of it.
const FOLLOWS: f64 = 0.7;

/// Whether the course of one group of cells, whose readings have this noise, N, may be a share of what the others read, as
/// cross-talk is.
pub(super) fn follows(own: &Series, all: &Series, noise_n: f64) -> bool {
    let (mut mine, mut theirs, mut both) = (0.0, 0.0, 0.0);
    for (time_s, all_n) in all.iter() {
        let own_n = own.at(time_s).unwrap_or(0.0);
        mine += own_n * own_n - noise_n * noise_n;
        let others_n = all_n - own_n;
        theirs += others_n * others_n;
        both += own_n * others_n;
    }
    both * both > FOLLOWS * mine * theirs
}

/// Thrust whose mean, weighted by itself, is this many times lower than impulse and certified curve make it is not of that
/// motor. Common practice, no source.
const FLAT: f64 = 0.75;

/// Mean thrust, each moment weighted by its thrust: what is long and low counts, and a spike hardly does.
fn weighted_mean(thrust: &Series) -> f64 {
    let (mut area, mut square) = (0.0, 0.0);
    for (time_s, force_n) in thrust.time_s().windows(2).zip(thrust.value().windows(2)) {
        let (step_s, a, b) = (
            time_s[1] - time_s[0],
            force_n[0].max(0.0),
            force_n[1].max(0.0),
        );
        area += 0.5 * (a + b) * step_s;
        square += (a * a + a * b + b * b) / 3.0 * step_s;
    }
    square / area
}

/// What the course of one motor's thrust is, beside that of all.
pub(super) fn course_of(cell: &OwnCell, motor: &Motor, all: &Series) -> Course {
    let own = &cell.thrust;
    if own.is_empty() {
        return Course::Any;
    }
    let certified = motor.certified.as_ref();
    let curve = certified.and_then(|one| one.thrust_curve.as_ref());
    let certified_ns = certified.and_then(Certified::total_impulse_ns);
    let flat = |(curve, certified_ns): (&Series, f64)| {
        weighted_mean(own) < FLAT * weighted_mean(curve) * cell.total_ns.value / certified_ns
    };
    if curve.zip(certified_ns).is_some_and(flat) {
        return Course::Flat;
    }
    if follows(own, all, 0.0) {
        Course::Burn
    } else {
        Course::OwnBurn
    }
}
