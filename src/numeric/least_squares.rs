//! Nonlinear least squares within bounds.
//!
//! A trust-region form of Levenberg's and Marquardt's method (Moré, The Levenberg-Marquardt
//! algorithm, 1978): the step minimises the linearised sum of squares within a radius measured in
//! typical sizes of the parameters. The Jacobian is reduced by QR and the small triangle by
//! singular values, so the condition number is never squared and a parameter without effect does
//! no harm. Bounds: a parameter that stands on a bound and wants to leave is held, the step of the
//! others is cut at the box (projection; Kanzow, Yamashita & Fukushima 2004). How a search ended
//! is judged by the angle between residuals and Jacobian (Dennis, Gay & Welsch 1981).
//!
//! Limits: dense; finds the minimum of the basin it starts in, so a rough cost needs a search first.

use nalgebra::{DMatrix, DVector};
use serde::{Deserialize, Serialize};

use super::gram_schmidt::{Upright, dot, upright};

/// A sum of squares to be made small.
pub(crate) trait Residuals {
    /// Residuals at a point.
    fn residuals(&self, x: &[f64]) -> DVector<f64>;
    /// Residuals and their derivatives: one row each, one column for each parameter.
    fn with_jacobian(&self, x: &[f64]) -> (DVector<f64>, DMatrix<f64>);
}

/// What may be asked of a search.
#[derive(Debug, Clone)]
pub(crate) struct Search {
    /// Lower bounds.
    pub low: Vec<f64>,
    /// Upper bounds.
    pub high: Vec<f64>,
    /// Typical sizes: a step of this much in one parameter is a large step.
    pub typical: Vec<f64>,
    /// Parameters held at their start.
    pub held: Vec<bool>,
    /// Ends when the cosine between the residuals and every free column is below this.
    pub angle: f64,
    /// Ends when a step moves every parameter by less than this share of its size.
    pub step: f64,
    /// Ends when a step gains less than this share of the sum of squares, as foreseen.
    pub gain: f64,
    /// Most steps, taken or refused.
    pub most_steps: usize,
}

impl Search {
    /// No bounds, tight tolerances; typical sizes are those of the start.
    #[must_use]
    pub(crate) fn free(start: &[f64]) -> Self {
        let n = start.len();
        let size = |x: &f64| if *x == 0.0 { 1.0 } else { x.abs() };
        Self {
            low: vec![f64::NEG_INFINITY; n],
            high: vec![f64::INFINITY; n],
            typical: start.iter().map(size).collect(),
            held: vec![false; n],
            angle: 1e-12,
            step: 1e-12,
            gain: 1e-15,
            most_steps: 3000,
        }
    }
}

/// How a search ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum Ended {
    /// At a minimum, as far as the tolerances tell.
    #[serde(rename = "converged")]
    Converged,
    /// Steps ran out: start elsewhere or allow more.
    #[serde(rename = "did not converge: too many steps")]
    TooManySteps,
    /// The model gives no finite number at the start: start elsewhere.
    #[serde(rename = "did not converge: the model is not finite")]
    NotFinite,
}

impl Ended {
    /// The words used in every output.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Converged => "converged",
            Self::TooManySteps => "did not converge: too many steps",
            Self::NotFinite => "did not converge: the model is not finite",
        }
    }
}

/// Where a search ended.
#[derive(Debug, Clone)]
pub struct Minimum {
    /// The point.
    pub x: Vec<f64>,
    /// Residuals there.
    pub residuals: DVector<f64>,
    /// Their derivatives there.
    pub jacobian: DMatrix<f64>,
    /// Parameters that could move at the end: neither held nor pressed against a bound.
    pub free: Vec<bool>,
    /// How it ended.
    pub ended: Ended,
    /// Steps tried.
    pub steps: usize,
}

impl Minimum {
    /// Sum of squared residuals.
    #[must_use]
    pub fn sum_of_squares(&self) -> f64 {
        self.residuals.norm_squared()
    }
}

/// Smallest share of the point's own length that still counts as a step.
const SMALLEST_RADIUS: f64 = 1e-15;
/// A step is taken when it gains at least this share of what was foreseen (Moré 1978).
const WORTH_TAKING: f64 = 1e-4;

/// A point with its residuals.
struct Point {
    x: Vec<f64>,
    residuals: DVector<f64>,
    jacobian: DMatrix<f64>,
    cost: f64,
}

impl Point {
    fn new(problem: &impl Residuals, x: Vec<f64>) -> Self {
        let (residuals, jacobian) = problem.with_jacobian(&x);
        Self {
            cost: residuals.norm_squared(),
            x,
            residuals,
            jacobian,
        }
    }

    fn end(self, search: &Search, ended: Ended, steps: usize) -> Minimum {
        let free = free_parameters(&self.x, &self.residuals, &self.jacobian, search);
        Minimum {
            x: self.x,
            residuals: self.residuals,
            jacobian: self.jacobian,
            free,
            ended,
            steps,
        }
    }
}

