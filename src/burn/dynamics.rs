//! What a ringing stand does to edges and peak, and taking it back.
//!
//! A stand that answers force F with reading x as a damped oscillator obeys
//! x''/w^2 + 2 z x'/w + x = F (w = 2 pi natural frequency, z damping ratio; any textbook on
//! vibration, e.g. Rao, ch. 3), so F is the reading plus two derivative terms. The derivatives come
//! from a polynomial of fifth degree through the readings within a fraction of a period (Savitzky &
//! Golay 1964); the reading itself is not filtered. Impulse is never taken from the corrected trace:
//! ringing leaves the area alone.
//!
//! Limits: one mode, along thrust; at the natural frequency 97 % of the second derivative is seen, so
//! about a thirtieth of the ringing stays. Noise grows by about 1.4 where ten readings fit into a
//! period. With too few readings within the fit nothing is corrected.

use nalgebra::{Matrix6, Vector6};

use crate::series::Series;

/// Half width of the fit, in periods of the stand: wide enough to average noise, narrow enough for a
/// polynomial of fifth degree to follow the ringing.
const HALF_WIDTH_PERIODS: f64 = 0.40;

/// Fewest readings within the fit: two more than the polynomial has coefficients.
const FEWEST: usize = 8;

/// A stand's main mode along thrust.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mode {
    /// Natural frequency, Hz.
    pub natural_hz: f64,
    /// Relative standard uncertainty of it.
    pub natural_relative_u: f64,
    /// Damping ratio.
    pub damping: f64,
}

/// Share of the ringing that the derivative of the fit misses at the natural frequency.
const MISSED_SHARE: f64 = 0.03;

/// Standard uncertainty of corrected values around a time, N: what the fit misses of the ringing taken
/// off there, and what a wrong frequency puts back (the correction goes with its square).
#[must_use]
pub fn u_n(readings: &Series, corrected: &Series, mode: &Mode, at_s: f64) -> f64 {
    let period_s = 1.0 / mode.natural_hz;
    let around = corrected.between(at_s - period_s, at_s + period_s);
    let taken_off = around
        .iter()
        .filter_map(|(time, force)| readings.at(time).map(|reading| (force - reading).abs()))
        .fold(0.0, f64::max);
    taken_off * MISSED_SHARE.hypot(2.0 * mode.natural_relative_u)
}

/// Force behind the readings between two times, from the readings of a stand with that mode. `None`
/// when the readings come too slowly to see it.
#[must_use]
pub fn corrected(readings: &Series, mode: &Mode, from_s: f64, to_s: f64) -> Option<Series> {
    let omega = 2.0 * std::f64::consts::PI * mode.natural_hz;
    let half_s = HALF_WIDTH_PERIODS / mode.natural_hz;
    let (time, value) = (readings.time_s(), readings.value());
    let step_s = readings.between(from_s, to_s).step_s()?;
    if ((2.0 * half_s / step_s) as usize) < FEWEST {
        return None;
    }
    let mut out = Series::default();
    let (mut first, mut last) = (
        readings.index_at(from_s - half_s),
        readings.index_at(from_s),
    );
    for row in readings.index_at(from_s)..readings.len() {
        let at = time[row];
        if at > to_s {
            break;
        }
        while time[first] < at - half_s {
            first += 1;
        }
        while last < time.len() && time[last] <= at + half_s {
            last += 1;
        }
        let slopes = derivatives(&time[first..last], &value[first..last], at, half_s);
        let correction = slopes.map_or(0.0, |(one, two)| {
            2.0 * mode.damping * one / omega + two / (omega * omega)
        });
        out.push(at, value[row] + correction);
    }
    Some(out)
}

/// First and second derivative at a time, from a polynomial through the readings around it.
fn derivatives(time: &[f64], value: &[f64], at_s: f64, half_s: f64) -> Option<(f64, f64)> {
    if time.len() < FEWEST {
        return None;
    }
    let mut normal = Matrix6::<f64>::zeros();
    let mut target = Vector6::<f64>::zeros();
    for (time, value) in time.iter().zip(value) {
        // Scaled to -1..1, six powers are well conditioned.
        let z = (time - at_s) / half_s;
        let z2 = z * z;
        let powers = Vector6::new(1.0, z, z2, z2 * z, z2 * z2, z2 * z2 * z);
        normal += powers * powers.transpose();
        target += powers * *value;
    }
    let solved = normal.cholesky()?.solve(&target);
    Some((solved[1] / half_s, 2.0 * solved[2] / (half_s * half_s)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ringing_step_is_taken_back() {
        // Exact step response of an oscillator of 85 Hz with damping 0.03 (Rao, ch. 4).
        let mode = Mode {
            natural_hz: 85.0,
            natural_relative_u: 0.0,
            damping: 0.03,
        };
        let w = 2.0 * std::f64::consts::PI * mode.natural_hz;
        let wd = w * (1.0 - mode.damping * mode.damping).sqrt();
        let response = |t: f64| {
            if t < 0.0 {
                return 0.0;
            }
            let decay = (-mode.damping * w * t).exp();
            1.0 - decay * ((wd * t).cos() + mode.damping * w / wd * (wd * t).sin())
        };
        let time: Vec<f64> = (0..400).map(|i| f64::from(i) * 5e-4 - 0.05).collect();
        let value: Vec<f64> = time.iter().map(|t| response(*t)).collect();
        let readings = Series::new(&time, &value);
        let overshoot = readings.value().iter().copied().fold(0.0, f64::max);
        assert!(overshoot > 1.9);
        let force = corrected(&readings, &mode, -0.05, 0.14).unwrap();
        let late = force.between(0.01, 0.13);
        let worst = late
            .value()
            .iter()
            .map(|v| (v - 1.0).abs())
            .fold(0.0, f64::max);
        assert!(worst < 0.06, "{worst}");
        let early = force.between(-0.05, -0.006);
        assert!(early.value().iter().all(|v| v.abs() < 1e-9));
    }

    #[test]
    fn slow_readings_are_left_alone() {
        let readings = Series::new(&[0.0, 0.0125, 0.025], &[0.0, 1.0, 0.0]);
        assert!(
            corrected(
                &readings,
                &Mode {
                    natural_hz: 85.0,
                    natural_relative_u: 0.0,
                    damping: 0.03
                },
                0.0,
                1.0
            )
            .is_none()
        );
    }
}
