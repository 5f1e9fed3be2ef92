//! Humps: where a record rises from a rest and falls back to one, with its local baseline.
//!
//! A record is cut into pieces of one level ([`super::changes`]). From every piece that is higher than both of
//! its neighbours rests are sought to the left and to the right: runs of pieces that differ by little *beside the
//! height of the hump*. Each pair of rests is one reading of the record: a hump over the line from the one to the
//! other. What it looks like is measured here; [`super::shape`] says whether it looks like a burn.
//!
//! No limit is absolute but those of time: nothing depends on the size of the motor or on the rate of the recorder.

use std::ops::Range;

use super::blocks::Blocks;

/// Pieces of a rest differ by this share of the hump's height at most.
const REST_RANGE: f64 = 0.06;

/// A rest scatters by this share of the hump's height at most.
const REST_SCATTER: f64 = 0.15;

/// A rest holds at least so many readings ...
const REST_READINGS: usize = 4;

/// ... and lasts at least this long, s.
const REST_S: f64 = 0.08;

/// A rest is looked at over this long, s: what a zero was a minute ago says little.
const REST_ENOUGH_S: f64 = 8.0;

/// Rests are sought this far from the top, s.
const REACH_S: f64 = 45.0;

/// Rests that are tried on each side, the nearest first.
const RESTS: usize = 7;

/// A piece is a top when it stands out from the next valley on both sides by so many standard deviations of noise.
const PROMINENT: f64 = 8.0;

/// The highest so many tops are looked at.
const TOPS: usize = 80;

/// Neighbours are alike when they differ by less than this share of the height: the rounding of a mean.
const ALIKE: f64 = 1e-9;

/// What lies within this time, s, of a hump, or within twice its length, is near to it.
const NEAR_S: f64 = 3.0;

/// The record strays where it is this share of the height off the baseline.
const STRAYS: f64 = 0.25;

/// Ups and downs are counted in means over this part of the length: a rough burn flickers faster, a hand does not.
const SMOOTHED: f64 = 24.0;

/// A side of a hump is taken to begin at this share of its height.
const FOOT: f64 = 0.04;

/// The share of its height at which a hump begins and ends.
pub(super) const SHARE: f64 = 0.05;

/// A stretch of blocks of one level.
pub(super) struct Piece {
    /// Its blocks.
    pub blocks: Range<usize>,
    /// Its mean, N.
    pub level_n: f64,
    /// Standard deviation of its blocks, N.
    pub sd_n: f64,
    /// First and last time, s.
    pub span_s: (f64, f64),
}

/// The pieces of a record.
pub(super) fn pieces(blocks: &Blocks, changes: &[usize]) -> Vec<Piece> {
    let mut bounds = vec![0];
    bounds.extend(changes);
    bounds.push(blocks.len());
    bounds
        .windows(2)
        .filter(|pair| pair[0] < pair[1])
        .map(|pair| Piece::of(blocks, pair[0]..pair[1]))
        .collect()
}

impl Piece {
    fn of(blocks: &Blocks, range: Range<usize>) -> Self {
        let part = &blocks.mean_n[range.clone()];
        let level_n = part.iter().sum::<f64>() / part.len() as f64;
        let square: f64 = part.iter().map(|one| (one - level_n).powi(2)).sum();
        Self {
            level_n,
            sd_n: (square / part.len() as f64).sqrt(),
            span_s: (blocks.time_s[range.start], blocks.time_s[range.end - 1]),
            blocks: range,
        }
    }
}

/// A rest beside a hump.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Rest {
    /// Its blocks.
    pub blocks: Range<usize>,
    /// Its level, N.
    pub level_n: f64,
    /// How far its blocks scatter about it, N.
    pub sd_n: f64,
    /// How long it lasts, s.
    pub length_s: f64,
}

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
    /// The same of its fall.
    pub fall: f64,
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
        let left = rests(blocks, pieces, top, Side::Left);
        let right = rests(blocks, pieces, top, Side::Right);
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

