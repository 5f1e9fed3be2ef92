//! The one simulator of nozzle, rig and rocket: it serves flights, rehearsals and test firings.
//!
//! Equations, with command u (deg), nozzle angle d, thrust T, tilt a (rad, from vertical), altitude z and
//! drift x (m) about the centre of gravity:
//!
//! ```text
//! v   = u held between updates, delayed          w = v through the dead band
//! lag d' + d = gain (w + bias), within the travel, |d'| <= slew
//! a'' = effectiveness T sin d + thrust_bias T + sum of T_i offset_i / J + (torque + air) / J
//!       - damping a' + stiffness a - coulomb sign(a') + disturbance
//! m x'' = T sin(a - d) + force + air
//! m z'' = T cos(a - d) - m g + air
//! f'' + 2 z w f' + w2 f = w2 F                   what a cell on a springy stand feels
//! ```
//!
//! A nozzle turned by d pushes the tail the other way, so a righting rocket first moves sideways with
//! its tail. On the ground the rocket neither sinks nor slides.
//!
//! Method: the nozzle in closed form ([`actuator`]); the rest by classical Runge-Kutta of fourth order
//! ([`integrate`]; Kutta 1901), cut wherever something jumps: ticks, arrivals of commands, releases, motors
//! that begin or end, and axes that dry friction stops ([`restraint`]; Filippov 1988). Steps: 5 ms in a
//! flight, where they cost less than 1e-4 deg, 50 us in a rehearsal, whose motors burn roughly and whose
//! stands ring. One equation of tilt ([`tilt`]) turns the axes of a captive [`rig`] with its cells, in which
//! inertia falls as propellant burns, and that of a [`rocket`], whose numbers hold throughout while its mass
//! falls. Simulator and fit of the plant share no code.
//!
//! Limits: roll, coupling between the axes of a free rocket, bending and slosh are left out; of the air only
//! the coefficients given.
//!
//! [`scenario`] says what is flown ([`nominal`] puts it together from plant, gains and the [`vehicle`] file),
//! [`run`] flies it once, [`monte_carlo`]
//! with everything sampled that is only known within a spread ([`percentile_band`] shows it over time),
//! [`replay`] holds it against the captive firing; [`simulate()`] calls them in order.

pub(crate) mod actuator;
mod findings;
mod flight_computer;
pub(crate) mod integrate;
mod interval;
pub(crate) mod monte_carlo;
pub(crate) mod nominal;
pub(crate) mod oscillator;
mod parabola;
pub(crate) mod percentile_band;
mod prediction;
pub(crate) mod replay;
pub(crate) mod restraint;
pub(crate) mod result;
pub(crate) mod rig;
mod rocket;
pub(crate) mod run;
pub(crate) mod scenario;
pub(crate) mod simulate;
pub(crate) mod tilt;
pub(crate) mod vehicle;
pub(crate) mod vehicle_file;

pub use flight_computer::Commands;
pub(crate) use monte_carlo::MonteCarloResult;
pub use monte_carlo::{MonteCarlo, Spreads};
pub(crate) use replay::Replay;
pub use replay::{AxisRecord, axis_records};
pub use result::SimulationFile;
pub use run::fly;
pub use scenario::{Air, Motor, Scenario, Sensors, Wind};
pub use simulate::{SimulationInputs, SimulationOptions, simulate};
pub use vehicle::Vehicle;

#[cfg(test)]
pub(crate) mod test_firing;
#[cfg(test)]
mod tests;
