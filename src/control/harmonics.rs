//! Harmonic balance of a limit cycle, from the describing function's sine.
//!
//! Inside a dead zone the rocket coasts, so its tilt is nearer a triangle than a sine, and the sine
//! alone misses the frequency by up to a factor of two. Here the command is taken as a sum of odd
//! harmonics (the loop has no middle but zero), sent through the dead band in time, and each harmonic
//! has to come back round the loop as it went out: U_n + L(n w) Y_n = 0. Newton's method on frequency
//! and harmonics, from the sine, with the harmonics let in by and by. Source: Mees, Dynamics of Feedback Systems, 1981, chapter 5.

use nalgebra::{Complex, DMatrix, DVector};

use super::dead_band::DeadBand;
use super::describing_function::LimitCycle;
use crate::plant::DeadBandKind;

/// Odd harmonics that are balanced at most: the 1st to the 15th.
const HARMONICS: usize = 8;
/// Samples of a cycle.
const SAMPLES: usize = 512;
/// Steps in which the harmonics are let in.
const PARTS: usize = 20;
/// Newton steps.
const STEPS: usize = 40;
/// Residual, in widths of the dead band, from which on the balance counts as found.
const BALANCED: f64 = 1e-6;

/// What is balanced.
pub(super) struct Balance<'a> {
    /// The open loop.
    pub open: &'a dyn Fn(f64) -> Complex<f64>,
    /// Command to tilt.
    pub tilt: &'a dyn Fn(f64) -> Complex<f64>,
    /// Highest frequency, rad/s.
    pub highest_rad_s: f64,
    /// Dead band.
    pub kind: DeadBandKind,
    /// Its width, deg.
    pub width_deg: f64,
    /// See [`unit_circle`].
    pub unit_circle: Vec<Complex<f64>>,
}

/// One cycle in samples: cosines and sines, worked out once.
pub(super) fn unit_circle() -> Vec<Complex<f64>> {
    (0..SAMPLES)
        .map(|at| Complex::from_polar(1.0, std::f64::consts::TAU * at as f64 / SAMPLES as f64))
        .collect()
}

/// The sum of odd harmonics over one cycle.
fn over_a_cycle(unit_circle: &[Complex<f64>], harmonics: &[Complex<f64>]) -> Vec<f64> {
    (0..SAMPLES)
        .map(|at| {
            let part =
                |(n, u): (usize, &Complex<f64>)| (u * unit_circle[(2 * n + 1) * at % SAMPLES]).re;
            harmonics.iter().enumerate().map(part).sum()
        })
        .collect()
}

