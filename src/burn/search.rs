//! Where in a record something burnt.
//!
//! A rough zero (the low fifth of all readings) and a rough peak give the level of the burn rule;
//! runs of readings above it, joined over short gaps, are candidates. The burn reaches from the
//! first to the last run that carries a fair share of the largest run's area, so that a motor that
//! lights late still belongs to the burn and an igniter's snap does not.

use std::ops::Range;

use crate::numeric::noise;

/// Runs with less than this share of the largest run's area are spikes, not burning.
pub(super) const AREA_SHARE: f64 = 0.02;

/// Runs closer together than this are one run, s: a cough, not a new ignition.
const JOIN_GAP_S: f64 = 0.02;

/// A burn must stand this many standard deviations of noise above rest over its whole length.
const DETECTION_SDS: f64 = 8.0;

/// A burn lasts at least this long, s; shorter is an igniter or a knock (16 CFR 1500.85(a)(8) wants
/// at least 0.050 s of thrust of a model motor; from memory).
pub(super) const SHORTEST_S: f64 = 0.03;

/// A run that burns.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Found {
    /// Rows at or above the level, first to last.
    pub rows: Range<usize>,
    /// Rough level at rest, N.
    pub rest_n: f64,
    /// Rough peak above rest, N.
    pub peak_n: f64,
    /// Rough area above rest, N s.
    pub area_ns: f64,
    /// Runs that were not taken for burning: time, s, and height, N.
    pub spikes: Vec<(f64, f64)>,
}

/// Looks for a burn between two times; `fraction` is the burn rule's share of peak. `None` when
/// nothing stands out.
#[must_use]
pub(crate) fn find(time_s: &[f64], load_n: &[f64], fraction: f64) -> Option<Found> {
    if time_s.len() < 4 {
        return None;
    }
    let High {
        rest_n,
        noise_n,
        peak_n,
        runs,
    } = high(time_s, load_n, fraction)?;
    let area = |run: &Range<usize>| area_above(time_s, load_n, rest_n, run);
    let largest = runs.iter().map(area).fold(0.0, f64::max);
    let (burning, spikes): (Vec<_>, Vec<_>) = runs
        .iter()
        .cloned()
        .partition(|run| area(run) >= AREA_SHARE * largest);
    let (first, last) = (burning.first()?, burning.last()?);
    let rows = first.start..last.end;
    let length_s = time_s[rows.end - 1] - time_s[rows.start];
    let area_ns: f64 = burning.iter().map(area).sum();
    let mean_n = area_ns / length_s.max(f64::MIN_POSITIVE);
    let count = burning.iter().map(Range::len).sum::<usize>() as f64;
    let stands_out = mean_n * count.sqrt() > DETECTION_SDS * noise_n;
    if !stands_out || peak_n <= DETECTION_SDS * noise_n || length_s < SHORTEST_S {
        return None;
    }
    let spikes = spikes
        .iter()
        .map(|run| {
            let high = load_n[run.clone()]
                .iter()
                .copied()
                .fold(f64::NEG_INFINITY, f64::max);
            (time_s[run.start], high - rest_n)
        })
        .collect();
    Some(Found {
        rows,
        rest_n,
        peak_n,
        area_ns,
        spikes,
    })
}

/// What stands high in a record.
pub(super) struct High {
    /// Rough level at rest, N.
    pub rest_n: f64,
    /// Rough noise, N.
    pub noise_n: f64,
    /// Rough peak above rest, N.
    pub peak_n: f64,
    /// Runs of rows at or above the burn rule's level.
    pub runs: Vec<Range<usize>>,
}

/// The runs of readings above the level of the burn rule.
pub(super) fn high(time_s: &[f64], load_n: &[f64], fraction: f64) -> Option<High> {
    let rest_n = rest_level(load_n)?;
    let noise_n = noise::sd_from_differences(load_n);
    let peak_n = load_n.iter().copied().fold(f64::NEG_INFINITY, f64::max) - rest_n;
    let level = rest_n + (fraction * peak_n).max(3.0 * noise_n);
    Some(High {
        rest_n,
        noise_n,
        peak_n,
        runs: runs_above(time_s, load_n, level),
    })
}

/// The level at rest: the median of the low fifth. A burn is above rest for most of its time, and
/// rest is seldom shorter than a fifth of the record.
fn rest_level(load_n: &[f64]) -> Option<f64> {
    let mut sorted = load_n.to_vec();
    sorted.sort_by(f64::total_cmp);
    let fifth = sorted.len().div_ceil(5);
    noise::median(&sorted[..fifth])
}

