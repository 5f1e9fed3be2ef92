//! Stamps that several rows share: a clock that counts whole seconds, rows that were written in bursts.
//!
//! The rows of one stamp came one after the other until the next one. Their times are spread evenly over it; the
//! first and the last run are spread at the usual step, for nobody knows when they began or ended. Where only few
//! rows share a stamp they are repetitions, and left alone.
//!
//! Limit: rows of a burst that were read long before they were written are late by up to the burst.

use crate::numeric::noise;

/// From this share of rows on that repeat the stamp before them the clock is coarse.
const SHARE: f64 = 0.02;

/// Shorter logs are left alone: a row written twice is a large share of them.
const FEWEST: usize = 20;

/// Raw times with those of coarse stamps spread, and how many rows repeated the stamp before them; `None` where the
/// clock is not coarse.
#[must_use]
pub(super) fn spread(raw: &[f64]) -> Option<(Vec<f64>, usize)> {
    let repeated = raw.windows(2).filter(|pair| pair[0] == pair[1]).count();
    if !is_coarse(repeated, raw.len()) {
        return None;
    }
    let mut starts: Vec<usize> = (0..raw.len())
        .filter(|row| *row == 0 || raw[*row] != raw[row - 1])
        .collect();
    starts.push(raw.len());
    let steps: Vec<f64> = starts
        .windows(3)
        .map(|run| (raw[run[1]] - raw[run[0]]) / (run[1] - run[0]) as f64)
        .filter(|step| *step > 0.0)
        .collect();
    let usual = noise::median(&steps)?;
    let mut out = raw.to_vec();
    for (nth, run) in starts.windows(2).enumerate() {
        let (from, to) = (run[0], run[1]);
        let next = raw.get(to).copied().filter(|next| *next > raw[from]);
        // A stamp before a hole, or before a clock that starts anew, lasted no longer than its rows.
        let even = next.map_or(usual, |next| (next - raw[from]) / (to - from) as f64);
        let step = if even > LONGEST * usual { usual } else { even };
        // The first stamp was already under way when the log began.
        let origin = match next {
            Some(next) if nth == 0 => (next - usual * (to - from) as f64).max(raw[from]),
            _ => raw[from],
        };
        let step = if nth == 0 { step.min(usual) } else { step };
        for (at, time) in out[from..to].iter_mut().enumerate() {
            *time = origin + step * at as f64;
        }
    }
    Some((out, repeated))
}

/// Whether so many of some rows that repeat the stamp before them make a clock coarse.
pub(super) fn is_coarse(repeated: usize, rows: usize) -> bool {
    rows >= FEWEST && repeated as f64 >= SHARE * rows as f64
}

/// A stamp whose rows would be this many times further apart than usual is followed by a hole.
const LONGEST: f64 = 3.0;

#[cfg(test)]
mod tests {
    use super::*;

    // Four rows a second under stamps of whole seconds; the log begins in the middle of the first.
    #[test]
    fn rows_of_whole_seconds_are_spread_over_them() {
        let exact: Vec<f64> = (0..23).map(|row| 7.5 + 0.25 * f64::from(row)).collect();
        let raw: Vec<f64> = exact.iter().map(|time| time.floor()).collect();
        let (times, repeated) = spread(&raw).unwrap();
        assert_eq!(repeated, 16);
        assert_eq!(times, exact);
    }

    // Every fifth row is written with the stamp of the one before it; a hole of a hundred steps is not filled.
    #[test]
    fn rows_written_in_bursts_are_spread_and_a_hole_is_left() {
        let mut raw: Vec<f64> = (0..40)
            .map(|row| 10.0 * f64::from(if row % 5 == 4 { row - 1 } else { row }))
            .collect();
        raw.push(1400.0);
        let (times, repeated) = spread(&raw).unwrap();
        assert_eq!((repeated, times[4], times[39]), (8, 40.0, 390.0));
        assert_eq!(times[40], 1400.0);
        // One repetition in a hundred rows is a row written twice.
        let mut few: Vec<f64> = (0..100).map(f64::from).collect();
        few[50] = 49.0;
        assert_eq!(spread(&few), None);
    }
}
