//! What a ringing stand does to edges and peak, and taking it back.
//!
//! A stand that answers force F with reading x as a damped oscillator obeys
//! x''/w^2 + 2 z x'/w + x = F (w = 2 pi natural frequency, z damping ratio; any textbook on
//! vibration, e.g. Rao, ch. 3), so F is the reading plus two derivative terms. The derivatives come
//! from a polynomial of fifth degree through the readings within a fraction of a period (Savitzky &
//! Golay 1964); the reading itself is not filtered. Impulse is never taken from the corrected trace:
//! ringing leaves the area alone.
//!
//! The narrower the fit, the more it sees of what is fast and the more of the noise. So the narrowest
//! is taken whose noise stays small against the peak. At the widest, 0.4 of a period to either side,
//! the second derivative is seen to 95 % at the natural frequency, so a twentieth of the ringing
//! stays, and to 0.707 at 1.7 times that; at a fifth of a period to 99.7 % and at 3.4 times.
//! [`Inverse::bandwidth_hz`] says up to where a force comes back within 3 dB. What happens faster is
//! not seen, corrected or not.
//!
//! Limits: one mode, along thrust. With too few readings within the fit nothing is corrected.

use std::collections::VecDeque;
use std::f64::consts::TAU;

use nalgebra::{Cholesky, Matrix6, U6, Vector6};

use crate::series::Series;

/// Half widths of the fit, in periods of the stand, from the one that sees most to the one that
/// averages most: wider, a polynomial of fifth degree no longer follows the ringing.
const HALF_WIDTHS_PERIODS: [f64; 7] = [0.15, 0.18, 0.21, 0.25, 0.30, 0.35, 0.40];

/// Half widths of the fit with a swing in it, in periods, tried from the narrowest.
const SWING_HALF_WIDTHS_PERIODS: [f64; 6] = [0.45, 0.5, 0.6, 0.7, 0.85, 1.0];

/// Noise that the corrected readings may have, as a share of the peak.
const NOISE_SHARE: f64 = 0.002;

/// Fewest readings within the fit: two more than the polynomial has coefficients.
const FEWEST: usize = 8;

/// ... and of the fit with a swing in it: one more than it has coefficients, for there are no more where it is needed.
const FEWEST_WITH_SWING: usize = 7;

/// A stand's main mode along thrust.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Mode {
    /// Natural frequency, Hz.
    pub natural_hz: f64,
    /// Relative standard uncertainty of it.
    pub natural_relative_u: f64,
    /// Damping ratio.
    pub damping: f64,
    /// Standard uncertainty of it.
    pub damping_u: f64,
}

/// Takes the ringing of a stand off readings that come at a certain step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Inverse {
    mode: Mode,
    half_s: f64,
    step_s: f64,
    /// Whether the fit holds a free swing of the mode in place of the two highest powers.
    swing: bool,
}

impl Inverse {
    /// For readings at a step, s, with noise `sd_n`, of a thrust of about `peak_n`. `None` when they
    /// come too slowly to see the ringing.
    #[must_use]
    pub(crate) fn for_readings(mode: &Mode, step_s: f64, sd_n: f64, peak_n: f64) -> Option<Self> {
        let of_width = |periods: f64| Self {
            mode: *mode,
            half_s: periods / mode.natural_hz,
            step_s,
            swing: false,
        };
        let quiet = |one: &Self| {
            let gain = one.weights().map(|weights| weights.noise_gain(mode));
            gain.is_some_and(|gain| gain * sd_n <= NOISE_SHARE * peak_n)
        };
        let widest = HALF_WIDTHS_PERIODS.iter().copied().fold(0.0, f64::max);
        let with_swing = |periods: f64| Self {
            swing: true,
            ..of_width(periods)
        };
        HALF_WIDTHS_PERIODS
            .into_iter()
            .map(of_width)
            .find(quiet)
            .or_else(|| Some(of_width(widest)).filter(|one| one.weights().is_some()))
            .or_else(|| {
                let wider = SWING_HALF_WIDTHS_PERIODS.into_iter().map(with_swing);
                wider.into_iter().find(|one| one.weights().is_some())
            })
    }

