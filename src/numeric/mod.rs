//! The few numerical methods that no library serves well, each with its source.

pub(crate) mod autocorrelation;
pub(crate) mod butterworth;
pub(crate) mod cross_correlation;
pub(crate) mod digits;
pub(crate) mod dual;
pub(crate) mod gram_schmidt;
pub(crate) mod least_squares;
pub(crate) mod nelder_mead;
pub(crate) mod noise;
pub(crate) mod parallel;
pub(crate) mod polynomial;
pub(crate) mod trapezoid;