/// Pieces higher than their neighbours by more than noise, the highest first.
fn tops(blocks: &Blocks, pieces: &[Piece]) -> Vec<usize> {
    let level = |at: usize| pieces[at].level_n;
    let mut out: Vec<(usize, f64)> = (0..pieces.len())
        .filter(|at| {
            (*at == 0 || level(at - 1) <= level(*at))
                && (*at + 1 == pieces.len() || level(at + 1) <= level(*at))
        })
        .map(|at| (at, prominence(pieces, at)))
        .filter(|(_, prominence)| *prominence > PROMINENT * blocks.noise_n)
        .collect();
    out.sort_by(|a, b| b.1.total_cmp(&a.1));
    out.truncate(TOPS);
    out.into_iter().map(|(at, _)| at).collect()
}

/// How far one must go down from a top before one can go higher, on the side where that is less.
fn prominence(pieces: &[Piece], top: usize) -> f64 {
    let height = pieces[top].level_n;
    let valley = |side: &mut dyn Iterator<Item = &Piece>| {
        let mut low = f64::INFINITY;
        for piece in side {
            if piece.level_n > height {
                break;
            }
            low = low.min(piece.level_n);
        }
        low
    };
    let left = valley(&mut pieces[..top].iter().rev());
    let right = valley(&mut pieces[top + 1..].iter());
    // Where the record ends the other side alone says it.
    let deeper = if left.is_finite() && right.is_finite() {
        left.max(right)
    } else {
        left.min(right)
    };
    height - deeper
}

#[derive(Clone, Copy, PartialEq)]
enum Side {
    Left,
    Right,
}

/// The rests on one side of a top, the nearest first, and last of all the end of the record where it is in reach.
fn rests(blocks: &Blocks, pieces: &[Piece], top: usize, side: Side) -> Vec<Option<Rest>> {
    let peak = &pieces[top];
    let order: Vec<usize> = match side {
        Side::Left => (0..top).rev().collect(),
        Side::Right => (top + 1..pieces.len()).collect(),
    };
    let mut out = Vec::new();
    let mut at = 0;
    while at < order.len() && out.len() < RESTS {
        let piece = &pieces[order[at]];
        let gone_s = match side {
            Side::Left => peak.span_s.0 - piece.span_s.1,
            Side::Right => piece.span_s.0 - peak.span_s.1,
        };
        if gone_s > REACH_S {
            return out;
        }
        let (run, rest) = rest_from(blocks, pieces, &order[at..], (peak.level_n, side));
        match rest {
            Some(rest) => {
                if out.last().is_some_and(|last| is_step_of(last, &rest, peak)) {
                    out.pop();
                }
                out.push(Some(rest));
                at += run;
            }
            None => at += 1,
        }
    }
    if at >= order.len() {
        out.push(None);
    }
    out
}

/// Whether a rest was only a stair on the way down to a lower one next to it: short beside its distance from the top.
fn is_step_of(rest: &Option<Rest>, next: &Rest, peak: &Piece) -> bool {
    let Some(rest) = rest else {
        return false;
    };
    let next_to = rest.blocks.end == next.blocks.start || next.blocks.end == rest.blocks.start;
    let away = rest.blocks.start.abs_diff(peak.blocks.start);
    next_to && next.level_n < rest.level_n && 4 * rest.blocks.len() < away
}

