//! Thrust explained as the sum of certified curves, each with its own onset, height and stretch.
//!
//! For the motors that lit, T(t) = sum of h_k C_k((t - t_k) / r_k) is fitted by least squares with
//! the motor-to-motor spread as prior on h_k and r_k. Onsets are searched on a grid first, because
//! the cost has a valley for each place where a step may be; then all is refined together, first on
//! the whole burn and then on the stretch around the onsets, where shape errors of the late burn
//! cannot pull. Uncertainty is the curvature covariance, scaled by the misfit and by its correlation
//! ([`crate::numeric::noise`]).
//!
//! Limits: certified curves are one motor's; onsets closer together than a few milliseconds lie
//! within each other's uncertainty.

use nalgebra::{DMatrix, DVector};

use crate::numeric::least_squares::{Ended, Minimum, Residuals, Search, minimise, unit_covariance};
use crate::numeric::noise;
use crate::series::Series;

/// Step of the search for onsets, s: a third of the fastest rise of a small motor.
const GRID_STEP_S: f64 = 0.004;

/// Readings are averaged to this step before the fit, s; finer ones add time, not knowledge.
const FIT_STEP_S: f64 = 0.001;

/// The stretch around the onsets reaches this many rise times beyond the last of them.
const RISE_TIMES: f64 = 1.5;

/// How much the whole-burn fit narrows the prior of heights for the fit around the onsets.
const NARROWED: f64 = 0.4;

/// One motor's part of the thrust.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Part {
    /// When its curve begins, s.
    pub onset_s: f64,
    /// Height relative to the certified curve.
    pub height: f64,
    /// Length relative to the certified curve.
    pub stretch: f64,
}

/// Thrust explained.
#[derive(Debug, Clone)]
pub struct Explained {
    /// One part for each curve, in the order they were given.
    pub parts: Vec<Part>,
    /// Covariance of the onsets, s2.
    pub onset_covariance: DMatrix<f64>,
    /// Standard uncertainty of each part's area relative to its curve: height times stretch.
    pub area_u: Vec<f64>,
}

/// Thrust of a part at a time, N.
#[must_use]
pub fn part_at(curve: &Series, part: &Part, time_s: f64) -> f64 {
    let (value, _) = curve_and_slope(curve, (time_s - part.onset_s) / part.stretch);
    part.height * value
}

/// Explains thrust between two times; `spread` is the relative motor-to-motor deviation. `None`
/// when there is nothing to fit or the search fails.
#[must_use]
pub fn explain(
    thrust: &Series,
    curves: &[&Series],
    window_s: (f64, f64),
    spread: f64,
) -> Option<Explained> {
    let data = averaged(&thrust.between(window_s.0 - 0.05, window_s.1 + 0.05));
    if curves.is_empty() || data.len() < 3 * curves.len() + 2 {
        return None;
    }
    let start = search_onsets(&data, curves, window_s);
    let whole = Sum {
        data: &data,
        curves,
        prior: vec![(1.0, spread); curves.len()],
        stretch_u: spread,
    };
    let full = whole.fit(&start, spread)?;
    let parts = unpack(&full.minimum.x);
    let last = parts
        .iter()
        .map(|part| part.onset_s)
        .fold(f64::NEG_INFINITY, f64::max);
    let rise = curves.iter().map(|curve| rise_s(curve)).fold(0.0, f64::max);
    let near = data.between(window_s.0 - 0.05, last + RISE_TIMES * rise + 0.02);
    let prior = parts
        .iter()
        .map(|part| (part.height, NARROWED * spread))
        .collect();
    let around = Sum {
        data: &near,
        curves,
        prior,
        stretch_u: spread,
    };
    let local = around
        .fit(&full.minimum.x, spread)
        .filter(|_| near.len() > 4 * curves.len());
    let onsets = local.as_ref().unwrap_or(&full);
    let count = curves.len();
    let refined = unpack(&onsets.minimum.x);
    Some(Explained {
        parts: parts
            .iter()
            .zip(&refined)
            .map(|(whole, near)| Part {
                onset_s: near.onset_s,
                ..*whole
            })
            .collect(),
        onset_covariance: DMatrix::from_fn(count, count, |a, b| onsets.covariance[(3 * a, 3 * b)]),
        area_u: (0..count).map(|k| area_u(&full, k, &parts[k])).collect(),
    })
}

/// Standard uncertainty of height times stretch, which lean on each other in the fit.
fn area_u(fitted: &Fitted, k: usize, part: &Part) -> f64 {
    let c = |a: usize, b: usize| fitted.covariance[(3 * k + a, 3 * k + b)];
    let (h, r) = (part.height, part.stretch);
    (r * r * c(1, 1) + h * h * c(2, 2) + 2.0 * h * r * c(1, 2))
        .max(0.0)
        .sqrt()
}

