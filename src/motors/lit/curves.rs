//! Thrust explained as the sum of certified curves, each with its own onset, height and stretch.
//!
//! For the motors that lit, T(t) = sum of h_k C_k((t - t_k) / r_k) is fitted by least squares with
//! the motor-to-motor spread as prior on h_k and r_k, from where [`super::shape`] found them: first
//! on the whole burn and then on the stretch around the onsets, where shape errors of the late burn
//! cannot pull. Uncertainty is the curvature covariance, scaled by the misfit and by its correlation
//! ([`crate::numeric::noise`]).
//!
//! Limits: certified curves are one motor's; onsets closer together than a few milliseconds lie
//! within each other's uncertainty; where a motor goes out early stays as it was found.

use nalgebra::{DMatrix, DVector};

use super::part::{Burning, Part, Pattern};
use crate::numeric::least_squares::{Ended, Minimum, Residuals, Search, minimise, unit_covariance};
use crate::numeric::noise;
use crate::series::Series;

/// Readings are averaged to this step before the fit, s; finer ones add time, not knowledge.
const FIT_STEP_S: f64 = 0.001;

/// The stretch around the onsets reaches this many rise times beyond the last of them.
const RISE_TIMES: f64 = 1.5;

/// How much the whole-burn fit narrows the prior of heights for the fit around the onsets.
const NARROWED: f64 = 0.4;

/// Standard deviation of a weak motor's height about where the search found it.
const WEAK_SPREAD: f64 = 0.5;

/// Standard uncertainty of the time at which a motor goes out early, s: half of the time in which the
/// model lets it fade. Common practice, no source.
const OUT_U_S: f64 = 0.01;

/// Thrust explained.
#[derive(Debug, Clone)]
pub(crate) struct Decomposition {
    /// One part for each curve, in the order they were given.
    pub parts: Vec<Part>,
    /// Covariance of the onsets, s2.
    pub onset_covariance: DMatrix<f64>,
    /// Standard uncertainty of each part's impulse, N s.
    pub impulse_u_ns: Vec<f64>,
}

/// Explains thrust between two times, refining a start with one entry for each curve; `spread` is the
/// relative motor-to-motor deviation. `None` when there is nothing to fit or the search fails.
#[must_use]
pub(crate) fn explain(
    thrust: &Series,
    curves: &[&Pattern],
    start: &[Burning],
    window_s: (f64, f64),
    spread: f64,
) -> Option<Decomposition> {
    let data = averaged(&thrust.between(window_s.0 - 0.05, window_s.1 + 0.05));
    let count = curves.len();
    if count == 0 || start.len() != count || data.len() < 3 * count + 2 {
        return None;
    }
    let whole = Sum {
        data: &data,
        curves,
        prior: start
            .iter()
            .map(|one| match one.weak {
                true => (one.part.height, WEAK_SPREAD),
                false => (1.0, spread),
            })
            .collect(),
        out_s: start.iter().map(|one| one.part.out_s).collect(),
        stretch_u: spread,
    };
    let begun = start.iter().flat_map(|one| {
        let part = one.part;
        [part.onset_s, part.height, part.stretch]
    });
    let full = whole.fit(&begun.collect::<Vec<_>>(), spread)?;
    let parts = whole.unpack(&full.minimum.x);
    let last = parts
        .iter()
        .map(|part| part.onset_s)
        .fold(f64::NEG_INFINITY, f64::max);
    let rise = curves
        .iter()
        .map(|curve| curve.rise_s())
        .fold(0.0, f64::max);
    let near = data.between(window_s.0 - 0.05, last + RISE_TIMES * rise + 0.02);
    let around = Sum {
        data: &near,
        prior: parts
            .iter()
            .map(|part| (part.height, NARROWED * spread))
            .collect(),
        out_s: whole.out_s.clone(),
        ..whole
    };
    let local = around
        .fit(&full.minimum.x, spread)
        .filter(|_| near.len() > 4 * count);
    let onsets = local.as_ref().unwrap_or(&full);
    let refined = around.unpack(&onsets.minimum.x);
    let each = curves.iter().zip(&parts).enumerate();
    Some(Decomposition {
        impulse_u_ns: each
            .map(|(k, (curve, part))| impulse_u_ns(&full, k, curve, part))
            .collect(),
        onset_covariance: DMatrix::from_fn(count, count, |a, b| onsets.covariance[(3 * a, 3 * b)]),
        parts: parts
            .iter()
            .zip(&refined)
            .map(|(whole, near)| Part {
                onset_s: near.onset_s,
                ..*whole
            })
            .collect(),
    })
}