/// A rest that begins with the first of some pieces and goes away from the top: how many pieces it takes, and the
/// rest if it is one.
fn rest_from(
    blocks: &Blocks,
    pieces: &[Piece],
    order: &[usize],
    (peak_n, side): (f64, Side),
) -> (usize, Option<Rest>) {
    let Some(first) = order.first().map(|at| &pieces[*at]) else {
        return (0, None);
    };
    let height_n = peak_n - first.level_n;
    if height_n <= 0.0 || first.sd_n > REST_SCATTER * height_n {
        return (1, None);
    }
    let (mut low, mut high) = (first.level_n, first.level_n);
    let mut range = first.blocks.clone();
    let mut run = 0;
    let range_n = (REST_RANGE * height_n).max(6.0 * blocks.noise_n);
    for piece in order.iter().map(|at| &pieces[*at]) {
        let (lower, higher) = (low.min(piece.level_n), high.max(piece.level_n));
        let long = length_s(blocks, &range) >= REST_ENOUGH_S;
        if long || higher - lower > range_n || piece.sd_n > REST_SCATTER * height_n {
            break;
        }
        (low, high) = (lower, higher);
        range = range.start.min(piece.blocks.start)..range.end.max(piece.blocks.end);
        run += 1;
    }
    let range = nearest(blocks, range, side);
    let readings = blocks.row[range.end] - blocks.row[range.start];
    let length_s = length_s(blocks, &range);
    if readings < REST_READINGS || length_s < REST_S {
        return (1, None);
    }
    let part = &blocks.mean_n[range.clone()];
    let level_n = crate::numeric::noise::median(part).unwrap_or(first.level_n);
    let square: f64 = part.iter().map(|one| (one - level_n).powi(2)).sum();
    let rest = Rest {
        sd_n: (square / part.len() as f64).sqrt(),
        level_n,
        length_s,
        blocks: range,
    };
    (run.max(1), Some(rest))
}

/// The part of a rest that is near enough to the hump to say what its zero was.
fn nearest(blocks: &Blocks, range: Range<usize>, side: Side) -> Range<usize> {
    let time_s = &blocks.time_s;
    if side == Side::Right {
        let until_s = time_s[range.start] + REST_ENOUGH_S;
        let end = time_s[range.clone()].partition_point(|time| *time <= until_s);
        range.start..range.start + end.max(1)
    } else {
        let from_s = time_s[range.end - 1] - REST_ENOUGH_S;
        let start = time_s[range.clone()].partition_point(|time| *time < from_s);
        (range.start + start).min(range.end - 1)..range.end
    }
}

fn length_s(blocks: &Blocks, range: &Range<usize>) -> f64 {
    blocks.time_s[range.end - 1] - blocks.time_s[range.start]
}

impl Hump {
    /// The level of the burn rule at a time, N.
    pub(super) fn level_at_share(&self, blocks: &Blocks, time_s: f64) -> f64 {
        self.line.at(time_s) + (SHARE * self.height_n).max(3.0 * blocks.noise_n)
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
        let high = |one: &f64| *one >= SHARE * height_n;
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
            pause_s: pause_s(time_s, &over, &inside, SHARE * height_n),
            rise: steepness(time_s, &over, 0..over.len(), (height_n, length_s)),
            fall: steepness(time_s, &over, (0..over.len()).rev(), (height_n, length_s)),
            // A recorder that shows rest without a flicker may show a steady thrust so too.
            stuck: if [&before, &after]
                .iter()
                .any(|rest| rest.as_ref().is_some_and(|one| one.sd_n > 0.0))
            {
                stuck(&over, &inside, height_n)
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

/// Share of the upper half of a hump in which neighbours are alike to the last digit.
fn stuck(over: &[f64], inside: &Range<usize>, height_n: f64) -> f64 {
    let upper = |at: &usize| over[*at] >= 0.5 * height_n && *at > inside.start;
    let alike = |at: &usize| (over[*at] - over[*at - 1]).abs() <= ALIKE * height_n;
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
    let strays = |at: &usize| {
        let over = blocks.mean_n[*at] - line.at(blocks.time_s[*at]);
        !hump.contains(at) && over.abs() > STRAYS * height_n
    };
    let step_s = |at: usize| blocks.time_s[at] - blocks.time_s[at.max(1) - 1];
    (from..to).filter(strays).map(step_s).sum::<f64>() / length_s
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

/// How steep one side is: from little to half of the height, against the whole length. The rows run from outside to
/// inside. Between blocks nothing is seen: what happens from one block to the next took no time.
fn steepness(
    time_s: &[f64],
    over: &[f64],
    rows: impl Iterator<Item = usize>,
    (height_n, length_s): (f64, f64),
) -> f64 {
    let mut foot: Option<usize> = None;
    for at in rows {
        if over[at] >= 0.5 * height_n {
            let took_s = foot.map_or(0.0, |foot| (time_s[at] - time_s[foot]).abs());
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