/// Length of a move in typical sizes.
fn scaled_length(moved: &[f64], typical: &[f64]) -> f64 {
    let squares = moved.iter().zip(typical).map(|(x, t)| (x / t).powi(2));
    squares.sum::<f64>().sqrt()
}

/// Searches for the least sum of squares from a start.
#[must_use]
pub(crate) fn minimise(problem: &impl Residuals, start: &[f64], search: &Search) -> Minimum {
    let inside = |i: usize| start[i].clamp(search.low[i], search.high[i]);
    let mut here = Point::new(problem, (0..start.len()).map(inside).collect());
    if !here.cost.is_finite() || here.jacobian.iter().any(|entry| !entry.is_finite()) {
        return here.end(search, Ended::NotFinite, 0);
    }
    let mut radius = scaled_length(&here.x, &search.typical).max(1.0);
    let mut steps = 0;
    while steps < search.most_steps {
        let free = free_parameters(&here.x, &here.residuals, &here.jacobian, search);
        if cosine(&here.residuals, &here.jacobian, &free) <= search.angle {
            return here.end(search, Ended::Converged, steps);
        }
        let triangle = Triangle::new(&here.residuals, &here.jacobian, &free, &search.typical);
        // Shrink the radius until a step gains.
        loop {
            steps += 1;
            let trial = triangle.step(radius, &here.x, search);
            let moved: Vec<f64> = trial
                .iter()
                .zip(&here.x)
                .map(|(new, old)| new - old)
                .collect();
            let foreseen = triangle.gain(&moved, &search.typical);
            let gain = here.cost - problem.residuals(&trial).norm_squared();
            let good = gain.is_finite() && foreseen > 0.0;
            let ratio = if good {
                gain / foreseen
            } else {
                f64::NEG_INFINITY
            };
            let length = scaled_length(&moved, &search.typical);
            let small = |(step, x): (&f64, &f64)| step.abs() <= search.step * x.abs();
            let done = moved.iter().zip(&here.x).all(small)
                || (foreseen <= search.gain * here.cost && gain <= search.gain * here.cost)
                || length <= SMALLEST_RADIUS * scaled_length(&here.x, &search.typical);
            let taken = ratio > WORTH_TAKING;
            if taken {
                here = Point::new(problem, trial);
            }
            radius = next_radius(radius, length, ratio);
            if done {
                return here.end(search, Ended::Converged, steps);
            }
            if taken || steps >= search.most_steps {
                break;
            }
        }
    }
    here.end(search, Ended::TooManySteps, steps)
}

/// The trust radius after a step of a length that gained a share of what was foreseen.
fn next_radius(radius: f64, length: f64, ratio: f64) -> f64 {
    if ratio > 0.75 {
        radius.max(2.0 * length)
    } else if ratio < 0.25 {
        0.25 * length.min(radius)
    } else {
        radius
    }
}

/// A parameter is free unless it is held, or stands on a bound and its gradient points outwards.
fn free_parameters(
    x: &[f64],
    residuals: &DVector<f64>,
    jacobian: &DMatrix<f64>,
    search: &Search,
) -> Vec<bool> {
    (0..x.len())
        .map(|i| {
            let downhill = -jacobian.column(i).dot(residuals);
            let pressed = (x[i] <= search.low[i] && downhill <= 0.0)
                || (x[i] >= search.high[i] && downhill >= 0.0);
            !search.held[i] && !pressed
        })
        .collect()
}

/// Largest cosine of the angle between the residuals and a free column.
fn cosine(residuals: &DVector<f64>, jacobian: &DMatrix<f64>, free: &[bool]) -> f64 {
    let size = residuals.norm();
    let of = |i: usize| {
        let column = jacobian.column(i);
        let both = column.norm() * size;
        if both > 0.0 {
            column.dot(residuals).abs() / both
        } else {
            0.0
        }
    };
    let indices = (0..free.len()).filter(|i| free[*i]);
    indices.map(of).fold(0.0, f64::max)
}

/// The linearised problem in typical sizes, reduced to its singular values.
struct Triangle {
    /// Parameter of each column.
    index: Vec<usize>,
    /// R of the QR decomposition of the scaled Jacobian.
    r: DMatrix<f64>,
    /// Q' times the residuals.
    qtr: DVector<f64>,
    singular: DVector<f64>,
    /// U' Q' r.
    rotated: DVector<f64>,
    v_t: DMatrix<f64>,
}

