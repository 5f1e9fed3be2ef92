//! Findings about each cell at its limits: did it run into the end of its range, was it calibrated as far as it was
//! loaded, and was the thrust large enough for it?
//!
//! Saturation shows as one reading, the most extreme of the whole record on the side of thrust, that
//! stays to the last digit while others move. A recorder that repeats each reading of a slower
//! converter holds every value, so the extreme must stay three times as long as any other value of
//! the burn, and be reached by a jump; a smooth peak in coarse steps is reached by single steps. The
//! end code of a binary converter needs no more than two readings. An amplifier that bends softly
//! before its end is not seen here.

use indexmap::IndexMap;

use super::load::{CellLoad, Load};
use super::readings::CellReadings;
use super::{CalibratedCell, beyond, e74, saturation};
use crate::finding::{COMMON_PRACTICE, Finding, Outcome};
use crate::numeric::noise::median;
use crate::series::Series;

/// Successive equal readings that may mean saturation.
const FEWEST_STUCK: usize = 3;
/// How many times longer than any other value the extreme must stay.
const TIMES_LONGER: usize = 3;
/// A jump to the extreme, in smallest steps of the readings.
const JUMP_STEPS: f64 = 4.0;
/// Successive equal readings from which even a smooth approach leaves doubt.
const DOUBTFUL: usize = 10;

/// Source of the lowest usable force.
const E74: &str = "ASTM E74-18 class A, as quoted by a force laboratory; for steady loads";

/// The findings on every cell, over a burn between two times, s.
#[must_use]
pub(crate) fn findings(
    cells: &IndexMap<String, CalibratedCell>,
    readings: &[CellReadings],
    load: &Load,
    window_s: (f64, f64),
) -> Vec<Finding> {
    let mut out: Vec<Finding> = load
        .cells
        .iter()
        .filter_map(beyond::calibrated_far_enough)
        .collect();
    for cell in readings {
        out.extend(saturated(cell, window_s));
        let lowest_n = cells
            .get(&cell.name)
            .and_then(|cell| cell.report.lowest_force_class_a_n);
        let part = load.cells.iter().find(|part| part.name == cell.name);
        out.extend(
            lowest_n
                .zip(part)
                .and_then(|(lowest_n, part)| large_enough(part, &load.time_s, lowest_n, window_s)),
        );
    }
    out
}

fn saturated(cell: &CellReadings, (from_s, to_s): (f64, f64)) -> Option<Finding> {
    let rising = cell.curve.load_per_raw(cell.curve.fit.centre) > 0.0;
    let extreme =
        cell.raw
            .value()
            .iter()
            .copied()
            .reduce(if rising { f64::max } else { f64::min })?;
    let burning = cell.raw.between(from_s, to_s);
    let (outcome, count) = judge(&burning, extreme);
    let rule = match count {
        0 => format!("the most extreme reading, {extreme}, is not in the burn"),
        1 => format!("the most extreme reading, {extreme}, stands alone"),
        _ => format!("the most extreme reading, {extreme}, came {count} times in a row"),
    };
    Some(
        Finding::plain(
            format!("cell {} did not run into the end of its range", cell.name),
            outcome,
            rule,
            COMMON_PRACTICE,
        )
        .advice(
            "what lies beyond is cut off, so peak and impulse are too low: lower the gain, or take a \
             larger cell",
        ),
    )
}

/// Whether readings of a burn stick at an extreme, and how many of them in a row.
fn judge(burning: &Series, extreme: f64) -> (Outcome, usize) {
    let value = burning.value();
    let stretches: Vec<&[f64]> = value.chunk_by(|a, b| a == b).collect();
    let longest = |stuck: bool| {
        stretches
            .iter()
            .enumerate()
            .filter(|(_, stretch)| (stretch[0] == extreme) == stuck)
            .max_by_key(|(_, stretch)| stretch.len())
            .map(|(at, stretch)| (at, stretch.len()))
    };
    let Some((at, count)) = longest(true) else {
        return (Outcome::Holds, 0);
    };
    if count < 2 {
        return (Outcome::Holds, count);
    }
    if saturation::is_full_scale_code(extreme) {
        return (Outcome::Fails, count);
    }
    let others = longest(false).map_or(1, |(_, others)| others);
    if count < FEWEST_STUCK || count < TIMES_LONGER * others {
        return (Outcome::Holds, count);
    }
    let steps = stretches
        .windows(2)
        .map(|pair| (pair[0][0] - pair[1][0]).abs());
    let smallest = e74::resolution(value).unwrap_or_else(|| steps.fold(f64::INFINITY, f64::min));
    let neighbours = [at.checked_sub(1), at.checked_add(1)];
    let jumps = neighbours
        .into_iter()
        .flatten()
        .filter_map(|at| stretches.get(at))
        .all(|stretch| (stretch[0] - extreme).abs() >= JUMP_STEPS * smallest);
    let outcome = match (jumps, count >= DOUBTFUL) {
        (true, _) => Outcome::Fails,
        (false, true) => Outcome::Undecided,
        (false, false) => Outcome::Holds,
    };
    (outcome, count)
}

