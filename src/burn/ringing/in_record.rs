//! Ringing in the firing's own record: after the snap of the ignition, after burnout.
//!
//! Thrust that falls away quickly leaves the stand ringing about a rest that still moves a little;
//! after ignition it rings about the thrust itself. A cubic stands for what moves. The decay counts
//! only when it explains nearly all of what the cubic leaves, stands well out of what is left, and
//! is known to a few hundredths: rough burning is broad noise that no decay explains.

use super::Ringing;
use super::decay::{self, Decay, SLOWEST_HZ};
use super::taps::together;
use crate::series::Series;

/// Degree of what moves beside the ringing.
const DEGREE: usize = 3;

/// Stretches looked at begin this long after ignition or burnout, s.
const BEGINS_S: [f64; 3] = [0.01, 0.03, 0.06];

/// ... and are this long, s.
const LASTS_S: [f64; 2] = [0.12, 0.24];

/// Without the oscillation the sum of squares is this many times larger.
const EXPLAINS: f64 = 6.0;

/// The first swing stands this many residual deviations high.
const STANDS_OUT: f64 = 5.0;

/// Largest relative standard uncertainty of the frequency.
const FREQUENCY_U: f64 = 0.01;

/// Largest damping ratio that still rings, and largest uncertainty of it as a share.
const DAMPING: (f64, f64) = (0.2, 0.3);

/// Free ringing about ignition or burnout; `None` when there is none that is strong enough.
#[must_use]
pub(crate) fn find(
    thrust: &Series,
    ignition_s: Option<f64>,
    burnout_s: Option<f64>,
) -> Option<Ringing> {
    let of = |edge_s: Option<f64>| best(thrust, edge_s?);
    let found: Vec<Decay> = [of(burnout_s), of(ignition_s)]
        .into_iter()
        .flatten()
        .collect();
    let first = found.first()?;
    // Two rings that are not of one mode: the quieter one, after burnout, is the stand's.
    let same = |other: &Decay| {
        let apart = (other.natural_hz - first.natural_hz).abs();
        apart <= 0.05 * first.natural_hz
    };
    let agreeing: Vec<Decay> = found.iter().filter(|other| same(other)).cloned().collect();
    together(&agreeing)
}

/// The best decay that is strong enough in the stretches after an edge.
fn best(thrust: &Series, edge_s: f64) -> Option<Decay> {
    let mut out: Option<Decay> = None;
    for begins_s in BEGINS_S {
        for lasts_s in LASTS_S {
            let from_s = edge_s + begins_s;
            let part = thrust.between(from_s, from_s + lasts_s);
            let Some(found) =
                decay::fit(&part, DEGREE, SLOWEST_HZ.max(4.0 / lasts_s), f64::INFINITY)
            else {
                continue;
            };
            let surer = |best: &Decay| found.covariance[0][0] < best.covariance[0][0];
            if is_strong(&found) && out.as_ref().is_none_or(surer) {
                out = Some(found);
            }
        }
    }
    out
}

fn is_strong(decay: &Decay) -> bool {
    let u_hz = decay.covariance[0][0].sqrt();
    let u_damping = decay.covariance[1][1].sqrt();
    decay.explains >= EXPLAINS
        && decay.amplitude >= STANDS_OUT * decay.residual_sd
        && u_hz <= FREQUENCY_U * decay.natural_hz
        && decay.damping <= DAMPING.0
        && u_damping <= DAMPING.1 * decay.damping
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::burn::coverage_tests::normal;
    use rand::{SeedableRng, rngs::ChaCha8Rng};
    use std::f64::consts::TAU;

    /// Thrust of 40 N from 1 s to 2 s, read at 2 kHz with 0.02 N of noise. After each edge a stand of
    /// so many hertz and so much damping rings, `swing` high, on a slow fall.
    fn burn(swing: [f64; 2], hertz: [f64; 2], damping: f64) -> Series {
        let mut random = ChaCha8Rng::seed_from_u64(2);
        let mut out = Series::default();
        for row in 0..6000 {
            let t = f64::from(row) / 2000.0;
            let ring = |edge: usize, since: f64| {
                let omega = TAU * hertz[edge];
                let damped = omega * (1.0 - damping * damping).sqrt();
                swing[edge] * (-damping * omega * since).exp() * (damped * since).cos()
            };
            let thrust = if t >= 2.0 {
                0.3 * (2.0 - t) + ring(1, t - 2.0)
            } else if t >= 1.0 {
                40.0 - 3.0 * (t - 1.0) + ring(0, t - 1.0)
            } else {
                0.0
            };
            out.push(t, thrust + 0.02 * normal(&mut random));
        }
        out
    }

    #[test]
    fn a_stand_that_rings_after_an_edge_gives_its_mode() {
        let both = find(&burn([4.0, 5.0], [57.0; 2], 0.04), Some(1.0), Some(2.0)).unwrap();
        assert_eq!(both.decays, 2);
        assert!(
            (both.natural_hz.value - 57.0).abs() < 4.0 * both.natural_hz.u,
            "{both:?}"
        );
        assert!(
            (both.damping.value - 0.04).abs() < 4.0 * both.damping.u,
            "{both:?}"
        );
        assert!(both.natural_hz.relative() < 0.01 && both.damping.relative() < 0.1);
        let one = find(&burn([4.0, 5.0], [57.0; 2], 0.04), None, Some(2.0)).unwrap();
        assert_eq!(one.decays, 1);
        assert!(both.natural_hz.u < one.natural_hz.u);
    }

    // Two rings that are not of one mode: the one after burnout counts.
    #[test]
    fn after_burnout_the_stand_rings_alone() {
        let found = find(&burn([4.0, 5.0], [80.0, 57.0], 0.04), Some(1.0), Some(2.0)).unwrap();
        assert_eq!(found.decays, 1);
        assert!((found.natural_hz.value - 57.0).abs() < 0.5, "{found:?}");
        // Within a twentieth they are one.
        let found = find(&burn([4.0, 5.0], [58.0, 57.0], 0.04), Some(1.0), Some(2.0)).unwrap();
        assert_eq!(found.decays, 2);
    }

    #[test]
    fn what_hardly_rings_or_dies_at_once_is_no_mode() {
        let at = |swing, damping| find(&burn([swing; 2], [57.0; 2], damping), Some(1.0), Some(2.0));
        assert!(at(0.0, 0.04).is_none());
        assert!(at(0.03, 0.04).is_none());
        assert!(at(5.0, 0.4).is_none());
        assert!(at(5.0, 0.1).is_some());
        assert!(find(&burn([5.0; 2], [57.0; 2], 0.04), None, None).is_none());
    }
}
