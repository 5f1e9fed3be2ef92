//! Whether the nozzle ran into a slew limit.
//!
//! The limit is taken into the model when its score leads by 10 (Schwarz 1978; Kass & Raftery 1995,
//! "very strong"); the structures are then weighed anew with it, because a slew that is left out looks
//! like lag after large steps and like none after small ones. It is looked for in an actuator of first order, and has to
//! explain more than a second pole does, for that too looks slow after a large step.

use super::measurement_model::{MeasurementModel, StructureFit, fit_from};
use super::parameter::Parameter;
use super::structure::{StructureChoice, choose};
use crate::numeric::autocorrelation::repetition;

/// Lead in score before a slew limit is believed.
const SLEW_LEAD: f64 = 10.0;
/// Where the search starts, as shares of the fastest modelled movement.
const STARTS: [f64; 3] = [0.3, 0.6, 0.9];

/// A model that can have a slew limit among its parameters.
pub(crate) trait Slewing: MeasurementModel + Sized {
    /// The same model with a slew limit to be fitted from a start, deg/s.
    fn with_slew(&self, start_deg_s: f64) -> Self;
    /// Fastest movement of the modelled nozzle without a limit, deg/s.
    fn fastest_deg_s(&self, fit: &StructureFit) -> f64;
}

/// The model and the structures with a slew limit; `None` unless it scores much better.
pub(crate) fn limited<V: Slewing>(
    model: &V,
    without: &StructureChoice,
) -> Option<(V, StructureChoice)> {
    let fit = without.of_first_order()?;
    let fastest = model.fastest_deg_s(fit);
    let found = STARTS
        .iter()
        .map(|share| {
            let start_deg_s = (share * fastest).max(1.0);
            let limited = model.with_slew(start_deg_s);
            let mut start = fit.minimum.x.clone();
            start[V::at(Parameter::Slew)] = start_deg_s;
            fit_from(&limited, fit.kind, &start, None)
        })
        .min_by(|a, b| a.cost().total_cmp(&b.cost()))?;
    let n = fit.minimum.residuals.len() as f64;
    let independent = n / repetition(found.minimum.residuals.as_slice());
    let lead = independent * (fit.cost() / found.cost()).ln() - independent.ln();
    // One of second order has as many parameters.
    if lead < SLEW_LEAD || found.cost() >= without.best().cost() {
        return None;
    }
    let limited = model.with_slew(found.minimum.x[V::at(Parameter::Slew)]);
    let choice = choose(&limited)?;
    Some((limited, choice))
}

/// Fastest movement between two neighbouring instants, rad/s.
pub(crate) fn fastest_rad_s(times_s: &[f64], angle_rad: &[f64]) -> f64 {
    angle_rad
        .windows(2)
        .zip(times_s.windows(2))
        .map(|(angle, time)| (angle[1] - angle[0]).abs() / (time[1] - time[0]))
        .fold(0.0, f64::max)
}