impl Balance<'_> {
    /// Number of odd harmonics below the highest frequency.
    fn count(&self, rad_s: f64) -> usize {
        let fit = (0.5 * (self.highest_rad_s / rad_s - 1.0)).floor().max(0.0) as usize;
        (fit + 1).min(HARMONICS)
    }

    /// The limit cycle from its sine; the sine itself with its tilt where the balance is not found.
    pub(super) fn refine(&self, sine: &LimitCycle) -> LimitCycle {
        let count = self.count(1.2 * sine.rad_s);
        // Frequency in units of the sine's; amplitudes in widths.
        let mut x = DVector::zeros(2 * count);
        x[0] = 1.0;
        x[1] = sine.command_deg / self.width_deg;
        let start = x.clone();
        // The harmonics are let in by and by: from the sine straight to all of them is too far.
        for part in 1..=PARTS {
            match self.balanced(x, sine.rad_s, part as f64 / PARTS as f64) {
                Some(found) => x = found,
                None => return self.limit_cycle(&start, sine.rad_s),
            }
        }
        self.limit_cycle(&x, sine.rad_s)
    }

    /// Newton's method with a share of the harmonics; `None` when it does not arrive.
    fn balanced(&self, mut x: DVector<f64>, unit_rad_s: f64, part: f64) -> Option<DVector<f64>> {
        let mut off = self.residual(&x, unit_rad_s, part);
        for _ in 0..STEPS {
            if off.norm() < BALANCED {
                return Some(x);
            }
            let step = self.jacobian(&x, unit_rad_s, part, &off).lu().solve(&off)?;
            let mut share = 1.0;
            loop {
                let tried = &x - &step * share;
                let there = self.residual(&tried, unit_rad_s, part);
                let sensible = (0.1..2.0).contains(&tried[0]) && tried[1] > 0.4;
                if sensible && there.norm() < off.norm() {
                    (x, off) = (tried, there);
                    break;
                }
                share *= 0.5;
                if share < 1e-4 {
                    return None;
                }
            }
        }
        None
    }

    fn harmonics(&self, x: &DVector<f64>) -> Vec<Complex<f64>> {
        let mut out = vec![Complex::new(x[1] * self.width_deg, 0.0)];
        for at in 1..x.len() / 2 {
            out.push(Complex::new(x[2 * at], x[2 * at + 1]) * self.width_deg);
        }
        out
    }

    /// Command over one cycle, deg.
    fn command(&self, x: &DVector<f64>) -> Vec<f64> {
        over_a_cycle(&self.unit_circle, &self.harmonics(x))
    }

    /// Command behind the dead band: harmonics.
    fn passed(&self, command: &[f64], count: usize) -> Vec<Complex<f64>> {
        let mut dead_band = DeadBand::new(self.kind, self.width_deg);
        // One cycle to settle, one to look at.
        for u in command {
            dead_band.pass(*u);
        }
        let out: Vec<f64> = command.iter().map(|u| dead_band.pass(*u)).collect();
        (0..count)
            .map(|n| {
                let sum: Complex<f64> = out
                    .iter()
                    .enumerate()
                    .map(|(at, y)| self.unit_circle[(2 * n + 1) * at % SAMPLES].conj() * y)
                    .sum();
                sum * (2.0 / SAMPLES as f64)
            })
            .collect()
    }

    fn residual(&self, x: &DVector<f64>, unit_rad_s: f64, part: f64) -> DVector<f64> {
        let count = x.len() / 2;
        let passed = self.passed(&self.command(x), count);
        let harmonics = self.harmonics(x);
        let mut out = DVector::zeros(2 * count);
        for n in 0..count {
            let rad_s = (2 * n + 1) as f64 * x[0] * unit_rad_s;
            let share = if n == 0 { 1.0 } else { part };
            let back = (self.open)(rad_s) * passed[n] * share;
            let off = (harmonics[n] + back) / self.width_deg;
            (out[2 * n], out[2 * n + 1]) = (off.re, off.im);
        }
        out
    }

    fn jacobian(
        &self,
        x: &DVector<f64>,
        unit_rad_s: f64,
        part: f64,
        off: &DVector<f64>,
    ) -> DMatrix<f64> {
        let size = x.len();
        let mut out = DMatrix::zeros(size, size);
        for at in 0..size {
            let step = 1e-5 * x[at].abs().max(0.1);
            let mut moved = x.clone();
            moved[at] += step;
            let column = (self.residual(&moved, unit_rad_s, part) - off) / step;
            out.set_column(at, &column);
        }
        out
    }

    fn limit_cycle(&self, x: &DVector<f64>, unit_rad_s: f64) -> LimitCycle {
        let command = self.command(x);
        let rad_s = x[0] * unit_rad_s;
        let count = x.len() / 2;
        let passed = self.passed(&command, count);
        let tilt: Vec<Complex<f64>> = passed
            .iter()
            .enumerate()
            .map(|(n, y)| (self.tilt)((2 * n + 1) as f64 * rad_s) * y)
            .collect();
        let largest = |values: &[f64]| values.iter().map(|v| v.abs()).fold(0.0, f64::max);
        LimitCycle {
            command_deg: largest(&command),
            rad_s,
            tilt_deg: largest(&over_a_cycle(&self.unit_circle, &tilt)),
        }
    }
}
