//! Values over time: the one shape in which readings travel between stages.

use std::sync::Arc;

/// Readings with their times. Times rise strictly and every number is finite.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Series {
    /// What is computed from readings has the same times.
    time_s: Arc<Vec<f64>>,
    value: Vec<f64>,
}

impl Series {
    /// Pairs times with values; pairs that are not finite or do not rise in time are left out.
    #[must_use]
    pub fn new(time_s: &[f64], value: &[f64]) -> Self {
        let most = time_s.len().min(value.len());
        if rise(&time_s[..most]) && finite(&value[..most]) {
            return Self::of(time_s[..most].to_vec(), value[..most].to_vec());
        }
        let mut out = Self::of(Vec::with_capacity(most), Vec::with_capacity(most));
        for (&time, &value) in time_s.iter().zip(value) {
            out.push(time, value);
        }
        out
    }

    /// Of times and values that are known to be good.
    fn of(time_s: Vec<f64>, value: Vec<f64>) -> Self {
        let time_s = Arc::new(time_s);
        Self { time_s, value }
    }

    /// Adds a reading; ignored unless it is finite and later than the last one.
    #[inline]
    pub fn push(&mut self, time_s: f64, value: f64) {
        let rises = self.time_s.last().is_none_or(|last| time_s > *last);
        if rises && time_s.is_finite() && value.is_finite() {
            Arc::make_mut(&mut self.time_s).push(time_s);
            self.value.push(value);
        }
    }

    /// Number of readings.
    #[must_use]
    pub fn len(&self) -> usize {
        self.time_s.len()
    }

    /// Whether there is no reading.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.time_s.is_empty()
    }

    /// Times, s.
    #[must_use]
    pub fn time_s(&self) -> &[f64] {
        &self.time_s
    }

    /// Values, in whatever unit the owner says.
    #[must_use]
    pub fn value(&self) -> &[f64] {
        &self.value
    }

    /// Time and value of each reading.
    pub fn iter(&self) -> impl Iterator<Item = (f64, f64)> + '_ {
        self.time_s.iter().copied().zip(self.value.iter().copied())
    }

    /// First and last time, s.
    #[must_use]
    pub fn span_s(&self) -> Option<(f64, f64)> {
        Some((*self.time_s.first()?, *self.time_s.last()?))
    }

    /// Median step between readings, s.
    #[must_use]
    pub fn step_s(&self) -> Option<f64> {
        let mut steps: Vec<f64> = self
            .time_s
            .windows(2)
            .map(|pair| pair[1] - pair[0])
            .collect();
        let middle = steps.len() / 2;
        (!steps.is_empty()).then(|| *steps.select_nth_unstable_by(middle, f64::total_cmp).1)
    }

    /// Index of the first reading at or after a time.
    #[must_use]
    #[inline]
    pub fn index_at(&self, time_s: f64) -> usize {
        self.time_s.partition_point(|time| *time < time_s)
    }

    /// Linear interpolation; the end values are kept outside the span. `None` when empty.
    #[must_use]
    #[inline]
    pub fn at(&self, time_s: f64) -> Option<f64> {
        self.interpolated(self.index_at(time_s), time_s)
    }

    /// The same at times of which most are a little later than the one before: they are looked for from there on.
    pub fn walk(&self) -> impl FnMut(f64) -> Option<f64> + '_ {
        let mut after = 0;
        move |time_s| {
            let time = &self.time_s;
            if after > 0 && time[after - 1] >= time_s {
                after = self.index_at(time_s);
            }
            let near = time[after..].iter().take(FEW);
            after += near.take_while(|time| **time < time_s).count();
            if time.get(after).is_some_and(|time| *time < time_s) {
                after = self.index_at(time_s);
            }
            self.interpolated(after, time_s)
        }
    }

    /// Between the readings before and at an index.
    #[inline]
    fn interpolated(&self, after: usize, time_s: f64) -> Option<f64> {
        if after == 0 {
            return self.value.first().copied();
        }
        let before = after - 1;
        let (Some(&t1), Some(&v1)) = (self.time_s.get(after), self.value.get(after)) else {
            return self.value.last().copied();
        };
        let (t0, v0) = (self.time_s[before], self.value[before]);
        Some(v0 + (v1 - v0) * (time_s - t0) / (t1 - t0))
    }

    /// The value in force at a time when each reading holds until the next; before the first, the
    /// first. `None` when empty.
    #[must_use]
    pub fn held_at(&self, time_s: f64) -> Option<f64> {
        let after = self.time_s.partition_point(|time| *time <= time_s);
        self.value.get(after.saturating_sub(1)).copied()
    }

    /// The readings from one time to another, ends included.
    #[must_use]
    pub fn between(&self, from_s: f64, to_s: f64) -> Self {
        let start = self.index_at(from_s);
        let end = self.time_s.partition_point(|time| *time <= to_s).max(start);
        Self::of(
            self.time_s[start..end].to_vec(),
            self.value[start..end].to_vec(),
        )
    }

    /// Neighbouring readings averaged in groups, times and values alike; the last group may be short.
    #[must_use]
    pub fn averaged(&self, group: usize) -> Self {
        let mean = |part: &[f64]| part.iter().sum::<f64>() / part.len() as f64;
        let time: Vec<f64> = self.time_s.chunks(group.max(1)).map(mean).collect();
        let value: Vec<f64> = self.value.chunks(group.max(1)).map(mean).collect();
        Self::new(&time, &value)
    }

    /// The same times with other values.
    #[must_use]
    pub fn map(&self, mut change: impl FnMut(f64, f64) -> f64) -> Self {
        let value: Vec<f64> = self
            .iter()
            .map(|(time, value)| change(time, value))
            .collect();
        self.with(value)
    }

    /// The same times with these values, one for each.
    #[must_use]
    pub fn with(&self, value: Vec<f64>) -> Self {
        if value.len() == self.len() && finite(&value) {
            let time_s = Arc::clone(&self.time_s);
            return Self { time_s, value };
        }
        Self::new(&self.time_s, &value)
    }

    /// The same values on another clock; `change` must rise strictly.
    #[must_use]
    pub fn map_time(&self, change: impl Fn(f64) -> f64) -> Self {
        let time_s: Vec<f64> = self.time_s.iter().map(|time| change(*time)).collect();
        Self::new(&time_s, &self.value)
    }
}

