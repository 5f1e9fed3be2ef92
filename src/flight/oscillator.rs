//! The stand's own spring: a forced oscillator x'' + 2 z w x' + w2 x = w2 F (Rao, Mechanical Vibrations,
//! chapter 2), which is what a load cell on a springy stand feels of a force F.

use super::integrate::Equations;

/// A spring with damping.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Spring {
    /// Natural frequency, rad/s.
    pub omega_rad_s: f64,
    /// Damping ratio.
    pub damping_ratio: f64,
}

impl Spring {
    /// Slope of the felt force and of its rate.
    pub(crate) fn slope(&self, force_n: f64, [felt_n, rate_n_s]: [f64; 2]) -> [f64; 2] {
        let (omega, ratio) = (self.omega_rad_s, self.damping_ratio);
        [
            rate_n_s,
            omega * (omega * (force_n - felt_n) - 2.0 * ratio * rate_n_s),
        ]
    }
}

/// A spring under a force that is given over time.
pub(crate) struct Oscillator<F: Fn(f64) -> f64> {
    /// The spring.
    pub spring: Spring,
    /// Force at a time, N.
    pub force_n: F,
}

impl<F: Fn(f64) -> f64> Equations for Oscillator<F> {
    type State = [f64; 2];
    type Inputs = f64;

    fn inputs(&mut self, time_s: f64) -> f64 {
        (self.force_n)(time_s)
    }

    fn slope(&self, force_n: &f64, state: &[f64; 2], slope: &mut [f64; 2]) {
        *slope = self.spring.slope(*force_n, *state);
    }
}
