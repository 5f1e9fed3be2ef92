//! Fewer points for the same picture or table.
//!
//! [`min_max`] keeps the lowest and highest reading of each column of pixels, so that no spike
//! disappears. [`corners`] keeps the readings that a broken line needs most: it splits the line
//! again and again where it misses a reading by most (Ramer 1972; Douglas and Peucker 1973), until
//! the number of points is used up.

use std::cmp::Ordering;
use std::collections::BinaryHeap;

use crate::series::Series;

/// First, lowest, highest and last reading of each of `columns` equal stretches of time, in order.
#[must_use]
pub fn min_max(series: &Series, columns: usize) -> Vec<(f64, f64)> {
    let Some((from, to)) = series.span_s() else {
        return vec![];
    };
    if series.len() <= 4 * columns.max(1) || to <= from {
        return series.iter().collect();
    }
    let (time, value) = (series.time_s(), series.value());
    let mut out = Vec::with_capacity(4 * columns);
    let mut start = 0;
    for column in 1..=columns {
        let edge = from + (to - from) * column as f64 / columns as f64;
        let end = if column == columns {
            series.len()
        } else {
            series.index_at(edge)
        };
        if end <= start {
            continue;
        }
        let by_value = |a: &usize, b: &usize| value[*a].total_cmp(&value[*b]);
        let lowest = (start..end).min_by(by_value).unwrap_or(start);
        let highest = (start..end).max_by(by_value).unwrap_or(start);
        let mut kept = [start, lowest, highest, end - 1];
        kept.sort_unstable();
        for (nth, at) in kept.iter().enumerate() {
            if nth == 0 || kept[nth - 1] != *at {
                out.push((time[*at], value[*at]));
            }
        }
        start = end;
    }
    out
}

/// A stretch between two kept readings and the reading it misses most.
struct Stretch {
    miss: f64,
    from: usize,
    worst: usize,
    to: usize,
}

impl Stretch {
    fn new(time: &[f64], value: &[f64], from: usize, to: usize) -> Option<Self> {
        let slope = (value[to] - value[from]) / (time[to] - time[from]);
        let miss = |at: usize| (value[at] - value[from] - slope * (time[at] - time[from])).abs();
        let worst = (from + 1..to).max_by(|a, b| miss(*a).total_cmp(&miss(*b)))?;
        Some(Self {
            miss: miss(worst),
            from,
            worst,
            to,
        })
    }
}

impl PartialEq for Stretch {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl Eq for Stretch {}

impl PartialOrd for Stretch {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Stretch {
    fn cmp(&self, other: &Self) -> Ordering {
        self.miss
            .total_cmp(&other.miss)
            .then(other.from.cmp(&self.from))
    }
}

/// At most `points` readings (at least two) whose broken line follows the series most closely.
#[must_use]
pub fn corners(series: &Series, points: usize) -> Vec<(f64, f64)> {
    if series.len() <= points.max(2) {
        return series.iter().collect();
    }
    let (time, value) = (series.time_s(), series.value());
    let last = series.len() - 1;
    let mut kept = vec![0, last];
    let mut open: BinaryHeap<Stretch> = Stretch::new(time, value, 0, last).into_iter().collect();
    while kept.len() < points.max(2) {
        let Some(stretch) = open.pop() else { break };
        kept.push(stretch.worst);
        open.extend(Stretch::new(time, value, stretch.from, stretch.worst));
        open.extend(Stretch::new(time, value, stretch.worst, stretch.to));
    }
    kept.sort_unstable();
    kept.iter().map(|at| (time[*at], value[*at])).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spike() -> Series {
        let time: Vec<f64> = (0..5000).map(f64::from).collect();
        let mut value = vec![1.0; 5000];
        value[3217] = 9.0;
        value[1234] = -4.0;
        Series::new(&time, &value)
    }

    #[test]
    fn no_spike_disappears() {
        for points in [min_max(&spike(), 20), corners(&spike(), 20)] {
            assert!(points.len() <= 80, "{}", points.len());
            assert!(points.contains(&(3217.0, 9.0)) && points.contains(&(1234.0, -4.0)));
            assert!(points.windows(2).all(|pair| pair[0].0 < pair[1].0));
        }
    }

    #[test]
    fn a_ramp_keeps_its_corners_exactly() {
        // Up for 1 s, flat for 2 s, down: four points say it all.
        let time: Vec<f64> = (0..=400).map(|i| f64::from(i) / 100.0).collect();
        let ramp = |t: f64| t.min(1.0).min(4.0 - t);
        let value: Vec<f64> = time.iter().map(|t| ramp(*t)).collect();
        let points = corners(&Series::new(&time, &value), 4);
        assert_eq!(points, [(0.0, 0.0), (1.0, 1.0), (3.0, 1.0), (4.0, 0.0)]);
    }

    #[test]
    fn short_and_empty_series_come_back_whole() {
        let two = Series::new(&[0.0, 1.0], &[5.0, 6.0]);
        assert_eq!(corners(&two, 200).len(), 2);
        assert_eq!(min_max(&two, 1).len(), 2);
        assert!(corners(&Series::default(), 200).is_empty());
        assert!(min_max(&Series::default(), 200).is_empty());
    }
}
