//! The clock of a log that is read as it goes by: what [`super::clock`] does with all times at hand, row by row.
//!
//! Most rows come a step or a few behind the one before them and need no thought. For any other, the rows behind it are
//! looked at as there, and it waits for them where they have not been read.
//!
//! Limit: the usual step is that of the head of the file.

use super::account::Kind;
use super::clock::{COUNTER_BITS, GAP_STEPS, ROWS_AHEAD, SMALL_STEPS};
use super::time_steps::Steps;
use super::warning::WhyDropped;
use crate::diagnostic::Place;

/// Times as they go by, and what is to be said of their steps.
pub(super) struct RunningClock {
    pub step_s: f64,
    /// Size of a raw step, s.
    unit_s: f64,
    /// Raw value at which the counter starts at zero again.
    pub full: Option<f64>,
    /// Raw time at which the time of this segment begins, if that is not its first row's.
    pub origin: Option<f64>,
    /// What the counter's running full adds.
    turns: f64,
    /// First row of this segment, the last one and the one before that, raw with what was added.
    first: f64,
    last: Option<f64>,
    before: Option<f64>,
    steps: StepSums,
    /// The same before the last gap.
    steps_before: StepSums,
    /// Rows before which the counter ran full.
    pub wraps: Kind,
    /// Width of a counter of which nobody spoke, once it ran full.
    pub guessed_bits: Option<u32>,
    /// Largest raw time, and whether all are whole numbers from zero on: only then they may be a counter's.
    largest: f64,
    whole: bool,
    /// Whether times fell far without a counter.
    fell_far: bool,
    /// Rows that say the same as the one before them.
    pub repeated: usize,
}

/// What steps between rows come to.
#[derive(Debug, Clone, Default)]
struct StepSums {
    steps: usize,
    /// Sums of how far steps that are no gaps lie from the usual one, and of the squares.
    off_s: f64,
    squares_s2: f64,
    missing: usize,
    gaps: usize,
    longest: Option<(f64, Place)>,
}

/// What a row comes to; times are in s.
pub(super) enum Timed {
    /// It is kept.
    Kept(f64),
    /// It is kept, and the one before it was wild.
    InPlace(f64),
    /// It is the first of a clock that started anew.
    Anew(f64),
    /// It is dropped.
    Dropped(WhyDropped),
    /// More rows must be known first.
    Unsure,
    /// Only all times together tell.
    Unclear,
}

impl RunningClock {
    pub(super) fn new(step_s: f64, unit_s: f64, full: Option<f64>) -> Self {
        Self {
            step_s,
            unit_s,
            full,
            origin: None,
            turns: 0.0,
            first: 0.0,
            last: None,
            before: None,
            steps: StepSums::default(),
            steps_before: StepSums::default(),
            wraps: Kind::default(),
            guessed_bits: None,
            largest: 0.0,
            whole: true,
            fell_far: false,
            repeated: 0,
        }
    }

    /// Looks at the next raw times, where nobody spoke of a counter; false where one was guessed that they do not fit.
    pub(super) fn see(&mut self, raws: &[f64]) -> bool {
        if self.full.is_some() && self.guessed_bits.is_none() {
            return true;
        }
        let larger = |largest: f64, raw: &f64| if *raw > largest { *raw } else { largest };
        self.largest = raws.iter().fold(self.largest, larger);
        let whole = |raw: &f64| !raw.is_finite() || (*raw as u64) as f64 == *raw;
        self.whole = self.whole && raws.iter().all(whole);
        let fits = self.whole && self.full.is_none_or(|full| self.largest < full);
        self.guessed_bits.is_none() || fits
    }

    /// The time of a row that comes one step or a few after the one before it, s.
    #[inline]
    pub(super) fn goes_on(&mut self, raw: f64) -> Option<f64> {
        let (last, origin) = (self.last?, self.origin?);
        let time = raw + self.turns;
        let step_s = (time - last) * self.unit_s;
        let usual = step_s > 0.0 && step_s <= GAP_STEPS * self.step_s;
        if !usual || self.full.is_some_and(|full| raw < 0.0 || raw >= full) {
            return None;
        }
        self.count(step_s);
        (self.before, self.last) = (self.last, Some(time));
        Some((time - origin) * self.unit_s)
    }

    /// Counts a step that is no gap.
    #[inline]
    fn count(&mut self, step_s: f64) {
        let (off_s, steps) = (step_s - self.step_s, step_s / self.step_s);
        let sums = &mut self.steps;
        sums.steps += 1;
        sums.off_s += off_s;
        sums.squares_s2 += off_s * off_s;
        if steps >= 1.5 {
            sums.missing += steps.round() as usize - 1;
        }
    }

