//! The zero line: what the cells read before and after the burn.
//!
//! Rest before and after is averaged over a stretch about as long as the burn, a little away from
//! it. The uncertainty of each mean counts only as many readings as are independent
//! ([`crate::numeric::noise`]).

use std::ops::Range;

use crate::numeric::noise::{self, Rest};
use crate::numeric::polynomial;

/// Rest stays this far away from the burn before it, s: igniters snap and clamps let go.
const GUARD_BEFORE_S: f64 = 0.05;
/// Rest stays this far away from the burn after it, s: motors smoke and the rig rings.
const GUARD_AFTER_S: f64 = 0.25;
/// Rest is averaged over at most this many burn times: longer would bring old drift in.
const BURN_TIMES: f64 = 1.5;
/// Rest is averaged over at least this long where the record has it, s.
const SHORTEST_S: f64 = 1.0;
/// A mean needs this many readings.
const FEWEST: usize = 5;

/// Rest on one side of the burn.
#[derive(Debug, Clone, PartialEq)]
pub struct Baseline {
    /// Rows averaged.
    pub rows: Range<usize>,
    /// Middle of them, s.
    pub time_s: f64,
    /// Mean, spread and correlation, N; slow drift counts as correlated spread.
    pub rest: Rest,
    /// Noise about a straight line through the readings, N: what a single reading is worth.
    pub noise: Rest,
}

/// Rest on both sides.
#[derive(Debug, Clone, PartialEq)]
pub struct ZeroLine {
    /// Before the burn; `None` when the record has none.
    pub before: Option<Baseline>,
    /// After the burn; `None` when the record has none.
    pub after: Option<Baseline>,
}

impl ZeroLine {
    /// Standard deviation of one reading at rest, N, and the inflation by correlation.
    #[must_use]
    pub fn noise(&self) -> Option<(f64, f64)> {
        let sides: Vec<&Rest> = [&self.before, &self.after]
            .into_iter()
            .flatten()
            .map(|side| &side.rest)
            .collect();
        let count = sides.iter().map(|rest| rest.count).sum::<usize>() as f64;
        if sides.is_empty() {
            return None;
        }
        let pooled = |of: &dyn Fn(&Rest) -> f64| -> f64 {
            sides
                .iter()
                .map(|rest| of(rest) * rest.count as f64)
                .sum::<f64>()
                / count
        };
        Some((
            pooled(&|rest| rest.sd * rest.sd).sqrt(),
            pooled(&|rest| rest.inflation),
        ))
    }
}

/// Averages rest on both sides of the burn.
#[must_use]
pub fn find(time_s: &[f64], load_n: &[f64], burn: &Range<usize>) -> ZeroLine {
    let (Some(&first), Some(&last)) = (time_s.get(burn.start), time_s.get(burn.end - 1)) else {
        return ZeroLine {
            before: None,
            after: None,
        };
    };
    let length_s = (BURN_TIMES * (last - first)).max(SHORTEST_S);
    let side = |from: f64, to: f64| {
        let rows = time_s.partition_point(|t| *t < from)..time_s.partition_point(|t| *t <= to);
        baseline(time_s, load_n, rows)
    };
    ZeroLine {
        before: side(first - GUARD_BEFORE_S - length_s, first - GUARD_BEFORE_S),
        after: side(last + GUARD_AFTER_S, last + GUARD_AFTER_S + length_s),
    }
}

fn baseline(time_s: &[f64], load_n: &[f64], rows: Range<usize>) -> Option<Baseline> {
    if rows.len() < FEWEST {
        return None;
    }
    let rest = noise::at_rest(&load_n[rows.clone()])?;
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
    Some(Baseline {
        rows,
        time_s: middle,
        rest,
        noise: noise::at_rest(&about_line)?,
    })
}
