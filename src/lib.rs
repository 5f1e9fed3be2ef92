//! Burnwright reduces captive firings of model rockets that steer by swivelling their motors.

pub mod burn;
pub mod calibration;
pub mod class;
pub mod diagnostic;
pub mod finding;
pub mod firing;
pub mod ignition;
pub mod impulse;
pub mod numeric;
pub mod plan;
pub mod plant;
pub mod quantity;
pub mod record;
pub mod reduction;
pub mod series;
