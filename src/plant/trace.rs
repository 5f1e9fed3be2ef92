//! Signals of one axis beside what its model makes of them, for pictures.

use crate::series::Series;

/// Points of the dead-band profile.
pub(crate) const PROFILE_POINTS: usize = 11;

/// What one axis did, and what the model makes of it.
#[derive(Debug, Clone, Default)]
#[non_exhaustive]
pub struct AxisTrace {
    /// Command in force, deg.
    pub command_deg: Series,
    /// Nozzle angle as measured, deg.
    pub nozzle_deg: Option<Series>,
    /// Nozzle angle of the model, deg.
    pub nozzle_model_deg: Series,
    /// Tilt as measured, deg.
    pub tilt_deg: Option<Series>,
    /// Tilt one step ahead by the model, deg.
    pub tilt_model_deg: Option<Series>,
    /// Tilt rate as measured, deg/s.
    pub rate_deg_s: Option<Series>,
    /// Autocorrelation of the residuals, by lag in samples from 0, of the main signal.
    pub residual_autocorrelation: Vec<f64>,
    /// How many residuals it is of.
    pub residual_count: usize,
    /// Dead-band width, deg, and how much worse the fit is there (twice the log-likelihood lost).
    pub dead_band_profile: Vec<(f64, f64)>,
}
