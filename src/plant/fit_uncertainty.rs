//! How sure the fit is.
//!
//! - Curvature covariance R^-1 R^-T s^2, each parameter's standard uncertainty raised by what the
//!   residuals' own correlation does to it ([`crate::numeric::autocorrelation::inflation`]).
//! - The information bound beside it (Cramér 1946, 32.3; Rao 1945): the inverse of Fisher's information
//!   R'R/s^2, without that raise: no unbiased estimate from the same readings can be surer.
//! - Profile-likelihood intervals for delay and dead-band width, whose likelihood is no parabola:
//!   the parameter is stepped, all others are fitted anew, and the interval ends where twice the
//!   log-likelihood has dropped by 3.84 (chi-squared, one degree of freedom, 95 %; Venzon &
//!   Moolgavkar 1988), times the dispersion that the correlation calls for. Seen from tilt alone the
//!   gain has one too, over every kind of dead band that the record leaves open: a dead zone and a
//!   larger gain look much like no dead band and a smaller one.

use nalgebra::DMatrix;

use super::measurement_model::{MeasurementModel, StructureFit, fit_from};
use crate::numeric::autocorrelation::inflation;
use crate::numeric::least_squares::{Minimum, unit_covariance};
use crate::quantity::measured::{COVERAGE, NORMAL_FACTOR, normal_below};

/// Covariance of all parameters, correlation of residuals included; zero rows for those not free.
#[derive(Debug, Clone)]
pub struct FitUncertainty {
    /// The matrix.
    pub covariance: DMatrix<f64>,
    /// The Cramér-Rao bound: the least covariance that white residuals of this size allow, priors
    /// counted as readings (van Trees 1968).
    pub bound: DMatrix<f64>,
    /// By how much correlated residuals raised each standard uncertainty.
    pub inflation: Vec<f64>,
    /// Variance of one residual.
    pub dispersion: f64,
}

impl FitUncertainty {
    /// Standard uncertainty of a parameter.
    #[must_use]
    pub fn u(&self, index: usize) -> f64 {
        self.covariance[(index, index)].max(0.0).sqrt()
    }
}

/// Covariance at a minimum; `None` when a free parameter has no effect of its own.
#[must_use]
pub(crate) fn fit_uncertainty(minimum: &Minimum) -> Option<FitUncertainty> {
    let index: Vec<usize> = (0..minimum.free.len())
        .filter(|i| minimum.free[*i])
        .collect();
    let plain = unit_covariance(&minimum.jacobian, &minimum.free)?;
    let (n, k) = (minimum.residuals.len(), index.len());
    if n <= k {
        return None;
    }
    let dispersion = minimum.sum_of_squares() / (n - k) as f64;
    let mut chosen = minimum.jacobian.select_columns(&index);
    let size: Vec<f64> = chosen.column_iter().map(|column| column.norm()).collect();
    for (mut column, size) in chosen.column_iter_mut().zip(&size) {
        column.unscale_mut(*size);
    }
    let qr = chosen.qr();
    let mut back = qr.r().solve_upper_triangular(&DMatrix::identity(k, k))?;
    for (mut row, size) in back.row_iter_mut().zip(&size) {
        row.unscale_mut(*size);
    }
    let factors = inflation(&qr.q(), &back, minimum.residuals.as_slice());
    let mut raised_by = vec![1.0; minimum.free.len()];
    for (&i, factor) in index.iter().zip(factors) {
        raised_by[i] = factor;
    }
    let covariance = DMatrix::from_fn(plain.nrows(), plain.ncols(), |i, j| {
        plain[(i, j)] * dispersion * raised_by[i] * raised_by[j]
    });
    Some(FitUncertainty {
        bound: plain * dispersion,
        covariance,
        inflation: raised_by,
        dispersion,
    })
}

/// A profile-likelihood interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Profile {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// The likelihood does not fall enough before zero.
    pub reaches_zero: bool,
}

/// Drop of twice the log-likelihood that ends a 95 % interval.
const DROP: f64 = NORMAL_FACTOR * NORMAL_FACTOR;
/// The end is placed to within this share of its distance: finer than the interval deserves.
const END_WITHIN: f64 = 0.03;
/// Fits spent on one end at most.
const MOST_FITS: usize = 10;

/// Twice the log-likelihood lost when a parameter is held at a value, in units of dispersion.
pub(crate) fn loss<M: MeasurementModel>(
    model: &M,
    fit: &StructureFit,
    uncertainty: &FitUncertainty,
    index: usize,
    value: f64,
) -> f64 {
    let mut start = fit.minimum.x.clone();
    start[index] = value;
    let held = fit_from(model, fit.kind, &start, Some(M::ORDER[index]));
    let scale = uncertainty.dispersion * uncertainty.inflation[index].powi(2);
    (held.cost() - fit.cost()) / scale
}

