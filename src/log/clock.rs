//! A recorder's clock: counters that wrap, clocks that start anew, rows out of order.
//!
//! Going through the rows in the order of the file, a time that does not rise is explained by the
//! first of these that fits: the counter ran full; one impossible time stood before it; the clock was
//! started anew; the row is out of order or a repetition and is dropped.

use std::ops::Range;

/// What the times of a file come to.
#[derive(Debug, Default, PartialEq)]
pub(crate) struct Timeline {
    /// Rows that are kept.
    pub kept: Vec<usize>,
    /// Time of each kept row, s, zero at the first row of its segment.
    pub time_s: Vec<f64>,
    /// Segments, as ranges of kept rows.
    pub segments: Vec<Range<usize>>,
    /// Rows at which the counter had just run full.
    pub wraps: Vec<usize>,
    /// Width of the counter, when it was guessed from a wrap.
    pub guessed_bits: Option<u32>,
    /// Rows dropped because their time is missing.
    pub without_time: Vec<usize>,
    /// Rows dropped because their time repeats an earlier one.
    pub repeated: Vec<usize>,
    /// Rows that repeated the stamp before them, where so many did that their times were spread.
    pub spread: usize,
    /// Rows dropped because their time goes backwards.
    pub out_of_order: Vec<usize>,
    /// Rows dropped because their time is one jump that no clock makes, or more than the counter can show.
    pub impossible: Vec<usize>,
}

/// A step over this many median steps is a gap.
pub(crate) const GAP_STEPS: f64 = 5.0;

/// A step backwards by at most so many median steps is a row out of order, not a restart, unless it
/// leads back to the start of the segment.
pub(super) const SMALL_STEPS: f64 = 50.0;

/// Rows after a step backwards that must all stay behind before the clock counts as restarted.
pub(super) const ROWS_AHEAD: usize = 10;

/// Counter widths that are tried when nothing is said, bits.
pub(super) const COUNTER_BITS: [u32; 2] = [16, 32];

/// Seconds of a day, at which clock text without a date starts anew.
pub(crate) const DAY_S: f64 = 86_400.0;

/// Lays out raw times. `full` is the raw value at which the counter starts at zero again (2 to the
/// power of its bits, or the seconds of a day); `unit_s` is the size of a raw step in seconds. Times count
/// from the first row, or from `origin` where rows before it were left out.
#[must_use]
pub(crate) fn lay_out(
    raw: &[f64],
    unit_s: f64,
    full: Option<f64>,
    origin: Option<f64>,
) -> Timeline {
    let spread = super::coarse::spread(raw);
    let (raw, spread) = match &spread {
        Some((times, repeated)) => (times.as_slice(), *repeated),
        None => (raw, 0),
    };
    let step = median_step(raw);
    let (full, guessed_bits) = match full {
        Some(full) => (Some(full), None),
        None => match guess_counter(raw, step) {
            Some(bits) => (Some(2.0_f64.powi(bits as i32)), Some(bits)),
            None => (None, None),
        },
    };
    let mut layout = Layout {
        raw,
        step,
        full,
        wraps_so_far: 0.0,
        unrolled: Vec::with_capacity(raw.len()),
        out: Timeline {
            guessed_bits,
            spread,
            ..Timeline::default()
        },
        start: 0,
    };
    for row in 0..raw.len() {
        layout.take(row);
    }
    layout.finish(unit_s, origin)
}

/// Readings at a steady rate.
#[must_use]
pub(crate) fn at_rate(rows: usize, rate_hz: f64) -> Timeline {
    Timeline {
        kept: (0..rows).collect(),
        time_s: (0..rows).map(|row| row as f64 / rate_hz).collect(),
        segments: std::iter::once(0..rows)
            .filter(|all| !all.is_empty())
            .collect(),
        ..Timeline::default()
    }
}

struct Layout<'a> {
    raw: &'a [f64],
    step: f64,
    full: Option<f64>,
    /// Times the counter ran full in this segment.
    wraps_so_far: f64,
    /// Time of each kept row in raw steps, wraps added.
    unrolled: Vec<f64>,
    out: Timeline,
    /// First kept row of this segment.
    start: usize,
}

