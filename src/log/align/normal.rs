//! One step of a fit of two columns, and what the residuals say about its uncertainty.
//!
//! The unknowns are the time on the other clock in the middle of the record, what drift adds to it
//! by the end, gain, and bias. Residuals are correlated in time (smoothing sees to that), so the
//! covariance is A (sum over lags of autocovariance times lagged products of slopes) A, with the
//! flat-topped lag window of Politis & Romano (J. Time Series Analysis 16, 1995, 67-103). A, the
//! inverse of the product of slopes, takes one slope from each series, because the noise of a slope
//! squared would count as signal and make the result look better than it is.
//!
//! Limit: the spread of the residuals is the same all along the record.

use nalgebra::Matrix4;

/// One time of this clock at which both columns can be asked.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Point {
    /// Time from the middle, in half overlaps.
    pub x: f64,
    /// Value and slope here.
    pub here: (f64, f64),
    /// Value and slope there.
    pub there: (f64, f64),
}

/// The normal equations of one step.
#[derive(Debug)]
pub(crate) struct Normal {
    /// Step of the time in the middle, and of what drift adds by the end, s.
    pub step: [f64; 2],
    /// Correlation of the two columns.
    pub correlation: f64,
    /// Inverse of the product of slopes.
    outer: Matrix4<f64>,
    /// Slopes with respect to the unknowns, for each point.
    rows: Vec<[f64; 4]>,
    residual: Vec<f64>,
    unknowns: usize,
}

/// A kernel as wide as the grid leaves neighbours correlated over some four points, which must lie
/// in the flat half of the window.
const KERNEL_LAGS: usize = 12;

impl Normal {
    /// The step from the present fit; `None` when the columns do not tell the unknowns apart.
    #[must_use]
    pub(crate) fn of(points: &[Point], with_drift: bool) -> Option<Self> {
        let here = mean_and_square(points.iter().map(|point| point.here.0));
        let there = mean_and_square(points.iter().map(|point| point.there.0));
        let product: f64 = points
            .iter()
            .map(|point| (point.here.0 - here.0) * (point.there.0 - there.0))
            .sum();
        let correlation = product / (here.1 * there.1).sqrt();
        // The line that treats both columns alike (reduced major axis): least squares of one on
        // the other would shrink the gain by the noise of the other.
        let gain = (here.1 / there.1).sqrt() * correlation.signum();
        if !gain.is_finite() || gain == 0.0 {
            return None;
        }
        let drift = f64::from(u8::from(with_drift));
        let row = |x: f64, value: f64, slope: f64| [slope, drift * slope * x, value, 1.0];
        let (mut rows, mut twins, mut residual) = (vec![], vec![], vec![]);
        for point in points {
            let (mine, theirs) = (point.here.0 - here.0, point.there.0 - there.0);
            rows.push(row(point.x, theirs, gain * point.there.1));
            twins.push(row(point.x, mine / gain, point.here.1));
            residual.push(mine - gain * theirs);
        }
        let outer = outer(&rows, &twins, with_drift)?;
        let score = |unknown: usize| {
            let terms = rows.iter().zip(&residual);
            terms.map(|(row, residual)| row[unknown] * residual).sum()
        };
        let sums: [f64; 4] = std::array::from_fn(score);
        let solved = outer * nalgebra::Vector4::from(sums);
        let step = [solved[0], drift * solved[1]];
        step.iter().all(|step| step.is_finite()).then_some(Self {
            step,
            correlation,
            outer,
            residual,
            rows,
            unknowns: 3 + usize::from(with_drift),
        })
    }

    /// Covariance of the two times, s2.
    #[must_use]
    pub(crate) fn covariance(&self) -> Option<[[f64; 2]; 2]> {
        let lags = self.lags();
        let mut inner = self.autocovariance(0) * products(&self.rows, &self.rows);
        for lag in 1..=lags {
            // Whole to the middle of the lags, then down to nothing (Politis & Romano).
            let weight = (2.0 - 2.0 * lag as f64 / (lags + 1) as f64).min(1.0);
            let lagged = products(&self.rows, &self.rows[lag..]);
            inner += weight * self.autocovariance(lag) * (lagged + lagged.transpose());
        }
        // The unknowns are as slow as the motion, so the fit took their share out of the very part
        // of the residuals that counts.
        let freedom = self.degrees_of_freedom();
        let taken = (freedom + self.unknowns as f64) / freedom;
        let all = taken * self.outer * inner * self.outer;
        let (middle, both, drift) = (all[(0, 0)], all[(0, 1)], all[(1, 1)]);
        let sound = middle.is_finite() && drift.is_finite() && middle >= 0.0 && drift >= 0.0;
        sound.then_some([[middle, both], [both, drift]])
    }

