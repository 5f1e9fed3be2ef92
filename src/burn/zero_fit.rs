//! The rest on either side of a burn, fitted under each law that may have moved the zero ([`super::zero_law`]).
//!
//! Generalised least squares and best linear unbiased prediction (Rasmussen & Williams 2006, 2.7), averaged by restricted likelihood
//! (Patterson & Thompson 1971); the model stands at the head of [`super::baseline_drift`]. What moved the zero is the same whether
//! the step is known or not, so both share their factors.

use std::cell::OnceCell;

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

use super::baseline::Baseline;
use super::baseline_drift::{Course, NODES, Step};
use super::zero_law::{self, Hypothesis, Law};
use crate::series::Series;

/// Hypotheses are taken, the likeliest first, until no more than this share of the probability is left.
const LEFT_OUT: f64 = 0.005;

/// A load that no cell can tell from none, N.
const NOTHING_N: f64 = 1e-9;

/// Relative size of the last bit: what is left of readings that do not scatter at all.
const NO_SCATTER: f64 = 1e-12;

/// The line reaches at least this far beyond the burn, s: smoke and ringing may be measurable there.
const BEYOND_S: f64 = 0.3;

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

/// The baseline as the model wants it.
pub(super) struct Rest {
    time_s: Vec<f64>,
    length_s: Vec<f64>,
    count: Vec<f64>,
    after: Vec<bool>,
    mean_n: DVector<f64>,
    node_s: Vec<f64>,
    both: bool,
    laws: Vec<Law>,
}

/// What a step leaves to be fitted.
struct Problem {
    step: Step,
    mean_n: DVector<f64>,
    /// Columns of the regression: constant, slope, step.
    columns: DMatrix<f64>,
    /// The same columns at the nodes, and for the step itself.
    node_columns: DMatrix<f64>,
}

/// How one hypothesis fits the rest.
struct Fit {
    /// Inverse of the normal matrix of the columns.
    back: DMatrix<f64>,
    /// Coefficients of the columns for a unit of each block.
    coefficients: DMatrix<f64>,
    reading_variance_n2: f64,
    /// Logarithm of its restricted likelihood times what it was likely beforehand.
    log_weight: f64,
}

/// What moved the zero, between blocks and nodes, under one hypothesis, over the variance of a reading.
struct Moved {
    /// Of the nodes by the blocks.
    by_blocks: DMatrix<f64>,
    /// Covariance of the nodes that the blocks leave, before columns are fitted.
    left: DMatrix<f64>,
}

/// Covariances of a law: between blocks and nodes, and between nodes.
struct Covariances {
    to_blocks: DMatrix<f64>,
    of_nodes: DMatrix<f64>,
}

impl Rest {
    /// `None` without rest. `heated` is the share of the impulse that has been delivered, over the burn.
    pub(super) fn of(line: &Baseline, burn_s: (f64, f64), heated: &Series) -> Option<Self> {
        let blocks = line.blocks();
        let (first, last) = (blocks.first()?.0.time_s, blocks.last()?.0.time_s);
        let (from, to) = (
            first.min(burn_s.0 - BEYOND_S),
            last.max(burn_s.1 + BEYOND_S),
        );
        let lasts_s = |after: bool| {
            let times = || blocks.iter().filter(|one| one.1 == after);
            let ends = times().next().zip(times().next_back());
            ends.map_or(0.0, |(first, last)| last.0.time_s - first.0.time_s)
        };
        let node = |at: usize| from + (to - from) * at as f64 / (NODES - 1) as f64;
        Some(Self {
            time_s: blocks.iter().map(|one| one.0.time_s).collect(),
            length_s: blocks.iter().map(|one| one.0.length_s).collect(),
            count: blocks.iter().map(|one| one.0.rows.len() as f64).collect(),
            after: blocks.iter().map(|one| one.1).collect(),
            mean_n: DVector::from_iterator(blocks.len(), blocks.iter().map(|one| one.0.mean_n)),
            node_s: (0..NODES).map(node).collect(),
            both: line.before.is_some() && line.after.is_some(),
            laws: zero_law::laws(heated, (lasts_s(false), lasts_s(true))),
        })
    }

