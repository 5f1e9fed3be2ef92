//! Loads beyond what a cell was calibrated for, or beyond what it bears.
//!
//! Beyond its points a curve is prolonged, and what that may be wrong by widens it (`widen`). What no cell could bear is
//! no load but a mistake in the points or the scale, and is refused (`plausible`).

use super::load::{CellLoad, Load};
use super::readings::CellReadings;
use crate::config::Firing;
use crate::diagnostic::{Code, Diagnostic, Error};
use crate::finding::{COMMON_PRACTICE, Finding, Outcome};
use crate::log::words::short;
use crate::numeric::noise::median;

/// No load cell bears so many times its capacity, and nobody calibrates with weights so many times too small: raw
/// readings in the column of loads are more, as a rule.
const TIMES_CAPACITY: f64 = 10.0;
const TIMES_POINTS: f64 = 1000.0;

/// A cell may be wrong by this share of its load where it is loaded beyond its points by as much as they reach, and
/// twice that where it is by twice; at most by half. Common practice, no source.
const BEYOND_SHARE: f64 = 0.02;
const BEYOND_MOST: f64 = 0.5;

/// A cell may be loaded so far beyond its points before that is said, as a share of the highest of them.
const BEYOND_POINTS: f64 = 1.02;

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

/// Was the cell calibrated as far as it was loaded?
pub(super) fn calibrated_far_enough(part: &CellLoad) -> Option<Finding> {
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calibration::{Points, calibrate_points};
    use crate::series::Series;

    // Points up to 10 N, a burn of 40 N: three ranges beyond, so limits of 6 %.
    #[test]
    fn a_burn_far_beyond_the_points_has_a_wide_interval() {
        let points = Points::exact(vec![0.0, 50.0, 100.0], vec![0.0, 5.0, 10.0]);
        let curve = calibrate_points(&points, None).unwrap().curve;
        let mut readings = [CellReadings {
            name: "base".to_owned(),
            raw: Series::new(&[0.0, 1.0, 2.0, 3.0], &[0.0, 400.0, 200.0, 900.0]),
            left_out: Vec::new(),
            curve,
        }];
        let mut load = Load::from_cells(&readings).unwrap();
        widen(&mut load, &mut readings, (0.5, 2.5));
        let u = load.cells[0].curve.scale.beyond_relative_u;
        approx::assert_relative_eq!(u, 0.06 / 3.0_f64.sqrt(), max_relative = 1e-9);
        assert_eq!(readings[0].curve.scale.beyond_relative_u, u);
    }
}
