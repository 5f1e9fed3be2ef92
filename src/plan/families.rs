//! Families of test inputs, as tables: when each value begins, s, and the value as a share of the largest.
//!
//! Sources and what is taken from each: the 3-2-1-1 and the doublet, Mulder, Sridhar & Breeman (AGARD-AG-300 vol. 3,
//! 1994), from memory; random steps are the switching inputs of pseudo-random sequences (Godfrey, Automatica 16,
//! 1980) with free sizes; multisines with Schroeder's phases (IEEE Trans. Information Theory 16, 1970), as used for
//! control surfaces by Lichota (Journal of Theoretical and Applied Mechanics 54, 2016, 87), improved here by
//! trying random phases and keeping the lowest peak.

use std::f64::consts::{PI, TAU};

use serde::Serialize;

use super::rehearsal::noise::Stream;

/// A table: when each value begins, s, and the value.
pub(super) type Table = Vec<(f64, f64)>;

/// What a pattern descends from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Family {
    /// A slow sine; only to compare with.
    Sine,
    /// Plus, minus, minus, plus: pairs that leave neither angle nor rate behind.
    Doublets,
    /// Stays of three, two, one and one unit with alternating signs.
    ThreeTwoOneOne,
    /// Steps of random size and stay.
    Steps,
    /// A sum of sines with a low peak.
    Multisine,
    /// Steps moved until nothing better was found.
    Improved,
}

impl Family {
    /// The word used in files and outputs.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Sine => "sine",
            Self::Doublets => "doublets",
            Self::ThreeTwoOneOne => "3-2-1-1",
            Self::Steps => "random steps",
            Self::Multisine => "multisine",
            Self::Improved => "improved steps",
        }
    }
}

/// Seconds after ignition in which motors still come up, and the share of the burn after which thrust may fade.
const AFTER_IGNITION_S: f64 = 0.12;
const UNTIL_SHARE: f64 = 0.88;

/// Where a pattern may move, s after the fire command.
pub(super) fn span_s(ignition_s: f64, burns_s: f64) -> (f64, f64) {
    (
        ignition_s + AFTER_IGNITION_S,
        ignition_s + UNTIL_SHARE * burns_s,
    )
}

/// Parts of a stay and a value one after the other until the end, then zero.
fn joined(parts: impl Iterator<Item = (f64, f64)>, (from_s, to_s): (f64, f64)) -> Table {
    let mut out = Vec::new();
    let mut at_s = from_s;
    for (stay_s, value) in parts {
        if at_s + stay_s > to_s || stay_s <= 0.0 {
            break;
        }
        out.push((at_s, value));
        at_s += stay_s;
    }
    out.push((at_s, 0.0));
    out
}

/// Plus for three units, minus for two, plus for one, minus for one; then the same with signs turned.
pub(super) fn three_two_one_one(unit_s: f64, span_s: (f64, f64)) -> Table {
    let parts = [3.0, 2.0, 1.0, 1.0].into_iter().cycle().zip(
        [1.0, -1.0, 1.0, -1.0, -1.0, 1.0, -1.0, 1.0]
            .into_iter()
            .cycle(),
    );
    joined(parts.map(|(units, sign)| (units * unit_s, sign)), span_s)
}

/// Plus, minus, minus, plus.
pub(super) fn doublets(stay_s: f64, span_s: (f64, f64)) -> Table {
    joined(
        [1.0, -1.0, -1.0, 1.0]
            .into_iter()
            .cycle()
            .map(|sign| (stay_s, sign)),
        span_s,
    )
}

/// Reversing steps whose sizes and stays are drawn.
pub(super) fn steps(seed: u64, stays_s: (f64, f64), span_s: (f64, f64)) -> Table {
    let mut stream = Stream::new(seed, "pattern steps");
    let mut sign = -1.0;
    let parts = std::iter::repeat_with(|| {
        sign = -sign;
        (
            stream.between(stays_s.0, stays_s.1),
            sign * stream.between(0.25, 1.0),
        )
    });
    joined(parts, span_s)
}

/// A sine of a period, held over each row of the commands.
pub(super) fn sine(period_s: f64, row_s: f64, span_s: (f64, f64)) -> Table {
    held(|at_s| (TAU * at_s / period_s).sin(), row_s, span_s)
}

/// Phases tried for a multisine.
const PHASES: u64 = 24;

/// Sines at every second harmonic of the span up to a frequency, their peak as low as some tries make it.
pub(super) fn multisine(seed: u64, top_hz: f64, row_s: f64, span_s: (f64, f64)) -> Table {
    let lasts_s = span_s.1 - span_s.0;
    let count = ((top_hz * lasts_s / 2.0) as usize).clamp(2, 40);
    let schroeder = (0..count)
        .map(|at| -PI * (at * at) as f64 / count as f64)
        .collect();
    let mut best: (f64, Vec<f64>) = (f64::INFINITY, Vec::new());
    let mut stream = Stream::new(seed, "pattern phases");
    for nth in 0..PHASES {
        let phases: Vec<f64> = if nth == 0 {
            Vec::clone(&schroeder)
        } else {
            (0..count).map(|_| stream.between(0.0, TAU)).collect()
        };
        let peak = (0..400)
            .map(|at| sum_of_sines(&phases, lasts_s * f64::from(at) / 400.0, lasts_s).abs())
            .fold(0.0, f64::max);
        if peak < best.0 {
            best = (peak, phases);
        }
    }
    held(
        |at_s| sum_of_sines(&best.1, at_s, lasts_s) / best.0,
        row_s,
        span_s,
    )
}

fn sum_of_sines(phases: &[f64], at_s: f64, lasts_s: f64) -> f64 {
    let each = phases.iter().enumerate();
    each.map(|(at, phase)| (TAU * (2 * at + 1) as f64 * at_s / lasts_s + phase).sin())
        .sum()
}

fn held(of: impl Fn(f64) -> f64, row_s: f64, span_s: (f64, f64)) -> Table {
    let rows = ((span_s.1 - span_s.0) / row_s) as usize;
    let mut out: Table = (0..rows)
        .map(|row| (span_s.0 + row as f64 * row_s, of(row as f64 * row_s)))
        .collect();
    out.push((span_s.1, 0.0));
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn patterns_stay_within_span_and_size_and_end_at_zero() {
        let span_s = (0.25, 2.0);
        for table in [
            three_two_one_one(0.07, span_s),
            doublets(0.1, span_s),
            steps(3, (0.05, 0.2), span_s),
            multisine(3, 8.0, 0.01, span_s),
            sine(0.5, 0.01, span_s),
        ] {
            assert!(table.windows(2).all(|pair| pair[0].0 < pair[1].0));
            assert!(
                table.iter().all(|(at_s, value)| *at_s >= 0.25
                    && *at_s <= 2.0
                    && value.abs() <= 1.0 + 1e-6)
            );
            assert_eq!(table.last().unwrap().1, 0.0);
        }
    }

    // Newman's and Schroeder's phases reach crest factors near 1.7; a single sine has 1.41, random phases near 2.5.
    #[test]
    fn the_multisine_has_a_low_peak() {
        let table = multisine(1, 10.0, 0.002, (0.0, 2.0));
        let mean = table.iter().map(|(_, value)| value * value).sum::<f64>() / table.len() as f64;
        assert!(1.0 / mean.sqrt() < 2.2);
    }
}