    /// The course of the zero for each of some steps; `None` where the rest is too short for one.
    pub(super) fn courses(&self, steps: &[Step]) -> Option<Vec<Course>> {
        let problems: Vec<Problem> = steps
            .iter()
            .map(|step| self.problem(*step))
            .collect::<Option<_>>()?;
        let blocks: Vec<DMatrix<f64>> = self.laws.iter().map(|law| self.at_blocks(law)).collect();
        let mut tried: Vec<(Hypothesis, Cholesky<f64, Dyn>, Vec<Fit>)> = Vec::new();
        for one in zero_law::hypotheses(&self.laws) {
            let Some(factor) = self.factor(&one, &blocks) else {
                continue;
            };
            let fits = problems
                .iter()
                .map(|problem| fit(problem, &factor, one.log_prior, self.count[0]));
            if let Some(fits) = fits.collect::<Option<Vec<Fit>>>() {
                tried.push((one, factor, fits));
            }
        }
        let chosen: Vec<Vec<f64>> = (0..steps.len())
            .map(|step| weights(tried.iter().map(|one| one.2[step].log_weight)))
            .collect();
        let mut sums: Vec<Sum> = problems
            .iter()
            .map(|_| Sum::new(self.count.len()))
            .collect();
        let nodes: Vec<OnceCell<Covariances>> = self.laws.iter().map(|_| OnceCell::new()).collect();
        for (at, (one, factor, fits)) in tried.iter().enumerate() {
            if chosen.iter().all(|weights| weights[at] <= 0.0) {
                continue;
            }
            let moved = self.moved(one, factor, &nodes);
            for (step, sum) in sums.iter_mut().enumerate() {
                if chosen[step][at] > 0.0 {
                    sum.add(chosen[step][at], &problems[step], &fits[step], &moved);
                }
            }
        }
        let done = problems.iter().zip(sums);
        Some(
            done.map(|(problem, sum)| self.course(problem, sum))
                .collect(),
        )
    }

    fn problem(&self, step: Step) -> Option<Problem> {
        let count = self.time_s.len();
        let free = self.both && step == Step::Free;
        // One side alone cannot tell a slope well enough to prolong it through a burn.
        let width = 1 + usize::from(self.both) + usize::from(free);
        let middle = 0.5 * (self.time_s[0] + self.time_s[count - 1]);
        let known_n = match step {
            Step::Known(size_n) => size_n,
            Step::Free => 0.0,
        };
        let column = |at: usize, time: f64, after: f64| match at {
            0 => 1.0,
            1 if self.both => time - middle,
            _ => after,
        };
        let after = |row: usize| f64::from(u8::from(self.after[row]));
        (count > width).then(|| Problem {
            step,
            mean_n: DVector::from_fn(count, |row, _| self.mean_n[row] - known_n * after(row)),
            columns: DMatrix::from_fn(count, width, |row, at| {
                column(at, self.time_s[row], after(row))
            }),
            node_columns: DMatrix::from_fn(NODES + 1, width, |row, at| {
                if row < NODES {
                    column(at, self.node_s[row], 0.0)
                } else {
                    f64::from(u8::from(free && at == width - 1))
                }
            }),
        })
    }

    /// Where a walk starts, s.
    fn start_s(&self) -> f64 {
        self.node_s[0] - self.length_s[0]
    }

    /// Covariance of a law between blocks.
    fn at_blocks(&self, law: &Law) -> DMatrix<f64> {
        let count = self.time_s.len();
        let start_s = self.start_s();
        let mut out = DMatrix::zeros(count, count);
        for a in 0..count {
            for b in 0..=a {
                let moved = law.covariance(self.time_s[a], self.time_s[b], start_s);
                (out[(a, b)], out[(b, a)]) = (moved, moved);
            }
            if matches!(law, Law::Walk) {
                // A mean over a block varies by a sixth of its length less than its middle does.
                out[(a, a)] -= self.length_s[a] / 6.0;
            }
        }
        out
    }

