//! Parabolas by least squares: level, slope and curvature of a noisy curve (Savitzky & Golay, Analytical
//! Chemistry 36, 1964), and what a parabola leaves of one.

use crate::series::Series;

/// Time over which slopes are taken, s.
pub(super) const SLOPE_S: f64 = 0.1;

/// A curve smoothed at some times.
pub(super) struct Smoothed {
    /// Its level.
    pub level: Vec<f64>,
    /// Its slope.
    pub slope: Vec<f64>,
    /// Its second derivative.
    pub curvature: Vec<f64>,
}

/// Values less the parabola that fits them best.
pub(super) fn without_parabola(time_s: &[f64], value: &[f64]) -> Option<Vec<f64>> {
    let (from, to) = (time_s.first()?, time_s.last()?);
    let x = nalgebra::DMatrix::from_fn(time_s.len(), 3, |row, column| {
        ((time_s[row] - from) / (to - from)).powi(column as i32)
    });
    let y = nalgebra::DVector::from_column_slice(value);
    let found = x.clone().svd(true, true).solve(&y, 1e-12).ok()?;
    Some((y - x * found).iter().copied().collect())
}

/// A parabola through the readings around each time; `None` where they are too few.
pub(super) fn smoothed(of: &Series, grid: &[f64]) -> Option<Smoothed> {
    let mut out = Smoothed {
        level: Vec::new(),
        slope: Vec::new(),
        curvature: Vec::new(),
    };
    for t in grid {
        let near = of.between(t - 0.5 * SLOPE_S, t + 0.5 * SLOPE_S);
        let rows = near.len();
        if rows < 5 {
            return None;
        }
        let x = nalgebra::DMatrix::from_fn(rows, 3, |row, column| {
            ((near.time_s()[row] - t) / SLOPE_S).powi(column as i32)
        });
        let y = nalgebra::DVector::from_column_slice(near.value());
        let found = x.svd(true, true).solve(&y, 1e-12).ok()?;
        out.level.push(found[0]);
        out.slope.push(found[1] / SLOPE_S);
        out.curvature.push(2.0 * found[2] / (SLOPE_S * SLOPE_S));
    }
    Some(out)
}