impl Layout<'_> {
    fn take(&mut self, row: usize) {
        let raw = self.raw[row];
        if !raw.is_finite() {
            self.out.without_time.push(row);
            return;
        }
        if self.full.is_some_and(|full| raw < 0.0 || raw >= full) {
            // The counter cannot show this.
            self.out.impossible.push(row);
            return;
        }
        let Some(last) = self.last() else {
            return self.keep(row, raw);
        };
        let mut time = self.unroll(raw);
        if let Some(full) = self.full {
            let last_raw = last - self.wraps_so_far * full;
            if last_raw - raw > full / 2.0 {
                self.wraps_so_far += 1.0;
                time += full;
                self.out.wraps.push(row);
            } else if raw - last_raw > full / 2.0 && self.wraps_so_far > 0.0 {
                // A late row from before the counter ran full.
                time -= full;
            }
        }
        if time > last {
            self.keep(row, time);
        } else if self.last_was_wild(row, time) {
            self.unrolled.pop();
            self.out.impossible.extend(self.out.kept.pop());
            self.keep(row, time);
        } else if self.restarts(row, time, last) {
            self.close();
            self.wraps_so_far = 0.0;
            self.keep(row, raw);
        } else if time == last {
            self.out.repeated.push(row);
        } else {
            self.out.out_of_order.push(row);
        }
    }

    fn unroll(&self, raw: f64) -> f64 {
        raw + self.full.map_or(0.0, |full| self.wraps_so_far * full)
    }

    fn last(&self) -> Option<f64> {
        self.unrolled[self.start..].last().copied()
    }

    fn keep(&mut self, row: usize, time: f64) {
        self.out.kept.push(row);
        self.unrolled.push(time);
    }

    fn close(&mut self) {
        self.out.segments.push(self.start..self.unrolled.len());
        self.start = self.unrolled.len();
    }

    /// Whether the last kept time was a lone jump ahead, and this one goes on where it left.
    fn last_was_wild(&self, row: usize, time: f64) -> bool {
        let [.., before, last] = self.unrolled[self.start..] else {
            return false;
        };
        let jumped = last - before > GAP_STEPS * self.step;
        jumped && time > before && self.stays_behind(row, last)
    }

    /// Whether a time that does not rise is that of a clock started anew.
    fn restarts(&self, row: usize, time: f64, last: f64) -> bool {
        let first = self.unrolled[self.start];
        let back_to_start = time < first + 0.5 * (last - first);
        let far = last - time > SMALL_STEPS * self.step;
        (back_to_start || far) && self.stays_behind(row, last)
    }

    /// Whether the next rows stay behind a time too.
    fn stays_behind(&self, row: usize, last: f64) -> bool {
        self.raw[row..]
            .iter()
            .filter(|raw| raw.is_finite())
            .take(ROWS_AHEAD)
            .all(|raw| self.unroll(*raw) <= last)
    }

    fn finish(mut self, unit_s: f64, mut origin: Option<f64>) -> Timeline {
        if self.start < self.unrolled.len() {
            self.close();
        }
        for segment in &self.out.segments {
            let first = origin.take().unwrap_or(self.unrolled[segment.start]);
            let times = self.unrolled[segment.clone()].iter();
            self.out
                .time_s
                .extend(times.map(|time| (time - first) * unit_s));
        }
        self.out
    }
}

/// Median of the steps that rise, in raw steps; 0 when none does.
#[must_use]
pub(crate) fn median_step(raw: &[f64]) -> f64 {
    let mut steps: Vec<f64> = raw
        .windows(2)
        .map(|pair| pair[1] - pair[0])
        .filter(|step| *step > 0.0)
        .collect();
    if steps.is_empty() {
        return 0.0;
    }
    let middle = steps.len() / 2;
    *steps.select_nth_unstable_by(middle, f64::total_cmp).1
}