impl Triangle {
    fn new(
        residuals: &DVector<f64>,
        jacobian: &DMatrix<f64>,
        free: &[bool],
        typical: &[f64],
    ) -> Self {
        let index: Vec<usize> = (0..free.len()).filter(|i| free[*i]).collect();
        let scaled = |&i: &usize| {
            let column = jacobian.column(i);
            let entries = column.as_slice().iter();
            entries.map(|entry| entry * typical[i]).collect()
        };
        let mut columns: Vec<Vec<f64>> = index.iter().map(scaled).collect();
        let Upright {
            r, explained: qtr, ..
        } = upright(&mut columns, &mut residuals.as_slice().to_vec());
        let svd = r.clone().svd(true, true);
        let n = index.len();
        let u = svd.u.unwrap_or_else(|| DMatrix::identity(r.nrows(), n));
        Self {
            v_t: svd.v_t.unwrap_or_else(|| DMatrix::identity(n, n)),
            rotated: u.transpose() * &qtr,
            singular: svd.singular_values,
            index,
            r,
            qtr,
        }
    }

    /// The best point within the radius, cut at the box.
    fn step(&self, radius: f64, x: &[f64], search: &Search) -> Vec<f64> {
        let damping = self.damping(radius);
        let rotated = DVector::from_fn(self.singular.len(), |i, _| self.component(i, damping));
        let step = self.v_t.transpose() * rotated;
        let mut out = x.to_vec();
        for (&i, step) in self.index.iter().zip(step.iter()) {
            out[i] = (x[i] + step * search.typical[i]).clamp(search.low[i], search.high[i]);
        }
        out
    }

    fn component(&self, i: usize, damping: f64) -> f64 {
        let s = self.singular[i];
        // Below this share of the largest, a direction is numerically without effect.
        if s <= 1e-13 * self.singular[0] {
            return 0.0;
        }
        -s * self.rotated[i] / (s * s + damping)
    }

    /// The damping at which the step is as long as the radius; 0 when the full step is shorter.
    fn damping(&self, radius: f64) -> f64 {
        let length = |damping: f64| -> f64 {
            let square = |i| self.component(i, damping).powi(2);
            (0..self.singular.len()).map(square).sum::<f64>().sqrt()
        };
        if length(0.0) <= radius {
            return 0.0;
        }
        // |step| <= |U'r| s_max / damping, so this end is long enough; then bisect the logarithm.
        let mut high = self.rotated.norm() * self.singular[0] / radius;
        let mut low = high * 1e-30;
        for _ in 0..100 {
            let middle = (low * high).sqrt();
            if length(middle) > radius {
                low = middle;
            } else {
                high = middle;
            }
            if high <= 1.05 * low {
                break;
            }
        }
        high
    }

    /// Decrease of the sum of squares that the linear model foresees for a move.
    fn gain(&self, moved: &[f64], typical: &[f64]) -> f64 {
        let step = DVector::from_iterator(
            self.index.len(),
            self.index.iter().map(|&i| moved[i] / typical[i]),
        );
        let change = &self.r * step;
        -(2.0 * change.dot(&self.qtr) + change.norm_squared())
    }
}

/// Covariance of the free parameters for residuals of unit variance, with zero rows for the others; `None` when a
/// free parameter has no effect of its own.
#[must_use]
pub(crate) fn unit_covariance(jacobian: &DMatrix<f64>, free: &[bool]) -> Option<DMatrix<f64>> {
    let index: Vec<usize> = (0..free.len()).filter(|i| free[*i]).collect();
    let column = |i: &usize| jacobian.column(*i).iter().copied().collect();
    let small = covariance_of(index.iter().map(column).collect())?;
    let mut out = DMatrix::zeros(free.len(), free.len());
    for (row, &i) in index.iter().enumerate() {
        for (column, &j) in index.iter().enumerate() {
            out[(i, j)] = small[(row, column)];
        }
    }
    Some(out)
}

/// Covariance of the parameters by which these columns are the derivatives, for residuals of unit variance, R^-1 R^-T;
/// `None` without any, or when one has no effect of its own.
#[must_use]
pub(crate) fn covariance_of(mut columns: Vec<Vec<f64>>) -> Option<DMatrix<f64>> {
    let count = columns.len();
    if columns.first()?.len() < count {
        return None;
    }
    let mut size = Vec::with_capacity(count);
    for column in &mut columns {
        let norm = dot(column, column).sqrt();
        if norm <= 0.0 || !norm.is_finite() {
            return None;
        }
        column.iter_mut().for_each(|entry| *entry /= norm);
        size.push(norm);
    }
    let r = upright(&mut columns, &mut []).r;
    // Columns of unit length: a diagonal entry is the sine of the angle to the columns before.
    if r.diagonal().iter().any(|entry| entry.abs() < 1e-12) {
        return None;
    }
    let inverse = r.solve_upper_triangular(&DMatrix::identity(count, count))?;
    let small = &inverse * inverse.transpose();
    Some(small.map_with_location(|row, column, entry| entry / (size[row] * size[column])))
}

#[cfg(test)]
#[path = "least_squares_nist.rs"]
mod nist;