    fn weights(&self) -> Option<Weights> {
        Weights::of(self)
    }

    /// Standard uncertainty of corrected values around a time, N: what the fit misses of the ringing
    /// taken off there, and what a wrong mode puts back.
    #[must_use]
    pub(crate) fn u_n(&self, readings: &Series, corrected: &Series, at_s: f64) -> f64 {
        self.taken_off_n(readings, corrected, at_s) * self.relative_u()
    }

    /// The same of every corrected value.
    #[must_use]
    pub(crate) fn each_u_n(&self, readings: &Series, corrected: &Series) -> Vec<f64> {
        let mut reading = readings.walk();
        let off = |(time, force): (f64, f64)| (force - reading(time).unwrap_or(force)).abs();
        let off_n: Vec<f64> = corrected.iter().map(off).collect();
        let (time_s, period_s) = (corrected.time_s(), 1.0 / self.mode.natural_hz);
        let relative_u = self.relative_u();
        // Of the values within a period those that no later one is larger than, the largest first.
        let (mut largest, mut next): (VecDeque<usize>, usize) = (VecDeque::new(), 0);
        let most = |at: usize| {
            while next < off_n.len() && time_s[next] <= time_s[at] + period_s {
                while largest
                    .back()
                    .is_some_and(|last| off_n[*last] <= off_n[next])
                {
                    largest.pop_back();
                }
                largest.push_back(next);
                next += 1;
            }
            while largest
                .front()
                .is_some_and(|first| time_s[*first] < time_s[at] - period_s)
            {
                largest.pop_front();
            }
            largest.front().map_or(0.0, |first| off_n[*first]) * relative_u
        };
        (0..off_n.len()).map(most).collect()
    }

    /// Standard uncertainty of what was taken off, over it.
    fn relative_u(&self) -> f64 {
        let missed = self
            .weights()
            .map_or(1.0, |weights| 1.0 - weights.seen(self.mode.natural_hz).1);
        missed.hypot(self.wrong_mode())
    }

    /// The part of it that a wrong mode makes, which is all that matters on an edge: an edge is slow
    /// against the ringing.
    #[must_use]
    pub(crate) fn wrong_mode_u_n(&self, readings: &Series, corrected: &Series, at_s: f64) -> f64 {
        self.taken_off_n(readings, corrected, at_s) * self.wrong_mode()
    }

    /// Once for the frequency squared, once for damping: both terms are as large as the ringing.
    fn wrong_mode(&self) -> f64 {
        (2.0 * self.mode.natural_relative_u).hypot(2.0 * self.mode.damping_u)
    }

    /// Most that was taken off within a period of a time, N.
    fn taken_off_n(&self, readings: &Series, corrected: &Series, at_s: f64) -> f64 {
        let period_s = 1.0 / self.mode.natural_hz;
        let around = corrected.between(at_s - period_s, at_s + period_s);
        around
            .iter()
            .filter_map(|(time, force)| readings.at(time).map(|reading| (force - reading).abs()))
            .fold(0.0, f64::max)
    }

    /// Force behind the readings between two times.
    #[must_use]
    pub(crate) fn corrected(&self, readings: &Series, from_s: f64, to_s: f64) -> Series {
        let omega = TAU * self.mode.natural_hz;
        let half_s = self.half_s;
        let (time, value) = (readings.time_s(), readings.value());
        let mut out = Series::default();
        let (mut first, mut last) = (
            readings.index_at(from_s - half_s),
            readings.index_at(from_s),
        );
        for row in readings.index_at(from_s)..readings.len() {
            let (at, reading) = (time[row], value[row]);
            if at > to_s {
                break;
            }
            while time[first] < at - half_s {
                first += 1;
            }
            while last < time.len() && time[last] <= at + half_s {
                last += 1;
            }
            let slopes = self.derivatives(&time[first..last], &value[first..last], at);
            let correction = slopes.map_or(0.0, |(one, two)| {
                2.0 * self.mode.damping * one / omega + two / (omega * omega)
            });
            out.push(at, reading + correction);
        }
        out
    }

