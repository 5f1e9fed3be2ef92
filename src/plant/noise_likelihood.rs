//! How noisy the readings and how strong the disturbance: by likelihood.
//!
//! First values come from third differences, in which movement all but vanishes. Then the
//! innovations' restricted likelihood is made small ([`super::noise_search`]), all parameters of the rig solved for at
//! each point: SSE + sum ln(variance) + ln det(J'J) (Patterson & Thompson 1971; Harville 1977), and what a memory is
//! likely to be. A burn holds some twenty spells of the disturbance, and
//! half a dozen parameters lean on them, so the plain likelihood (Ljung 7.4) would find the
//! disturbance too small and with it every uncertainty.

use std::cell::RefCell;

use nalgebra::DMatrix;

use super::instants::Instants;
use super::kalman_filter::{
    Drive, KalmanFilter, NoiseModel, Prepared, RigDynamics, Sensors, Step, transitions,
};
use super::sensitivity::Sensitivity;
use crate::numeric::gram_schmidt::{Upright, upright};
use crate::series::Series;

/// Noise of a reading when no difference can be formed or none differs: finer than any sensor.
const FINEST: f64 = 1e-7;
/// Memory of a disturbance before the record is looked at: median, s, and deviation of its logarithm, so 95 % between 0.04 and 2.2 s.
/// Eddies of a few tenths of a metre to a metre pass a rig in winds of 1 to 10 m/s; the direction of thrust wanders over parts of a
/// burn. What lasts longer than a burn is a thrust bias, what is over in the time of a block of readings is their noise: without this a
/// record may call a steady push a disturbance that never forgets, and then it knows no thrust bias. As penalty on the likelihood
/// (Chung, Rabe-Hesketh et al. 2013, from memory), it counts as much as a record that tells the memory to a factor of e.
const MEMORY: (f64, f64) = (0.3, 1.0);

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
    /// What the next look may need again.
    pub known: RefCell<Known>,
}

/// What was worked out for the noises last looked at.
#[derive(Default)]
pub(crate) struct Known {
    /// By how much the disturbance is stronger at each instant, for a power of the thrust.
    strength: Option<(f64, Vec<f64>)>,
    /// The filter's steps, for two memories.
    steps: Vec<(f64, Vec<Step>)>,
    /// What drives the parameters, and the readings.
    drives: Option<Prepared>,
}

impl Known {
    /// A filter of these readings.
    fn filter(
        &mut self,
        instants: &Instants,
        noise: &NoiseModel,
        swing: RigDynamics,
    ) -> KalmanFilter {
        let same = |a: f64, b: f64| a.total_cmp(&b).is_eq();
        let (power, memory_s) = (noise.with_thrust, noise.correlation_time_s);
        let strength = self.strength.take().filter(|(of, _)| same(*of, power));
        let strength = strength.unwrap_or_else(|| (power, instants.strength(power)));
        let at = self.steps.iter().position(|(of, _)| same(*of, memory_s));
        let steps = at.map(|at| self.steps[at].1.clone()).unwrap_or_else(|| {
            let steps = transitions(instants, noise, swing);
            self.steps.truncate(1);
            self.steps.insert(0, (memory_s, steps.clone()));
            steps
        });
        let filter = KalmanFilter::through(instants, noise, steps, &strength.1);
        self.strength = Some(strength);
        filter
    }
}

/// How the likelihood stands at one noise.
pub(super) struct Weighed {
    /// Minus twice the restricted log-likelihood and the memory's prior, but for a constant.
    pub score: f64,
    /// The same, one common scale of all noise concentrated out.
    at_best_scale: f64,
    /// Variance of each parameter.
    variances: Vec<f64>,
    /// Deviation foreseen for each prediction error.
    pub deviations: Vec<f64>,
    /// The prediction errors over them, all parameters solved for.
    pub errors: Vec<f64>,
}

impl NoiseLikelihood<'_> {
    pub(super) fn weigh(&self, noise: &NoiseModel) -> Weighed {
        let mut known = self.known.borrow_mut();
        let filter = known.filter(self.instants, noise, self.swing);
        let drives = known.drives.get_or_insert_with(|| {
            let readings = self.instants.values();
            let left = Drive {
                acceleration: Some(self.acceleration),
                shown: Some((Sensors::All, &readings)),
            };
            let each = self.sensitivities.iter().map(Sensitivity::drive);
            filter.prepared(&each.chain([left]).collect::<Vec<_>>())
        });
        let mut columns = filter.responses_to(drives);
        drop(known);
        let mut target = columns.pop().unwrap_or_default();
        let (n, k) = (target.len(), columns.len());
        let mut priors = 0;
        target.resize(n + k, 0.0);
        for (at, (column, prior)) in columns.iter_mut().zip(&self.priors).enumerate() {
            column.resize(n + k, 0.0);
            if let Some((residual, slope)) = prior {
                (target[n + at], column[n + at]) = (*residual, *slope);
                priors += 1;
            }
        }
        let Upright { r, left, .. } = upright(&mut columns, &mut target);
        let log_det: f64 = r.diagonal().iter().map(|d| d.abs().ln()).sum();
        let freedom = (n + priors).saturating_sub(k).max(1) as f64;
        let variance = (left / freedom).max(f64::MIN_POSITIVE);
        let back = r.solve_upper_triangular(&DMatrix::identity(k, k));
        let variances = back.map_or(vec![0.0; k], |back| {
            let rows = back.row_iter();
            rows.map(|row| row.norm_squared() * variance).collect()
        });
        let memory = (noise.correlation_time_s / MEMORY.0).ln() / MEMORY.1;
        target.truncate(n);
        let wide = filter.log_variance + 2.0 * log_det + memory * memory;
        Weighed {
            score: left + wide,
            at_best_scale: freedom * variance.ln() + wide,
            variances,
            deviations: filter.channels().map(|(_, deviation)| deviation).collect(),
            errors: target,
        }
    }

    /// Curvature of the memory's prior in the score.
    pub(super) const fn memory_information() -> f64 {
        2.0 / (MEMORY.1 * MEMORY.1)
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
        let bent = |a: &Weighed, b: &Weighed| {
            (a.at_best_scale + b.at_best_scale - 2.0 * here.at_best_scale) / h2
        };
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
}

#[cfg(test)]
mod tests {
    use super::*;

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
