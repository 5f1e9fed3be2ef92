//! How noisy the readings and how strong the disturbance: by likelihood.
//!
//! First values come from third differences, in which movement all but vanishes. Then the
//! innovations' restricted likelihood is made large over the ratios ([`Smooth`], from the best points of a grid),
//! all parameters of the rig solved for at each point: least is
//! (n - k) ln(SSE/(n - k)) + sum ln(variance) + ln det(J'J), one common scale concentrated out
//! (Patterson & Thompson 1971; Harville 1977). A burn holds some twenty spells of the disturbance, and
//! half a dozen parameters lean on them, so the plain likelihood (Ljung 7.4) would find the
//! disturbance too small and with it every uncertainty.

use nalgebra::{DMatrix, DVector};

use super::kalman_filter::{Instants, KalmanFilter, NoiseModel, RigDynamics};
use super::tilt_model::{Sensitivity, derivatives};
use crate::numeric::quasi_newton::Smooth;
use crate::series::Series;

/// Noise of a reading when no difference can be formed or none differs: finer than any sensor.
const FINEST: f64 = 1e-7;
/// Disturbances tried first, rad/s2.
const FIRST_DISTURBANCES_RAD_S2: [f64; 4] = [0.03, 0.2, 1.0, 5.0];
/// Correlation times tried first, s.
const FIRST_CORRELATION_TIMES_S: [f64; 2] = [0.05, 0.4];
/// Bounds of the correlation time, s: below, it is white; above, it is constant over a burn.
const CORRELATION_TIME_S: (f64, f64) = (0.01, 5.0);
/// Place of the power of thrust among the numbers that are searched.
const WITH_THRUST: usize = 2;
/// The search goes on from so many points of the grid.
const STARTS: usize = 2;
/// It ends when a step would gain less of -2 ln L: a thirtieth of a standard uncertainty of the noise.
const GAIN: f64 = 1e-3;
/// No noise differs by more than this power of e from the first value.
const FARTHEST: f64 = 12.0;

/// Step over which the likelihood's curvature is taken, on logarithms.
const CURVATURE_STEP: f64 = 0.2;
/// Fewer degrees of freedom than this are not believed: their interval would have no end.
const FEWEST_FREEDOM: f64 = 4.0;

/// Standard deviation of the noise in readings, from third differences (variance 20 sigma^2).
fn roughness(series: &Series) -> f64 {
    let value = series.value();
    let count = value.len().saturating_sub(3);
    if count < 10 {
        return FINEST;
    }
    let square: f64 = value
        .windows(4)
        .map(|v| (v[3] - 3.0 * v[2] + 3.0 * v[1] - v[0]).powi(2))
        .sum();
    (square / (20.0 * count as f64)).sqrt().max(FINEST)
}

/// First values.
#[must_use]
pub(crate) fn first_noise(
    tilt: Option<&Series>,
    rate: Option<&Series>,
    window: (f64, f64),
) -> NoiseModel {
    let of = |series: Option<&Series>| {
        series.map_or(FINEST, |series| {
            roughness(&series.between(window.0, window.1))
        })
    };
    NoiseModel {
        tilt_rad: of(tilt),
        rate_rad_s: of(rate),
        disturbance_rad_s2: 0.5,
        correlation_time_s: 0.3,
        with_thrust: 0.5,
    }
}

/// What the likelihood is computed from.
pub(crate) struct NoiseLikelihood<'a> {
    /// Readings.
    pub instants: &'a Instants,
    /// Damping and stiffness of the filter.
    pub swing: RigDynamics,
    /// Acceleration of the model at each instant, rad/s2.
    pub acceleration: &'a [f64],
    /// What drives each free parameter.
    pub sensitivities: Vec<Sensitivity>,
    /// For each of them the prior's residual and its derivative, if it has one.
    pub priors: Vec<Option<(f64, f64)>>,
    /// Whether both tilt and rate are measured.
    pub two_sensors: bool,
}

