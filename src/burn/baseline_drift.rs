//! The baseline through the burn, from the baseline on either side of it, and how sure it is.
//!
//! Nobody sees the baseline while the motor burns. What is known of it is a model: a straight line, plus what moves by a law,
//! under white noise, plus a step for the propellant that is gone,
//!
//! ```text
//! y_k = b0 + b1 t_k + s h_k + w(t_k) + e_k,   cov w(t), w(t') = r v/n k(t, t'),   var e_k = v/n_k
//! ```
//!
//! for the mean y_k of block k of n_k readings, with h_k = 1 after the burn (with a walk for the law, the local level model of
//! structural time series: Harvey, Forecasting, Structural Time Series Models and the Kalman Filter,
//! 1989, ch. 2). Any such zero is tied at both ends and is least known in the middle of the burn:
//! a drift that is not straight shows as one, and costs what it should. The line is the best
//! linear unbiased prediction (Rasmussen & Williams, Gaussian Processes for Machine Learning, 2006,
//! 2.7). Which law moved it, and how far, is not known either: the prediction is averaged over laws and sizes
//! ([`super::zero_law`]), weighted by the restricted likelihood (Patterson & Thompson, Biometrika 58, 1971).
//!
//! Limits: the law is the same before, during and after the burn.

use nalgebra::{DMatrix, DVector};

use super::baseline::Baseline;
use super::zero_fit::Rest;
use crate::series::Series;
use crate::uncertainty::Term;

/// Times at which the line is predicted.
pub(super) const NODES: usize = 48;

/// The line reaches at least this far beyond the burn, s: smoke and ringing may be measurable there.
const BEYOND_S: f64 = 0.3;

/// What is known of the step that the propellant's weight leaves.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Step {
    /// Its size, N: by weighing, or zero where weight does not act along thrust.
    Known(f64),
    /// To be read from the record.
    Free,
}

/// The baseline without the step, and the step.
#[derive(Debug, Clone)]
pub(crate) struct Course {
    /// Times of the nodes, s.
    pub node_s: Vec<f64>,
    /// Zero line at the nodes, N, and after them the step, N.
    pub value_n: Vec<f64>,
    /// Their covariance, N2, of noise and walk.
    pub covariance: DMatrix<f64>,
    /// Their change for 1 N more in each block.
    pub influence: DMatrix<f64>,
    /// Their change for 1 N more of a known step.
    pub by_step: Vec<f64>,
    /// Variance of one reading, N2, as far as it averages out: noise with its short correlation.
    pub reading_variance_n2: f64,
    /// Degrees of freedom of the covariance.
    pub freedom: f64,
}

/// Predicts the baseline through a burn between two times, s, for each of some steps; `None` without a baseline on either side.
/// `heated` is the share of the impulse that has been delivered, over the burn.
#[must_use]
pub(crate) fn courses(
    line: &Baseline,
    burn_s: (f64, f64),
    heated: &Series,
    steps: &[Step],
) -> Option<Vec<Course>> {
    if let Some(zero) = line.declared {
        return Some(
            steps
                .iter()
                .map(|step| Course::stated(zero, burn_s, *step))
                .collect(),
        );
    }
    Rest::of(line, burn_s, heated)?.courses(steps)
}

impl Course {
    /// A zero that was stated, the same throughout.
    fn stated((zero_n, u_n): (f64, f64), burn_s: (f64, f64), step: Step) -> Self {
        let (from, to) = (burn_s.0 - BEYOND_S, burn_s.1 + BEYOND_S);
        let node = |at: usize| from + (to - from) * at as f64 / (NODES - 1) as f64;
        let step_n = match step {
            Step::Known(size_n) => size_n,
            Step::Free => 0.0,
        };
        let line = |at: usize| if at < NODES { u_n } else { 0.0 };
        let mut value_n = vec![zero_n; NODES];
        value_n.push(step_n);
        let mut by_step = vec![0.0; NODES];
        by_step.push(f64::from(u8::from(step != Step::Free)));
        Self {
            node_s: (0..NODES).map(node).collect(),
            value_n,
            covariance: DMatrix::from_fn(NODES + 1, NODES + 1, |a, b| line(a) * line(b)),
            influence: DMatrix::zeros(NODES + 1, 0),
            by_step,
            reading_variance_n2: 0.0,
            freedom: f64::INFINITY,
        }
    }

    /// The mean over this course and another one of so great a probability: what lies between them adds to the covariance.
    #[must_use]
    pub(super) fn mixed(mut self, other: &Self, probability: f64) -> Self {
        if probability <= 0.0 {
            return self;
        }
        if probability >= 1.0 {
            return other.clone();
        }
        let (this, that) = (1.0 - probability, probability);
        let mean = |a: f64, b: f64| this * a + that * b;
        let apart: DVector<f64> =
            DVector::from_column_slice(&other.value_n) - DVector::from_column_slice(&self.value_n);
        self.covariance = this * self.covariance
            + that * &other.covariance
            + (this * that) * &apart * apart.transpose();
        self.influence = this * self.influence + that * &other.influence;
        for (a, b) in self.value_n.iter_mut().zip(&other.value_n) {
            *a = mean(*a, *b);
        }
        for (a, b) in self.by_step.iter_mut().zip(&other.by_step) {
            *a = mean(*a, *b);
        }
        self.reading_variance_n2 = mean(self.reading_variance_n2, other.reading_variance_n2);
        self.freedom = self.freedom.min(other.freedom);
        self
    }

