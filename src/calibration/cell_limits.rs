//! Findings about each cell at its limits: did it run into the end of its range, and was the thrust
//! large enough for it?
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
use super::{CalibratedCell, e74, saturation};
use crate::config::Firing;
use crate::diagnostic::{Code, Diagnostic, Error};
use crate::finding::{COMMON_PRACTICE, Finding, Outcome};
use crate::log::words::short;
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

/// No load cell bears so many times its capacity, and nobody calibrates with weights so many times too small: raw
/// readings in the column of loads are more, as a rule.
const TIMES_CAPACITY: f64 = 10.0;
const TIMES_POINTS: f64 = 1000.0;

/// A cell may be wrong by this share of its load where it is loaded beyond its points by as much as they reach, and
/// twice that where it is by twice; at most by half. Common practice, no source.
const BEYOND_SHARE: f64 = 0.02;
const BEYOND_MOST: f64 = 0.5;

/// Widens the curves of cells that were loaded beyond their points between two times, s.
pub(crate) fn widen(load: &mut Load, readings: &mut [CellReadings], (from_s, to_s): (f64, f64)) {
    let burning: Vec<bool> = load
        .time_s
        .iter()
        .map(|time_s| (from_s..=to_s).contains(time_s))
        .collect();
    for part in &mut load.cells {
        let Some([low, high]) = part.curve.range.filter(|[low, high]| high > low) else {
            continue;
        };
        let burns = part
            .force_n
            .iter()
            .zip(&burning)
            .filter(|(_, burns)| **burns);
        let highest_n = burns.map(|(force_n, _)| *force_n).fold(high, f64::max);
        if highest_n <= BEYOND_POINTS * high {
            continue;
        }
        let share = (BEYOND_SHARE * (highest_n - high) / (high - low)).min(BEYOND_MOST);
        let u = share / 3.0_f64.sqrt();
        part.curve.scale.beyond_relative_u = u;
        let same = readings.iter_mut().filter(|cell| cell.name == part.name);
        same.for_each(|cell| cell.curve.scale.beyond_relative_u = u);
    }
}

/// Refuses loads that cannot have been there: raw readings and loads of the points are in each other's
/// columns, or the curve is of another cell.
///
/// # Errors
/// A cell would have felt many times what it bears, or what its points reach.
pub(crate) fn plausible(
    firing: &Firing,
    readings: &[CellReadings],
    (from_s, to_s): (f64, f64),
) -> Result<(), Error> {
    for cell in readings {
        let Some(stated) = firing.cells.get(&cell.name) else {
            continue;
        };
        let (time_s, raw) = (cell.raw.time_s(), cell.raw.value());
        let during = |at: &usize| (from_s..=to_s).contains(&time_s[*at]);
        let load = |at: usize| cell.curve.load(raw[at]).filter(|load_n| load_n.is_finite());
        let (burns, rests): (Vec<usize>, Vec<usize>) = (0..raw.len()).partition(during);
        let loads = |of: Vec<usize>| of.into_iter().filter_map(load).collect::<Vec<f64>>();
        let (burns, rests) = (loads(burns), loads(rests));
        let Some(rest_n) = median(&rests) else {
            continue;
        };
        let off: Vec<f64> = burns.iter().map(|load_n| (load_n - rest_n).abs()).collect();
        let Some(felt_n) = median(&off) else {
            continue;
        };
        let reach_n = cell.curve.range.map(|[low, high]| high - low);
        let bears = stated
            .capacity
            .as_ref()
            .map(|capacity| capacity.si() * TIMES_CAPACITY);
        let reaches = reach_n.map(|reach_n| reach_n * TIMES_POINTS);
        let (what, most_n, times) = match (bears, reaches) {
            (Some(most_n), _) if felt_n > most_n => ("its capacity", most_n, TIMES_CAPACITY),
            (_, Some(most_n)) if felt_n > most_n => {
                ("the loads of its points", most_n, TIMES_POINTS)
            }
            _ => continue,
        };
        let text = format!(
            "cell `{}` would have felt {} N in the burn, and {what} are {} N",
            cell.name,
            short(felt_n),
            short(most_n / times)
        )
        .replace("its capacity are", "its capacity is");
        return Err(Diagnostic::error(Code::BeyondAll, text)
            .at(stated.signal.column.place.clone())
            .hint("are raw readings and loads of the points in each other's columns?")
            .hint("is the curve that of this cell, and `scale` in the right unit?")
            .into());
    }
    Ok(())
}

