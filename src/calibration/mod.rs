//! Calibration: from raw counts to newtons, with the uncertainty of the curve.

use serde::{Deserialize, Serialize};

/// One cell's curve, as results show it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CellReport {
    /// Degree of the polynomial raw(force).
    pub degree: usize,
    /// Its coefficients, constant first: raw counts for newtons.
    pub coefficients: Vec<f64>,
    /// Standard deviation of the residuals, as force.
    pub residual_sd_n: Option<f64>,
    /// Lower limit factor of ASTM E74, N.
    pub lower_limit_factor_n: Option<f64>,
    /// Smallest and largest force of the points, N.
    pub range_n: Option<[f64; 2]>,
    /// Number of points.
    pub points: usize,
}

/// Points a cell was calibrated with.
#[derive(Debug, Clone, Default)]
pub struct CalibrationTrace {
    /// Known load, N.
    pub force_n: Vec<f64>,
    /// Load by the curve minus known load, N.
    pub residual_n: Vec<f64>,
}
