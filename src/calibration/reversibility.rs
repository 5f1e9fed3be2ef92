//! Reversibility and repeatability: what changes between going up and coming down, and between runs.
//!
//! Hysteresis: the reading coming down less the reading going up at the same load, as load by the
//! curve's slope there; within each run where runs are stated. Its mean is taken over the loads
//! between the ends, because at either end the loop closes. Repeatability: at one load and one way,
//! the largest less the smallest run. Zero return: the last reading without load less the first, of
//! each run. The scatter that hysteresis is compared with leaves hysteresis out: residuals about
//! their own direction's mean. (Words as in ISO 376 and E74; the way of pairing is our own.)

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::points::{Direction, Points};
use crate::numeric::polynomial::Fit;
use crate::quantity::{Measured, Unit};

/// Hysteresis, in the unit of the points.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct Hysteresis {
    /// Largest difference at one load, without sign.
    pub largest: f64,
    /// The same as a share of the range.
    pub largest_share: f64,
    /// The load it was seen at.
    pub at: f64,
    /// Mean difference, coming down less going up, over the loads between the ends.
    pub mean: f64,
    /// Its standard uncertainty; `None` with one pair.
    pub mean_u: Option<f64>,
    /// Pairs behind the mean.
    pub pairs: usize,
    /// The mean without sign as a share of the range.
    pub mean_share: f64,
    /// Standard deviation of the readings about the curve of their own direction, as load.
    pub scatter_without: Option<f64>,
}

impl Hysteresis {
    /// The mean as a result; `None` with one pair.
    #[must_use]
    pub fn measured_mean(&self, unit: Unit) -> Option<Measured> {
        let freedom = self.pairs.saturating_sub(1) as f64;
        Some(Measured::student(self.mean, self.mean_u?, freedom, unit))
    }
}

/// A key that sorts loads; zero has one sign.
fn key(load: f64) -> i64 {
    let bits = (load + 0.0).to_bits() as i64;
    if bits < 0 { i64::MIN - bits } else { bits }
}

/// Sum and number of readings.
#[derive(Default, Clone, Copy)]
struct Sum(f64, usize);

impl Sum {
    fn add(&mut self, value: f64) {
        self.0 += value;
        self.1 += 1;
    }

    fn mean(self) -> Option<f64> {
        (self.1 > 0).then(|| self.0 / self.1 as f64)
    }
}

/// Hysteresis of a set of points; `None` when no load was read both ways.
#[must_use]
pub(crate) fn hysteresis(fit: &Fit, points: &Points) -> Option<Hysteresis> {
    let mut sums: BTreeMap<(String, i64), (f64, [Sum; 2])> = BTreeMap::new();
    for row in 0..points.raw.len() {
        let Some(direction) = points.direction[row] else {
            continue;
        };
        let load = points.load[row];
        let entry = sums
            .entry((points.run[row].clone(), key(load)))
            .or_insert((load, [Sum::default(); 2]));
        entry.1[usize::from(direction == Direction::Down)].add(points.raw[row]);
    }
    let pairs: Vec<(f64, f64)> = sums
        .into_values()
        .filter_map(|(load, [up, down])| {
            Some((load, (down.mean()? - up.mean()?) / fit.slope(load)))
        })
        .collect();
    let (at, largest) = pairs
        .iter()
        .map(|(load, apart)| (*load, apart.abs()))
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    let [low, high] = points.range();
    let inner: Vec<f64> = pairs
        .iter()
        .filter(|(load, _)| low < *load && *load < high)
        .map(|(_, apart)| *apart)
        .collect();
    let counted = if inner.is_empty() {
        pairs.iter().map(|pair| pair.1).collect()
    } else {
        inner
    };
    let count = counted.len();
    let mean = counted.iter().sum::<f64>() / count as f64;
    let squares: f64 = counted.iter().map(|apart| (apart - mean).powi(2)).sum();
    let u = (squares / (count.max(2) - 1) as f64 / count as f64).sqrt();
    let scatter = scatter_without_hysteresis(fit, points);
    Some(Hysteresis {
        largest,
        largest_share: largest / (high - low),
        at,
        mean,
        mean_u: (count > 1).then_some(u),
        pairs: count,
        mean_share: mean.abs() / (high - low),
        scatter_without: scatter.map(|sd| sd / fit.slope(fit.centre).abs()),
    })
}

