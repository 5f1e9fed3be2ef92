//! How steady a log's clock is: rate, jitter, gaps.

use std::ops::Range;

use super::clock::GAP_STEPS;
use super::words::{count, duration, short};
use crate::numeric::noise;

/// Steps between the rows of a log.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Steps {
    /// Median step, s.
    pub median_s: f64,
    /// Standard deviation of the steps that are not gaps, s.
    pub jitter_s: f64,
    /// Number of gaps.
    pub gaps: usize,
    /// Rows that the steps leave room for: each step holds as many as it is medians long, less one.
    pub missing: usize,
    /// The longest gap, s, and the row after it.
    pub longest: Option<(f64, usize)>,
}

/// A clock is steady when its steps typically lie this near their median, as a share of it.
const STEADY_SHARE: f64 = 0.1;

fn off_median(steps: &[(f64, usize)], median_s: f64) -> Vec<f64> {
    steps.iter().map(|step| (step.0 - median_s).abs()).collect()
}

impl Steps {
    /// Steps inside the segments; `None` when there is none.
    #[must_use]
    pub(crate) fn of(time_s: &[f64], segments: &[Range<usize>]) -> Option<Self> {
        let mut steps: Vec<(f64, usize)> = Vec::with_capacity(time_s.len());
        for segment in segments {
            for row in segment.clone().skip(1) {
                steps.push((time_s[row] - time_s[row - 1], row));
            }
        }
        if steps.is_empty() {
            return None;
        }
        let middle = steps.len() / 2;
        let by_length =
            |a: &(f64, usize), b: &(f64, usize)| a.0.total_cmp(&b.0).then(b.1.cmp(&a.1));
        let median_s = steps.select_nth_unstable_by(middle, by_length).1.0;
        let is_gap = |step: &(f64, usize)| step.0 > GAP_STEPS * median_s;
        let longest = steps.iter().copied().filter(is_gap).max_by(by_length);
        let (mut sum, mut squares, mut even) = (0.0, 0.0, 0_usize);
        for step in steps.iter().filter(|step| !is_gap(step)) {
            let off = step.0 - median_s;
            sum += off;
            squares += off * off;
            even += 1;
        }
        let mean = sum / even.max(1) as f64;
        let jitter_s = (squares / even.max(1) as f64 - mean * mean).max(0.0).sqrt();
        // On a steady clock one row left out shows; on an unsteady one only a gap does.
        let typical = noise::median(&off_median(&steps, median_s)).unwrap_or(0.0);
        let steady = typical < STEADY_SHARE * median_s;
        let missing = steps
            .iter()
            .filter(|step| steady || is_gap(step))
            .map(|step| (step.0 / median_s).round().max(1.0) as usize - 1)
            .sum();
        Some(Self {
            median_s,
            jitter_s,
            missing,
            gaps: steps.len() - even,
            longest,
        })
    }

    /// In words, for the notes; `line` is the line of the row after the longest gap.
    #[must_use]
    pub(crate) fn note(&self, line: Option<usize>) -> String {
        // Differences of times in double precision leave some 1e-12 s that is nobody's jitter.
        let jitter = if self.jitter_s < 1e-6 * self.median_s {
            "none".to_owned()
        } else {
            duration(self.jitter_s)
        };
        let mut out = format!(
            "median rate {} Hz (step {}), jitter {jitter}",
            short(1.0 / self.median_s),
            duration(self.median_s)
        );
        match (self.longest, line) {
            (Some((longest_s, _)), Some(line)) => {
                let gaps = count(self.gaps, "gap");
                let longest = duration(longest_s);
                out += &format!(", {gaps}, the longest {longest} before line {line}");
            }
            _ => out += ", no gaps",
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rate_jitter_and_gaps_leave_out_the_space_between_segments() {
        // Steps 1, 1, 3 | 1, 60: median 1, one gap, jitter of (1, 1, 3, 1) about its mean.
        let time_s = [0.0, 1.0, 2.0, 5.0, 0.0, 1.0, 61.0];
        let steps = Steps::of(&time_s, &[0..4, 4..7]).unwrap();
        assert_eq!(
            (steps.median_s, steps.gaps, steps.longest),
            (1.0, 1, Some((60.0, 6)))
        );
        approx::assert_relative_eq!(steps.jitter_s, 0.75_f64.sqrt(), max_relative = 1e-12);
        assert_eq!(
            steps.note(Some(9)),
            "median rate 1 Hz (step 1 s), jitter 866 ms, 1 gap, the longest 60 s before line 9"
        );
        // Steps of 3 and 60 medians leave room for 2 and 59 rows.
        assert_eq!(steps.missing, 61);
        let no_step = 0..1;
        assert_eq!(Steps::of(&[0.0], &[no_step]), None);
    }
}
