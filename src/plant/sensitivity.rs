//! How the prediction errors of tilt and rate answer to one parameter.

use super::kalman_filter::{Drive, Sensors};

/// What moves the prediction errors when one parameter moves.
#[derive(Debug, Clone)]
pub(crate) enum Sensitivity {
    /// An acceleration at each instant.
    Acceleration(Vec<f64>),
    /// Readings (of the rate, or of the tilt) that show more by this at each instant.
    Readings(bool, Vec<f64>),
}

impl Sensitivity {
    /// What it drives a filter with.
    #[must_use]
    pub(crate) fn drive(&self) -> Drive<'_> {
        match self {
            Self::Acceleration(input) => Drive::acceleration(input),
            Self::Readings(rate, slope) => Drive {
                acceleration: None,
                shown: Some((Sensors::One { rate: *rate }, slope)),
            },
        }
    }

    /// An acceleration from two factors at each instant.
    #[must_use]
    pub(crate) fn product(a: &[f64], b: &[f64]) -> Self {
        Self::Acceleration(a.iter().zip(b).map(|(a, b)| a * b).collect())
    }
}
