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

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

use super::baseline::Baseline;
use super::zero_law::{self, Hypothesis, Law};
use crate::uncertainty::Term;

/// What is this much less likely than the likeliest is left out of the mean: its logarithm.
const LEAST_WEIGHT: f64 = -9.0;

/// A load that no cell can tell from none, N.
const NOTHING_N: f64 = 1e-9;

/// Times at which the line is predicted.
const NODES: usize = 72;

/// Relative size of the last bit: what is left of readings that do not scatter at all.
const NO_SCATTER: f64 = 1e-12;

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

/// Predicts the baseline through a burn between two times, s; `None` without a baseline on either side.
#[must_use]
pub(crate) fn course(line: &Baseline, burn_s: (f64, f64), step: Step) -> Option<Course> {
    if let Some(zero) = line.declared {
        return Some(Course::stated(zero, burn_s, step));
    }
    let rest = Rest::of(line, burn_s, step)?;
    let fits: Vec<(f64, Hypothesis, Fit)> = zero_law::hypotheses(burn_s)
        .into_iter()
        .filter_map(|one| {
            let fit = rest.fit(&one)?;
            Some((fit.log_likelihood + one.log_prior, one, fit))
        })
        .collect();
    let best = fits.iter().map(|one| one.0).reduce(f64::max)?;
    let likely = fits.iter().filter(|one| one.0 > best + LEAST_WEIGHT);
    let tried: Vec<(f64, Prediction)> = likely
        .map(|(log, one, fit)| ((log - best).exp(), rest.predict(one, fit)))
        .collect();
    rest.average(&tried, step)
}

/// The baseline as the model wants it.
struct Rest {
    time_s: Vec<f64>,
    length_s: Vec<f64>,
    count: Vec<f64>,
    after: Vec<bool>,
    mean_n: DVector<f64>,
    /// Columns of the regression: constant, slope, step.
    columns: DMatrix<f64>,
    node_s: Vec<f64>,
    /// The same columns at the nodes, and for the step itself.
    node_columns: DMatrix<f64>,
}

/// How one hypothesis fits the rest.
struct Fit {
    factor: Cholesky<f64, Dyn>,
    /// Inverse of the normal matrix of the columns.
    back: DMatrix<f64>,
    /// Coefficients of the columns for a unit of each block.
    coefficients: DMatrix<f64>,
    reading_variance_n2: f64,
    /// Restricted.
    log_likelihood: f64,
}

/// What one hypothesis predicts.
struct Prediction {
    value_n: DVector<f64>,
    /// Over the variance of a reading.
    covariance: DMatrix<f64>,
    influence: DMatrix<f64>,
    reading_variance_n2: f64,
}

impl Rest {
    fn of(line: &Baseline, burn_s: (f64, f64), step: Step) -> Option<Self> {
        let blocks = line.blocks();
        let (first, last) = (blocks.first()?.0.time_s, blocks.last()?.0.time_s);
        let both = line.before.is_some() && line.after.is_some();
        let free = both && step == Step::Free;
        // One side alone cannot tell a slope well enough to prolong it through a burn.
        let width = 1 + usize::from(both) + usize::from(free);
        let middle = 0.5 * (first + last);
        let known_n = match step {
            Step::Known(size_n) => size_n,
            Step::Free => 0.0,
        };
        let column = |at: usize, time: f64, after: f64| match at {
            0 => 1.0,
            1 if both => time - middle,
            _ => after,
        };
        let after = |row: usize| f64::from(u8::from(blocks[row].1));
        let columns = DMatrix::from_fn(blocks.len(), width, |row, at| {
            column(at, blocks[row].0.time_s, after(row))
        });
        let mean_n = DVector::from_fn(blocks.len(), |row, _| {
            blocks[row].0.mean_n - known_n * after(row)
        });
        let (from, to) = (
            first.min(burn_s.0 - BEYOND_S),
            last.max(burn_s.1 + BEYOND_S),
        );
        let node_s: Vec<f64> = (0..NODES)
            .map(|at| from + (to - from) * at as f64 / (NODES - 1) as f64)
            .collect();
        let node_columns = DMatrix::from_fn(NODES + 1, width, |row, at| {
            if row < NODES {
                column(at, node_s[row], 0.0)
            } else {
                f64::from(u8::from(free && at == width - 1))
            }
        });
        (blocks.len() > width).then(|| Self {
            time_s: blocks.iter().map(|one| one.0.time_s).collect(),
            length_s: blocks.iter().map(|one| one.0.length_s).collect(),
            count: blocks.iter().map(|one| one.0.rows.len() as f64).collect(),
            after: blocks.iter().map(|one| one.1).collect(),
            mean_n,
            columns,
            node_s,
            node_columns,
        })
    }

    /// Readings in a block, as a mean.
    fn block_count(&self) -> f64 {
        self.count.iter().sum::<f64>() / self.count.len() as f64
    }

    /// Where a walk starts, s.
    fn from_s(&self) -> f64 {
        self.node_s[0] - self.length_s[0]
    }

    /// Variances of a hypothesis' law and of the walk beside it, over that of a reading.
    fn ratios(&self, of: &Hypothesis) -> (f64, f64) {
        let length_s = self.time_s.last().unwrap_or(&0.0) - self.time_s.first().unwrap_or(&0.0);
        let per_reading = 1.0 / self.block_count();
        let walked = per_reading / length_s.max(f64::MIN_POSITIVE);
        let law = if of.law == Law::Walk {
            walked
        } else {
            per_reading
        };
        (of.size * law, of.walk * walked)
    }