/// So many readings on, a time is looked for one by one.
const FEW: usize = 8;

/// Whether times rise and are finite.
fn rise(time_s: &[f64]) -> bool {
    let ends = [time_s.first(), time_s.last()];
    let pairs = time_s.iter().zip(time_s.iter().skip(1));
    ends.into_iter().flatten().all(|end| end.is_finite())
        && pairs.fold(true, |rise, (one, next)| rise & (one < next))
}

fn finite(values: &[f64]) -> bool {
    let each = values.iter();
    each.fold(true, |finite, value| finite & value.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn interpolation_holds_the_ends_and_hits_the_readings() {
        let series = Series::new(&[0.0, 1.0, 3.0], &[2.0, 4.0, 0.0]);
        let at = |t| series.at(t).unwrap();
        assert_eq!(
            [at(-1.0), at(0.5), at(1.0), at(2.0), at(9.0)],
            [2.0, 3.0, 4.0, 2.0, 0.0]
        );
        let held = |t| series.held_at(t).unwrap();
        assert_eq!(
            [held(-1.0), held(0.99), held(1.0), held(9.0)],
            [2.0, 2.0, 4.0, 0.0]
        );
    }

    // A walk finds what each look finds, wherever it goes: on, back, far, beyond the ends.
    #[test]
    fn a_walk_interpolates_as_each_look_does() {
        let time: Vec<f64> = (0..100).map(|row| f64::from(row * row) * 0.01).collect();
        let value: Vec<f64> = (0..100).map(|row| f64::from(row * 37 % 11)).collect();
        let series = Series::new(&time, &value);
        let mut walk = series.walk();
        let sought = (0..300).map(|at| f64::from(at * 61 % 137) - 10.0);
        let steps = (0..2000).map(|at| f64::from(at) * 0.05);
        for time_s in steps.chain(sought).chain([0.0, 98.01, 98.01, 1e9, 0.01]) {
            assert_eq!(walk(time_s), series.at(time_s), "{time_s}");
        }
        assert_eq!(Series::default().walk()(1.0), None);
    }

    #[test]
    fn readings_that_do_not_rise_in_time_are_left_out() {
        let series = Series::new(
            &[0.0, 0.0, 1.0, f64::NAN, 2.0],
            &[1.0, 2.0, f64::NAN, 3.0, 4.0],
        );
        assert_eq!(series.time_s(), [0.0, 2.0]);
        assert_eq!(series.between(0.5, 2.0).value(), [4.0]);
        assert_eq!(series.step_s(), Some(2.0));
        let averaged = Series::new(&[0.0, 1.0, 4.0], &[2.0, 4.0, 7.0]).averaged(2);
        assert_eq!(
            (averaged.time_s(), averaged.value()),
            (&[0.5, 4.0][..], &[3.0, 7.0][..])
        );
    }
}