/// The width of a counter, if each number fits it and a drop fits its running full.
fn guess_counter(raw: &[f64], step: f64) -> Option<u32> {
    let mut finite = raw.iter().copied().filter(|raw| raw.is_finite());
    let whole = finite.clone().all(|raw| raw >= 0.0 && raw.fract() == 0.0);
    let largest = finite.clone().fold(0.0, f64::max);
    let mut last = finite.next()?;
    let mut drops = Vec::new();
    for raw in finite {
        if raw < last {
            drops.push((last, raw));
        }
        last = raw;
    }
    COUNTER_BITS.into_iter().find(|bits| {
        let full = 2.0_f64.powi(*bits as i32);
        let fits = |(from, to): &(f64, f64)| to + full - from <= GAP_STEPS * step;
        whole && largest < full && drops.iter().any(fits)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_counter_of_sixteen_or_thirty_two_bits_may_run_full() {
        for (bits, full) in [(16, 65_536.0), (32, 4_294_967_296.0)] {
            let raw: Vec<f64> = [-20.0, -10.0, 0.0, 10.0, 20.0]
                .iter()
                .map(|raw: &f64| (raw + full - 1.0) % full)
                .collect();
            for told in [Some(full), None] {
                let line = lay_out(&raw, 1e-3, told, None);
                let steps: Vec<i64> = line
                    .time_s
                    .iter()
                    .map(|t| (t * 1e3).round() as i64)
                    .collect();
                assert_eq!(steps, [0, 10, 20, 30, 40]);
                assert_eq!((line.wraps.as_slice(), line.segments.len()), (&[3][..], 1));
                assert_eq!(line.guessed_bits, told.is_none().then_some(bits));
            }
        }
    }

    #[test]
    fn a_drop_that_is_no_full_counter_is_a_restart() {
        let raw = [100.0, 110.0, 120.0, 130.0, 5.0, 15.0, 25.0];
        let line = lay_out(&raw, 1e-3, None, None);
        assert_eq!(line.segments, [0..4, 4..7]);
        assert_eq!(line.time_s, [0.0, 0.01, 0.02, 0.03, 0.0, 0.01, 0.02]);
        assert_eq!(line.guessed_bits, None);
    }

    #[test]
    fn repeated_and_late_rows_are_dropped() {
        let line = lay_out(
            &[0.0, 1.0, 2.0, 2.0, 3.0, 2.5, 4.0, f64::NAN, 5.0],
            1.0,
            None,
            None,
        );
        assert_eq!(line.kept, [0, 1, 2, 4, 6, 8]);
        assert_eq!(line.repeated, [3]);
        assert_eq!(line.out_of_order, [5]);
        assert_eq!(line.without_time, [7]);
    }

    #[test]
    fn one_wild_time_costs_one_row_and_no_restart() {
        let line = lay_out(&[0.0, 1.0, 2.0, 9e9, 4.0, 5.0, 6.0], 1.0, None, None);
        assert_eq!(line.kept, [0, 1, 2, 4, 5, 6]);
        assert_eq!(
            (line.impossible.as_slice(), line.segments.len()),
            (&[3][..], 1)
        );
        assert!(line.out_of_order.is_empty());
    }

    #[test]
    fn a_clock_set_back_a_little_costs_the_rows_until_it_has_caught_up() {
        let mut raw: Vec<f64> = (0..1000).map(f64::from).collect();
        raw.extend((980..1100).map(f64::from));
        let line = lay_out(&raw, 1e-3, None, None);
        assert_eq!((line.segments.len(), line.kept.len()), (1, 1100));
    }

    #[test]
    fn a_late_row_from_before_the_wrap_does_not_turn_the_counter_twice() {
        let raw = [65_500.0, 65_520.0, 4.0, 65_530.0, 24.0, 44.0];
        let line = lay_out(&raw, 1e-3, Some(65_536.0), None);
        assert_eq!(line.kept, [0, 1, 2, 4, 5]);
        assert_eq!(line.wraps, [2]);
        approx::assert_relative_eq!(line.time_s[4], 0.080, epsilon = 1e-12);
    }
}
