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
pub fn find(thrust: &Series, ignition_s: Option<f64>, burnout_s: Option<f64>) -> Option<Ringing> {
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