/// A cell may be loaded so far beyond its points before that is said, as a share of the highest of them.
const BEYOND_POINTS: f64 = 1.02;

/// Warnings about cells that were loaded beyond their capacity or their points.
#[must_use]
pub(crate) fn warnings(firing: &Firing, load: &Load) -> Vec<Diagnostic> {
    let mut out = Vec::new();
    for part in &load.cells {
        let highest_n = highest_n(part);
        let stated = firing.cells.get(&part.name);
        let capacity_n = stated.and_then(|cell| Some(cell.capacity.as_ref()?.si()));
        if let Some(capacity_n) = capacity_n.filter(|capacity_n| highest_n > *capacity_n) {
            let message = format!(
                "cell {} read {highest_n:.1} N, above its capacity of {capacity_n:.1} N",
                part.name
            );
            out.push(
                Diagnostic::warning(Code::OverCapacity, message)
                    .hint("calibrate it again before the next firing, it may have yielded"),
            );
        }
        let range = part.curve.range;
        if let Some([low, high]) = range.filter(|range| highest_n > BEYOND_POINTS * range[1]) {
            let message = format!(
                "cell {} read {highest_n:.1} N, but its calibration points reach from {low:.1} to \
                 {high:.1} N",
                part.name
            );
            out.push(
                Diagnostic::warning(Code::BeyondPoints, message)
                    .hint("calibrate with loads up to the highest thrust"),
            );
        }
    }
    out
}

fn highest_n(part: &CellLoad) -> f64 {
    part.force_n
        .iter()
        .copied()
        .fold(f64::NEG_INFINITY, f64::max)
}

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
        .filter_map(calibrated_far_enough)
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

fn calibrated_far_enough(part: &CellLoad) -> Option<Finding> {
    let [_, most_n] = part.curve.range?;
    let highest_n = highest_n(part);
    let outcome = if highest_n <= most_n * BEYOND_POINTS {
        Outcome::Holds
    } else {
        Outcome::Fails
    };
    let finding = Finding::plain(
        format!("cell {} was calibrated as far as it was loaded", part.name),
        outcome,
        format!("highest load {highest_n:.1} N, calibration points up to {most_n:.1} N"),
        COMMON_PRACTICE,
    );
    Some(
        finding.advice(
            "calibrate with loads up to the highest thrust; until then the interval is wider",
        ),
    )
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
    use crate::calibration::{Points, calibrate_points};

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

    // Points up to 10 N, a burn of 40 N: three ranges beyond, so limits of 6 %.
    #[test]
    fn a_burn_far_beyond_the_points_has_a_wide_interval() {
        let points = Points::exact(vec![0.0, 50.0, 100.0], vec![0.0, 5.0, 10.0]);
        let curve = calibrate_points(&points, None).unwrap().curve;
        let mut readings = [CellReadings {
            name: "base".to_owned(),
            raw: Series::new(&[0.0, 1.0, 2.0, 3.0], &[0.0, 400.0, 200.0, 900.0]),
            curve,
        }];
        let mut load = Load::from_cells(&readings).unwrap();
        widen(&mut load, &mut readings, (0.5, 2.5));
        let u = load.cells[0].curve.scale.beyond_relative_u;
        approx::assert_relative_eq!(u, 0.06 / 3.0_f64.sqrt(), max_relative = 1e-9);
        assert_eq!(readings[0].curve.scale.beyond_relative_u, u);
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
