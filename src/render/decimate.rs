//! Fewer points for the same picture or table.
//!
//! [`min_max`] keeps the lowest and highest reading of each column of pixels, so that no spike
//! disappears; [`one_for_each_cell`] does the same for single readings.
//! [`corners`] keeps the readings that a broken line needs most: it splits the line
//! again and again where it misses a reading by most (Ramer 1972; Douglas and Peucker 1973), until
//! the number of points is used up.

use std::cmp::Ordering;
use std::collections::{BTreeSet, BinaryHeap};

use crate::series::Series;

/// First, lowest, highest and last reading of each of `columns` equal intervals of time, in order.
#[must_use]
pub(crate) fn min_max(series: &Series, columns: usize) -> Vec<(f64, f64)> {
    let (time_s, value) = (series.time_s(), series.value());
    columns_of(series.len(), |at| (time_s[at], value[at]), columns)
}

/// The same for points in order of their first coordinate; at most four for each column. Points
/// that are no numbers are left out. Points that run back come back whole.
#[must_use]
pub(crate) fn thinned(points: &[(f64, f64)], columns: usize) -> Vec<(f64, f64)> {
    let finite = |point: &&(f64, f64)| point.0.is_finite() && point.1.is_finite();
    let all: Vec<(f64, f64)> = points.iter().filter(finite).copied().collect();
    if !in_order(&all) {
        return all;
    }
    columns_of(all.len(), |at| all[at], columns)
}

fn columns_of(
    count: usize,
    point: impl Fn(usize) -> (f64, f64),
    columns: usize,
) -> Vec<(f64, f64)> {
    if count == 0 {
        return vec![];
    }
    let from = point(0).0;
    let width = point(count - 1).0 - from;
    if count <= 4 * columns.max(1) || width <= 0.0 {
        return (0..count).map(point).collect();
    }
    let column = |at: usize| {
        let place = (point(at).0 - from) / width * columns as f64;
        (place as usize).min(columns - 1)
    };
    let mut out = Vec::with_capacity(4 * columns);
    let mut start = 0;
    while start < count {
        let here = column(start);
        let (mut lowest, mut highest, mut end) = (start, start, start + 1);
        while end < count && column(end) == here {
            // Of equal ones the first is the lowest and the last the highest.
            if point(end).1.total_cmp(&point(lowest).1).is_lt() {
                lowest = end;
            }
            if point(end).1.total_cmp(&point(highest).1).is_ge() {
                highest = end;
            }
            end += 1;
        }
        let mut kept = [start, lowest, highest, end - 1];
        kept.sort_unstable();
        for (nth, at) in kept.iter().enumerate() {
            if nth == 0 || kept[nth - 1] != *at {
                out.push(point(*at));
            }
        }
        start = end;
    }
    out
}

/// Whether points run from left to right.
#[must_use]
pub(crate) fn in_order(points: &[(f64, f64)]) -> bool {
    points.windows(2).all(|pair| pair[0].0 <= pair[1].0)
}

/// Single readings, one for each cell that holds any.
#[must_use]
pub(crate) fn one_for_each_cell(points: &[(f64, f64)], cell: (f64, f64)) -> Vec<(f64, f64)> {
    let mut taken = BTreeSet::new();
    let place = |point: &(f64, f64)| {
        let cell_of = |at: f64, size: f64| (at / size).floor() as i64;
        (cell_of(point.0, cell.0), cell_of(point.1, cell.1))
    };
    points
        .iter()
        .filter(|point| taken.insert(place(point)))
        .copied()
        .collect()
}

/// A segment between two kept readings and the reading it misses most.
struct Segment {
    miss: f64,
    from: usize,
    worst: usize,
    to: usize,
}

impl Segment {
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

impl PartialEq for Segment {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl Eq for Segment {}

impl PartialOrd for Segment {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Segment {
    fn cmp(&self, other: &Self) -> Ordering {
        self.miss
            .total_cmp(&other.miss)
            .then(other.from.cmp(&self.from))
    }
}

/// At most `points` readings (at least two) whose broken line follows the series most closely.
#[must_use]
pub(crate) fn corners(series: &Series, points: usize) -> Vec<(f64, f64)> {
    if series.len() <= points.max(2) {
        return series.iter().collect();
    }
    let (time, value) = (series.time_s(), series.value());
    let last = series.len() - 1;
    let mut kept = vec![0, last];
    let mut open: BinaryHeap<Segment> = Segment::new(time, value, 0, last).into_iter().collect();
    while kept.len() < points.max(2) {
        let Some(segment) = open.pop() else { break };
        kept.push(segment.worst);
        open.extend(Segment::new(time, value, segment.from, segment.worst));
        open.extend(Segment::new(time, value, segment.worst, segment.to));
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
    fn one_reading_in_a_million_survives_and_what_is_no_number_hides_nothing() {
        let mut all: Vec<(f64, f64)> = (0..1_000_000).map(|i| (f64::from(i), 0.0)).collect();
        all[765_432].1 = 7.0;
        // A gap beside the spike, in the same column.
        all[765_430].1 = f64::NAN;
        let kept = thinned(&all, 700);
        assert!(kept.len() <= 2800 && kept.contains(&(765_432.0, 7.0)));
        assert!(kept.iter().all(|point| point.1.is_finite()));
    }

    #[test]
    fn a_loop_keeps_what_sticks_out() {
        let circle = |i: u32| (f64::from(i) * 1e-3).sin_cos();
        let mut all: Vec<(f64, f64)> = (0..100_000).map(circle).collect();
        all[31_234] = (5.0, -5.0);
        let kept = one_for_each_cell(&all, (0.01, 0.01));
        assert!(kept.contains(&(5.0, -5.0)));
        assert!(kept.len() < 20_000, "{}", kept.len());
        assert_eq!(thinned(&all, 10).len(), all.len());
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
