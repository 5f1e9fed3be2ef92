//! The simulator: the plant and the gains flown together.
//!
//! [`scenario`] says what is flown ([`vehicle`] reads it from a file), [`run`] flies it once,
//! [`monte_carlo`] with everything drawn that is only known within a spread ([`percentile_band`] shows it over time), [`replay`] holds it against the
//! captive firing; [`simulate()`] calls them in order.

mod interval;
pub mod monte_carlo;
mod nozzle;
pub mod percentile_band;
pub mod replay;
pub mod result;
pub mod run;
pub mod scenario;
pub mod simulate;
pub mod vehicle;

pub use monte_carlo::{Campaign, Many, Spreads};
pub use replay::{Recorded, Replay, recorded};
pub use result::SimulationFile;
pub use run::{Moment, Outcome, Steering, fly};
pub use scenario::{Air, Flight, Motor, Push, Sensors};
pub use simulate::{Named, Orders, simulate};
pub use vehicle::{Vehicle, read_vehicle};

#[cfg(test)]
mod tests;
