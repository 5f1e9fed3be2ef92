//! The baseline: what the cells read before and after the burn.
//!
//! It is read over a time about as long as the burn on either side, a little away from it, and
//! cut into short blocks: their means show both the noise of the readings and how the baseline
//! drifts. [`super::baseline_drift`] makes a line through the burn of them.

use std::ops::Range;

use crate::numeric::noise;
use crate::numeric::polynomial;

/// The baseline stays this far away from the burn before it, s: igniters snap and clamps let go.
const GUARD_BEFORE_S: f64 = 0.05;
/// The baseline stays this far away from the burn after it, s: motors smoke and the rig rings.
const GUARD_AFTER_S: f64 = 0.25;

/// Of a short rest at most this share is left out for that.
const GUARD_SHARE: f64 = 0.3;

/// The baseline is read over at most this many burn times: longer would bring old drift in.
const BURN_TIMES: f64 = 1.5;

/// The baseline is read over at least this long where the record has it, s.
const SHORTEST_S: f64 = 1.0;

/// A block of baseline still burns when it stands this share of the peak off from the others ...
const TAIL_SHARE: f64 = 0.001;

/// ... and so many times as far as they usually stand apart.
const TAIL_SCATTERS: f64 = 6.0;

/// A mean needs this many readings.
const FEWEST: usize = 5;

/// Blocks of one side: enough to see drift, few enough to solve for it at once.
const BLOCKS: usize = 18;

/// A short piece of the baseline.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Block {
    /// Rows averaged.
    pub rows: Range<usize>,
    /// Middle of them, s.
    pub time_s: f64,
    /// From their first to their last, s.
    pub length_s: f64,
    /// Their mean, N.
    pub mean_n: f64,
}

/// The baseline on one side of the burn.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct BaselineSide {
    /// Rows looked at.
    pub rows: Range<usize>,
    /// Their means in blocks, in order of time.
    pub blocks: Vec<Block>,
    /// Standard deviation of one reading about a straight line, N.
    pub sd_n: f64,
}

/// The baseline on both sides.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Baseline {
    /// Before the burn; `None` when the record has none.
    pub before: Option<BaselineSide>,
    /// After the burn; `None` when the record has none.
    pub after: Option<BaselineSide>,
    /// A zero that is stated where the record has no rest, and its standard uncertainty, N.
    pub declared: Option<(f64, f64)>,
}

impl Baseline {
    /// The sides that the record has.
    pub(crate) fn sides(&self) -> impl Iterator<Item = &BaselineSide> {
        [&self.before, &self.after].into_iter().flatten()
    }

    /// Blocks of both sides in order of time, each with whether it lies after the burn.
    #[must_use]
    pub(crate) fn blocks(&self) -> Vec<(&Block, bool)> {
        let side = |side: &Option<BaselineSide>| side.iter().flat_map(|one| &one.blocks).count();
        let before = side(&self.before);
        self.sides()
            .flat_map(|one| &one.blocks)
            .enumerate()
            .map(|(at, block)| (block, at >= before))
            .collect()
    }

    /// Standard deviation of one reading at rest, N; `None` without rest.
    #[must_use]
    pub(crate) fn sd_n(&self) -> Option<f64> {
        let count: usize = self.sides().map(|side| side.rows.len()).sum();
        let square: f64 = self
            .sides()
            .map(|side| side.sd_n * side.sd_n * side.rows.len() as f64)
            .sum();
        (count > 0).then(|| (square / count as f64).sqrt())
    }
}

/// Reads the baseline on both sides of the burn, wherever the record has readings there.
#[must_use]
pub(crate) fn find(time_s: &[f64], load_n: &[f64], burn: &Range<usize>) -> Baseline {
    let all = [0..burn.start, burn.end..time_s.len()];
    sides(time_s, load_n, burn, all.map(Some), f64::INFINITY)
}

/// Reads the baseline on both sides of the burn, from rows that are known to rest: before and after it.
#[must_use]
pub(crate) fn beside(
    time_s: &[f64],
    load_n: &[f64],
    burn: &Range<usize>,
    rests: [Option<Range<usize>>; 2],
) -> Baseline {
    sides(time_s, load_n, burn, rests, GUARD_SHARE)
}

