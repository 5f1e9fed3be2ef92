//! Whether a column of raw counts carries a burn, and from when to when.
//!
//! The record is split as for the reduction ([`crate::burn::segmentation`]), rising and, because a cell may be wired
//! either way, falling: what is shown is what `reduce` will take, and what it will not be sure of.

use serde::Serialize;

use crate::burn::segmentation::{Choice, Expected, FoundBurn, Segment, SegmentKind, Segmentation};
use crate::numeric::noise::median;
use crate::series::Series;

/// The burn rule: first to last reading at or above this share of peak.
pub(crate) const SHARE_OF_PEAK: f64 = 0.05;

/// Rows of a record that can be judged, at least.
const FEWEST: usize = 20;

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

/// Something in one column that may be a burn or not: `reduce` leaves it undecided until a window is given.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct UnclearSeen {
    /// Stretch of the log's clock, from 1.
    pub stretch: usize,
    /// When it begins, s since the first row of its stretch.
    pub from_s: f64,
    /// When it ends, s.
    pub to_s: f64,
    /// Height over the baseline, raw counts.
    pub height_raw: f64,
    /// Whether readings fall in it.
    pub falls: bool,
    /// What speaks against a burn, the weightiest first; nothing where two like burns stand side by side.
    pub doubts: Vec<String>,
}

/// What burns, or may burn, in a column.
#[derive(Debug, Default, PartialEq)]
pub(crate) struct Seen {
    /// What surely burns, in the order of the file.
    pub burns: Vec<BurnSeen>,
    /// What may be a burn.
    pub unclear: Vec<UnclearSeen>,
    /// A stretch is all burn, with no rest on either side.
    pub all_burn: bool,
}

impl Seen {
    fn area(&self) -> f64 {
        let areas = self.burns.iter().map(|one| one.area_raw_s);
        areas.fold(0.0, f64::max)
    }

    fn height(&self) -> f64 {
        let heights = self.unclear.iter().map(|one| one.height_raw);
        heights.fold(0.0, f64::max)
    }
}

/// What burns in a column. One series for each stretch of the clock.
#[must_use]
pub(crate) fn burning(stretches: &[Series]) -> Seen {
    let one_way = |sign: f64| -> Seen {
        let each = stretches.iter().enumerate();
        each.fold(Seen::default(), |mut all, (nth, series)| {
            let seen = in_stretch(series, nth + 1, sign);
            all.burns.extend(seen.burns);
            all.unclear.extend(seen.unclear);
            all.all_burn |= seen.all_burn;
            all
        })
    };
    let (up, down) = (one_way(1.0), one_way(-1.0));
    let falls = match (up.area(), down.area()) {
        // Where nothing surely burns either way, what stands higher counts.
        (0.0, 0.0) => !up.all_burn && (down.all_burn || down.height() > up.height()),
        (rising, falling) => falling > rising,
    };
    let mut out = if falls { down } else { up };
    // What stands high in a stretch of a few quiet seconds may be nothing beside the real burn.
    let peak = out.burns.iter().map(|one| one.peak_raw).fold(0.0, f64::max);
    out.burns.retain(|one| one.peak_raw >= SHARE_OF_PEAK * peak);
    out
}

/// What burns in a stretch: burns where it surely holds one.
fn in_stretch(series: &Series, stretch: usize, sign: f64) -> Seen {
    if series.len() < FEWEST {
        return Seen::default();
    }
    let signed: Vec<f64> = series.value().iter().map(|one| sign * one).collect();
    let split = Segmentation::of(series.time_s(), &signed, &Expected::default());
    let chosen = matches!(split.choice(), Choice::Burn(_));
    let seen = |burn: &FoundBurn| {
        Some(BurnSeen {
            stretch,
            ..seen(series, burn, sign)?
        })
    };
    let unclear = |one: &&Segment| !split.trimmed && (!chosen || one.kind == SegmentKind::Unclear);
    Seen {
        burns: if chosen {
            split.sure().filter_map(seen).collect()
        } else {
            vec![]
        },
        unclear: split
            .pressed()
            .filter(unclear)
            .map(|one| UnclearSeen {
                stretch,
                from_s: one.from_s,
                to_s: one.to_s,
                height_raw: one.level_n,
                falls: sign < 0.0,
                doubts: one
                    .doubts
                    .iter()
                    .map(|doubt| doubt.words().to_owned())
                    .collect(),
            })
            .collect(),
        all_burn: split.trimmed,
    }
}

/// What a burn shows in the readings of its column.
fn seen(series: &Series, burn: &FoundBurn, sign: f64) -> Option<BurnSeen> {
    let level = |rest: Option<(f64, f64)>| {
        let (from_s, to_s) = rest?;
        median(series.between(from_s, to_s).value())
    };
    let (before, after) = (level(burn.before_s), level(burn.after_s));
    let rest_raw = before.or(after)?;
    let burning = series.between(burn.span_s.0, burn.span_s.1);
    let (peak_s, top) = burning
        .iter()
        .max_by(|a, b| (sign * a.1).total_cmp(&(sign * b.1)))?;
    Some(BurnSeen {
        stretch: 1,
        onset_s: burn.span_s.0,
        end_s: burn.span_s.1,
        peak_raw: (sign * (top - rest_raw)).max(0.0),
        peak_s,
        rest_raw,
        after_raw: after,
        area_raw_s: burn.area_ns,
        falls: sign < 0.0,
        no_rest_before: before.is_none(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seen(value: impl Fn(f64) -> f64) -> Vec<BurnSeen> {
        let time: Vec<f64> = (0..2000).map(|row| f64::from(row) * 0.01).collect();
        let value: Vec<f64> = time.iter().map(|time| value(*time)).collect();
        burning(&[Series::new(&time, &value)]).burns
    }

    /// A burn of 2 s that begins a little after 5 s: up in 0.1 s, from 1000 down to 900, and off in 0.1 s.
    fn burn(t: f64) -> f64 {
        (1000.0 * (t - 5.0) / 0.1).clamp(0.0, 1000.0)
            - (100.0 * (t - 5.1) / 1.9).clamp(0.0, 100.0)
            - (900.0 * (t - 7.0) / 0.1).clamp(0.0, 900.0)
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
        // Ramp, slope, ramp: 50, 1.9 s times 950, and 45.
        approx::assert_relative_eq!(one.area_raw_s, 1900.0, max_relative = 1e-2);
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

    #[test]
    fn two_like_burns_are_unclear() {
        let time: Vec<f64> = (0..2000).map(|row| f64::from(row) * 0.01).collect();
        let of = |value: &dyn Fn(f64) -> f64| {
            let noise = |time: f64| (time * 100.0).round() * 7919.0 % 101.0 * 0.1;
            let value = time.iter().map(|time| value(*time) + noise(*time));
            burning(&[Series::new(&time, &value.collect::<Vec<f64>>())])
        };
        let alike = of(&|t| burn(t) + burn(t - 10.0));
        assert_eq!((alike.burns.len(), alike.unclear.len()), (0, 2));
    }

    #[test]
    fn a_record_without_rest_is_all_burn() {
        let time: Vec<f64> = (0..2000).map(|row| f64::from(row) * 0.005).collect();
        let hump = |t: &f64| {
            100.0
                + 900.0 * (t * std::f64::consts::PI / 10.0).sin()
                + (t * 200.0).round() * 7919.0 % 101.0 * 0.1
        };
        let value: Vec<f64> = time.iter().map(hump).collect();
        let found = burning(&[Series::new(&time, &value)]);
        assert!(found.burns.is_empty() && found.all_burn, "{found:?}");
    }
}
