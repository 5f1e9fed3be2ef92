//! The mean thrust curve of several firings, aligned at ignition, with their spread.
//!
//! Each firing counts the same. After its own burnout a firing counts with what its record holds, and
//! with nothing beyond the record's end. The band is the sample standard deviation at each time.

use serde::{Deserialize, Serialize};

use crate::reduce::Reduction;
use crate::series::Series;

/// Times of the curve.
const POINTS: usize = 201;
/// Fewer firings have no mean and no spread worth drawing.
const LEAST_FOR_SPREAD: usize = 3;
/// The curve runs this share beyond the longest burn.
const BEYOND: f64 = 0.05;

/// Mean thrust and spread.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct MeanCurve {
    /// How many firings it rests on.
    pub count: usize,
    /// Times after ignition, s.
    pub after_s: Vec<f64>,
    /// Mean thrust, N.
    pub mean_n: Vec<f64>,
    /// Sample standard deviation between firings, N.
    pub sd_n: Vec<f64>,
    /// Each firing that burnt by its place among all, and its thrust at the same times, N.
    #[serde(skip)]
    pub(crate) each_n: Vec<(usize, Vec<f64>)>,
}

impl MeanCurve {
    /// Whether it is of firings enough for mean and spread to mean something.
    pub(crate) const fn has_spread(&self) -> bool {
        self.count >= LEAST_FOR_SPREAD
    }
}

/// The mean of all firings that burnt; `None` with fewer than two.
#[must_use]
pub(crate) fn mean(reduced: &[&Reduction]) -> Option<MeanCurve> {
    let mut longest = 0.0_f64;
    let mut curves: Vec<(usize, Series)> = Vec::new();
    for (nth, one) in reduced.iter().enumerate() {
        let burn = one.result.burn.as_ref();
        let Some((ignition, time)) =
            burn.and_then(|burn| burn.ignition_s.as_ref().zip(burn.burn_time_s.as_ref()))
        else {
            continue;
        };
        longest = longest.max(time.value);
        curves.push((nth, one.traces.thrust_n.map_time(|t| t - ignition.value)));
    }
    mean_of(&curves, longest)
}

fn mean_of(curves: &[(usize, Series)], longest: f64) -> Option<MeanCurve> {
    if curves.len() < 2 || longest <= 0.0 {
        return None;
    }
    let count = curves.len() as f64;
    let step = longest * (1.0 + BEYOND) / (POINTS - 1) as f64;
    let mut out = MeanCurve {
        count: curves.len(),
        after_s: Vec::new(),
        mean_n: Vec::new(),
        sd_n: Vec::new(),
        each_n: curves.iter().map(|(nth, _)| (*nth, Vec::new())).collect(),
    };
    for at in 0..POINTS {
        let time = step * at as f64;
        let values: Vec<f64> = curves
            .iter()
            .map(|(_, curve)| match curve.span_s() {
                Some((first, last)) if first <= time && time <= last => {
                    curve.at(time).unwrap_or(0.0)
                }
                _ => 0.0,
            })
            .collect();
        let mean = values.iter().sum::<f64>() / count;
        let scatter: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
        for ((_, own), value) in out.each_n.iter_mut().zip(&values) {
            own.push(*value);
        }
        out.after_s.push(time);
        out.mean_n.push(mean);
        out.sd_n.push((scatter / (count - 1.0)).sqrt());
    }
    Some(out)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    // Two triangles of 10 and 14 N over one second: at half a second 12 N, and 2 sqrt 2 N apart.
    #[test]
    fn two_triangles_have_a_mean_and_a_spread() {
        let triangle = |peak: f64| (0, Series::new(&[0.0, 0.5, 1.0], &[0.0, peak, 0.0]));
        let found = mean_of(&[triangle(10.0), triangle(14.0)], 1.0 / 1.05).unwrap();
        assert_relative_eq!(found.after_s[100], 0.5, epsilon = 1e-9);
        assert_relative_eq!(found.mean_n[100], 12.0, epsilon = 1e-6);
        assert_relative_eq!(found.sd_n[100], 8.0_f64.sqrt(), epsilon = 1e-6);
        assert_eq!(mean_of(&[triangle(10.0)], 1.0), None);
    }
}
