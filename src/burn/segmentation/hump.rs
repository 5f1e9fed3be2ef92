//! Humps: where a record rises from a rest and falls back to one, with its local baseline.
//!
//! From every top rests are sought to the left and to the right ([`super::rest`]). Each pair of them is one reading of
//! the record: a hump over the line from the one to the other. What it looks like is measured here; [`super::shape`]
//! says whether it looks like a burn.
//!
//! No limit is absolute but those of time: nothing depends on the size of the motor or on the rate of the recorder.

use std::ops::Range;

use super::blocks::Blocks;
use super::rest::{Piece, Rest, rests, tops};

/// Neighbours are alike when they differ by less than this share of the height: the rounding of a mean.
const ALIKE: f64 = 1e-9;

/// What lies within this time, s, of a hump, or within twice its length, is near to it.
const NEAR_S: f64 = 3.0;

/// The record strays where it is this share of the height off the baseline.
const STRAYS: f64 = 0.25;

/// Before a burn nothing pulls a stand, and a zero that hunts does: from this share of the height on it counts so many
/// times.
const SINKS: f64 = 0.12;
const SINKS_COUNTS: f64 = 2.5;

/// Ups and downs are counted in means over this part of the length: a rough burn flickers faster, a hand does not.
const SMOOTHED: f64 = 24.0;

/// Who marks a burn marks its ends to this share of its length.
const MARKED: f64 = 0.05;

/// A rise is taken to begin at this share of the height.
const FOOT: f64 = 0.04;

/// ... or, where that is more, where it stands so many standard deviations out of the flicker of its rests, up to twice the
/// share.
const FLICKER_SDS: f64 = 3.0;

/// The share of its height at which a hump begins and ends.
pub(super) const SHARE: f64 = 0.05;

/// A hump, and what it looks like.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Hump {
    /// The rest before it; `None` where the record begins within it.
    pub before: Option<Rest>,
    /// The rest after it; `None` where the record ends within it.
    pub after: Option<Rest>,
    /// Blocks from the first to the last at or above the share of its height.
    pub blocks: Range<usize>,
    /// Height over its baseline, N.
    pub height_n: f64,
    /// Area over its baseline, N s.
    pub area_ns: f64,
    /// From its beginning to its end, s.
    pub length_s: f64,
    /// Mean height over its length, as a share of its height.
    pub fill: f64,
    /// Zero after less zero before, as a share of its height.
    pub shift: f64,
    /// Area below the baseline between the rests, as a share of the area above it.
    pub below: f64,
    /// How high the record stands at its own end, where that is within the hump, as a share of its height.
    pub cut: f64,
    /// Ups and downs between the rests over twice its height: one for a hump that rises once and falls once.
    pub turns: f64,
    /// Area above the baseline between the rests but outside of the hump, as a share of its area.
    pub around: f64,
    /// The longest time it is low in between, s.
    pub pause_s: f64,
    /// How many times faster it rises than it would over its whole length.
    pub rise: f64,
    /// Share of its upper half in which neighbours are alike to the last digit.
    pub stuck: f64,
    /// How long the record is far from its rests shortly before and after it, as a share of its length.
    pub restless: f64,
    /// Readings within it.
    pub count: usize,
    /// Whether it is the whole record over a level: it has no rest at all.
    pub whole: bool,
    /// Its baseline.
    line: Line,
}

/// All readings of the record as a hump between two rests, for every top.
pub(super) fn humps(blocks: &Blocks, pieces: &[Piece]) -> Vec<Hump> {
    let mut out: Vec<Hump> = Vec::new();
    let mut seen = std::collections::HashSet::new();
    for top in tops(blocks, pieces) {
        let [left, right] = rests(blocks, pieces, top);
        for before in &left {
            for after in &right {
                let key = (
                    before.as_ref().map(|one| one.blocks.end),
                    after.as_ref().map(|one| one.blocks.start),
                );
                if (before.is_some() || after.is_some()) && seen.insert(key) {
                    out.extend(Hump::between(blocks, before.clone(), after.clone()));
                }
            }
        }
    }
    out
}

impl Hump {
    /// The level of the burn rule at a time, N.
    pub(super) fn level_at_share(&self, blocks: &Blocks, time_s: f64) -> f64 {
        let level_n = level_n(self.height_n, [&self.before, &self.after]);
        self.line.at(time_s) + level_n.max(3.0 * blocks.noise_n)
    }

    /// Whether it begins and ends within some time, as nearly as somebody marks it.
    pub(super) fn lies_in(&self, blocks: &Blocks, (from_s, to_s): (f64, f64)) -> bool {
        let slack_s = MARKED * self.length_s;
        blocks.time_s[self.blocks.start] >= from_s - slack_s
            && blocks.time_s[self.blocks.end - 1] <= to_s + slack_s
    }