fn runs_above(time_s: &[f64], load_n: &[f64], level: f64) -> Vec<Range<usize>> {
    let mut runs: Vec<Range<usize>> = Vec::new();
    for (row, _) in load_n
        .iter()
        .enumerate()
        .filter(|(_, load)| **load >= level)
    {
        match runs.last_mut() {
            Some(run) if run.end == row || time_s[row] - time_s[run.end - 1] <= JOIN_GAP_S => {
                run.end = row + 1;
            }
            _ => runs.push(row..row + 1),
        }
    }
    runs
}

pub(super) fn area_above(time_s: &[f64], load_n: &[f64], rest_n: f64, run: &Range<usize>) -> f64 {
    let from = run.start.saturating_sub(1);
    let to = (run.end + 1).min(time_s.len());
    time_s[from..to]
        .windows(2)
        .zip(load_n[from..to].windows(2))
        .map(|(t, f)| (t[1] - t[0]) * (0.5 * (f[0] + f[1]) - rest_n))
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn record(burns: &[(f64, f64, f64)]) -> (Vec<f64>, Vec<f64>) {
        let time: Vec<f64> = (0..6000).map(|i| f64::from(i) * 1e-3).collect();
        let load = time
            .iter()
            .enumerate()
            .map(|(i, t)| {
                let burn = burns.iter().find(|(from, to, _)| t >= from && t < to);
                burn.map_or(0.0, |burn| burn.2) + 0.02 * ((i * 7919) % 13) as f64 / 13.0
            })
            .collect();
        (time, load)
    }

    #[test]
    fn an_igniter_s_snap_before_the_burn_is_not_the_burn() {
        let (time, load) = record(&[(1.0, 1.01, 9.0), (2.0, 4.0, 10.0)]);
        let found = find(&time, &load, 0.05).unwrap();
        assert_eq!(found.rows, 2000..4000);
        assert_eq!(found.spikes.len(), 1);
    }

    #[test]
    fn a_motor_that_lights_after_the_other_has_burnt_out_still_counts() {
        let (time, load) = record(&[(1.0, 2.0, 10.0), (3.0, 4.0, 10.0)]);
        assert_eq!(find(&time, &load, 0.05).unwrap().rows, 1000..4000);
    }

    #[test]
    fn noise_alone_is_no_burn() {
        let (time, load) = record(&[]);
        assert_eq!(find(&time, &load, 0.05), None);
    }

    // A rectangle of 10 N over 2 s, and half a step of it at either end: 20.01 N s. The noise of the
    // record runs from 0 to 0.018 N, its low fifth lies about 0.0015 N.
    #[test]
    fn height_area_and_spikes_are_measured_from_rest() {
        let (time, mut load) = record(&[(1.0, 1.01, 9.0), (2.0, 4.0, 10.0)]);
        for load in &mut load {
            *load += 50.0;
        }
        let found = find(&time, &load, 0.05).unwrap();
        assert!((found.rest_n - 50.0015).abs() < 0.001, "{}", found.rest_n);
        assert!((found.peak_n - 10.017).abs() < 0.002, "{}", found.peak_n);
        assert!((found.area_ns - 20.01).abs() < 0.03, "{}", found.area_ns);
        let (time_s, height_n) = found.spikes[0];
        assert_eq!(time_s, 1.0);
        assert!((height_n - 9.016).abs() < 0.003, "{height_n}");
    }

    #[test]
    fn a_cough_of_fifteen_milliseconds_is_joined_over_and_one_of_thirty_is_not() {
        let runs = |gap_s: f64| {
            let (time, load) = record(&[(1.0, 2.0, 10.0), (2.0 + gap_s, 3.0, 10.0)]);
            high(&time, &load, 0.05).unwrap().runs.len()
        };
        assert_eq!([0.015, 0.03].map(runs), [1, 2]);
    }

    #[test]
    fn a_burn_lasts_and_stands_out_of_the_noise() {
        let lasts = |length_s: f64| {
            let (time, load) = record(&[(1.0, 1.0 + length_s, 10.0)]);
            find(&time, &load, 0.05).is_some()
        };
        assert_eq!([0.025, 0.035].map(lasts), [false, true]);
        // A tenth of the noise is no burn, ten times the noise is one.
        let stands = |height_n: f64| {
            let (time, load) = record(&[(1.0, 1.5, height_n)]);
            find(&time, &load, 0.05).is_some()
        };
        assert_eq!([0.002, 0.2].map(stands), [false, true]);
        let (time, load) = record(&[(1.0, 2.0, 10.0)]);
        assert_eq!(find(&time[..3], &load[..3], 0.05), None);
    }
}