    /// First and second derivative at a time, from a fit through the readings around it.
    fn derivatives(&self, time: &[f64], value: &[f64], at_s: f64) -> Option<(f64, f64)> {
        if time.len() < self.fewest() {
            return None;
        }
        let mut normal = Normal::default();
        for (time, value) in time.iter().zip(value) {
            normal.add(&self.columns(time - at_s), *value);
        }
        Some(self.first_two(&normal.factor()?, normal.target))
    }

    const fn fewest(&self) -> usize {
        if self.swing {
            FEWEST_WITH_SWING
        } else {
            FEWEST
        }
    }

    /// Decay and frequency of a free swing, 1/s.
    fn free(&self) -> (f64, f64) {
        let (omega, damping) = (TAU * self.mode.natural_hz, self.mode.damping);
        (
            damping * omega,
            omega * (1.0 - damping * damping).max(0.0).sqrt(),
        )
    }

    /// What a reading so long after the middle of the fit says of its coefficients: powers of that over the half width, which from
    /// -1 to 1 are well conditioned, the two highest of them replaced by the swing where there is one.
    #[inline]
    fn columns(&self, offset_s: f64) -> [f64; 6] {
        let z = offset_s / self.half_s;
        let z2 = z * z;
        if !self.swing {
            return [1.0, z, z2, z2 * z, z2 * z2, z2 * z2 * z];
        }
        let (decay, damped) = self.free();
        let (sine, cosine) = (damped * offset_s).sin_cos();
        let shrunk = (-decay * offset_s).exp();
        [1.0, z, z2, z2 * z, shrunk * cosine, shrunk * sine]
    }

    /// First and second derivative of the fit at its middle.
    fn first_two(&self, factor: &Cholesky<f64, U6>, target: [f64; 6]) -> (f64, f64) {
        let solved = factor.solve(&Vector6::from(target));
        let half_s = self.half_s;
        let (one, two) = (solved[1] / half_s, 2.0 * solved[2] / (half_s * half_s));
        if !self.swing {
            return (one, two);
        }
        // Of e^(-d t) (A cos w t + B sin w t) at nought.
        let ((decay, damped), cosine, sine) = (self.free(), solved[4], solved[5]);
        (
            one + damped * sine - decay * cosine,
            two + (decay * decay - damped * damped) * cosine - 2.0 * decay * damped * sine,
        )
    }

    /// How far the fit moves a time at which the force passes a level, s, where it rises out of a corner so long before: the fit
    /// rounds the corner.
    #[must_use]
    pub(crate) fn rounds_s(&self, since_corner_s: f64) -> f64 {
        let near = 1.0 - since_corner_s / (CORNER_REACH * self.half_s);
        self.half_s * (ROUNDED_AT_CORNER * near).max(ROUNDED_BESIDE)
    }

    /// Bandwidth of stand and correction together, Hz: up to here a force comes back within 3 dB of
    /// what it was.
    #[must_use]
    pub(crate) fn bandwidth_hz(&self) -> Option<f64> {
        let weights = self.weights()?;
        let (steps, end) = BANDWIDTH_STEPS;
        (1..=steps * end)
            .map(|at| at as f64 * self.mode.natural_hz / steps as f64)
            .find(|hz| {
                let gain = weights.gain(&self.mode, *hz);
                !(1.0 / BANDWIDTH_GAIN..=BANDWIDTH_GAIN).contains(&gain)
            })
    }
}

/// The normal matrix of the fit and its right side, summed over readings.
#[derive(Default)]
struct Normal {
    matrix: [[f64; 6]; 6],
    target: [f64; 6],
}

impl Normal {
    #[allow(
        clippy::needless_range_loop,
        reason = "rows of six are added side by side; iterators over them are not made one loop"
    )]
    #[inline]
    fn add(&mut self, powers: &[f64; 6], value: f64) {
        for row in 0..6 {
            for column in 0..6 {
                self.matrix[row][column] += powers[row] * powers[column];
            }
            self.target[row] += powers[row] * value;
        }
    }

    fn factor(&self) -> Option<Cholesky<f64, U6>> {
        Matrix6::from_fn(|row, column| self.matrix[row][column]).cholesky()
    }
}