/// Standard uncertainty of a part's impulse h r F(t / r), F the impulse of its curve up to a time: height
/// and stretch lean on each other in the fit.
fn impulse_u_ns(fitted: &CurvesFit, k: usize, curve: &Pattern, part: &Part) -> f64 {
    let c = |a: usize, b: usize| fitted.covariance[(3 * k + a, 3 * k + b)];
    let (h, r) = (part.height, part.stretch);
    let phase = part.phase_s(part.onset_s + r * curve.duration_s());
    let (f, thrust) = (curve.impulse_to_ns(phase), curve.thrust_and_slope(phase).0);
    let (by_h, by_r) = (r * f, h * (f - phase * thrust));
    let variance = by_h * by_h * c(1, 1) + by_r * by_r * c(2, 2) + 2.0 * by_h * by_r * c(1, 2);
    let out = part.out_s.map_or(0.0, |_| h * thrust * OUT_U_S);
    variance.max(0.0).sqrt().hypot(out)
}

/// Readings averaged over steps of [`FIT_STEP_S`] where they come faster.
fn averaged(series: &Series) -> Series {
    let group = (FIT_STEP_S / series.step_s().unwrap_or(FIT_STEP_S))
        .round()
        .max(1.0) as usize;
    series.averaged(group)
}

struct CurvesFit {
    minimum: Minimum,
    covariance: DMatrix<f64>,
}

/// The least-squares problem: one row for each reading, then two prior rows for each curve.
struct Sum<'a> {
    data: &'a Series,
    curves: &'a [&'a Pattern],
    prior: Vec<(f64, f64)>,
    out_s: Vec<Option<f64>>,
    stretch_u: f64,
}

impl Sum<'_> {
    fn unpack(&self, x: &[f64]) -> Vec<Part> {
        x.chunks_exact(3)
            .zip(&self.out_s)
            .map(|(part, out_s)| Part {
                onset_s: part[0],
                height: part[1],
                stretch: part[2],
                out_s: *out_s,
            })
            .collect()
    }

    fn fit(&self, start: &[f64], spread: f64) -> Option<CurvesFit> {
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
        Some(CurvesFit {
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
        let parts = self.unpack(x);
        DVector::from_iterator(
            self.data.len(),
            self.data.iter().map(|(time, value)| {
                let sum: f64 = parts
                    .iter()
                    .zip(self.curves)
                    .map(|(part, curve)| part.thrust_n(curve, time))
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
        for (k, (part, prior)) in self.sum.unpack(x).iter().zip(&self.sum.prior).enumerate() {
            out[rows + 2 * k] = (part.height - prior.0) / prior.1;
            out[rows + 2 * k + 1] = (part.stretch - 1.0) / self.sum.stretch_u;
        }
        out
    }

    fn with_jacobian(&self, x: &[f64]) -> (DVector<f64>, DMatrix<f64>) {
        let rows = self.sum.data.len();
        let parts = self.sum.unpack(x);
        let mut jacobian = DMatrix::zeros(rows + 2 * parts.len(), x.len());
        for (row, (time, _)) in self.sum.data.iter().enumerate() {
            for (k, (part, curve)) in parts.iter().zip(self.sum.curves).enumerate() {
                let phase = part.phase_s(time);
                let left = part.fading(time);
                let (value, slope) = curve.thrust_and_slope(phase);
                let (value, slope) = (left * value, left * slope);
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
        let curve = Pattern::new(&Series::new(
            &[0.0, 0.05, 0.21, 0.6, 1.8, 2.1],
            &[0.0, 18.0, 26.0, 14.0, 12.0, 0.0],
        ))
        .unwrap();
        let truth = [
            Part {
                onset_s: 1.0,
                height: 1.03,
                stretch: 0.99,
                out_s: None,
            },
            Part {
                onset_s: 1.045,
                height: 0.97,
                stretch: 1.02,
                out_s: None,
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
                    .map(|part| part.thrust_n(&curve, *t))
                    .sum::<f64>()
                    + noise
            })
            .collect();
        let thrust = Series::new(&time, &value);
        let begun = |onset_s| Burning {
            part: Part {
                onset_s,
                height: 1.0,
                stretch: 1.0,
                out_s: None,
            },
            weak: false,
        };
        let start = [begun(1.005), begun(1.04)];
        let found = explain(&thrust, &[&curve, &curve], &start, (1.002, 3.1), 0.05).unwrap();
        let mut onsets: Vec<f64> = found.parts.iter().map(|part| part.onset_s).collect();
        onsets.sort_by(f64::total_cmp);
        assert!((onsets[0] - 1.0).abs() < 5e-4, "{onsets:?}");
        assert!((onsets[1] - 1.045).abs() < 5e-4, "{onsets:?}");
    }
}
