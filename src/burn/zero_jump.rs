//! A zero that is another one after the burn, for no reason that is known.
//!
//! Rigs settle, cables are pulled, cells warm: the rest after a burn differs from the rest before it by more than drift
//! and the weight of the propellant explain. Nobody saw when. A jump J at a time T that is as likely anywhere in the
//! burn has at time t the mean J a(t), where a is the share of the burn that has passed, and the covariance
//!
//! ```text
//! cov(t, s) = J^2 (min(a(t), a(s)) - a(t) a(s))
//! ```
//!
//! that of a tied random walk. Of the impulse it is J (t2 - t1)/sqrt(12): a rectangle between a zero that changed at
//! once and one that changed at the end (JCGM 100:2008, 4.3.7).
//!
//! Limits: one jump, within the burn. Several small ones, or a slow change, lie within the same bounds.

use super::baseline::Baseline;
use super::baseline_drift::{Course, Step, course};
use crate::uncertainty::Term;

/// A step that differs from the one that is known by so many standard uncertainties is a jump.
const SURE_SDS: f64 = 3.0;

/// A jump of the zero within the burn.
#[derive(Debug, Clone)]
pub(super) struct Jump {
    /// How far, N; 0 where there is none.
    pub size_n: f64,
    /// Share of the burn that has passed at each reading.
    pub passed: Vec<f64>,
    /// The step from before the burn to after it that is no drift, N, and its standard uncertainty, read from the
    /// record alone; `None` without a baseline on both sides.
    pub step_n: Option<(f64, f64)>,
}

/// The course of the zero, with what of its step is a jump.
pub(super) fn course_and_jump(
    time_s: &[f64],
    baseline: &Baseline,
    burn_s: (f64, f64),
    step: Step,
) -> Option<(Course, Jump)> {
    let passed = |time: &f64| ((time - burn_s.0) / (burn_s.1 - burn_s.0)).clamp(0.0, 1.0);
    let mut jump = Jump {
        size_n: 0.0,
        passed: time_s.iter().map(passed).collect(),
        step_n: None,
    };
    if baseline.before.is_none() || baseline.after.is_none() {
        return Some((course(baseline, burn_s, step)?, jump));
    }
    let free = course(baseline, burn_s, Step::Free)?;
    jump.step_n = Some((free.step_n(), free.step_u_n()));
    let Step::Known(known_n) = step else {
        return Some((free, jump));
    };
    let known = course(baseline, burn_s, step)?;
    let size_n = free.step_n() - known_n;
    if size_n.abs() <= SURE_SDS * free.step_u_n() {
        return Some((known, jump));
    }
    jump.size_n = size_n;
    Some((free, jump))
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

    /// What a jump at an unknown time does to a weighted sum of readings: with S(x) the sum of the weights of the
    /// readings later than the share x, its variance is J^2 times the integral of S^2 less the square of that of S.
    pub(super) fn term(&self, weights: &[f64]) -> Term {
        let mut later: f64 = weights.iter().sum();
        let (mut mean, mut square, mut before) = (0.0, 0.0, 0.0);
        for (weight, passed) in weights.iter().zip(&self.passed) {
            mean += later * (passed - before);
            square += later * later * (passed - before);
            before = *passed;
            later -= weight;
        }
        let variance = (square - mean * mean).max(0.0);
        Term::random(
            "zero that moved in the burn",
            self.size_n.abs() * variance.sqrt(),
        )
        .limits()
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
            passed,
            step_n: None,
        }
    }

    // Own computation: of an area over a length L it is the sd of a rectangle, J L / sqrt(12); of one reading at
    // share a, J sqrt(a (1 - a)).
    #[test]
    fn a_jump_at_any_time_is_a_rectangle_for_the_area_and_a_coin_for_a_reading() {
        let weights = vec![2.0 / 2000.0; 2001];
        assert_relative_eq!(
            jump(3.0, 2001).term(&weights).u,
            3.0 * 2.0 / 12.0_f64.sqrt(),
            max_relative = 2e-3
        );
        let mut one = vec![0.0; 2001];
        one[500] = 1.0;
        assert_relative_eq!(
            jump(3.0, 2001).term(&one).u,
            3.0 * (0.25 * 0.75_f64).sqrt(),
            max_relative = 1e-9
        );
        assert_relative_eq!(jump(0.0, 2001).term(&weights).u, 0.0);
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