/// The bandwidth of the correction ends where force comes back smaller or larger by this: 3 dB.
const BANDWIDTH_GAIN: f64 = std::f64::consts::SQRT_2;

/// Behind a corner of the force the reading grows with the third power of time. By how much the fit's second derivative of that is
/// off at the corner, over what it grows by in half the fit's width; how far beside it, in half widths, that has gone; and by how
/// much at most from there on.
const ROUNDED_AT_CORNER: f64 = 0.069;
const CORNER_REACH: f64 = 0.2;
const ROUNDED_BESIDE: f64 = 0.0165;

/// Steps of the search for the bandwidth in one natural frequency, and where it ends.
const BANDWIDTH_STEPS: (usize, usize) = (200, 10);

/// What each of some even readings adds to the derivatives at their middle.
struct Weights {
    time_s: Vec<f64>,
    /// First derivative, 1/s, and second, 1/s2.
    slopes: Vec<(f64, f64)>,
}

impl Weights {
    fn of(inverse: &Inverse) -> Option<Self> {
        let reach = (inverse.half_s / inverse.step_s) as i32;
        let rows = -reach..=reach;
        let time_s: Vec<f64> = rows.map(|at| f64::from(at) * inverse.step_s).collect();
        if time_s.len() < inverse.fewest() {
            return None;
        }
        let each = || time_s.iter().map(|time| inverse.columns(*time));
        let mut normal = Normal::default();
        each().for_each(|columns| normal.add(&columns, 0.0));
        let factor = normal.factor()?;
        Some(Self {
            slopes: each().map(|one| inverse.first_two(&factor, one)).collect(),
            time_s,
        })
    }

    /// Shares of the first and second derivative of a sine that the fit sees.
    fn seen(&self, hz: f64) -> (f64, f64) {
        let omega = TAU * hz;
        let both = self.time_s.iter().zip(&self.slopes);
        let sums = both.fold((0.0, 0.0), |sums, (time, slopes)| {
            let (sine, cosine) = (omega * time).sin_cos();
            (sums.0 + slopes.0 * sine, sums.1 + slopes.1 * cosine)
        });
        (sums.0 / omega, -sums.1 / (omega * omega))
    }

    /// By how much white noise of readings grows in corrected ones.
    fn noise_gain(&self, mode: &Mode) -> f64 {
        let omega = TAU * mode.natural_hz;
        let parts = self.time_s.iter().zip(&self.slopes).map(|(time, slopes)| {
            let own = if *time == 0.0 { 1.0 } else { 0.0 };
            own + 2.0 * mode.damping * slopes.0 / omega + slopes.1 / (omega * omega)
        });
        parts.map(|part| part * part).sum::<f64>().sqrt()
    }

