//! The limit cycle of a loop with a dead band, which keeps it swinging: predicted amplitude and frequency.
//!
//! The describing function's sine comes first ([`super::describing_function`], with its limits); where a
//! sine is too plain, the odd harmonics are balanced as well (`harmonics`).

use nalgebra::Complex;

use super::describing_function::{LimitCycle, sine};
use super::harmonics::{Balance, unit_circle};
use crate::plant::DeadBandKind;

/// The limit cycle of a loop between two frequencies, rad/s; `None` when the loop comes to rest. Of several
/// the largest is returned, with its harmonics. `tilt` is the way from command to tilt.
#[must_use]
pub(crate) fn limit_cycle(
    open: &dyn Fn(f64) -> Complex<f64>,
    tilt: &dyn Fn(f64) -> Complex<f64>,
    span_rad_s: (f64, f64),
    kind: DeadBandKind,
    width_deg: f64,
) -> Option<LimitCycle> {
    let sine = sine(open, span_rad_s, kind, width_deg)?;
    let balance = Balance {
        open,
        tilt,
        highest_rad_s: span_rad_s.1,
        kind,
        width_deg,
        unit_circle: unit_circle(),
    };
    Some(balance.refine(&sine))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_dead_zone_makes_a_limit_cycle_with_an_integral_and_none_without() {
        let predicted = |open: &dyn Fn(f64) -> Complex<f64>| {
            limit_cycle(open, open, (1e-2, 1e2), DeadBandKind::DeadZone, 0.4)
        };
        let with_integral = |w: f64| {
            let s = Complex::new(0.0, w);
            (s + 1.0).powi(2) * 2.0 / s.powi(3)
        };
        let found = predicted(&with_integral).unwrap();
        assert!((0.3..1.0).contains(&found.rad_s), "{found:?}");
        let without = |w: f64| {
            let s = Complex::new(0.0, w);
            (s + 1.0) * 2.0 / s.powi(2)
        };
        assert_eq!(predicted(&without), None);
    }
}