    /// What the first of some rows comes to; `ended` says that no more follow them.
    pub(super) fn judge(&mut self, raws: &[f64], ended: bool, place: &dyn Fn() -> Place) -> Timed {
        let raw = raws.first().copied().unwrap_or(f64::NAN);
        if !raw.is_finite() {
            return Timed::Dropped(WhyDropped::WithoutTime);
        }
        if self.full.is_some_and(|full| raw < 0.0 || raw >= full) {
            return Timed::Dropped(WhyDropped::Impossible);
        }
        let Some(last) = self.last else {
            (self.first, self.last) = (raw, Some(raw));
            let origin = *self.origin.get_or_insert(raw);
            return Timed::Kept((raw - origin) * self.unit_s);
        };
        if self.full.is_none() && raw < last {
            self.guessed_bits = self.counter_that_ran_full(last, raw);
            self.full = self.guessed_bits.map(|bits| 2.0_f64.powi(bits as i32));
            if self.guessed_bits.is_some() && self.fell_far {
                return Timed::Unclear;
            }
            self.fell_far |= last - raw > 0.5 * 2.0_f64.powi(COUNTER_BITS[0] as i32);
        }
        let (mut turns, mut time) = (self.turns, raw + self.turns);
        if let Some(full) = self.full {
            let last_raw = last - turns;
            if last_raw - raw > full / 2.0 {
                turns += full;
                time += full;
            } else if raw - last_raw > full / 2.0 && turns > 0.0 {
                // A late row from before the counter ran full.
                time -= full;
            }
        }
        let finite = || raws.iter().filter(|raw| raw.is_finite()).take(ROWS_AHEAD);
        if time <= last && !ended && finite().count() < ROWS_AHEAD {
            return Timed::Unsure;
        }
        if turns > self.turns {
            self.wraps.add(place);
            self.turns = turns;
        }
        let stay_behind = || finite().all(|raw| raw + turns <= last);
        let gap = |from: f64| (last - from) * self.unit_s > GAP_STEPS * self.step_s;
        let back_to_start = time < self.first + 0.5 * (last - self.first);
        let far = (last - time) * self.unit_s > SMALL_STEPS * self.step_s;
        if time > last {
            Timed::Kept(self.keep(time, place))
        } else if let Some(before) = self.before.filter(|from| gap(*from) && time > *from)
            && stay_behind()
        {
            self.last = Some(before);
            self.steps = self.steps_before.clone();
            Timed::InPlace(self.keep(time, place))
        } else if (back_to_start || far) && stay_behind() {
            (self.turns, self.first, self.before) = (0.0, raw, None);
            (self.origin, self.last) = (Some(raw), Some(raw));
            Timed::Anew(0.0)
        } else if time == last {
            self.repeated += 1;
            Timed::Dropped(WhyDropped::Repeated)
        } else {
            Timed::Dropped(WhyDropped::OutOfOrder)
        }
    }

    /// The width of a counter of which a drop may be the running full.
    fn counter_that_ran_full(&self, from: f64, to: f64) -> Option<u32> {
        COUNTER_BITS.into_iter().find(|bits| {
            let full = 2.0_f64.powi(*bits as i32);
            let fits = (to + full - from) * self.unit_s <= GAP_STEPS * self.step_s;
            self.whole && self.largest < full && fits
        })
    }

    fn keep(&mut self, time: f64, place: &dyn Fn() -> Place) -> f64 {
        let step_s = self.last.map_or(0.0, |last| (time - last) * self.unit_s);
        if step_s > GAP_STEPS * self.step_s {
            self.steps_before = self.steps.clone();
            let sums = &mut self.steps;
            sums.steps += 1;
            sums.gaps += 1;
            sums.missing += (step_s / self.step_s).round() as usize - 1;
            let longest = sums.longest.as_ref();
            if longest.is_none_or(|(longest_s, _)| step_s > *longest_s) {
                sums.longest = Some((step_s, place()));
            }
        } else {
            self.count(step_s);
        }
        (self.before, self.last) = (self.last, Some(time));
        (time - self.origin.unwrap_or(self.first)) * self.unit_s
    }

    /// The steps, and the longest gap with the row behind it.
    pub(super) fn steps(&self) -> (Steps, Option<(f64, Place)>) {
        let sums = &self.steps;
        let even = (sums.steps - sums.gaps).max(1) as f64;
        let mean_s = sums.off_s / even;
        let steps = Steps {
            median_s: self.step_s,
            jitter_s: (sums.squares_s2 / even - mean_s * mean_s).max(0.0).sqrt(),
            gaps: sums.gaps,
            missing: sums.missing,
            longest: sums.longest.as_ref().map(|(longest_s, _)| (*longest_s, 0)),
        };
        (steps, sums.longest.clone())
    }
}