    /// Gain from force to corrected reading: the stand's own, times the correction's.
    fn gain(&self, mode: &Mode, hz: f64) -> f64 {
        let r = hz / mode.natural_hz;
        let (one, two) = self.seen(hz);
        let stand = (1.0 - r * r).hypot(2.0 * mode.damping * r);
        (1.0 - r * r * two).hypot(2.0 * mode.damping * r * one) / stand
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const STAND: Mode = Mode {
        natural_hz: 85.0,
        natural_relative_u: 0.0,
        damping: 0.03,
        damping_u: 0.0,
    };

    // The shares follow from the definition alone: a polynomial of fifth degree gives back any
    // quadratic exactly, so slow sines are seen whole; the numbers of the head are held here.
    #[test]
    fn the_correction_sees_what_the_head_says() {
        for per_period in [10.1, 20.1, 100.1] {
            let step_s = 1.0 / (per_period * STAND.natural_hz);
            let widest = Inverse {
                mode: STAND,
                half_s: 0.4 / STAND.natural_hz,
                step_s,
                swing: false,
            };
            let weights = Weights::of(&widest).unwrap();
            let share = |r: f64| weights.seen(r * STAND.natural_hz).1;
            assert!((share(0.05) - 1.0).abs() < 1e-4);
            assert!((share(1.0) - 0.95).abs() < 0.006, "{}", share(1.0));
            assert!(share(1.65) > 0.707 && share(1.8) < 0.707);
            assert!((weights.gain(&STAND, 0.8 * STAND.natural_hz) - 1.0).abs() < 0.04);
            let width = widest.bandwidth_hz().unwrap() / STAND.natural_hz;
            assert!((0.95..1.15).contains(&width), "{width}");
            let at_it = weights.gain(&STAND, STAND.natural_hz);
            assert!((1.2..1.45).contains(&at_it), "{at_it}");
        }
        let narrow = Weights::of(&Inverse {
            mode: STAND,
            half_s: 0.2 / STAND.natural_hz,
            step_s: 1e-4,
            swing: false,
        })
        .unwrap();
        assert!((narrow.seen(STAND.natural_hz).1 - 0.997).abs() < 0.001);
        assert!(narrow.seen(3.3 * STAND.natural_hz).1 > 0.707);
    }

    // Of t^3/6 behind a corner the second derivative is t: what the fit says of it, here on 401 even readings.
    #[test]
    fn a_corner_is_rounded_by_what_is_stated() {
        let fit = Inverse {
            mode: STAND,
            half_s: 1.0,
            step_s: 0.005,
            swing: false,
        };
        for at in 0..100 {
            let since = f64::from(at) * 0.01;
            let time: Vec<f64> = (-200..=200).map(|row| f64::from(row) * 0.005).collect();
            let read = |t: &f64| (t + since).max(0.0).powi(3) / 6.0;
            let read: Vec<f64> = time.iter().map(read).collect();
            let off = (fit.derivatives(&time, &read, 0.0).unwrap().1 - since).abs();
            assert!(off <= 1.02 * fit.rounds_s(since), "{since} {off}");
            assert!(at > 0 || off > 0.98 * fit.rounds_s(since), "{off}");
        }
    }

    // One sweep over all values finds what each look around one finds.
    #[test]
    fn the_uncertainty_of_each_value_is_that_around_it() {
        let time: Vec<f64> = (0..400).map(|row| f64::from(row) * 5e-4).collect();
        let swing = |t: f64| (530.0 * t).sin() * (-9.0 * t).exp();
        let read: Vec<f64> = time.iter().map(|t| 40.0 + swing(*t)).collect();
        let force: Vec<f64> = time.iter().map(|t| 40.0 + 0.1 * swing(t * 1.3)).collect();
        let inverse = Inverse::for_readings(&STAND, 5e-4, 0.02, 50.0).unwrap();
        let (read, force) = (Series::new(&time, &read), Series::new(&time, &force));
        let each = inverse.each_u_n(&read, &force);
        assert_eq!(each.len(), 400);
        for (row, u_n) in each.iter().enumerate() {
            let alone = inverse.u_n(&read, &force, time[row]);
            approx::assert_relative_eq!(*u_n, alone, max_relative = 1e-12);
        }
    }

    // Quiet readings are corrected over a wider band than noisy ones, and the noise that comes of it
    // is that of a direct simulation.
    #[test]
    fn the_fit_is_as_narrow_as_noise_allows() {
        let width = |sd_n: f64| {
            Inverse::for_readings(&STAND, 5e-4, sd_n, 50.0)
                .unwrap()
                .half_s
        };
        assert!(width(0.0) < width(0.02) && width(0.02) < width(0.1));
        assert_eq!(Inverse::for_readings(&STAND, 0.0125, 0.0, 50.0), None);
        let inverse = Inverse::for_readings(&STAND, 5e-4, 0.02, 50.0).unwrap();
        let mut state: u64 = 11;
        let mut uniform = || {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1);
            (state >> 11) as f64 / (1_u64 << 53) as f64 - 0.5
        };
        let time: Vec<f64> = (0..20_000).map(|at| f64::from(at) * 5e-4).collect();
        let noise: Vec<f64> = time.iter().map(|_| 12.0_f64.sqrt() * uniform()).collect();
        let out = inverse.corrected(&Series::new(&time, &noise), 0.1, 9.9);
        let sd = (out.value().iter().map(|v| v * v).sum::<f64>() / out.len() as f64).sqrt();
        let gain = inverse.weights().unwrap().noise_gain(&STAND);
        assert!((sd / gain - 1.0).abs() < 0.03, "{sd} against {gain}");
    }