/// `guard_share` bounds what is left out next to the burn, as a share of the rest.
fn sides(
    time_s: &[f64],
    load_n: &[f64],
    burn: &Range<usize>,
    rests: [Option<Range<usize>>; 2],
    guard_share: f64,
) -> Baseline {
    let mut out = Baseline {
        before: None,
        after: None,
        declared: None,
    };
    let (Some(&first), Some(&last)) = (time_s.get(burn.start), time_s.get(burn.end - 1)) else {
        return out;
    };
    let length_s = (BURN_TIMES * (last - first)).max(SHORTEST_S);
    let top_n = load_n[burn.clone()]
        .iter()
        .copied()
        .fold(f64::NEG_INFINITY, f64::max);
    let side = |rest: Option<Range<usize>>, near: Near| {
        let rest = rest.filter(|rest| !rest.is_empty())?;
        let rest_s = time_s[rest.end - 1] - time_s[rest.start];
        let (from, to) = match near {
            Near::End => {
                let to = first - GUARD_BEFORE_S.min(guard_share * rest_s);
                (to - length_s, to)
            }
            Near::Start => {
                let from = last + GUARD_AFTER_S.min(guard_share * rest_s);
                (from, from + length_s)
            }
        };
        let start = time_s.partition_point(|t| *t < from).max(rest.start);
        let end = time_s.partition_point(|t| *t <= to).min(rest.end);
        let rows = without_tail(time_s, load_n, start..end.max(start), near, top_n);
        baseline(time_s, load_n, rows)
    };
    let [before, after] = rests;
    out.before = side(before, Near::End);
    out.after = side(after, Near::Start);
    out
}

/// The end of a piece of baseline that the burn is near to.
#[derive(Clone, Copy, PartialEq)]
enum Near {
    Start,
    End,
}

/// Rest without what still burns: blocks near the burn that stand off from the far half by more than it
/// scatters, and by more than a share of the peak.
fn without_tail(
    time_s: &[f64],
    load_n: &[f64],
    rows: Range<usize>,
    near: Near,
    top_n: f64,
) -> Range<usize> {
    if rows.len() < BLOCKS {
        return rows;
    }
    let mut blocks = blocks(time_s, load_n, &rows);
    if near == Near::End {
        blocks.reverse();
    }
    let far: Vec<f64> = blocks[BLOCKS / 2..].iter().map(|one| one.mean_n).collect();
    let middle = noise::median(&far).unwrap_or(0.0);
    let off: Vec<f64> = far.iter().map(|mean| (mean - middle).abs()).collect();
    let scatter = noise::median(&off).unwrap_or(0.0);
    let above = (TAIL_SCATTERS * scatter).max(TAIL_SHARE * (top_n - middle));
    // A wandering line strays both ways: leaving out only what is high would pull the rest down.
    let burns = |block: &&Block| (block.mean_n - middle).abs() > above;
    let tail = blocks[..BLOCKS / 2].iter().take_while(burns).count();
    match near {
        Near::Start => blocks[tail].rows.start..rows.end,
        Near::End => rows.start..blocks[tail].rows.end,
    }
}

fn baseline(time_s: &[f64], load_n: &[f64], rows: Range<usize>) -> Option<BaselineSide> {
    if rows.len() < FEWEST {
        return None;
    }
    let middle = 0.5 * (time_s[rows.start] + time_s[rows.end - 1]);
    let shifted: Vec<f64> = time_s[rows.clone()]
        .iter()
        .map(|time| time - middle)
        .collect();
    let line = polynomial::fit(&shifted, &load_n[rows.clone()], 1)?;
    let about_line: Vec<f64> = shifted
        .iter()
        .zip(&load_n[rows.clone()])
        .map(|(time, load)| load - line.at(*time))
        .collect();
    Some(BaselineSide {
        blocks: blocks(time_s, load_n, &rows),
        rows,
        sd_n: noise::mean_and_sd(&about_line)?.sd,
    })
}

/// Blocks of about the same number of rows.
fn blocks(time_s: &[f64], load_n: &[f64], rows: &Range<usize>) -> Vec<Block> {
    let count = BLOCKS.min(rows.len());
    let start = |at: usize| rows.start + at * rows.len() / count;
    let block = |at: usize| {
        let rows = start(at)..start(at + 1);
        let mean = |of: &[f64]| of[rows.clone()].iter().sum::<f64>() / rows.len() as f64;
        Block {
            time_s: mean(time_s),
            length_s: time_s[rows.end - 1] - time_s[rows.start],
            mean_n: mean(load_n),
            rows,
        }
    };
    (0..count).map(block).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn rest_is_cut_into_blocks_that_hold_every_row_once() {
        let time: Vec<f64> = (0..1000).map(|i| f64::from(i) * 0.01).collect();
        let load: Vec<f64> = time.iter().map(|t| 2.0 * t).collect();
        let line = find(&time, &load, &(400..600));
        let before = line.before.as_ref().unwrap();
        assert_eq!(before.blocks.len(), BLOCKS);
        assert_eq!(before.blocks[0].rows.start, before.rows.start);
        assert_eq!(before.blocks[BLOCKS - 1].rows.end, before.rows.end);
        for block in &before.blocks {
            assert_relative_eq!(block.mean_n, 2.0 * block.time_s, max_relative = 1e-12);
        }
        // A ramp without noise is a straight line: nothing is left of it.
        assert!(line.sd_n().unwrap() < 1e-9);
        let all = line.blocks();
        assert_eq!(all.iter().filter(|(_, after)| *after).count(), BLOCKS);
        assert!(
            all.windows(2)
                .all(|pair| pair[0].0.time_s < pair[1].0.time_s)
        );
    }
}