    /// What lies between two rests; `None` when nothing rises there.
    pub(super) fn between(
        blocks: &Blocks,
        before: Option<Rest>,
        after: Option<Rest>,
    ) -> Option<Self> {
        Self::measure(blocks, before, after, None)
    }

    /// The whole record over a level, N; `None` when nothing rises over it.
    pub(super) fn over(blocks: &Blocks, zero_n: f64) -> Option<Self> {
        Self::measure(blocks, None, None, Some(zero_n))
    }

    fn measure(
        blocks: &Blocks,
        before: Option<Rest>,
        after: Option<Rest>,
        stated_n: Option<f64>,
    ) -> Option<Self> {
        let from = before.as_ref().map_or(0, |one| one.blocks.end);
        let to = after.as_ref().map_or(blocks.len(), |one| one.blocks.start);
        if to < from + 1 {
            return None;
        }
        let time_s = &blocks.time_s[from..to];
        let line = Line {
            left_n: before
                .as_ref()
                .or(after.as_ref())
                .map_or(stated_n.unwrap_or(0.0), |one| one.level_n),
            right_n: after
                .as_ref()
                .or(before.as_ref())
                .map_or(stated_n.unwrap_or(0.0), |one| one.level_n),
            from_s: blocks.time_s[from],
            to_s: blocks.time_s[to - 1],
        };
        let over: Vec<f64> = (from..to)
            .map(|at| blocks.mean_n[at] - line.at(blocks.time_s[at]))
            .collect();
        let height_n = over.iter().copied().fold(0.0, f64::max);
        let level_n = level_n(height_n, [&before, &after]);
        let high = |one: &f64| *one >= level_n;
        let (first, last) = (over.iter().position(high)?, over.iter().rposition(high)?);
        let step_s = step_s(blocks, from..to);
        let length_s = time_s[last] - time_s[first] + step_s;
        let inside = first..last + 1;
        let area_ns = area(time_s, &over, inside.clone(), step_s);
        if height_n <= 0.0 || area_ns <= 0.0 {
            return None;
        }
        let (first_over, last_over) = (over[0], over[over.len() - 1]);
        let below: Vec<f64> = over.iter().map(|one| (-one).max(0.0)).collect();
        let above: Vec<f64> = over.iter().map(|one| one.max(0.0)).collect();
        let all = 0..over.len();
        let outside_ns = area(time_s, &above, all.clone(), step_s)
            - area(time_s, &above, inside.clone(), step_s);
        let smooth = smoothed(time_s, &over, length_s / SMOOTHED);
        let shift_n = before
            .as_ref()
            .zip(after.as_ref())
            .map_or(0.0, |(before, after)| after.level_n - before.level_n);
        Some(Self {
            height_n,
            area_ns,
            length_s,
            fill: area_ns / (length_s * height_n),
            shift: shift_n / height_n,
            cut: [(&before, first_over), (&after, last_over)]
                .iter()
                .filter(|(rest, _)| rest.is_none() && stated_n.is_none())
                .map(|(_, over)| over.abs() / height_n)
                .fold(0.0, f64::max),
            below: area(time_s, &below, all, step_s) / area_ns,
            turns: ups_and_downs(&smooth) / (2.0 * smooth.iter().copied().fold(0.0, f64::max)),
            around: (outside_ns / area_ns).max(0.0),
            pause_s: pause_s(time_s, &over, &inside, level_n),
            rise: rise(time_s, &over, height_n, length_s),
            // A recorder that shows rest without a flicker may show a steady thrust so too.
            stuck: if [&before, &after]
                .iter()
                .any(|rest| rest.as_ref().is_some_and(|one| one.sd_n > 0.0))
            {
                stuck(&blocks.mean_n[from..to], &over, &inside, height_n)
            } else {
                0.0
            },
            restless: restless(
                blocks,
                &line,
                from + first..from + last + 1,
                (height_n, length_s),
            ),
            count: blocks.row[from + last + 1] - blocks.row[from + first],
            blocks: from + first..from + last + 1,
            whole: stated_n.is_some(),
            line,
            before,
            after,
        })
    }
}

/// The height over the baseline at which a hump begins and ends, N: above the flicker of its rests.
fn level_n(height_n: f64, rests: [&Option<Rest>; 2]) -> f64 {
    let sds = rests.into_iter().flatten().map(|rest| rest.sd_n);
    let flicker_n = FLICKER_SDS * sds.fold(0.0, f64::max);
    (SHARE * height_n).max(flicker_n.min(2.0 * SHARE * height_n))
}

/// The baseline from one rest to the other. Where one is missing the other's level goes through.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Line {
    left_n: f64,
    right_n: f64,
    from_s: f64,
    to_s: f64,
}

impl Line {
    fn at(&self, time_s: f64) -> f64 {
        let part = if self.to_s > self.from_s {
            ((time_s - self.from_s) / (self.to_s - self.from_s)).clamp(0.0, 1.0)
        } else {
            0.5
        };
        self.left_n + (self.right_n - self.left_n) * part
    }
}