    // The gain is that of a real correction: the steady answer of the stand to a sine of 1.2 times its
    // natural frequency (Rao, 3.4: gain and phase of a damped oscillator), corrected.
    #[test]
    fn a_forced_oscillation_comes_back_with_the_stated_gain() {
        let (r, step_s): (f64, f64) = (1.2, 5e-4);
        let omega = TAU * STAND.natural_hz * r;
        let (across, along) = (2.0 * STAND.damping * r, 1.0 - r * r);
        let phase = across.atan2(along);
        let size = along.hypot(across).recip();
        let time: Vec<f64> = (0..2000).map(|at| f64::from(at) * step_s).collect();
        let value: Vec<f64> = time
            .iter()
            .map(|t| size * (omega * t - phase).sin())
            .collect();
        let inverse = Inverse::for_readings(&STAND, step_s, 0.1, 1.0).unwrap();
        let force = inverse.corrected(&Series::new(&time, &value), 0.1, 0.9);
        let rms = force.value().iter().map(|v| v * v).sum::<f64>() / force.len() as f64;
        let weights = inverse.weights().unwrap();
        let gain = weights.gain(&STAND, STAND.natural_hz * r);
        assert!(((2.0 * rms).sqrt() - gain).abs() < 0.01, "{gain}");
    }

    #[test]
    fn a_ringing_step_is_taken_back() {
        // Exact step response of an oscillator of 85 Hz with damping 0.03 (Rao, ch. 4).
        let mode = Mode {
            natural_hz: 85.0,
            natural_relative_u: 0.0,
            damping: 0.03,
            damping_u: 0.0,
        };
        let w = TAU * mode.natural_hz;
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
        let inverse = Inverse::for_readings(&mode, 5e-4, 0.0, 1.0).unwrap();
        let force = inverse.corrected(&readings, -0.05, 0.14);
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

    // By hand: 2 N were taken off within a period of 50 Hz, more further away. A frequency wrong by
    // 1 % and a damping by 0.005 put back the root of 0.02^2 + 0.01^2 of it.
    #[test]
    fn what_was_taken_off_nearby_and_a_wrong_mode_make_the_uncertainty() {
        let mode = Mode {
            natural_hz: 50.0,
            natural_relative_u: 0.01,
            damping: 0.03,
            damping_u: 0.005,
        };
        let inverse = Inverse::for_readings(&mode, 1e-3, 0.0, 100.0).unwrap();
        let time: Vec<f64> = (0..200).map(|row| 1e-3 * f64::from(row)).collect();
        let readings = Series::new(&time, &[10.0; 200]);
        let force = |t: &f64| match (t - 0.1).abs() {
            away if away < 0.0195 => 12.0,
            away if away > 0.0205 => 1.0,
            _ => 10.0,
        };
        let corrected = Series::new(&time, &time.iter().map(force).collect::<Vec<f64>>());
        let share = 0.02_f64.hypot(0.01);
        let by_mode = inverse.wrong_mode_u_n(&readings, &corrected, 0.1);
        assert!((by_mode - 2.0 * share).abs() < 1e-12, "{by_mode}");
        let missed = 1.0 - inverse.weights().unwrap().seen(50.0).1;
        assert!((0.0..0.06).contains(&missed), "{missed}");
        let all = inverse.u_n(&readings, &corrected, 0.1);
        assert!((all - 2.0 * missed.hypot(share)).abs() < 1e-12, "{all}");
    }
}