/// Time from the onset to the peak of a curve, s.
fn rise_s(curve: &Series) -> f64 {
    let peak = curve.iter().max_by(|a, b| a.1.total_cmp(&b.1));
    peak.map_or(0.0, |(time, _)| time)
}

/// Readings averaged over steps of [`FIT_STEP_S`] where they come faster.
fn averaged(series: &Series) -> Series {
    let group = (FIT_STEP_S / series.step_s().unwrap_or(FIT_STEP_S))
        .round()
        .max(1.0) as usize;
    let mean = |part: &[f64]| part.iter().sum::<f64>() / part.len() as f64;
    let time: Vec<f64> = series.time_s().chunks(group).map(mean).collect();
    let value: Vec<f64> = series.value().chunks(group).map(mean).collect();
    Series::new(&time, &value)
}

fn curve_and_slope(curve: &Series, time_s: f64) -> (f64, f64) {
    let times = curve.time_s();
    let after = curve.index_at(time_s);
    if after == 0 || after >= curve.len() {
        return (0.0, 0.0);
    }
    let (t0, t1) = (times[after - 1], times[after]);
    let (v0, v1) = (curve.value()[after - 1], curve.value()[after]);
    let slope = (v1 - v0) / (t1 - t0);
    (v0 + slope * (time_s - t0), slope)
}

/// Finds a start: every curve begins with the burn, then each in turn is moved to where the misfit is
/// least while the others stay, twice over.
fn search_onsets(data: &Series, curves: &[&Series], window_s: (f64, f64)) -> Vec<f64> {
    let thin = (data.len() / 600).max(1);
    let pick = |from: &[f64]| from.iter().step_by(thin).copied().collect::<Vec<_>>();
    let (time, value) = (pick(data.time_s()), pick(data.value()));
    let begin = window_s.0 - 0.005;
    let mut onsets = vec![begin; curves.len()];
    let steps = ((window_s.1 - begin) / GRID_STEP_S).ceil().max(1.0) as usize;
    for _ in 0..2 {
        for at in 0..curves.len() {
            let others: Vec<f64> = time
                .iter()
                .map(|t| {
                    let all = (0..curves.len()).filter(|other| *other != at);
                    all.map(|other| curve_and_slope(curves[other], t - onsets[other]).0)
                        .sum()
                })
                .collect();
            let cost = |onset_s: f64| -> f64 {
                let rows = time.iter().zip(&value).zip(&others);
                rows.map(|((t, value), others)| {
                    (value - others - curve_and_slope(curves[at], t - onset_s).0).powi(2)
                })
                .sum()
            };
            let grid = (0..steps).map(|step| begin + step as f64 * GRID_STEP_S);
            let best = grid
                .map(|onset| (cost(onset), onset))
                .min_by(|a, b| a.0.total_cmp(&b.0));
            onsets[at] = best.map_or(begin, |best| best.1);
        }
    }
    onsets.iter().flat_map(|onset| [*onset, 1.0, 1.0]).collect()
}

fn unpack(x: &[f64]) -> Vec<Part> {
    x.chunks_exact(3)
        .map(|part| Part {
            onset_s: part[0],
            height: part[1],
            stretch: part[2],
        })
        .collect()
}

struct Fitted {
    minimum: Minimum,
    covariance: DMatrix<f64>,
}

/// The least-squares problem: one row for each reading, then two prior rows for each curve.
struct Sum<'a> {
    data: &'a Series,
    curves: &'a [&'a Series],
    prior: Vec<(f64, f64)>,
    stretch_u: f64,
}

