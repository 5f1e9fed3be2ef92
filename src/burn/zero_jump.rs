//! A zero that is another one after the burn, for no reason that is known.
//!
//! Rigs settle, cables are pulled, cells warm: the rest after a burn differs from the rest before it by more than drift
//! and the weight of the propellant explain. Whether it does is weighed: one firing in five beforehand (common practice, no
//! source), with a size as wide as one block of rest would tell it (Kass & Wasserman, JASA 90, 1995), so that the ratio of
//! likelihoods of a step d more than is known, with standard uncertainty u from n blocks, is
//!
//! ```text
//! exp(d^2 / 2 u^2  n / (n + 1)) / sqrt(n + 1)
//! ```
//!
//! and the zero is the mean over both, weighted.
//!
//! Nobody saw when it jumped. A third of jumps come as the burn begins, a third as it ends, a third anywhere between
//! (common practice, no source). A jump J at a time T has at time t the mean J a(t), where a is the share of the burn that has
//! passed. Of a sum of readings with weights, S(x) is the weight of those later than the share x, and its variance
//!
//! ```text
//! J^2 ((S(0) - m)^2 + m^2 + integral of (S - m)^2) / 3,   m = integral of S
//! ```
//!
//! For the impulse over the length L that is an error of J L/2 either way for two thirds of jumps.
//!
//! Limits: one jump, within the burn. Several small ones, or a slow change, lie within the same bounds.

use super::baseline::Baseline;
use super::baseline_drift::{Course, Step};
use super::zero_fit::courses;
use crate::series::Series;
use crate::uncertainty::Term;

/// Firings in which the zero jumps.
const JUMPS_SHARE: f64 = 0.2;

/// What is less probable than this is left out of the mean.
const LEAST_PROBABILITY: f64 = 1e-3;

/// A jump of the zero within the burn.
#[derive(Debug, Clone)]
pub(super) struct Jump {
    /// How far, N, times how probable it is that there is one.
    pub size_n: f64,
    /// Root of the mean square of how far, N.
    pub rms_n: f64,
    /// Share of the burn that has passed at each reading.
    pub passed: Vec<f64>,
    /// The step from before the burn to after it that is no drift, N, and its standard uncertainty, read from the
    /// record alone; `None` without a baseline on both sides.
    pub step_n: Option<(f64, f64)>,
}

/// The course of the zero, with what of its step is a jump. With a step goes its standard uncertainty,
/// where it is known; `heated` is the share of the impulse that has been delivered, over the burn.
pub(super) fn course_and_jump(
    time_s: &[f64],
    baseline: &Baseline,
    burn_s: (f64, f64),
    heated: &Series,
    (step, known_u_n): (Step, f64),
) -> Option<(Course, Jump)> {
    let passed = |time: &f64| ((time - burn_s.0) / (burn_s.1 - burn_s.0)).clamp(0.0, 1.0);
    let mut jump = Jump {
        size_n: 0.0,
        rms_n: 0.0,
        passed: time_s.iter().map(passed).collect(),
        step_n: None,
    };
    if baseline.before.is_none() || baseline.after.is_none() {
        let only = courses(baseline, burn_s, heated, &[step])?;
        return Some((only.into_iter().next()?, jump));
    }
    let both = [Step::Free, step];
    let asked = if step == Step::Free {
        &both[..1]
    } else {
        &both
    };
    let mut found = courses(baseline, burn_s, heated, asked)?.into_iter();
    let free = found.next()?;
    jump.step_n = Some((free.step_n(), free.step_u_n()));
    let Step::Known(known_n) = step else {
        return Some((free, jump));
    };
    // Where the record tells the step better than was known, nothing is lost by reading it.
    let known = if known_u_n > free.step_u_n() {
        free.clone()
    } else {
        found.next()?
    };
    let size_n = free.step_n() - known_n;
    let blocks = baseline.blocks().len() as f64;
    let jumps = probability(size_n / free.step_u_n().hypot(known_u_n), blocks);
    jump.size_n = jumps * size_n;
    jump.rms_n = jumps.sqrt() * size_n.abs();
    Some((known.mixed(&free, jumps), jump))
}

/// How probable a jump is where the step is so many standard uncertainties off from what is known of it.
fn probability(off: f64, blocks: f64) -> f64 {
    let odds = JUMPS_SHARE / (1.0 - JUMPS_SHARE) / (blocks + 1.0).sqrt()
        * (0.5 * off * off * blocks / (blocks + 1.0)).exp();
    let probability = if odds.is_finite() {
        odds / (1.0 + odds)
    } else {
        1.0
    };
    if probability < LEAST_PROBABILITY {
        0.0
    } else if probability > 1.0 - LEAST_PROBABILITY {
        1.0
    } else {
        probability
    }
}

