//! Describing functions of dead zone and backlash, and the limit cycle they predict.
//!
//! A sine of amplitude A at the dead band comes out as N(A) times it, harmonics left out (the plant
//! behind takes them away). The loop holds a limit cycle where 1 + N(A) L(w) = 0:
//!
//! - dead zone, half-width d, x = d/A: N = 1 - (2/pi)(asin x + x sqrt(1 - x2)), a gain below 1;
//! - backlash, total gap b, q = 1 - b/A, B = b/A:
//!   N = (pi/2 + asin q + q sqrt(1 - q2) - i (2B - B2))/pi, less gain and a lag.
//!
//! Only stable limit cycles, which come back when disturbed, are kept: Im(dN/dA L conj(N dL/dw)) < 0
//! (Loeb's criterion, from the quasi-static shift of the root with A). Source: Gelb & Vander Velde,
//! Multiple-Input Describing Functions, 1968, chapters 2 and 3.
//!
//! Limits: for a dead zone the command must swing about the middle of the zone; a steady disturbance that
//! holds the command outside takes the limit cycle away. Backlash knows no middle. Dry friction is left
//! out.

use nalgebra::Complex;
use serde::{Deserialize, Serialize};

use super::margins::zero_between;
use crate::plant::DeadBandKind;

/// A limit cycle.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct LimitCycle {
    /// Amplitude of the command, deg.
    pub command_deg: f64,
    /// Frequency, rad/s.
    pub rad_s: f64,
    /// Amplitude of the tilt, deg.
    pub tilt_deg: f64,
}

/// Describing function of a dead band of total width `width`, at an amplitude.
#[must_use]
pub(crate) fn describing(kind: DeadBandKind, width: f64, amplitude: f64) -> Complex<f64> {
    use std::f64::consts::{FRAC_PI_2, PI};
    let zero = Complex::new(0.0, 0.0);
    match kind {
        DeadBandKind::None => Complex::new(1.0, 0.0),
        DeadBandKind::DeadZone => {
            let x = 0.5 * width / amplitude;
            if x >= 1.0 {
                return zero;
            }
            let lost = x.asin() + x * (1.0 - x * x).sqrt();
            Complex::new(1.0 - lost / FRAC_PI_2, 0.0)
        }
        DeadBandKind::Play => {
            let share = width / amplitude;
            if share >= 2.0 {
                return zero;
            }
            let q = 1.0 - share;
            Complex::new(
                (FRAC_PI_2 + q.asin() + q * (1.0 - q * q).max(0.0).sqrt()) / PI,
                -(2.0 * share - share * share) / PI,
            )
        }
    }
}

/// Points of the frequency grid for each factor of ten.
const POINTS_PER_DECADE: f64 = 120.0;
/// Largest amplitude looked for, in widths.
const WIDEST: f64 = 1e4;

/// The limit cycle of a loop between two frequencies, rad/s, by its sine alone; `None` when the loop comes
/// to rest, of several the one of the largest amplitude. Its tilt is left at 0.
#[must_use]
pub(super) fn sine(
    open: &dyn Fn(f64) -> Complex<f64>,
    (from, to): (f64, f64),
    kind: DeadBandKind,
    width_deg: f64,
) -> Option<LimitCycle> {
    if kind == DeadBandKind::None || width_deg <= 0.0 {
        return None;
    }
    let count = (POINTS_PER_DECADE * (to / from).log10()).ceil().max(2.0) as usize;
    let grid: Vec<f64> = (0..=count)
        .map(|at| from * (to / from).powf(at as f64 / count as f64))
        .collect();
    let mut best: Option<LimitCycle> = None;
    for pair in grid.windows(2) {
        let found = match kind {
            DeadBandKind::DeadZone => by_gain(open, pair[0], pair[1], width_deg),
            _ => by_phase(open, pair[0], pair[1], width_deg),
        };
        let Some(found) = found.filter(|cycle| is_stable(open, cycle, kind, width_deg)) else {
            continue;
        };
        if best.is_none_or(|best| found.command_deg > best.command_deg) {
            best = Some(found);
        }
    }
    best
}

