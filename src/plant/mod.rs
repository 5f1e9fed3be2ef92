//! The plant: how the rocket answers a steering command.
//!
//! For one axis, with command u (deg), nozzle angle d (rad), thrust T (N) and tilt a (rad):
//!
//! ```text
//! v     = command held between updates, delayed by delay_s
//! w     = v through the dead band
//! d_dem = gain (pi/180) (w + bias_deg), limited to travel
//! lag_s d' + d = d_dem, |d'| <= slew
//! a''   = effectiveness T sin d + thrust_bias T - damping a' + stiffness a - coulomb sign(a')
//! ```

pub mod result;

pub use result::{
    Actuator, AxisPlant, Covariance, DeadBand, DeadBandKind, FitReport, Flight, PlantFile, Rig,
    SampledThrust, Structure,
};