    /// The line without the step at a time, N; the ends are kept beyond the nodes.
    #[must_use]
    pub(crate) fn at(&self, time_s: f64) -> f64 {
        let [(a, share_a), (b, share_b)] = self.beside(time_s);
        self.value_n[a] * share_a + self.value_n[b] * share_b
    }

    /// The nodes on either side of a time, and the share of each.
    #[must_use]
    pub(crate) fn beside(&self, time_s: f64) -> [(usize, f64); 2] {
        let last = self.node_s.len() - 1;
        let step_s = (self.node_s[last] - self.node_s[0]) / last as f64;
        let at = ((time_s - self.node_s[0]) / step_s).clamp(0.0, last as f64);
        let low = (at.floor() as usize).min(last - 1);
        let part = at - low as f64;
        [(low, 1.0 - part), (low + 1, part)]
    }

    /// How a sum of values, each weighted and less the line at its time, hangs on the nodes; the last
    /// entry is for the step, whose share at each time is `after`, and stays zero without it.
    #[must_use]
    pub(crate) fn owed(&self, time_s: &[f64], weights: &[f64], after: Option<&[f64]>) -> Vec<f64> {
        let mut out = vec![0.0; self.value_n.len()];
        let step = out.len() - 1;
        for (row, weight) in weights.iter().enumerate().filter(|(_, w)| **w != 0.0) {
            for (node, share) in self.beside(time_s[row]) {
                out[node] -= weight * share;
            }
            out[step] -= weight * after.map_or(0.0, |after| after[row]);
        }
        out
    }

    /// Term of such a sum.
    #[must_use]
    pub(crate) fn term(&self, source: &str, owed: &[f64]) -> Term {
        let mut sum = 0.0;
        for (a, weight_a) in owed.iter().enumerate().filter(|(_, w)| **w != 0.0) {
            for (b, weight_b) in owed.iter().enumerate() {
                sum += weight_a * weight_b * self.covariance[(a, b)];
            }
        }
        Term::random(source, sum.max(0.0).sqrt()).with_freedom(self.freedom)
    }

    /// Weight of each block of rest in such a sum.
    #[must_use]
    pub(crate) fn on_blocks(&self, owed: &[f64]) -> Vec<f64> {
        let columns = self.influence.column_iter();
        columns
            .map(|column| column.iter().zip(owed).map(|(i, w)| i * w).sum())
            .collect()
    }

    /// The step, N.
    #[must_use]
    pub(crate) fn step_n(&self) -> f64 {
        self.value_n[self.node_s.len()]
    }

    /// Standard uncertainty of the step, N, where it is read from the record.
    #[must_use]
    pub(crate) fn step_u_n(&self) -> f64 {
        let at = self.node_s.len();
        self.covariance[(at, at)].max(0.0).sqrt()
    }

