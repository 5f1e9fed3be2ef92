//! The few numerical methods that no library serves well, each with its source.

pub mod autocorrelation;
pub mod butterworth;
pub mod cross_correlation;
pub mod digits;
pub mod dual;
pub mod least_squares;
pub mod nelder_mead;
pub mod noise;
pub mod polynomial;
pub mod trapezoid;