/// The interval of one parameter above zero; never narrower on a side than half the curvature's.
pub(crate) fn profile<M: MeasurementModel>(
    model: &M,
    fit: &StructureFit,
    uncertainty: &FitUncertainty,
    index: usize,
) -> Profile {
    profile_over(model, fit, &[], uncertainty, index, 0.0)
}

/// The interval of one parameter where the record leaves open which kind of dead band is true. The kind
/// then is one more thing that is fitted anew at each value, so the interval ends where the last of the
/// kinds has lost as much against the best fit; kinds are followed each from its own minimum, since the
/// likelihood may have a hollow between them. No value below `floor` is looked at.
pub(crate) fn profile_over<M: MeasurementModel>(
    model: &M,
    best: &StructureFit,
    others: &[&StructureFit],
    uncertainty: &FitUncertainty,
    index: usize,
    floor: f64,
) -> Profile {
    let scale = uncertainty.dispersion * uncertainty.inflation[index].powi(2);
    let depth_of = |cost: f64| ((cost - best.cost()).max(0.0) / scale / DROP).sqrt();
    let centre = best.minimum.x[index];
    let least = 0.5 * NORMAL_FACTOR * uncertainty.u(index).max(1e-9);
    let mut out = Profile {
        low: (centre - least).max(floor),
        high: centre + least,
        reaches_zero: false,
    };
    for fit in std::iter::once(best).chain(others.iter().copied()) {
        if depth_of(fit.cost()) >= 1.0 {
            continue;
        }
        let own = fit_uncertainty(&fit.minimum).map_or(0.0, |own| own.u(index));
        let u = if own > 0.0 { own } else { uncertainty.u(index) }.max(1e-9);
        let middle = fit.minimum.x[index];
        let depth = |value: f64| {
            let mut start = fit.minimum.x.clone();
            start[index] = value;
            depth_of(fit_from(model, fit.kind, &start, Some(M::ORDER[index])).cost())
        };
        let here = depth_of(fit.cost());
        let (below, reached) = end(u, here, middle - floor, &|away| depth(middle - away));
        let (above, _) = end(u, here, f64::INFINITY, &|away| depth(middle + away));
        out.low = out.low.min(middle - below).max(floor);
        out.high = out.high.max(middle + above);
        out.reaches_zero |= reached;
    }
    out
}

/// How far from a minimum, where the likelihood is `here` deep, it becomes 1 deep; and whether it does
/// not before the farthest that may be looked at.
fn end(u: f64, here: f64, farthest: f64, depth: &dyn Fn(f64) -> f64) -> (f64, bool) {
    // Inside and outside ends of the bracket, as distances, with the depth reached there.
    let (mut inside, mut outside) = ((0.0, here), None::<(f64, f64)>);
    let mut at = (NORMAL_FACTOR * u).min(farthest);
    for _ in 0..MOST_FITS {
        let reached = depth(at);
        if (reached - 1.0).abs() < END_WITHIN {
            return (at, false);
        }
        if reached < 1.0 {
            if at >= farthest {
                return (farthest, true);
            }
            inside = (at, reached);
        } else {
            outside = Some((at, reached));
        }
        at = match outside {
            // The depth is nearly a straight line through the two ends.
            Some((far, deep)) => {
                let share = ((1.0 - inside.1) / (deep - inside.1)).clamp(0.1, 0.9);
                inside.0 + share * (far - inside.0)
            }
            None => (at * (1.1 / reached.max(0.3))).min(farthest),
        };
    }
    (outside.map_or(at, |(far, _)| far), false)
}

/// Lower end of the 95 % interval of a value that is only reported because it came out above a
/// threshold (both in standard uncertainties): values that barely pass are too large on average,
/// so the interval is that of the normal law cut off at the threshold (Zhong & Prentice 2008).
/// Never below zero.
#[must_use]
pub(crate) fn low_if_selected(value: f64, u: f64, threshold: f64) -> f64 {
    let z = value / u;
    // Probability of a value at least this large among those that pass, for a true value t.
    let among_passing = |t: f64| normal_below(t - z) / normal_below(t - threshold.min(z));
    let tail = 0.5 * (1.0 - COVERAGE);
    if among_passing(0.0) >= tail {
        return 0.0;
    }
    let (mut low, mut high) = (0.0, z);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if among_passing(middle) > tail {
            high = middle;
        } else {
            low = middle;
        }
    }
    low * u
}

#[cfg(test)]
mod tests {
    use super::*;

    // Far above the threshold nothing changes: z - 1.96. On it, every true value is possible.
    #[test]
    fn selection_lowers_the_interval_of_what_barely_passed() {
        let far = low_if_selected(20.0, 1.0, 3.7);
        assert!((far - (20.0 - NORMAL_FACTOR)).abs() < 1e-6);
        assert!(low_if_selected(3.7, 1.0, 3.7) <= 0.0);
        let near = low_if_selected(5.0, 1.0, 3.7);
        assert!(near > 0.0 && near < 5.0 - NORMAL_FACTOR);
    }
}
