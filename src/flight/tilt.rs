//! The tilt equation of `plant.json`, shared by rig, rocket and replay.
//!
//! a'' = effectiveness T (sin d + ...) + side - damping a' + stiffness a, before any restraint.

use crate::control::model::AxisNumbers;

/// What thrust does to one axis at an instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct ThrustTorque {
    /// Effectiveness times thrust, rad/s2.
    pub pull_rad_s2: f64,
    /// Sine of the angle at which thrust leaves.
    pub sine: f64,
    /// Angular acceleration with the nozzle straight: misalignment and unlike motors, rad/s2.
    pub side_rad_s2: f64,
}

/// Angular acceleration of an axis, rad/s2.
#[inline]
pub(crate) fn angular_acceleration_rad_s2(
    axis: &AxisNumbers,
    thrust: &ThrustTorque,
    tilt_rad: f64,
    rate_rad_s: f64,
) -> f64 {
    thrust.pull_rad_s2 * thrust.sine + thrust.side_rad_s2 - axis.damping_per_s * rate_rad_s
        + axis.stiffness_per_s2 * tilt_rad
}