    /// Each law of a hypothesis with its variance over that of a reading.
    fn parts(&self, of: &Hypothesis) -> impl Iterator<Item = (usize, f64)> + use<> {
        let length_s = self.time_s.last().unwrap_or(&0.0) - self.time_s.first().unwrap_or(&0.0);
        let per_reading = self.count.len() as f64 / self.count.iter().sum::<f64>();
        let walked = per_reading / length_s.max(f64::MIN_POSITIVE);
        let size = of.size;
        let law = of
            .law
            .map(|at| (at, size * if at == WALK { walked } else { per_reading }));
        law.into_iter()
            .chain((of.walk > 0.0).then_some((WALK, of.walk * walked)))
    }

    fn factor(&self, of: &Hypothesis, blocks: &[DMatrix<f64>]) -> Option<Cholesky<f64, Dyn>> {
        let noise = DVector::from_iterator(self.count.len(), self.count.iter().map(|n| 1.0 / n));
        let mut matrix = DMatrix::from_diagonal(&noise);
        for (law, ratio) in self.parts(of) {
            matrix.zip_apply(&blocks[law], |sum, moved| *sum += ratio * moved);
        }
        matrix.cholesky()
    }

    /// Covariances of a law at the nodes; the step does not move.
    fn at_nodes(&self, law: &Law) -> Covariances {
        let start_s = self.start_s();
        let between = |a_s: f64, b_s: f64| law.covariance(a_s, b_s, start_s);
        let mut of_nodes = DMatrix::zeros(NODES + 1, NODES + 1);
        let mut to_blocks = DMatrix::zeros(NODES + 1, self.count.len());
        for (a, at_s) in self.node_s.iter().enumerate() {
            for (b, block_s) in self.time_s.iter().enumerate() {
                to_blocks[(a, b)] = between(*at_s, *block_s);
            }
            for b in 0..=a {
                of_nodes[(a, b)] = between(*at_s, self.node_s[b]);
            }
        }
        of_nodes.fill_upper_triangle_with_lower_triangle();
        Covariances {
            to_blocks,
            of_nodes,
        }
    }

    fn moved(
        &self,
        of: &Hypothesis,
        factor: &Cholesky<f64, Dyn>,
        nodes: &[OnceCell<Covariances>],
    ) -> Moved {
        let mut to_blocks = DMatrix::zeros(NODES + 1, self.count.len());
        let mut left = DMatrix::zeros(NODES + 1, NODES + 1);
        for (law, ratio) in self.parts(of) {
            let nodes = nodes[law].get_or_init(|| self.at_nodes(&self.laws[law]));
            to_blocks.zip_apply(&nodes.to_blocks, |sum, moved| *sum += ratio * moved);
            left.zip_apply(&nodes.of_nodes, |sum, moved| *sum += ratio * moved);
        }
        let by_blocks = factor.solve(&to_blocks.transpose()).transpose();
        left -= &by_blocks * to_blocks.transpose();
        Moved { by_blocks, left }
    }

    fn course(&self, problem: &Problem, sum: Sum) -> Course {
        let Sum {
            mut value_n,
            mut covariance,
            influence,
            reading_variance_n2,
        } = sum;
        covariance -= &value_n * value_n.transpose();
        let by_step = (0..=NODES).map(|row| match problem.step {
            Step::Free => 0.0,
            Step::Known(_) if row == NODES => 1.0,
            Step::Known(_) => (0..self.after.len())
                .filter(|block| self.after[*block])
                .map(|block| -influence[(row, block)])
                .sum(),
        });
        let by_step = by_step.collect();
        if let Step::Known(size_n) = problem.step {
            value_n[NODES] = size_n;
        }
        Course {
            node_s: self.node_s.clone(),
            value_n: value_n.iter().copied().collect(),
            covariance,
            influence,
            by_step,
            reading_variance_n2,
            freedom: (self.count.len() - problem.columns.ncols()) as f64,
        }
    }
}