/// The most likely noise.
#[derive(Debug, Clone)]
pub(crate) struct Likeliest {
    /// The noise.
    pub noise: NoiseModel,
    /// The inverse of the likelihood's curvature there, as far as the search saw it.
    inverse: Option<DMatrix<f64>>,
}

impl From<NoiseModel> for Likeliest {
    fn from(noise: NoiseModel) -> Self {
        Self {
            noise,
            inverse: None,
        }
    }
}

/// How the likelihood stands at one noise.
struct Weighed {
    /// Minus twice the restricted log-likelihood, but for a constant.
    score: f64,
    /// The scale the noise should have.
    scale: f64,
    /// Variance of each parameter.
    variances: Vec<f64>,
}

/// All parameters solved for at one noise.
struct Solved {
    /// Sum of squares that they explain.
    explained: f64,
    /// Half the logarithm of the determinant of the normal matrix.
    log_det: f64,
    /// Variance of each for residuals of unit variance.
    variances: Vec<f64>,
}

/// Columns nearer to those before them than this sine are not solved for by their squares.
const LEAST_SINE: f64 = 1e-5;

impl NoiseLikelihood<'_> {
    fn weigh(&self, noise: &NoiseModel) -> Weighed {
        let filter = KalmanFilter::new(self.instants, noise, self.swing);
        let left = -DVector::from_vec(filter.errors_under(self.acceleration));
        let columns = derivatives(&filter, self.sensitivities.iter());
        let solved = self.by_gram(&columns, &left);
        let solved = solved.unwrap_or_else(|| self.by_rotation(&columns, &left));
        let priors = self.priors.iter().flatten();
        let (known, square) = priors.fold((0, 0.0), |(known, square), (residual, _)| {
            (known + 1, square + residual * residual)
        });
        let freedom = (left.len() + known).saturating_sub(columns.ncols()).max(1) as f64;
        let unexplained = left.norm_squared() + square - solved.explained;
        let variance = (unexplained / freedom).max(f64::MIN_POSITIVE);
        Weighed {
            score: freedom * variance.ln() + filter.log_variance + 2.0 * solved.log_det,
            scale: variance.sqrt(),
            variances: solved.variances.iter().map(|one| one * variance).collect(),
        }
    }

    /// By the normal equations, columns scaled to one length; `None` where that would cost digits.
    fn by_gram(&self, columns: &DMatrix<f64>, left: &DVector<f64>) -> Option<Solved> {
        let mut gram = columns.tr_mul(columns);
        let mut target = columns.tr_mul(left);
        for (at, prior) in self.priors.iter().enumerate() {
            if let Some((residual, slope)) = prior {
                gram[(at, at)] += slope * slope;
                target[at] += slope * residual;
            }
        }
        let size = gram.diagonal().map(f64::sqrt);
        for (at, size) in size.iter().enumerate() {
            gram.row_mut(at).unscale_mut(*size);
            gram.column_mut(at).unscale_mut(*size);
            target[at] /= size;
        }
        let lower = gram.cholesky()?.unpack();
        // The sine of the angle between a column and those before it, whose square was taken.
        if lower.diagonal().iter().any(|sine| *sine < LEAST_SINE) {
            return None;
        }
        let k = target.len();
        let back = lower.solve_lower_triangular(&DMatrix::identity(k, k))?;
        let variance =
            |(column, size): (usize, &f64)| back.column(column).norm_squared() / (size * size);
        let logs = |sum: f64, one: &f64| sum + one.ln();
        Some(Solved {
            explained: lower.solve_lower_triangular(&target)?.norm_squared(),
            log_det: lower.diagonal().iter().fold(0.0, logs) + size.iter().fold(0.0, logs),
            variances: size.iter().enumerate().map(variance).collect(),
        })
    }

    /// By orthogonal rotations.
    fn by_rotation(&self, columns: &DMatrix<f64>, left: &DVector<f64>) -> Solved {
        let (n, k) = columns.shape();
        let mut columns = columns.clone().resize_vertically(n + k, 0.0);
        let mut target = left.clone().resize_vertically(n + k, 0.0);
        for (at, prior) in self.priors.iter().enumerate() {
            if let Some((residual, slope)) = prior {
                (target[n + at], columns[(n + at, at)]) = (*residual, *slope);
            }
        }
        let qr = columns.qr();
        qr.q_tr_mul(&mut target);
        let r = qr.r();
        let back = r.solve_upper_triangular(&DMatrix::identity(k, k));
        Solved {
            explained: target.rows(0, k).norm_squared(),
            log_det: r.diagonal().iter().map(|d| d.abs().ln()).sum(),
            variances: back.map_or(vec![0.0; k], |back| {
                back.row_iter().map(|row| row.norm_squared()).collect()
            }),
        }
    }

    /// How many degrees of freedom the variance of each parameter has, the noise being estimated from
    /// the same burn: 2 / var(ln variance), by the curvature of the likelihood over strength and memory
    /// of the disturbance (Satterthwaite 1946; Giesbrecht & Burns 1985).
    #[must_use]
    pub(crate) fn freedom(&self, noise: &NoiseModel) -> Vec<f64> {
        let moved = |push: f64, memory: f64| {
            self.weigh(&NoiseModel {
                disturbance_rad_s2: noise.disturbance_rad_s2 * (CURVATURE_STEP * push).exp(),
                correlation_time_s: noise.correlation_time_s * (CURVATURE_STEP * memory).exp(),
                ..*noise
            })
        };
        let [here, up, down] = [0.0, 1.0, -1.0].map(|push| moved(push, 0.0));
        let [longer, shorter] = [1.0, -1.0].map(|memory| moved(0.0, memory));
        let (both, neither) = (moved(1.0, 1.0), moved(-1.0, -1.0));
        let h2 = CURVATURE_STEP * CURVATURE_STEP;
        let bent = |a: &Weighed, b: &Weighed| (a.score + b.score - 2.0 * here.score) / h2;
        let (aa, bb) = (bent(&up, &down), bent(&longer, &shorter));
        let ab = 0.5 * (bent(&both, &neither) - aa - bb);
        // Covariance of the two logarithms: twice the inverse of the curvature of -2 ln L. A memory
        // that the record cannot tell is held.
        let det = aa * bb - ab * ab;
        let covariance = if det > 0.0 && aa > 0.0 && bb > 0.0 {
            [2.0 * bb / det, -2.0 * ab / det, 2.0 * aa / det]
        } else {
            [2.0 / aa.max(f64::MIN_POSITIVE), 0.0, 0.0]
        };
        (0..self.sensitivities.len())
            .map(|at| {
                let slope = |a: &Weighed, b: &Weighed| {
                    (a.variances[at] / b.variances[at]).ln() / (2.0 * CURVATURE_STEP)
                };
                let (push, memory) = (slope(&up, &down), slope(&longer, &shorter));
                let variance = push * push * covariance[0]
                    + 2.0 * push * memory * covariance[1]
                    + memory * memory * covariance[2];
                let freedom = 2.0 / variance;
                if freedom.is_finite() {
                    freedom.clamp(FEWEST_FREEDOM, 1e6)
                } else {
                    1e6
                }
            })
            .collect()
    }

    /// The most likely noise, from a start; `wide` looks everywhere.
    #[must_use]
    pub(crate) fn solve(&self, from: &Likeliest, wide: bool) -> Likeliest {
        let start = &from.noise;
        let of = |x: &[f64]| moved(start, x);
        let score = |x: &[f64]| self.weigh(&of(x)).score;
        let (low, high) = self.bounds(start);
        let smooth = Smooth {
            of: score,
            low: &low,
            high: &high,
            gain: GAIN,
        };
        let mut starts = vec![(0.0, vec![0.0; low.len()])];
        starts[0].1[WITH_THRUST] = start.with_thrust;
        if wide {
            starts = self.grid(start, &low);
            starts.iter_mut().for_each(|one| one.0 = score(&one.1));
            starts.sort_by(|a, b| a.0.total_cmp(&b.0));
            starts.truncate(STARTS);
        }
        let inverse = from.inverse.as_ref().filter(|_| !wide);
        let found = starts
            .iter()
            .map(|(_, start)| smooth.minimise(start, inverse));
        let mut found = found.min_by(|a, b| a.value.total_cmp(&b.value));
        if let Some(best) = found.as_mut().filter(|_| wide) {
            // A flat valley is gone along once more, with its curvature seen anew.
            *best = smooth.minimise(&best.x, None);
        }
        let best = found.as_ref().map_or(*start, |found| of(&found.x));
        let scale = self.weigh(&best).scale;
        Likeliest {
            noise: NoiseModel {
                tilt_rad: best.tilt_rad * scale,
                rate_rad_s: best.rate_rad_s * scale,
                disturbance_rad_s2: best.disturbance_rad_s2 * scale,
                ..best
            },
            inverse: found.map(|found| found.inverse),
        }
    }

    /// How far the numbers of [`moved`] may go.
    fn bounds(&self, start: &NoiseModel) -> (Vec<f64>, Vec<f64>) {
        let memory = |bound: f64| (bound / start.correlation_time_s).ln();
        let mut low = vec![-FARTHEST, memory(CORRELATION_TIME_S.0), 0.0];
        let mut high = vec![FARTHEST, memory(CORRELATION_TIME_S.1), 1.0];
        if self.two_sensors {
            low.push(-FARTHEST);
            high.push(FARTHEST);
        }
        (low, high)
    }

    /// Points of a grid over all that disturbances of a rig may be.
    fn grid(&self, start: &NoiseModel, low: &[f64]) -> Vec<(f64, Vec<f64>)> {
        let mut out = Vec::new();
        for disturbance in FIRST_DISTURBANCES_RAD_S2 {
            for memory_s in FIRST_CORRELATION_TIMES_S {
                let mut x = vec![0.0; low.len()];
                x[0] = (disturbance / start.disturbance_rad_s2).ln();
                x[1] = (memory_s / start.correlation_time_s).ln();
                x[WITH_THRUST] = start.with_thrust;
                out.push((0.0, x));
            }
        }
        out
    }
}

