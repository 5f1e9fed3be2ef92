//! Whether a column of raw counts carries a burn, and from when to when.
//!
//! The search of [`crate::burn`] finds what stands high; here it must have the shape of a burn as
//! well, because nobody has said that the column is a load cell: up from rest or down from it (a
//! cell may be wired either way), to one side only, back afterwards, for as long as motors of this
//! size burn. A tilt swings to both sides, weights on a shelf stay, a staircase takes minutes.

use serde::Serialize;

use crate::burn::search;
use crate::burn::segmentation::{self, Burning};
use crate::numeric::noise::median;
use crate::series::Series;

/// The burn rule: first to last reading at or above this share of peak.
pub(crate) const SHARE_OF_PEAK: f64 = 0.05;

/// Longest burn, s. Common practice, no source: model motors burn for seconds, and the slowest
/// end burners for less than half a minute.
const LONGEST_S: f64 = 30.0;

/// Readings outside the burn stay within this share of its peak from rest, before, after and to the
/// other side. Weight loss and drift of a zero line come to some hundredths.
const OFF_REST: f64 = 0.15;

/// Share of the readings outside the burn that may lie beyond: spikes.
const SPIKES: f64 = 0.02;

/// Mean over the burn as a share of peak, at least: less is a spike and its echo. Small motors with
/// an ignition peak have some 0.3.
const LEAST_MEAN: f64 = 0.2;

/// First and last reading of a stretch lie within this share of peak from rest.
const OFF_AT_ENDS: f64 = 0.1;

/// Rows that make a level at rest.
const FEWEST_AT_REST: usize = 5;

/// Rows of a record that can be judged, at least.
const FEWEST: usize = 20;

/// Part of the burn's length left out on either side before rest is read: ignition and tail-off.
const MARGIN: f64 = 0.1;

/// One burn in one column.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct BurnSeen {
    /// Stretch of the log's clock, from 1.
    pub stretch: usize,
    /// First reading at or above 5 % of peak, s since the first row of its stretch.
    pub onset_s: f64,
    /// The last one, s.
    pub end_s: f64,
    /// Largest reading from rest, raw counts; never negative.
    pub peak_raw: f64,
    /// When, s.
    pub peak_s: f64,
    /// Level at rest before the burn, raw counts; that after it when nothing was recorded before.
    pub rest_raw: f64,
    /// Level at rest after the burn, raw counts; `None` when the record ends too early.
    pub after_raw: Option<f64>,
    /// Area from rest, raw counts times s.
    pub area_raw_s: f64,
    /// Whether readings fall while it burns.
    pub falls: bool,
    /// Whether the record begins too late to show rest before it.
    pub no_rest_before: bool,
}

/// The burns of a column, in the order of the file. One series for each stretch of the clock.
#[must_use]
pub(crate) fn burns(stretches: &[Series]) -> Vec<BurnSeen> {
    let one_way = |sign: f64| -> Vec<BurnSeen> {
        let each = stretches.iter().enumerate();
        each.flat_map(|(nth, series)| in_stretch(series, nth + 1, sign))
            .collect()
    };
    let (up, down) = (one_way(1.0), one_way(-1.0));
    let area = |burns: &[BurnSeen]| burns.iter().map(|one| one.area_raw_s).fold(0.0, f64::max);
    let mut out = if area(&down) > area(&up) { down } else { up };
    // What stands high in a stretch of a few quiet seconds may be nothing beside the real burn.
    let peak = out.iter().map(|one| one.peak_raw).fold(0.0, f64::max);
    out.retain(|one| one.peak_raw >= SHARE_OF_PEAK * peak);
    out
}

fn in_stretch(series: &Series, stretch: usize, sign: f64) -> Vec<BurnSeen> {
    if series.len() < FEWEST {
        return vec![];
    }
    let time_s = series.time_s();
    let signed: Vec<f64> = series.value().iter().map(|one| sign * one).collect();
    let found = segmentation::burns(time_s, &signed, SHARE_OF_PEAK);
    let shaped: Vec<(&Burning, BurnSeen)> = found
        .iter()
        .filter_map(|burning| {
            let (from_s, to_s) = burning.segment_s;
            let rows = series.index_at(from_s)..time_s.partition_point(|time| *time <= to_s);
            Some((burning, judge(&time_s[rows.clone()], &signed[rows])?))
        })
        .collect();
    // What stood high and has not the shape of a burn is a stray reading to those that have.
    let quiet: Vec<f64> = time_s
        .iter()
        .zip(&signed)
        .filter(|(time_s, _)| !shaped.iter().any(|(one, _)| near(one, **time_s)))
        .map(|(_, value)| *value)
        .collect();
    shaped
        .into_iter()
        .map(|(_, burn)| burn)
        .filter(|burn| stays_at_rest(burn, &quiet))
        .map(|burn| BurnSeen {
            stretch,
            rest_raw: sign * burn.rest_raw,
            after_raw: burn.after_raw.map(|after| sign * after),
            falls: sign < 0.0,
            ..burn
        })
        .collect()
}

/// Whether a time belongs to a run of high readings, with a margin.
fn near(burning: &Burning, time_s: f64) -> bool {
    let margin_s = MARGIN * (burning.to_s - burning.from_s);
    (burning.from_s - margin_s..=burning.to_s + margin_s).contains(&time_s)
}

/// Whether the readings outside all burns lie near the rest of one.
fn stays_at_rest(burn: &BurnSeen, quiet: &[f64]) -> bool {
    let off = |reading: &&f64| (**reading - burn.rest_raw).abs() > OFF_REST * burn.peak_raw;
    quiet.iter().filter(off).count() as f64 <= SPIKES * quiet.len() as f64
}

