//! Rests: stretches of a record where nothing happens *beside a hump of some height*, sought from its top outward.
//!
//! A record is cut into pieces of one level ([`super::changes`]). A rest is a run of neighbouring pieces that differ by
//! little beside the height of the hump; a stair on the way down is none. Several are tried on each side, for nobody
//! knows beforehand how far a hump reaches.

use std::ops::Range;

use super::blocks::Blocks;
use crate::numeric::noise;

/// What stands higher than this share of the way from a rest to the top is no rest: a plateau or a slope breaks into many
/// such pieces.
const CEILING: f64 = 0.5;

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
        Self {
            level_n,
            sd_n: scatter(part, level_n),
            span_s: (blocks.time_s[range.start], blocks.time_s[range.end - 1]),
            blocks: range,
        }
    }
}

/// Root of the mean square about a level.
fn scatter(part: &[f64], level: f64) -> f64 {
    let square: f64 = part.iter().map(|one| (one - level).powi(2)).sum();
    (square / part.len() as f64).sqrt()
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

/// Pieces higher than their neighbours by more than noise, the highest first.
pub(super) fn tops(blocks: &Blocks, pieces: &[Piece]) -> Vec<usize> {
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

/// The rests on both sides of a top, the nearest first, and last of all the end of the record where it is in reach.
pub(super) fn rests(blocks: &Blocks, pieces: &[Piece], top: usize) -> [Vec<Option<Rest>>; 2] {
    let peak = &pieces[top];
    // On the side whose lowest level is the higher one: beyond the other the stand may have been taken away.
    let lowest = |side: Side| {
        order(pieces, top, side)
            .into_iter()
            .map(|at| &pieces[at])
            .take_while(|piece| away_s(peak, piece, side) <= REACH_S)
            .filter(|piece| piece.span_s.1 - piece.span_s.0 >= REST_S)
            .map(|piece| piece.level_n)
            .min_by(f64::total_cmp)
    };
    let levels = [lowest(Side::Left), lowest(Side::Right)];
    let zero_n = levels.into_iter().flatten().max_by(f64::total_cmp);
    let below_n = zero_n.map_or(peak.level_n, |zero_n| {
        zero_n + CEILING * (peak.level_n - zero_n)
    });
    [Side::Left, Side::Right].map(|side| rests_on(blocks, pieces, top, (side, below_n)))
}

/// The pieces on one side of a top, the nearest first.
fn order(pieces: &[Piece], top: usize, side: Side) -> Vec<usize> {
    match side {
        Side::Left => (0..top).rev().collect(),
        Side::Right => (top + 1..pieces.len()).collect(),
    }
}

/// How far a piece is from a top, s.
fn away_s(peak: &Piece, piece: &Piece, side: Side) -> f64 {
    match side {
        Side::Left => peak.span_s.0 - piece.span_s.1,
        Side::Right => piece.span_s.0 - peak.span_s.1,
    }
}

/// The rests on one side of a top that are low enough.
fn rests_on(
    blocks: &Blocks,
    pieces: &[Piece],
    top: usize,
    (side, below_n): (Side, f64),
) -> Vec<Option<Rest>> {
    let peak = &pieces[top];
    let order = order(pieces, top, side);
    let mut out = Vec::new();
    let mut at = 0;
    while at < order.len() && out.len() < RESTS {
        let piece = &pieces[order[at]];
        if piece.level_n > below_n {
            at += 1;
            continue;
        }
        if away_s(peak, piece, side) > REACH_S {
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
    let level_n = noise::median(part).unwrap_or(first.level_n);
    let rest = Rest {
        sd_n: scatter(part, level_n),
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