    /// Standard uncertainty of the line at a time, N.
    #[must_use]
    pub(crate) fn u_n(&self, time_s: f64) -> f64 {
        let beside = self.beside(time_s);
        let mut sum = 0.0;
        for (a, share_a) in beside {
            for (b, share_b) in beside {
                sum += share_a * share_b * self.covariance[(a, b)];
            }
        }
        sum.max(0.0).sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::super::baseline;
    use super::*;
    use crate::studies::study;
    use rand::{RngExt, SeedableRng, rngs::ChaCha8Rng};

    const BURN_S: (f64, f64) = (4.0, 6.0);

    /// Ten seconds of rest at 200 Hz with a burn cut out of it: a line, a walk, noise, a step.
    fn record(seed: u64, slope: f64, walk: f64, step_n: f64) -> (Vec<f64>, Vec<f64>, Vec<f64>) {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let mut normal = || (0..12).map(|_| random.random::<f64>()).sum::<f64>() - 6.0;
        let time: Vec<f64> = (0..2000).map(|i| f64::from(i) * 0.005).collect();
        let mut zero = vec![3.0];
        for _ in 1..time.len() {
            let before = zero[zero.len() - 1];
            zero.push(before + slope * 0.005 + walk * 0.005_f64.sqrt() * normal());
        }
        let load = time
            .iter()
            .zip(&zero)
            .map(|(t, z)| {
                let burning = if BURN_S.0 < *t && *t < BURN_S.1 {
                    90.0
                } else {
                    0.0
                };
                z + burning + 0.02 * normal() + if *t > 5.0 { step_n } else { 0.0 }
            })
            .collect();
        (time, load, zero)
    }

    fn of_record(time: &[f64], load: &[f64], step: Step) -> Course {
        let line = baseline::find(time, load, &(800..1200));
        let evenly = Series::new(&[BURN_S.0, BURN_S.1], &[0.0, 1.0]);
        let mut courses = courses(&line, BURN_S, &evenly, &[step]).unwrap();
        courses.remove(0)
    }

    /// Mean of the line over the burn: its error and its stated variance.
    fn mean_error(course: &Course, time: &[f64], zero: &[f64]) -> (f64, f64) {
        let rows = 800..1200;
        let mut weights = vec![0.0; course.node_s.len()];
        let mut error = 0.0;
        for row in rows.clone() {
            let share = 1.0 / rows.len() as f64;
            error += share * (course.at(time[row]) - zero[row]);
            for (node, part) in course.beside(time[row]) {
                weights[node] += share * part;
            }
        }
        let mut variance = 0.0;
        for (a, weight_a) in weights.iter().enumerate() {
            for (b, weight_b) in weights.iter().enumerate() {
                variance += weight_a * weight_b * course.covariance[(a, b)];
            }
        }
        (error, variance)
    }

    // Simulated lines, straight, walking and both, the step known or not. Of 200 intervals of 95 % each
    // 190 should hold the truth; fewer than 180 or more than 198 come once in 500 at most (binomial).
    #[test]
    fn the_line_through_the_burn_is_as_sure_as_it_says() {
        for (slope, walk, step) in [
            (0.0, 0.0, Step::Known(0.0)),
            (0.05, 0.0, Step::Known(0.2)),
            (0.02, 0.02, Step::Known(0.2)),
            (0.0, 0.1, Step::Free),
        ] {
            let step_n = match step {
                Step::Known(size) => size,
                Step::Free => 0.2,
            };
            let (seeds, wider) = study(40, 200);
            let mut inside = 0.0;
            let mut sum = 0.0;
            for seed in 0..seeds {
                let (time, load, zero) = record(seed, slope, walk, step_n);
                let course = of_record(&time, &load, step);
                let (error, variance) = mean_error(&course, &time, &zero);
                sum += error / variance.sqrt();
                inside += f64::from(u8::from(error.abs() < 2.03 * variance.sqrt()));
            }
            // Where nothing walks the line cannot know that, and is a little less sure than it could be.
            let most = if walk == 0.0 {
                1.0
            } else {
                0.95 + 0.04 * wider
            };
            let share = inside / seeds as f64;
            assert!(
                (0.95 - 0.05 * wider..=most).contains(&share),
                "{inside} of {seeds} at {slope}, {walk}"
            );
            let bias = sum / seeds as f64;
            assert!(bias.abs() < 0.25 * wider, "bias {bias} u");
        }
    }

    // Two quiet sides at 1 and 2 N with a known step of 1 N: the line is flat at 1 N, and a step wrong
    // by 1 N tilts it by half of that in the middle.
    #[test]
    fn a_known_step_is_taken_off_and_its_error_carried() {
        let (time, mut load, _) = record(1, 0.0, 0.0, 0.0);
        for (load, time) in load.iter_mut().zip(&time) {
            *load = if *time > 5.0 { 2.0 } else { 1.0 };
        }
        let course = of_record(&time, &load, Step::Known(1.0));
        assert!((course.at(5.0) - 1.0).abs() < 1e-9 && course.u_n(5.0) < 1e-6);
        let [(node, _), _] = course.beside(5.0);
        assert!(
            (course.by_step[node] + 0.5).abs() < 0.05,
            "{}",
            course.by_step[node]
        );
        let free = of_record(&time, &load, Step::Free);
        assert!((free.step_n() - 1.0).abs() < 1e-9);
    }

    // The uncertainty at one time is that of a sum of one value, by the same covariance.
    #[test]
    fn the_uncertainty_at_a_time_is_that_of_a_sum_of_one() {
        let (time, load, _) = record(3, 0.02, 0.05, 0.0);
        let course = of_record(&time, &load, Step::Known(0.0));
        for at_s in [0.5, 4.97, 5.61] {
            let owed = course.owed(&[at_s], &[1.0], None);
            let term = course.term("baseline", &owed);
            approx::assert_relative_eq!(course.u_n(at_s), term.u, max_relative = 1e-12);
        }
        // It is least known in the middle of the burn.
        assert!(course.u_n(5.0) > course.u_n(4.2) && course.u_n(5.0) > course.u_n(5.8));
    }

    // 0.2 N of step under a walk of 0.05 N over a root second: errors of 60 seeds over their
    // uncertainty have a root mean square of 1 within 9 %; three of these.
    #[test]
    fn a_step_read_from_the_record_is_as_sure_as_it_says() {
        let (mut squares, mut sum) = (0.0, 0.0);
        for seed in 0..60 {
            let (time, load, _) = record(seed, 0.0, 0.05, 0.2);
            let course = of_record(&time, &load, Step::Free);
            let error = (course.step_n() - 0.2) / course.step_u_n();
            squares += error * error / 60.0;
            sum += error / 60.0;
        }
        assert!((0.73..1.27).contains(&squares.sqrt()), "{squares}");
        assert!(sum.abs() < 0.45, "{sum}");
    }
}
