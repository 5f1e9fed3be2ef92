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

impl Course {
    /// A zero that was stated, the same throughout.
    pub(super) fn stated((zero_n, u_n): (f64, f64), burn_s: (f64, f64), step: Step) -> Self {
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
    #[inline]
    pub(crate) fn at(&self, time_s: f64) -> f64 {
        let [(a, share_a), (b, share_b)] = self.beside(time_s);
        self.value_n[a] * share_a + self.value_n[b] * share_b
    }

    /// The nodes on either side of a time, and the share of each.
    #[must_use]
    #[inline]
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
    #[inline]
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
