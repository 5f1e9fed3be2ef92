//! Natural frequency and damping ratio of the stand, from its ringing.
//!
//! A stand that is left alone after a tap rings as
//! y = e^(-z w t) (A cos wd t + B sin wd t), wd = w (1 - z^2)^(1/2), about a slowly moving rest (Rao,
//! Mechanical Vibrations, 2.6; from memory). [`decay`] fits that to one decay, [`spectrum`] gives
//! the fit its start, [`taps`] finds the decays in a record of one tap or several and combines
//! them, [`in_record`] looks for free ringing in the firing's own record, [`swing`] is what may be such, and [`decrement`] is the
//! textbook's logarithmic decrement, kept as a cross-check.
//!
//! Limits: one mode; free decay (rough burning that keeps the stand ringing is no decay); readings
//! at even or nearly even steps, at least [`decay::FEWEST_PER_PERIOD`] of them in a period. Hum of
//! the mains that is larger than the ringing is taken for it.

pub(crate) mod decay;
pub(crate) mod decrement;
pub(crate) mod in_record;
#[cfg(test)]
mod simulated;
pub(crate) mod spectrum;
pub(crate) mod swing;
pub(crate) mod taps;

use super::dynamics::Mode;
use crate::quantity::Measured;

/// What ringing says of the stand.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Ringing {
    /// Natural frequency, Hz.
    pub natural_hz: Measured,
    /// Damping ratio.
    pub damping: Measured,
    /// Correlation of the two.
    pub correlation: f64,
    /// Decays that were fitted.
    pub decays: usize,
    /// Damping ratio by the logarithmic decrement, where at least two swings stand out.
    pub decrement_damping: Option<f64>,
}

impl Ringing {
    /// As the mode to correct for.
    #[must_use]
    pub(crate) fn mode(&self) -> Mode {
        Mode {
            natural_hz: self.natural_hz.value,
            natural_relative_u: self.natural_hz.relative(),
            damping: self.damping.value,
            damping_u: self.damping.u,
        }
    }
}
