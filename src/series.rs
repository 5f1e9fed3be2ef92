//! Values over time: the one shape in which readings travel between stages.

/// Readings with their times. Times rise strictly and every number is finite.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Series {
    time_s: Vec<f64>,
    value: Vec<f64>,
}

impl Series {
    /// Pairs times with values; pairs that are not finite or do not rise in time are left out.
    #[must_use]
    pub fn new(time_s: &[f64], value: &[f64]) -> Self {
        let most = time_s.len().min(value.len());
        let mut out = Self {
            time_s: Vec::with_capacity(most),
            value: Vec::with_capacity(most),
        };
        for (&time, &value) in time_s.iter().zip(value) {
            out.push(time, value);
        }
        out
    }

    /// Adds a reading; ignored unless it is finite and later than the last one.
    pub fn push(&mut self, time_s: f64, value: f64) {
        let rises = self.time_s.last().is_none_or(|last| time_s > *last);
        if rises && time_s.is_finite() && value.is_finite() {
            self.time_s.push(time_s);
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
    pub fn index_at(&self, time_s: f64) -> usize {
        self.time_s.partition_point(|time| *time < time_s)
    }

    /// Linear interpolation; the end values are kept outside the span. `None` when empty.
    #[must_use]
    pub fn at(&self, time_s: f64) -> Option<f64> {
        let after = self.index_at(time_s);
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
        Self {
            time_s: self.time_s[start..end].to_vec(),
            value: self.value[start..end].to_vec(),
        }
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
    pub fn map(&self, change: impl Fn(f64, f64) -> f64) -> Self {
        let value: Vec<f64> = self
            .iter()
            .map(|(time, value)| change(time, value))
            .collect();
        Self::new(&self.time_s, &value)
    }

    /// The same values on another clock; `change` must rise strictly.
    #[must_use]
    pub fn map_time(&self, change: impl Fn(f64) -> f64) -> Self {
        let time_s: Vec<f64> = self.time_s.iter().map(|time| change(*time)).collect();
        Self::new(&time_s, &self.value)
    }
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