/// A noise moved: the logarithms of disturbance and memory, the power of thrust, the logarithm of the rate's noise.
fn moved(start: &NoiseModel, x: &[f64]) -> NoiseModel {
    let factor = |at: usize| x.get(at).map_or(1.0, |log| log.exp());
    NoiseModel {
        disturbance_rad_s2: start.disturbance_rad_s2 * factor(0),
        correlation_time_s: start.correlation_time_s * factor(1),
        with_thrust: x[WITH_THRUST],
        rate_rad_s: start.rate_rad_s * factor(3),
        ..*start
    }
}

#[cfg(test)]
mod tests {
    use rand::{RngExt, SeedableRng, rngs::ChaCha8Rng};

    use super::*;
    use crate::studies::study;

    /// Box & Muller 1958.
    fn normal(rng: &mut ChaCha8Rng) -> f64 {
        let (size, turn) = (1.0 - rng.random::<f64>(), rng.random::<f64>());
        (-2.0 * size.ln()).sqrt() * (std::f64::consts::TAU * turn).cos()
    }

    /// Two seconds of tilt and rate of a free axis, pushed by a disturbance of random strength and memory, and the noise
    /// that was put in but for its power of thrust.
    fn pushed(seed: u64) -> (Instants, NoiseModel) {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut between = |low: f64, high: f64| low * (high / low).powf(rng.random::<f64>());
        let noise = NoiseModel {
            tilt_rad: between(1e-4, 1e-3),
            rate_rad_s: between(1e-3, 1e-2),
            disturbance_rad_s2: between(0.05, 3.0),
            correlation_time_s: between(0.03, 0.6),
            with_thrust: 0.5,
        };
        let step_s = 1e-3;
        let keep = (-step_s / noise.correlation_time_s).exp();
        let (mut tilt, mut rate) = (Series::default(), Series::default());
        let (mut a, mut v, mut z) = (0.0, 0.0, 0.0);
        for at in 0..2000 {
            let time_s = step_s * f64::from(at);
            z = keep * z + (1.0 - keep * keep).sqrt() * noise.disturbance_rad_s2 * normal(&mut rng);
            v += step_s * z * (1.0 + 0.8 * (3.0 * time_s).sin()).sqrt();
            a += step_s * v;
            tilt.push(time_s, a + 2.0 * noise.tilt_rad * normal(&mut rng));
            if at % 5 == 0 {
                rate.push(time_s, v + noise.rate_rad_s * normal(&mut rng));
            }
        }
        let instants = Instants::new(Some(&tilt), Some(&rate), (0.0, 2.0));
        let times_s = instants.times_s.iter();
        let thrust: Vec<f64> = times_s
            .map(|t| 30.0 * (1.0 + 0.8 * (3.0 * t).sin()))
            .collect();
        (instants.under_thrust(&thrust), noise)
    }