/// Whether the cell's mean thrust lies where it reads single steady loads to 0.25 %.
fn large_enough(
    part: &CellLoad,
    time_s: &[f64],
    lowest_n: f64,
    (from_s, to_s): (f64, f64),
) -> Option<Finding> {
    let within = |row: &usize| (from_s..=to_s).contains(&time_s[*row]);
    let (burning, resting): (Vec<usize>, Vec<usize>) = (0..time_s.len()).partition(within);
    let resting: Vec<f64> = resting.iter().map(|row| part.force_n[*row]).collect();
    let rest_n = median(&resting)?;
    if burning.is_empty() {
        return None;
    }
    let sum_n: f64 = burning.iter().map(|row| part.force_n[*row] - rest_n).sum();
    let mean_n = sum_n / burning.len() as f64;
    let outcome = if mean_n >= lowest_n {
        Outcome::Holds
    } else {
        Outcome::Fails
    };
    Some(
        Finding::plain(
            format!("cell {} was not too large for this thrust", part.name),
            outcome,
            format!(
                "it carried {mean_n:.2} N on average; lowest usable force {lowest_n:.2} N (400 lower \
                 limit factors)"
            ),
            E74,
        )
        .advice(
            "single readings are surer in a smaller cell; the impulse's interval holds what it has to",
        ),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A burn of so many readings.
    fn burn(count: usize, value: impl Fn(usize) -> f64) -> Series {
        let time: Vec<f64> = (0..count).map(|row| row as f64).collect();
        let value: Vec<f64> = (0..count).map(value).collect();
        Series::new(&time, &value)
    }

    /// Moves up and down a little, never twice alike.
    fn restless(row: usize) -> f64 {
        (row * 7919 % 97) as f64
    }

    fn outcome(burning: &Series) -> Outcome {
        let extreme = burning.value().iter().copied().fold(f64::MIN, f64::max);
        judge(burning, extreme).0
    }

    #[test]
    fn a_cut_off_top_fails() {
        let top = |row: usize| (40_000.0 + 90.0 * row as f64 + restless(row)).min(45_000.0);
        assert_eq!(outcome(&burn(100, top)), Outcome::Fails);
        // The end code of a converter: two are enough.
        let end = |row: usize| {
            if row / 2 == 20 {
                1023.0
            } else {
                900.0 + restless(row)
            }
        };
        assert_eq!(outcome(&burn(60, end)), Outcome::Fails);
    }

    #[test]
    fn an_honest_peak_holds_however_it_was_recorded() {
        let peak = |row: usize| 45_000.0 - (row as f64 - 50.0).powi(2) + restless(row);
        assert_eq!(outcome(&burn(100, peak)), Outcome::Holds);
        // Each reading of a slow converter logged twelve times.
        assert_eq!(
            outcome(&burn(1200, |row| peak(row / 12).round())),
            Outcome::Holds
        );
        // Smooth and coarse: nine readings at the top, reached by a single step.
        let coarse = |row: usize| (100.0 - 0.05 * (row as f64 - 50.0).powi(2)).floor();
        let (outcome, count) = judge(&burn(100, coarse), 100.0);
        assert_eq!((outcome, count), (Outcome::Holds, 1));
        let coarse = |row: usize| (100.4 - 0.05 * (row as f64 - 50.0).powi(2)).floor();
        let (outcome, count) = judge(&burn(100, coarse), 100.0);
        assert_eq!((outcome, count), (Outcome::Holds, 5));
        // The extreme may lie outside the burn.
        assert_eq!(judge(&burn(100, peak), 1e6), (Outcome::Holds, 0));
    }

    #[test]
    fn a_long_flat_top_reached_smoothly_is_in_doubt() {
        let flat = |row: usize| (row as f64).min(50.0);
        assert_eq!(outcome(&burn(100, flat)), Outcome::Undecided);
    }
}