/// Standard deviation of the readings about the curve of their own direction, as raw; `None` when
/// there are not two directions or no degrees of freedom.
fn scatter_without_hysteresis(fit: &Fit, points: &Points) -> Option<f64> {
    let mut sums = [Sum::default(); 2];
    let rows = |which: Direction| {
        (0..points.raw.len()).filter(move |row| points.direction[*row] == Some(which))
    };
    let residual = |row: usize| points.raw[row] - fit.at(points.load[row]);
    let mut squares = 0.0;
    for (sum, which) in sums.iter_mut().zip([Direction::Up, Direction::Down]) {
        rows(which).for_each(|row| sum.add(residual(row)));
        let mean = sum.mean()?;
        squares += rows(which)
            .map(|row| (residual(row) - mean).powi(2))
            .sum::<f64>();
    }
    let freedom = (sums[0].1 + sums[1].1).checked_sub(fit.scaled.len() + 1)?;
    (freedom > 0).then(|| (squares / freedom as f64).sqrt())
}

/// Largest less smallest run at one load and one way, as load; `None` when no load was read in two
/// runs.
#[must_use]
pub(crate) fn repeatability(fit: &Fit, points: &Points) -> Option<f64> {
    let mut seen: BTreeMap<(i64, Option<bool>), BTreeMap<&str, Sum>> = BTreeMap::new();
    for (row, load) in points.load.iter().enumerate() {
        let way = points.direction[row].map(|way| way == Direction::Down);
        let runs = seen.entry((key(*load), way)).or_default();
        let run = points.run[row].as_str();
        runs.entry(run).or_default().add(points.raw[row]);
    }
    let load_of = |row_key: i64| points.load.iter().find(|load| key(**load) == row_key);
    seen.iter()
        .filter(|(_, runs)| runs.len() > 1)
        .filter_map(|((row_key, _), runs)| {
            let means: Vec<f64> = runs.values().filter_map(|sum| sum.mean()).collect();
            let high = means.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let low = means.iter().copied().fold(f64::INFINITY, f64::min);
            Some(((high - low) / fit.slope(*load_of(*row_key)?)).abs())
        })
        .reduce(f64::max)
}