    // Wherever else a search begins, it ends no lower: 200 firings in the long studies.
    #[test]
    fn the_search_for_the_noise_finds_the_least_of_all_that_other_starts_find() {
        let (firings, _) = study(3, 200);
        for seed in 0..firings {
            let (instants, truth) = pushed(seed);
            let still = vec![0.0; instants.times_s.len()];
            let steered = instants
                .times_s
                .iter()
                .map(|t| (20.0 * t).sin().signum())
                .collect();
            let problem = NoiseLikelihood {
                instants: &instants,
                swing: RigDynamics::default(),
                acceleration: &still,
                sensitivities: vec![
                    Sensitivity::Acceleration(vec![1.0; still.len()]),
                    Sensitivity::Acceleration(steered),
                ],
                priors: vec![None, None],
                two_sensors: true,
            };
            let first = NoiseModel {
                disturbance_rad_s2: 0.5,
                correlation_time_s: 0.3,
                ..truth
            };
            let score = |noise: &NoiseModel| problem.weigh(noise).score;
            let found = problem.solve(&first.into(), true);
            let least = score(&found.noise);
            for (push, memory, power) in [
                (0.1, 0.3, 0.1),
                (10.0, 3.0, 0.9),
                (3.0, 0.1, 0.9),
                (0.3, 10.0, 0.1),
            ] {
                let start = NoiseModel {
                    disturbance_rad_s2: truth.disturbance_rad_s2 * push,
                    correlation_time_s: (truth.correlation_time_s * memory)
                        .clamp(CORRELATION_TIME_S.0, CORRELATION_TIME_S.1),
                    with_thrust: power,
                    ..truth
                };
                let other = score(&problem.solve(&start.into(), false).noise);
                assert!(least < other + 0.02, "{seed}: {least} against {other}");
            }
            let again = score(&problem.solve(&found, false).noise);
            assert!(
                (again - least).abs() < 0.01,
                "{seed}: {again} after {least}"
            );
        }
    }

    // A cubic has constant third differences, 6 h^3 at step h: 6e-6 here, nothing against 0.01;
    // alternating +-0.01 has third differences of +-0.08, so the estimate is 0.08/sqrt 20.
    #[test]
    fn roughness_sees_the_jitter_and_not_the_movement() {
        let time: Vec<f64> = (0..400).map(|i| f64::from(i) * 0.01).collect();
        let value: Vec<f64> = time
            .iter()
            .enumerate()
            .map(|(i, t)| t.powi(3) + if i % 2 == 0 { 0.01 } else { -0.01 })
            .collect();
        let found = roughness(&Series::new(&time, &value));
        assert!((found - 0.08 / 20.0_f64.sqrt()).abs() < 1e-5);
    }
}