impl Jump {
    /// Share of the whole step at each reading: the known one goes with the impulse, the jump with time.
    pub(super) fn share_of_step(&self, weight_n: f64, delivered: &[f64]) -> Vec<f64> {
        let whole_n = weight_n + self.size_n;
        if self.size_n == 0.0 || whole_n == 0.0 {
            return delivered.to_vec();
        }
        let share = |(q, passed): (&f64, &f64)| (weight_n * q + self.size_n * passed) / whole_n;
        delivered.iter().zip(&self.passed).map(share).collect()
    }

    /// What a jump at an unknown time does to a weighted sum of readings.
    pub(super) fn term(&self, weights: &[f64]) -> Term {
        let all: f64 = weights.iter().sum();
        let (mut later, mut mean, mut square, mut before) = (all, 0.0, 0.0, 0.0);
        for (weight, passed) in weights.iter().zip(&self.passed) {
            mean += later * (passed - before);
            square += later * later * (passed - before);
            before = *passed;
            later -= weight;
        }
        let within = (square - mean * mean).max(0.0);
        let variance = ((all - mean).powi(2) + mean * mean + within) / 3.0;
        Term::random("zero that moved in the burn", self.rms_n * variance.sqrt()).ends()
    }

    /// Its standard uncertainty at a share of the burn, N.
    #[inline]
    pub(super) fn u_n(&self, passed: f64) -> f64 {
        let within = passed * (1.0 - passed);
        if within <= 0.0 {
            return 0.0;
        }
        let square = (1.0 - passed).powi(2) + passed.powi(2) + within;
        self.rms_n * (square / 3.0).sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn jump(size_n: f64, count: usize) -> Jump {
        let passed = (0..count)
            .map(|at| at as f64 / (count - 1) as f64)
            .collect();
        Jump {
            size_n,
            rms_n: size_n.abs(),
            passed,
            step_n: None,
        }
    }

    // Own computation: of an area over a length L the mean is J L/2, so J L/2 at each end and a rectangle between,
    // J L sqrt(1/4 2/3 + 1/36); of one reading at share a the ends leave (1 - a) J and a J, what lies between J sqrt(a (1 - a)).
    #[test]
    fn a_jump_has_ends_for_the_area_and_a_coin_for_a_reading() {
        let weights = vec![2.0 / 2000.0; 2001];
        assert_relative_eq!(
            jump(3.0, 2001).term(&weights).u,
            3.0 * 2.0 * (0.25 * 2.0 / 3.0 + 1.0 / 36.0_f64).sqrt(),
            max_relative = 2e-3
        );
        let mut one = vec![0.0; 2001];
        one[500] = 1.0;
        let alone = (0.75_f64.powi(2) + 0.25_f64.powi(2) + 0.25 * 0.75) / 3.0;
        assert_relative_eq!(
            jump(3.0, 2001).term(&one).u,
            3.0 * alone.sqrt(),
            max_relative = 1e-9
        );
        assert_relative_eq!(jump(3.0, 2001).u_n(0.25), 3.0 * alone.sqrt());
        assert_relative_eq!(jump(0.0, 2001).term(&weights).u, 0.0);
        assert_eq!(jump(3.0, 2001).u_n(1.0), 0.0);
    }

    // By hand: odds 1/4 / sqrt(37) times e^0, and times e^(8 36/37) at four standard uncertainties.
    #[test]
    fn a_step_that_is_known_is_no_jump_and_one_far_off_is() {
        assert_relative_eq!(probability(0.0, 36.0), 0.0411 / 1.0411, max_relative = 1e-3);
        assert_relative_eq!(probability(4.0, 36.0), 98.7 / 99.7, max_relative = 1e-3);
        assert_eq!(probability(1e3, 36.0), 1.0);
    }

    #[test]
    fn the_step_is_shared_between_what_burnt_and_what_jumped() {
        let half = jump(1.0, 3).share_of_step(3.0, &[0.0, 0.9, 1.0]);
        assert_eq!(half, [0.0, (2.7 + 0.5) / 4.0, 1.0]);
        assert_eq!(
            jump(0.0, 3).share_of_step(3.0, &[0.0, 0.9, 1.0]),
            [0.0, 0.9, 1.0]
        );
    }
}
