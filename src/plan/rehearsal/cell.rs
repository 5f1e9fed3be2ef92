//! Load cells: force to counts, and the points they were calibrated with.
//!
//! A reading is the true curve at the force of `delay` ago, plus zero shift, steady and random
//! baseline drift and white noise, rounded to whole counts and held within the converter's range. Points
//! are whole runs up and perhaps down again; their masses share one error, as weights of one set
//! do, and readings on the way down lie higher by a parabola that is zero at both ends. In the firing
//! the same loop runs from zero to the largest force so far, its height falling with the square of
//! that force (Rayleigh's law of small loops, Philosophical Magazine 23, 1887; from memory).

use super::computer::to_step;
use super::noise::Stream;
use super::spec::{CellTruth, Rehearsal};
use crate::quantity::STANDARD_GRAVITY_M_S2;
use crate::series::Series;

/// Raw reading of a force, counts.
pub(super) fn counts(curve: &[f64; 4], force_n: f64) -> f64 {
    curve.iter().rev().fold(0.0, |sum, c| sum * force_n + c)
}

/// Step of the baseline drift, s.
const DRIFT_STEP_S: f64 = 0.01;

/// Readings of a cell at some instants.
pub(super) fn readings(
    cell: &CellTruth,
    name: &str,
    seed: u64,
    felt_n: &Series,
    instants_s: &[f64],
) -> Vec<f64> {
    let Some((start_s, end_s)) = felt_n.span_s() else {
        return vec![];
    };
    let steps = ((end_s - start_s) / DRIFT_STEP_S) as usize + 2;
    let drift = Stream::new(seed, &format!("cell.{name}.wander")).correlated(
        cell.wander,
        cell.wander_time_s,
        DRIFT_STEP_S,
        steps,
    );
    let drift_time_s: Vec<f64> = (0..steps)
        .map(|at| start_s + at as f64 * DRIFT_STEP_S)
        .collect();
    let drift = Series::new(&drift_time_s, &drift);
    let mut noise = Stream::new(seed, &format!("cell.{name}.noise"));
    let mut held: Option<(f64, f64)> = None;
    let mut highest_n = 0.0_f64;
    instants_s
        .iter()
        .map(|&instant_s| {
            let at_s = converted_at(cell, instant_s, start_s);
            if let Some((_, reading)) = held.filter(|(when, _)| *when == at_s) {
                return reading;
            }
            let force_n = felt_n.at(at_s - cell.delay_s).unwrap_or(0.0);
            let moved = cell.zero_shift + cell.drift_per_s * at_s + drift.at(at_s).unwrap_or(0.0);
            highest_n = highest_n.max(force_n);
            let late = late(cell, highest_n, force_n);
            let raw = counts(&cell.curve, force_n) + moved + late + cell.noise * noise.normal();
            let reading = to_step(raw, cell.step).clamp(cell.range.0, cell.range.1);
            held = Some((at_s, reading));
            reading
        })
        .collect()
}

/// How much higher a cell reads because it has been loaded more, counts.
fn late(cell: &CellTruth, highest_n: f64, force_n: f64) -> f64 {
    let plan = &cell.points;
    let most_kg = plan.loads_kg.iter().copied().fold(0.0, f64::max);
    let most_n = most_kg * STANDARD_GRAVITY_M_S2;
    if most_n <= 0.0 || highest_n <= 0.0 {
        return 0.0;
    }
    let part = (force_n / highest_n).clamp(0.0, 1.0);
    4.0 * plan.hysteresis * part * (1.0 - part) * (highest_n / most_n).powi(2)
}

/// When the reading that stands at an instant was converted, s.
fn converted_at(cell: &CellTruth, instant_s: f64, start_s: f64) -> f64 {
    cell.converts_hz.map_or(instant_s, |rate| {
        // The guard keeps an instant that is a conversion from falling into the one before.
        start_s + ((instant_s - start_s) * rate + 1e-6).floor() / rate
    })
}

/// The points file of a cell.
pub(super) fn points_csv(cell: &CellTruth, name: &str, rehearsal: &Rehearsal) -> Vec<u8> {
    let plan = &cell.points;
    let mut noise = Stream::new(rehearsal.seed, &format!("cell.{name}.points"));
    let mut creep = Stream::new(rehearsal.seed, &format!("cell.{name}.creep"));
    let most_kg = plan.loads_kg.iter().copied().fold(0.0, f64::max);
    let mut out = "raw,mass_g,direction,run\n".to_owned();
    for run in 1..=plan.runs {
        let moved = plan.creep * creep.normal();
        let up = plan.loads_kg.iter().map(|mass| (*mass, "up"));
        let down = plan.loads_kg.iter().rev().map(|mass| (*mass, "down"));
        for (mass_kg, direction) in up.chain(down.take(if plan.down { usize::MAX } else { 0 })) {
            let force_n = mass_kg * (1.0 + plan.mass_error) * rehearsal.gravity_m_s2;
            let part = if most_kg > 0.0 {
                mass_kg / most_kg
            } else {
                0.0
            };
            let late = if direction == "down" {
                4.0 * plan.hysteresis * part * (1.0 - part)
            } else {
                0.0
            };
            let raw = counts(&cell.curve, force_n) + moved + late + plan.noise * noise.normal();
            let raw = raw.round().clamp(cell.range.0, cell.range.1);
            let mass_g = (mass_kg * 1e6).round() / 1e3;
            out += &format!("{raw:.0},{mass_g},{direction},{run}\n");
        }
    }
    out.into_bytes()
}

#[cfg(test)]
mod tests {
    use super::super::spec::tests::{plain_cell, still_rehearsal};
    use super::*;

    fn points(cell: &CellTruth) -> String {
        String::from_utf8(points_csv(cell, "base", &still_rehearsal())).unwrap()
    }

    // 1 kg at 9.8 m/s2 and 1000 counts/N, all masses 1 % heavy: 9898 counts; 2 kg: 19796. On the
    // way down half load lies 40 counts higher and the ends do not.
    #[test]
    fn points_are_the_true_masses_on_the_true_curve_with_hysteresis() {
        let mut cell = plain_cell();
        cell.points.mass_error = 0.01;
        cell.points.hysteresis = 40.0;
        cell.points.down = true;
        assert_eq!(
            points(&cell),
            "raw,mass_g,direction,run\n0,0,up,1\n9898,1000,up,1\n19796,2000,up,1\n\
             19796,2000,down,1\n9938,1000,down,1\n0,0,down,1\n"
        );
    }

    #[test]
    fn readings_are_whole_counts_within_the_converters_range() {
        let mut cell = plain_cell();
        cell.curve = [100.0, 10.0, 0.5, 0.25];
        cell.range = (0.0, 250.0);
        let felt = Series::new(&[0.0, 1.0], &[0.0, 10.0]);
        // 100 + 20 + 2 + 2 = 124 at 2 N; 100 + 33 + 5.445 + 8.98 = 147.43 at 3.3 N.
        let got = readings(&cell, "base", 1, &felt, &[0.2, 0.33, 1.0]);
        assert_eq!(got, [124.0, 147.0, 250.0]);
        cell.zero_shift = -7.0;
        cell.drift_per_s = 10.0;
        assert_eq!(readings(&cell, "base", 1, &felt, &[0.2]), [119.0]);
    }
}