    /// Covariance of the zero at two instants under a hypothesis, over the variance of a reading.
    fn moved(&self, of: &Hypothesis, a_s: f64, b_s: f64) -> f64 {
        let (law, walk) = self.ratios(of);
        let from_s = self.from_s();
        let mut sum = law * of.law.covariance(a_s, b_s, from_s);
        if walk > 0.0 {
            sum += walk * Law::Walk.covariance(a_s, b_s, from_s);
        }
        sum
    }

    fn factor(&self, of: &Hypothesis) -> Option<Cholesky<f64, Dyn>> {
        let count = self.count.len();
        let (law, walk) = self.ratios(of);
        let walks = if of.law == Law::Walk { law } else { walk };
        let mut matrix = DMatrix::zeros(count, count);
        for a in 0..count {
            for b in 0..=a {
                let moved = self.moved(of, self.time_s[a], self.time_s[b]);
                (matrix[(a, b)], matrix[(b, a)]) = (moved, moved);
            }
            // A mean over a block varies by a sixth of its length less than a walk's middle does.
            matrix[(a, a)] += 1.0 / self.count[a] - walks * self.length_s[a] / 6.0;
        }
        matrix.cholesky()
    }

    /// Generalised least squares under one hypothesis, and the logarithm of its restricted likelihood.
    fn fit(&self, of: &Hypothesis) -> Option<Fit> {
        let factor = self.factor(of)?;
        let solved_columns = factor.solve(&self.columns);
        let normal = (self.columns.transpose() * &solved_columns).cholesky()?;
        let back = normal.inverse();
        let coefficients = &back * solved_columns.transpose();
        let residual = &self.mean_n - &self.columns * (&coefficients * &self.mean_n);
        let floor = NO_SCATTER * self.mean_n.amax().max(NOTHING_N);
        let sum = residual
            .dot(&factor.solve(&residual))
            .max(floor * floor * self.count[0]);
        let freedom = (self.mean_n.len() - self.columns.ncols()) as f64;
        let logs = |l: &DMatrix<f64>| l.diagonal().iter().map(|d| d.ln()).sum::<f64>();
        Some(Fit {
            log_likelihood: -logs(factor.l_dirty())
                - logs(normal.l_dirty())
                - 0.5 * freedom * sum.ln(),
            reading_variance_n2: sum / freedom,
            factor,
            back,
            coefficients,
        })
    }

    /// Best linear unbiased prediction under one hypothesis.
    fn predict(&self, of: &Hypothesis, fit: &Fit) -> Prediction {
        let at = |node: usize| self.node_s.get(node);
        let to_blocks = DMatrix::from_fn(NODES + 1, self.count.len(), |node, block| {
            at(node).map_or(0.0, |time| self.moved(of, *time, self.time_s[block]))
        });
        let mut between_nodes = DMatrix::zeros(NODES + 1, NODES + 1);
        for a in 0..NODES {
            for b in 0..=a {
                let moved = self.moved(of, self.node_s[a], self.node_s[b]);
                (between_nodes[(a, b)], between_nodes[(b, a)]) = (moved, moved);
            }
        }
        let by_law = fit.factor.solve(&to_blocks.transpose()).transpose();
        let left = &self.node_columns - &by_law * &self.columns;
        let influence = &by_law + &left * &fit.coefficients;
        let covariance =
            between_nodes - &by_law * to_blocks.transpose() + &left * &fit.back * left.transpose();
        Prediction {
            value_n: &influence * &self.mean_n,
            covariance,
            influence,
            reading_variance_n2: fit.reading_variance_n2,
        }
    }

    /// The mean over hypotheses, each with its weight: variances within and between them add.
    fn average(&self, tried: &[(f64, Prediction)], step: Step) -> Option<Course> {
        let total: f64 = tried.iter().map(|one| one.0).sum();
        let (rows, blocks) = (NODES + 1, self.count.len());
        let mut value_n = DVector::zeros(rows);
        let mut covariance = DMatrix::zeros(rows, rows);
        let mut influence = DMatrix::zeros(rows, blocks);
        let mut variance = 0.0;
        for (weight, one) in tried {
            let share = weight / total;
            value_n += &one.value_n * share;
            influence += &one.influence * share;
            variance += one.reading_variance_n2 * share;
            covariance += &one.covariance * (share * one.reading_variance_n2)
                + &one.value_n * one.value_n.transpose() * share;
        }
        covariance -= &value_n * value_n.transpose();
        let by_step = (0..rows).map(|row| match step {
            Step::Free => 0.0,
            Step::Known(_) if row == NODES => 1.0,
            Step::Known(_) => (0..blocks)
                .filter(|block| self.after[*block])
                .map(|block| -influence[(row, block)])
                .sum(),
        });
        let by_step = by_step.collect();
        if let Step::Known(size_n) = step {
            value_n[NODES] = size_n;
        }
        Some(Course {
            node_s: self.node_s.clone(),
            value_n: value_n.iter().copied().collect(),
            covariance,
            influence,
            by_step,
            reading_variance_n2: variance,
            freedom: (blocks - self.columns.ncols()) as f64,
        })
    }
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
        course(&line, BURN_S, step).unwrap()
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