/// Place of the walk among the laws.
const WALK: usize = 0;

/// Generalised least squares under one hypothesis, and its restricted likelihood.
fn fit(
    problem: &Problem,
    factor: &Cholesky<f64, Dyn>,
    log_prior: f64,
    first_count: f64,
) -> Option<Fit> {
    let Problem {
        mean_n, columns, ..
    } = problem;
    let solved_columns = factor.solve(columns);
    let normal = (columns.transpose() * &solved_columns).cholesky()?;
    let back = normal.inverse();
    let coefficients = &back * solved_columns.transpose();
    let residual = mean_n - columns * (&coefficients * mean_n);
    let floor = NO_SCATTER * mean_n.amax().max(NOTHING_N);
    let mut whitened = residual;
    factor.l_dirty().solve_lower_triangular_mut(&mut whitened);
    let sum = whitened.norm_squared().max(floor * floor * first_count);
    let freedom = (mean_n.len() - columns.ncols()) as f64;
    let logs = |l: &DMatrix<f64>| l.diagonal().iter().map(|d| d.ln()).sum::<f64>();
    let likelihood = -logs(factor.l_dirty()) - logs(normal.l_dirty()) - 0.5 * freedom * sum.ln();
    Some(Fit {
        log_weight: likelihood + log_prior,
        reading_variance_n2: sum / freedom,
        back,
        coefficients,
    })
}

/// Shares of probability from logarithms of weights; 0 for what is left out.
fn weights(logs: impl Iterator<Item = f64>) -> Vec<f64> {
    let logs: Vec<f64> = logs.collect();
    let best = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let raw: Vec<f64> = logs.iter().map(|log| (log - best).exp()).collect();
    let mut order: Vec<usize> = (0..raw.len()).collect();
    order.sort_by(|a, b| raw[*b].total_cmp(&raw[*a]));
    let enough = (1.0 - LEFT_OUT) * raw.iter().sum::<f64>();
    let (mut out, mut sum) = (vec![0.0; raw.len()], 0.0);
    for at in order {
        if sum >= enough {
            break;
        }
        out[at] = raw[at];
        sum += raw[at];
    }
    out.iter_mut().for_each(|weight| *weight /= sum);
    out
}

/// Weighted sums over hypotheses: of the line, of its square with its covariance, of its change by the blocks.
struct Sum {
    value_n: DVector<f64>,
    covariance: DMatrix<f64>,
    influence: DMatrix<f64>,
    reading_variance_n2: f64,
}

impl Sum {
    fn new(blocks: usize) -> Self {
        Self {
            value_n: DVector::zeros(NODES + 1),
            covariance: DMatrix::zeros(NODES + 1, NODES + 1),
            influence: DMatrix::zeros(NODES + 1, blocks),
            reading_variance_n2: 0.0,
        }
    }

    /// Adds the best linear unbiased prediction under one hypothesis.
    fn add(&mut self, weight: f64, problem: &Problem, fit: &Fit, moved: &Moved) {
        let left = &problem.node_columns - &moved.by_blocks * &problem.columns;
        let influence = &moved.by_blocks + &left * &fit.coefficients;
        let value_n = &influence * &problem.mean_n;
        let variance = weight * fit.reading_variance_n2;
        self.covariance
            .gemm(variance, &(&left * &fit.back), &left.transpose(), 1.0);
        self.covariance
            .zip_apply(&moved.left, |sum, one| *sum += variance * one);
        self.covariance.ger(weight, &value_n, &value_n, 1.0);
        self.value_n.axpy(weight, &value_n, 1.0);
        self.influence
            .zip_apply(&influence, |sum, one| *sum += weight * one);
        self.reading_variance_n2 += variance;
    }
}