    /// Degrees of freedom of the covariance. A spectrum estimated with a lag window has twice the
    /// points over the window's sum of squares (Priestley, Spectral Analysis and Time Series, 1981,
    /// 6.2.4), here 4/3 of the lags; the unknowns take theirs.
    #[must_use]
    pub(crate) fn degrees_of_freedom(&self) -> f64 {
        let window = 4.0 / 3.0 * self.lags().max(1) as f64;
        (2.0 * self.residual.len() as f64 / window - self.unknowns as f64).max(1.0)
    }

    /// Lags over which residuals count as correlated: twice the first at which their correlation
    /// is no more than chance, at least what the kernel alone makes, at most a sixth of the record.
    fn lags(&self) -> usize {
        let points = self.residual.len();
        let most = points / 6;
        let chance = 2.0 / (points as f64).sqrt();
        let first = (1..most).find(|lag| self.residual_correlation(*lag) < chance);
        (2 * first.unwrap_or(most)).clamp(KERNEL_LAGS.min(most), most)
    }

    fn residual_correlation(&self, lag: usize) -> f64 {
        let square = self.autocovariance(0);
        if square > 0.0 {
            self.autocovariance(lag) / square
        } else {
            0.0
        }
    }

    /// Autocovariance of the residuals at a lag.
    fn autocovariance(&self, lag: usize) -> f64 {
        let later = self.residual.iter().skip(lag);
        let sum: f64 = self.residual.iter().zip(later).map(|(a, b)| a * b).sum();
        sum / self.residual.len() as f64
    }
}

/// Sum over the points of each product of two rows, as far as both go.
fn products(a: &[[f64; 4]], b: &[[f64; 4]]) -> Matrix4<f64> {
    let mut sum = [[0.0; 4]; 4];
    for (a, b) in a.iter().zip(b) {
        for (sums, b) in sum.iter_mut().zip(b) {
            for (sum, a) in sums.iter_mut().zip(a) {
                *sum += a * b;
            }
        }
    }
    Matrix4::from(sum)
}

/// The inverse of the symmetric product of the slopes of both series.
fn outer(rows: &[[f64; 4]], twins: &[[f64; 4]], with_drift: bool) -> Option<Matrix4<f64>> {
    let product = products(rows, twins);
    let mut symmetric = 0.5 * (product + product.transpose());
    if !with_drift {
        // An unknown that is not asked for; its slopes are zero.
        symmetric[(1, 1)] = 1.0;
    }
    let diagonal = symmetric.diagonal();
    if diagonal.iter().any(|entry| *entry <= 0.0) {
        return None;
    }
    // Scaled to a unit diagonal, because seconds and readings have nothing in common.
    let scale = diagonal.map(|entry| entry.sqrt().recip());
    let scale = Matrix4::from_diagonal(&scale);
    let inverse = (scale * symmetric * scale).cholesky()?.inverse();
    Some(scale * inverse * scale)
}

fn mean_and_square(values: impl Iterator<Item = f64> + Clone) -> (f64, f64) {
    let number = values.clone().count().max(1) as f64;
    let mean = values.clone().sum::<f64>() / number;
    (mean, values.map(|value| (value - mean).powi(2)).sum())
}

#[cfg(test)]
mod tests {
    use super::*;

    // A ramp beside itself, shifted by 0.1 s: residual -0.1 at every point, slope 1. The bias takes
    // it all, so a single ramp tells no time: refused.
    #[test]
    fn a_ramp_tells_no_time_and_a_wave_tells_it_in_one_step() {
        let at = |number: i32| f64::from(number) * 0.01;
        let ramp = |number: i32| Point {
            x: at(number) / 3.0,
            here: (at(number), 1.0),
            there: (at(number) - 0.1, 1.0),
        };
        let points: Vec<Point> = (-300..=300).map(ramp).collect();
        assert!(Normal::of(&points, false).is_none());
        let wave = |number: i32| {
            let t = 4.0 * at(number);
            Point {
                x: at(number) / 3.0,
                here: (t.sin(), 4.0 * t.cos()),
                there: ((t - 0.004).sin(), 4.0 * (t - 0.004).cos()),
            }
        };
        let points: Vec<Point> = (-300..=300).map(wave).collect();
        let normal = Normal::of(&points, true).unwrap();
        // here(t) = there(t + 0.001 s), to second order in the shift.
        approx::assert_relative_eq!(normal.step[0], 0.001, epsilon = 2e-6);
        approx::assert_relative_eq!(normal.step[1], 0.0, epsilon = 2e-6);
    }
}