/// The burn in a piece of record, seen as rising; `None` when it has not the shape of one.
fn judge(time_s: &[f64], value: &[f64]) -> Option<BurnSeen> {
    let found = search::find(time_s, value, SHARE_OF_PEAK)?;
    let rows = found.rows;
    let length_s = time_s[rows.end - 1] - time_s[rows.start];
    if length_s > LONGEST_S {
        return None;
    }
    let (before, after) = around(time_s, rows.start, rows.end, MARGIN * length_s);
    let level = |part: &[f64]| {
        (part.len() >= FEWEST_AT_REST)
            .then(|| median(part))
            .flatten()
    };
    let (rest_before, rest_after) = (level(&value[..before]), level(&value[after..]));
    let ends = value[0].min(value[value.len() - 1]);
    let rest = rest_before.or(rest_after).unwrap_or(ends);
    let burning = &value[rows.clone()];
    let (at, top) = burning
        .iter()
        .enumerate()
        .max_by(|a, b| a.1.total_cmp(b.1))?;
    let peak = top - rest;
    let ends_low = [value[0], value[value.len() - 1]]
        .iter()
        .all(|end| end - rest <= OFF_AT_ENDS * peak);
    let below = burning.iter().filter(|one| **one < rest - OFF_REST * peak);
    let returns = rest_after.is_none_or(|after| (after - rest).abs() <= OFF_REST * peak);
    let mean = burning.iter().sum::<f64>() / burning.len() as f64 - rest;
    let shaped =
        peak > 0.0 && returns && ends_low && below.count() == 0 && mean >= LEAST_MEAN * peak;
    if !shaped {
        return None;
    }
    let high = |one: &f64| one - rest >= SHARE_OF_PEAK * peak;
    let first = rows.start + burning.iter().position(high)?;
    let last = rows.start + burning.iter().rposition(high)?;
    let area_raw_s = time_s[first..=last]
        .windows(2)
        .zip(value[first..=last].windows(2))
        .map(|(t, v)| (t[1] - t[0]) * (0.5 * (v[0] + v[1]) - rest))
        .sum();
    Some(BurnSeen {
        stretch: 1,
        onset_s: time_s[first],
        end_s: time_s[last],
        peak_raw: peak,
        peak_s: time_s[rows.start + at],
        rest_raw: rest,
        after_raw: rest_after,
        area_raw_s,
        falls: false,
        no_rest_before: rest_before.is_none(),
    })
}

/// Rows before and after a burn, a margin away from it: the end of the one, the start of the other.
fn around(time_s: &[f64], start: usize, end: usize, margin_s: f64) -> (usize, usize) {
    let (from_s, to_s) = (time_s[start] - margin_s, time_s[end - 1] + margin_s);
    let before = time_s.partition_point(|time| *time < from_s);
    let after = time_s.partition_point(|time| *time <= to_s);
    (before, after)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seen(value: impl Fn(f64) -> f64) -> Vec<BurnSeen> {
        let time: Vec<f64> = (0..2000).map(|row| f64::from(row) * 0.01).collect();
        let value: Vec<f64> = time.iter().map(|time| value(*time)).collect();
        burns(&[Series::new(&time, &value)])
    }

    /// A burn of 2 s that begins a little after 5 s.
    fn burn(t: f64) -> f64 {
        (1000.0 * (t - 5.0) / 0.1).clamp(0.0, 1000.0)
            - (1000.0 * (t - 7.0) / 0.1).clamp(0.0, 1000.0)
    }

    #[test]
    fn onset_end_and_peak_are_those_of_the_shape() {
        let found = seen(|t| 8000.0 + burn(t));
        let [one] = found.as_slice() else {
            panic!("{found:?}")
        };
        // 5 % of the ramps of 0.1 s: 5 ms after 5 s, 5 ms before 7.1 s; readings come every 10 ms.
        approx::assert_abs_diff_eq!(one.onset_s, 5.005, epsilon = 0.0051);
        approx::assert_abs_diff_eq!(one.end_s, 7.095, epsilon = 0.0051);
        approx::assert_relative_eq!(one.peak_raw, 1000.0, epsilon = 1e-9);
        approx::assert_relative_eq!(one.rest_raw, 8000.0);
        // Ramp, plateau, ramp: 2 s times 1000.
        approx::assert_relative_eq!(one.area_raw_s, 2000.0, max_relative = 1e-2);
        assert!(!one.falls && !one.no_rest_before);
    }

    #[test]
    fn a_cell_wired_the_other_way_round_burns_downwards() {
        let found = seen(|t| 8000.0 - burn(t));
        assert!(found.len() == 1 && found[0].falls, "{found:?}");
        approx::assert_relative_eq!(found[0].rest_raw, 8000.0);
    }

    #[test]
    fn swings_staircases_and_weights_that_stay_are_no_burns() {
        assert_eq!(seen(|t| 50.0 * (3.0 * t).sin()), []);
        assert_eq!(
            seen(|t| (t / 2.0).floor() * 100.0 + 0.3 * (77.0 * t).sin()),
            []
        );
        assert_eq!(
            seen(|t| if t > 8.0 { 500.0 } else { 0.0 } + (77.0 * t).sin()),
            []
        );
        let swings = |t: f64| if t > 5.0 { 50.0 * (3.0 * t).sin() } else { 0.0 };
        assert_eq!(seen(swings), []);
    }

    #[test]
    fn two_firings_in_one_log_are_two_burns() {
        let found = seen(|t| burn(t) + 0.5 * burn(t - 10.0));
        assert_eq!(found.len(), 2);
        assert!(found[1].onset_s > 15.0);
    }
}
