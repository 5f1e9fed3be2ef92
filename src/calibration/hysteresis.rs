//! The loop between loading and unloading.
//!
//! A cell reads higher (or lower) on the way down than on the way up. The gap is nothing at both ends
//! and largest between them; a parabola describes it as well as a handful of loads can tell (Rayleigh's
//! law of small loops, Philosophical Magazine 23, 1887; from memory), and by the same law its height
//! grows with the square of the largest load. Points taken both ways show it: it is found by least
//! squares from the mean gap at each load, points are moved to the middle of the loop before the curve
//! is fitted - so that the loop does not pass for noise - and in use the curve may be wrong by half of
//! the loop either way (rectangular limits, JCGM 100:2008, 4.3.7).

use serde::{Deserialize, Serialize};

use super::points::{Direction, Points};

/// The loop of a cell over the range of its points.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Loop {
    /// Height in the middle, raw: reading on the way down less that on the way up.
    pub height_raw: f64,
    /// Its standard uncertainty, raw; `None` where a single load tells it.
    pub u_raw: Option<f64>,
    /// Loads between which it was run.
    #[serde(rename = "between")]
    pub range: [f64; 2],
}

impl Loop {
    /// Height at a load, raw, when the loop runs from its lower end to `highest`.
    #[must_use]
    pub fn at(&self, load: f64, highest: f64) -> f64 {
        let [low, high] = self.range;
        if highest <= low {
            return 0.0;
        }
        let part = ((load - low) / (highest - low)).clamp(0.0, 1.0);
        let reach = (highest - low) / (high - low);
        4.0 * self.height_raw * part * (1.0 - part) * reach * reach
    }
}

/// Finds the loop; `None` unless some load between the ends was reached both ways.
#[must_use]
pub(crate) fn find(points: &Points) -> Option<Loop> {
    let range = points.range();
    let unit = Loop {
        height_raw: 1.0,
        u_raw: None,
        range,
    };
    let gaps: Vec<(f64, f64)> = levels(points)
        .into_iter()
        .filter_map(|load| Some((unit.at(load, range[1]), gap(points, load)?)))
        .filter(|(shape, _)| *shape > 0.0)
        .collect();
    let square: f64 = gaps.iter().map(|(shape, _)| shape * shape).sum();
    if square <= 0.0 {
        return None;
    }
    let height_raw = gaps.iter().map(|(shape, gap)| shape * gap).sum::<f64>() / square;
    let left: f64 = gaps
        .iter()
        .map(|(shape, gap)| (gap - height_raw * shape).powi(2))
        .sum();
    let freedom = gaps.len() - 1;
    Some(Loop {
        height_raw,
        u_raw: (freedom > 0).then(|| (left / freedom as f64 / square).sqrt()),
        range,
    })
}

/// The points moved to the middle of the loop.
#[must_use]
pub(crate) fn middle(points: &Points, found: &Loop) -> Points {
    let mut out = points.clone();
    let highest = found.range[1];
    for ((raw, load), direction) in out.raw.iter_mut().zip(&points.load).zip(&points.direction) {
        let half = 0.5 * found.at(*load, highest);
        *raw += match direction {
            Some(Direction::Up) => half,
            Some(Direction::Down) => -half,
            None => 0.0,
        };
    }
    out
}

fn levels(points: &Points) -> Vec<f64> {
    let mut out = points.load.clone();
    out.sort_by(f64::total_cmp);
    out.dedup();
    out
}

/// Mean reading on the way down less that on the way up at a load.
fn gap(points: &Points, load: f64) -> Option<f64> {
    let mean = |way: Direction| {
        let there: Vec<f64> = points
            .raw
            .iter()
            .zip(&points.load)
            .zip(&points.direction)
            .filter(|((_, one), direction)| **one == load && **direction == Some(way))
            .map(|((raw, _), _)| *raw)
            .collect();
        (!there.is_empty()).then(|| there.iter().sum::<f64>() / there.len() as f64)
    };
    Some(mean(Direction::Down)? - mean(Direction::Up)?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// 10 counts for each newton, up to 8 N and down again, 6 counts higher in the middle on the way.
    fn both_ways() -> Points {
        let up: Vec<f64> = (0..=8).map(f64::from).collect();
        let down: Vec<f64> = up.iter().rev().copied().collect();
        let late = |load: f64| 6.0 * 4.0 * load / 8.0 * (1.0 - load / 8.0);
        let raw = up.iter().map(|f| 10.0 * f);
        let raw = raw
            .chain(down.iter().map(|f| 10.0 * f + late(*f)))
            .collect();
        let load = up.iter().chain(&down).copied().collect();
        let mut points = Points::exact(raw, load);
        for (at, direction) in points.direction.iter_mut().enumerate() {
            *direction = Some(if at < 9 {
                Direction::Up
            } else {
                Direction::Down
            });
        }
        points
    }

    #[test]
    fn a_loop_is_found_and_points_lie_in_its_middle() {
        let points = both_ways();
        let found = find(&points).unwrap();
        assert_relative_eq!(found.height_raw, 6.0, max_relative = 1e-12);
        assert!(found.u_raw.unwrap() < 1e-9);
        let middle = middle(&points, &found);
        for (raw, load) in middle.raw.iter().zip(&middle.load) {
            let parabola = 3.0 * 4.0 * load / 8.0 * (1.0 - load / 8.0);
            assert_relative_eq!(*raw, 10.0 * load + parabola, epsilon = 1e-9);
        }
        // Loaded to half of the range only, the loop is a quarter as high.
        assert_relative_eq!(found.at(2.0, 4.0), 1.5, max_relative = 1e-12);
    }

    #[test]
    fn one_way_tells_no_loop() {
        let points = Points::exact(vec![0.0, 10.0, 20.0], vec![0.0, 1.0, 2.0]);
        assert_eq!(find(&points), None);
    }

    // By hand: from 2 N to 10 N, gaps of 4 and 6 counts read twice, means 5 and 7; a parabola of height
    // h gives 0.75 h at 4 N and h at 6 N, so h = (0.75 * 5 + 7)/(0.75^2 + 1) = 6.88.
    #[test]
    fn repeats_are_averaged_and_the_range_may_begin_anywhere() {
        let rows = [
            (2.0, 0.0, Direction::Up),
            (4.0, 20.0, Direction::Up),
            (6.0, 40.0, Direction::Up),
            (10.0, 80.0, Direction::Up),
            (6.0, 46.0, Direction::Down),
            (4.0, 24.0, Direction::Down),
            (6.0, 48.0, Direction::Down),
            (4.0, 26.0, Direction::Down),
        ];
        let raw = rows.iter().map(|row| row.1).collect();
        let mut points = Points::exact(raw, rows.iter().map(|row| row.0).collect());
        points.direction = rows.iter().map(|row| Some(row.2)).collect();
        let found = find(&points).unwrap();
        assert_relative_eq!(found.height_raw, 6.88, max_relative = 1e-12);
        // Left over: 5 - 5.16 and 7 - 6.88; one degree of freedom.
        let u = ((0.16_f64.powi(2) + 0.12_f64.powi(2)) / 1.5625).sqrt();
        assert_relative_eq!(found.u_raw.unwrap(), u, max_relative = 1e-9);
        // Turned at 6 N: half of the reach, a quarter of the height, in the middle at 4 N.
        assert_relative_eq!(found.at(4.0, 6.0), 6.88 / 4.0, max_relative = 1e-12);
        assert_eq!([found.at(4.0, 2.0), found.at(12.0, 10.0)], [0.0, 0.0]);
        points.direction[4..].fill(None);
        assert_eq!(find(&points), None);
    }
}