impl Sum<'_> {
    fn fit(&self, start: &[f64], spread: f64) -> Option<Fitted> {
        let mut search = Search::free(start);
        for k in 0..self.curves.len() {
            search.typical[3 * k] = 0.005;
            search.typical[3 * k + 1] = spread;
            search.typical[3 * k + 2] = spread;
            search.low[3 * k + 1] = 0.05;
            search.low[3 * k + 2] = 0.2;
            search.high[3 * k + 2] = 5.0;
        }
        search.angle = 1e-6;
        search.step = 1e-5;
        search.gain = 1e-8;
        search.most_steps = 200;
        // The misfit sets the weight of the readings against the priors, so fit twice.
        let mut sd = self.scatter(start);
        let mut found = None;
        for _ in 0..3 {
            let problem = Weighted { sum: self, sd };
            let minimum = minimise(
                &problem,
                found.as_ref().map_or(start, |m: &Minimum| &m.x),
                &search,
            );
            if minimum.ended == Ended::NotFinite {
                return None;
            }
            sd = self.scatter(&minimum.x);
            found = Some(minimum);
        }
        let minimum = found?;
        let rows = self.data.len();
        let misfit: Vec<f64> = minimum.residuals.iter().take(rows).copied().collect();
        let inflation = noise::inflation(&misfit);
        let covariance = unit_covariance(&minimum.jacobian, &minimum.free)? * inflation;
        Some(Fitted {
            minimum,
            covariance,
        })
    }

    /// Root mean square misfit, N.
    fn scatter(&self, x: &[f64]) -> f64 {
        let misfit = self.misfit(x);
        (misfit.norm_squared() / misfit.len() as f64)
            .sqrt()
            .max(1e-9)
    }

    fn misfit(&self, x: &[f64]) -> DVector<f64> {
        let parts = unpack(x);
        DVector::from_iterator(
            self.data.len(),
            self.data.iter().map(|(time, value)| {
                let sum: f64 = parts
                    .iter()
                    .zip(self.curves)
                    .map(|(part, curve)| part_at(curve, part, time))
                    .sum();
                value - sum
            }),
        )
    }
}

struct Weighted<'a> {
    sum: &'a Sum<'a>,
    sd: f64,
}

impl Residuals for Weighted<'_> {
    fn residuals(&self, x: &[f64]) -> DVector<f64> {
        let rows = self.sum.data.len();
        let misfit = self.sum.misfit(x) / self.sd;
        let mut out = misfit.resize_vertically(rows + 2 * self.sum.curves.len(), 0.0);
        for (k, (part, prior)) in unpack(x).iter().zip(&self.sum.prior).enumerate() {
            out[rows + 2 * k] = (part.height - prior.0) / prior.1;
            out[rows + 2 * k + 1] = (part.stretch - 1.0) / self.sum.stretch_u;
        }
        out
    }

    fn with_jacobian(&self, x: &[f64]) -> (DVector<f64>, DMatrix<f64>) {
        let rows = self.sum.data.len();
        let parts = unpack(x);
        let mut jacobian = DMatrix::zeros(rows + 2 * parts.len(), x.len());
        for (row, (time, _)) in self.sum.data.iter().enumerate() {
            for (k, (part, curve)) in parts.iter().zip(self.sum.curves).enumerate() {
                let phase = (time - part.onset_s) / part.stretch;
                let (value, slope) = curve_and_slope(curve, phase);
                jacobian[(row, 3 * k)] = part.height * slope / part.stretch / self.sd;
                jacobian[(row, 3 * k + 1)] = -value / self.sd;
                jacobian[(row, 3 * k + 2)] = part.height * slope * phase / part.stretch / self.sd;
            }
        }
        for (k, prior) in self.sum.prior.iter().enumerate() {
            jacobian[(rows + 2 * k, 3 * k + 1)] = 1.0 / prior.1;
            jacobian[(rows + 2 * k + 1, 3 * k + 2)] = 1.0 / self.sum.stretch_u;
        }
        (self.residuals(x), jacobian)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_curves_added_are_found_apart() {
        let curve = Series::new(
            &[0.0, 0.05, 0.21, 0.6, 1.8, 2.1],
            &[0.0, 18.0, 26.0, 14.0, 12.0, 0.0],
        );
        let truth = [
            Part {
                onset_s: 1.0,
                height: 1.03,
                stretch: 0.99,
            },
            Part {
                onset_s: 1.045,
                height: 0.97,
                stretch: 1.02,
            },
        ];
        let time: Vec<f64> = (0..4000).map(|i| f64::from(i) * 1e-3).collect();
        let value: Vec<f64> = time
            .iter()
            .enumerate()
            .map(|(i, t)| {
                let noise = 0.1 * (((i * 7919) % 101) as f64 / 101.0 - 0.5);
                truth
                    .iter()
                    .map(|part| part_at(&curve, part, *t))
                    .sum::<f64>()
                    + noise
            })
            .collect();
        let thrust = Series::new(&time, &value);
        let found = explain(&thrust, &[&curve, &curve], (1.002, 3.1), 0.05).unwrap();
        let mut onsets: Vec<f64> = found.parts.iter().map(|part| part.onset_s).collect();
        onsets.sort_by(f64::total_cmp);
        assert!((onsets[0] - 1.0).abs() < 5e-4, "{onsets:?}");
        assert!((onsets[1] - 1.045).abs() < 5e-4, "{onsets:?}");
    }
}