/// Last reading without load less the first, as load: the largest of all runs, with its sign;
/// `None` when no run came back to no load.
#[must_use]
pub(crate) fn zero_return(fit: &Fit, points: &Points) -> Option<f64> {
    let mut ends: BTreeMap<&str, (usize, usize)> = BTreeMap::new();
    for (row, load) in points.load.iter().enumerate() {
        if *load == 0.0 {
            let end = ends.entry(points.run[row].as_str()).or_insert((row, row));
            end.1 = row;
        }
    }
    let loaded_between =
        |&(first, last): &(usize, usize)| points.load[first..=last].iter().any(|load| *load != 0.0);
    ends.into_values()
        .filter(loaded_between)
        .map(|(first, last)| (points.raw[last] - points.raw[first]) / fit.slope(0.0))
        .max_by(|a, b| a.abs().total_cmp(&b.abs()))
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::numeric::polynomial;
    use approx::assert_relative_eq;

    /// Twenty points in two runs, five loads up and five down in each.
    pub(in crate::calibration) fn twice_up_and_down(points: &mut Points) {
        for row in 0..20 {
            points.direction[row] = Some(if row % 10 < 5 {
                Direction::Up
            } else {
                Direction::Down
            });
            points.run[row] = (row / 10).to_string();
        }
    }

    /// Two runs up and down, 100 counts/N; coming down reads `late` counts more between the ends, and
    /// the second run `shift` counts more everywhere.
    fn loop_points(late: f64, shift: f64) -> Points {
        let steps = [0.0, 1.0, 2.0, 3.0, 4.0, 4.0, 3.0, 2.0, 1.0, 0.0];
        let (mut raw, mut load) = (Vec::new(), Vec::new());
        for run in 0..2 {
            for (row, step) in steps.iter().enumerate() {
                let inner = row > 5 && row < 9;
                load.push(*step);
                raw.push(
                    -50.0 + 100.0 * step + if inner { late } else { 0.0 } + f64::from(run) * shift,
                );
            }
        }
        let mut points = Points::exact(raw, load);
        twice_up_and_down(&mut points);
        points
    }

    // By hand: 8 counts at 100 counts/N are 0.08 N; the ends close, so the mean is over three loads in
    // each of two runs.
    #[test]
    fn a_loop_of_known_width_is_found() {
        let points = loop_points(8.0, 0.0);
        let fit = polynomial::fit(&points.load, &points.raw, 1).unwrap();
        let found = hysteresis(&fit, &points).unwrap();
        assert_relative_eq!(found.mean, 0.08, max_relative = 1e-3);
        assert_relative_eq!(found.largest, 0.08, max_relative = 1e-3);
        assert_eq!(found.pairs, 6);
        assert!(zero_return(&fit, &points).unwrap().abs() < 1e-12);
        let none = hysteresis(&fit, &Points::exact(points.raw, points.load));
        assert_eq!(none, None);
    }

    #[test]
    fn runs_that_differ_are_seen_and_are_not_hysteresis() {
        let points = loop_points(0.0, 3.0);
        let fit = polynomial::fit(&points.load, &points.raw, 1).unwrap();
        assert_relative_eq!(
            repeatability(&fit, &points).unwrap(),
            0.03,
            max_relative = 1e-9
        );
        assert!(hysteresis(&fit, &points).unwrap().largest < 1e-12);
    }

    #[test]
    fn keys_sort_as_loads_do() {
        let loads = [-2.0, -1.0, -1e-9, 0.0, 1e-9, 3.0];
        assert!(loads.windows(2).all(|pair| key(pair[0]) < key(pair[1])));
        assert_eq!(key(-0.0), key(0.0));
    }

    #[test]
    fn a_run_that_never_left_zero_did_not_come_back() {
        let fit = polynomial::fit(&[0.0, 1.0], &[0.0, 100.0], 1).unwrap();
        let mut points = Points::exact(vec![0.0, 3.0, 100.0], vec![0.0, 0.0, 1.0]);
        assert_eq!(zero_return(&fit, &points), None);
        points.raw.push(-5.0);
        points.load.push(0.0);
        points.direction.push(None);
        points.run.push(String::new());
        assert_relative_eq!(
            zero_return(&fit, &points).unwrap(),
            -0.05,
            max_relative = 1e-12
        );
    }

    // Up and down differ by 8 counts, runs by 3: what differs between ways is not between runs.
    #[test]
    fn runs_are_compared_one_way_at_a_time() {
        let points = loop_points(8.0, 3.0);
        let fit = polynomial::fit(&points.load, &points.raw, 1).unwrap();
        let apart = repeatability(&fit, &points).unwrap() * fit.slope(0.0);
        assert_relative_eq!(apart, 3.0, max_relative = 1e-9);
        let mut one = points.clone();
        one.run.fill(String::new());
        assert_eq!(repeatability(&fit, &one), None);
        // Each run has its own loop; the mean shift between runs is no part of the scatter's loop.
        assert_relative_eq!(
            hysteresis(&fit, &points).unwrap().mean,
            8.0 / fit.slope(0.0),
            max_relative = 1e-9
        );
    }
}