/// Dead zone: the loop crosses the negative real axis beyond -1, and N takes the rest away.
fn by_gain(
    open: &dyn Fn(f64) -> Complex<f64>,
    low: f64,
    high: f64,
    width_deg: f64,
) -> Option<LimitCycle> {
    let (before, after) = (open(low), open(high));
    if before.im * after.im > 0.0 || before.re >= 0.0 || after.re >= 0.0 {
        return None;
    }
    let rad_s = zero_between(low, high, |w| open(w).im);
    let wanted = 1.0 / open(rad_s).norm();
    let gain = |log: f64| describing(DeadBandKind::DeadZone, width_deg, log.exp()).re - wanted;
    let (small, large) = ((0.5 * width_deg).ln(), (WIDEST * width_deg).ln());
    if wanted >= 1.0 || gain(large) < 0.0 {
        return None;
    }
    Some(LimitCycle {
        command_deg: zero_between(small, large, gain).exp(),
        rad_s,
        tilt_deg: 0.0,
    })
}

/// Backlash: at each frequency the lag fixes the amplitude, and the gain must fit.
fn by_phase(
    open: &dyn Fn(f64) -> Complex<f64>,
    low: f64,
    high: f64,
    width_deg: f64,
) -> Option<LimitCycle> {
    let amplitude = |rad_s: f64| {
        let wanted = (-open(rad_s).inv()).arg();
        let lag = |log: f64| describing(DeadBandKind::Play, width_deg, log.exp()).arg() - wanted;
        let (small, large) = (
            (0.5 * width_deg * (1.0 + 1e-9)).ln(),
            (WIDEST * width_deg).ln(),
        );
        (lag(small) < 0.0 && lag(large) > 0.0).then(|| zero_between(small, large, lag).exp())
    };
    let excess = |rad_s: f64| {
        let a = amplitude(rad_s)?;
        Some(describing(DeadBandKind::Play, width_deg, a).norm() * open(rad_s).norm() - 1.0)
    };
    let (before, after) = (excess(low)?, excess(high)?);
    if before * after > 0.0 {
        return None;
    }
    let rad_s = zero_between(low, high, |w| excess(w).unwrap_or(f64::NAN));
    Some(LimitCycle {
        command_deg: amplitude(rad_s)?,
        rad_s,
        tilt_deg: 0.0,
    })
}

/// Loeb's criterion by central differences.
fn is_stable(
    open: &dyn Fn(f64) -> Complex<f64>,
    of: &LimitCycle,
    kind: DeadBandKind,
    width_deg: f64,
) -> bool {
    const STEP: f64 = 1e-4;
    let n = |a: f64| describing(kind, width_deg, a);
    let (a, w) = (of.command_deg, of.rad_s);
    let by_amplitude = (n(a * (1.0 + STEP)) - n(a * (1.0 - STEP))) * open(w);
    let by_frequency = n(a) * (open(w * (1.0 + STEP)) - open(w * (1.0 - STEP)));
    (by_amplitude * by_frequency.conj()).im < 0.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    // Published closed forms (tests/data/describing-functions.csv).
    #[test]
    fn describing_functions_are_the_published_ones() {
        let path = concat!(
            env!("CARGO_MANIFEST_DIR"),
            "/tests/data/describing-functions.csv"
        );
        let mut reader = csv::ReaderBuilder::new()
            .comment(Some(b'#'))
            .from_path(path)
            .unwrap();
        let mut checked = 0;
        for row in reader.records() {
            let row = row.unwrap();
            let number = |at: usize| row[at].parse::<f64>().unwrap();
            let found = match &row[0] {
                name if name.starts_with("dead zone") => {
                    describing(DeadBandKind::DeadZone, 2.0 * number(2), 1.0)
                }
                name if name.starts_with("backlash") => {
                    describing(DeadBandKind::Play, number(2), 1.0)
                }
                _ => continue,
            };
            assert_relative_eq!(found.re, number(3), epsilon = 2e-9);
            assert_relative_eq!(found.im, number(4), epsilon = 2e-9);
            checked += 1;
        }
        assert_eq!(checked, 11);
    }

    // L = (s + 1)^2 2/s^3: stable for any gain above one half of it, so a dead zone makes a limit cycle at
    // w = 1 with N = 1/4: x = 0.64 by the closed form.
    #[test]
    fn a_loop_of_small_lower_gain_margin_has_a_limit_cycle_in_its_dead_zone() {
        let open = |w: f64| {
            let s = Complex::new(0.0, w);
            (s + 1.0).powi(2) * 2.0 / s.powi(3)
        };
        let at_one = |low: f64, high: f64| by_gain(&open, low, high, 0.4);
        let found = at_one(0.9, 1.1).unwrap();
        assert_relative_eq!(found.rad_s, 1.0, max_relative = 1e-9);
        let n = describing(DeadBandKind::DeadZone, 0.4, found.command_deg);
        assert_relative_eq!(n.re, 0.25, max_relative = 1e-9);
    }
}