/// The usual distance of blocks, s.
fn step_s(blocks: &Blocks, range: Range<usize>) -> f64 {
    let from = range.start.saturating_sub(1);
    let to = (range.end + 1).min(blocks.len());
    let steps: Vec<f64> = blocks.time_s[from..to]
        .windows(2)
        .map(|pair| pair[1] - pair[0])
        .collect();
    crate::numeric::noise::median(&steps).unwrap_or(0.0)
}

/// Area under some values by the trapezoid rule, half a step more at either end.
fn area(time_s: &[f64], value: &[f64], range: Range<usize>, step_s: f64) -> f64 {
    if range.is_empty() {
        return 0.0;
    }
    let ends = 0.5 * step_s * (value[range.start] + value[range.end - 1]);
    let inner: f64 = (range.start + 1..range.end)
        .map(|at| 0.5 * (value[at] + value[at - 1]) * (time_s[at] - time_s[at - 1]))
        .sum();
    inner + ends
}

/// Running means over a time.
fn smoothed(time_s: &[f64], value: &[f64], width_s: f64) -> Vec<f64> {
    let (mut from, mut to, mut sum) = (0, 0, 0.0);
    time_s
        .iter()
        .map(|time| {
            while to < value.len() && time_s[to] <= time + 0.5 * width_s {
                sum += value[to];
                to += 1;
            }
            while time_s[from] < time - 0.5 * width_s {
                sum -= value[from];
                from += 1;
            }
            sum / (to - from).max(1) as f64
        })
        .collect()
}

/// The sum of all rises and falls, from nothing to nothing.
fn ups_and_downs(value: &[f64]) -> f64 {
    let ends =
        value.first().map_or(0.0, |one| one.abs()) + value.last().map_or(0.0, |one| one.abs());
    ends + value
        .windows(2)
        .map(|pair| (pair[1] - pair[0]).abs())
        .sum::<f64>()
}

/// Share of the upper half of a hump in which neighbouring readings are alike to the last digit.
fn stuck(mean_n: &[f64], over: &[f64], inside: &Range<usize>, height_n: f64) -> f64 {
    let upper = |at: &usize| over[*at] >= 0.5 * height_n && *at > inside.start;
    let alike = |at: &usize| (mean_n[*at] - mean_n[*at - 1]).abs() <= ALIKE * height_n;
    let count = inside.clone().filter(upper).count();
    inside.clone().filter(upper).filter(alike).count() as f64 / count.max(1) as f64
}

/// How long the record strays from the baseline shortly before and after a hump, as a share of its length.
fn restless(
    blocks: &Blocks,
    line: &Line,
    hump: Range<usize>,
    (height_n, length_s): (f64, f64),
) -> f64 {
    let reach_s = (2.0 * length_s).max(NEAR_S);
    let (from_s, to_s) = (
        blocks.time_s[hump.start] - reach_s,
        blocks.time_s[hump.end - 1] + reach_s,
    );
    let from = blocks.time_s.partition_point(|time| *time < from_s);
    let to = blocks.time_s.partition_point(|time| *time <= to_s);
    let step_s = |at: usize| blocks.time_s[at] - blocks.time_s[at.max(1) - 1];
    let strays_s = |at: usize| {
        let over = (blocks.mean_n[at] - line.at(blocks.time_s[at])) / height_n;
        if hump.contains(&at) {
            0.0
        } else if at < hump.start && over < -SINKS {
            SINKS_COUNTS * step_s(at)
        } else if over.abs() > STRAYS {
            step_s(at)
        } else {
            0.0
        }
    };
    (from..to).map(strays_s).sum::<f64>() / length_s
}

/// The longest time that a hump is below its share of height in between.
fn pause_s(time_s: &[f64], over: &[f64], inside: &Range<usize>, level_n: f64) -> f64 {
    let mut longest: f64 = 0.0;
    let mut last_high = inside.start;
    for at in inside.clone().filter(|at| over[*at] >= level_n) {
        if at > last_high + 1 {
            longest = longest.max(time_s[at] - time_s[last_high]);
        }
        last_high = at;
    }
    longest
}

/// How steep the rise is: from little to half of the height, against the whole length. Between blocks nothing is
/// seen: what happens from one block to the next took no time.
fn rise(time_s: &[f64], over: &[f64], height_n: f64, length_s: f64) -> f64 {
    let mut foot: Option<usize> = None;
    for at in 0..over.len() {
        if over[at] >= 0.5 * height_n {
            let took_s = foot.map_or(0.0, |foot| time_s[at] - time_s[foot]);
            return if took_s > 0.0 {
                (0.5 - FOOT) * length_s / took_s
            } else {
                f64::INFINITY
            };
        }
        foot = (over[at] >= FOOT * height_n).then(|| foot.unwrap_or(at));
    }
    f64::INFINITY
}
