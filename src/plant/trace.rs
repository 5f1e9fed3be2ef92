//! Signals of one axis beside what its model makes of them, for pictures.

use std::fmt;
use std::sync::{Arc, LazyLock};

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
    /// How much worse the fit is along the dead-band width.
    pub dead_band_profile: WidthProfile,
}

/// Dead-band width, deg, and how much worse the fit is there (twice the log-likelihood lost): a fit for each point, made
/// once and only where the curve is drawn.
#[derive(Clone, Default)]
pub struct WidthProfile(Option<Arc<LazyLock<Curve, Work>>>);

type Curve = Vec<(f64, f64)>;
type Work = Box<dyn FnOnce() -> Curve + Send>;

impl WidthProfile {
    /// A curve by what works it out.
    pub(crate) fn new(work: impl FnOnce() -> Vec<(f64, f64)> + Send + 'static) -> Self {
        Self(Some(Arc::new(LazyLock::new(Box::new(work)))))
    }

    /// Works the curve out; empty where there is none.
    #[must_use]
    pub fn points(&self) -> &[(f64, f64)] {
        self.0.as_ref().map_or(&[], |curve| curve.as_slice())
    }
}

impl fmt::Debug for WidthProfile {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("WidthProfile")
    }
}
