//! Butterworth low-pass filters of order 1 to 8, run once or both ways.
//!
//! The poles of the analogue prototype lie evenly on the left half of the unit circle; each pair
//! becomes one section of second order by the bilinear transform, with the cut-off pre-warped so
//! that a single run is 3.0103 dB down exactly there (Oppenheim & Schafer, Discrete-Time Signal
//! Processing, ch. 7). Sections keep their digits at low cut-offs, where a single quotient of
//! polynomials of high order does not.
//!
//! A run forwards and then backwards has zero phase and the square of the gain: 6.0206 dB down at
//! the cut-off of one run. [`LowPass::for_both_ways`] moves the cut-off up so that both runs
//! together are 3.0103 dB down at the frequency wanted: (2^(1/2) - 1)^(1/(2n)) on the pre-warped
//! frequency, 0.802 for order 2 as biomechanics has it (Winter, Biomechanics and Motor Control of
//! Human Movement, ch. 2; from memory).
//!
//! Ends: the record is continued by its point reflection about the end readings, and each run
//! starts in the steady state of its first value. The continuation is 3 (n + 1) readings long,
//! three times the number of coefficients, or longer where the filter takes longer to forget its
//! start (to 1e-10), so that a straight line passes unchanged to its very ends; never
//! longer than the record has readings to reflect.
//!
//! Limits: even steps. A run both ways lifts a curve before a sudden rise: never for edges, never
//! for areas.

use std::f64::consts::PI;

/// Highest order: more is not steeper where it matters and rings longer.
pub(crate) const HIGHEST_ORDER: usize = 8;

/// What is left of the start of a run at the end of the continuation.
const FORGOTTEN: f64 = 1e-10;

/// b0 + b1/z + b2/z^2 over 1 + a1/z + a2/z^2, with gain 1 at frequency zero.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Section {
    b: [f64; 3],
    a: [f64; 2],
}

/// A digital low pass.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct LowPass {
    order: usize,
    sections: Vec<Section>,
}

impl LowPass {
    /// A filter that is 3.0103 dB down at `cut_off` after a run both ways.
    #[must_use]
    pub(crate) fn for_both_ways(order: usize, cut_off: f64) -> Option<Self> {
        (cut_off > 0.0 && cut_off < 1.0)
            .then(|| Self::warped(order, (0.5 * PI * cut_off).tan() / both_ways_factor(order)))
            .flatten()
    }

    /// From the pre-warped cut-off, tan(w T / 2).
    fn warped(order: usize, k: f64) -> Option<Self> {
        if !(1..=HIGHEST_ORDER).contains(&order) || !k.is_finite() {
            return None;
        }
        let mut sections = Vec::new();
        if order % 2 == 1 {
            let scale = 1.0 / (1.0 + k);
            sections.push(Section {
                b: [k * scale, k * scale, 0.0],
                a: [(k - 1.0) * scale, 0.0],
            });
        }
        for pair in 0..order / 2 {
            // Twice the real part of the pair of poles, without its sign.
            let angle = PI * (2 * pair + 1) as f64 / (2 * order) as f64;
            let damping = 2.0 * angle.sin();
            let scale = 1.0 / (1.0 + damping * k + k * k);
            let b0 = k * k * scale;
            sections.push(Section {
                b: [b0, 2.0 * b0, b0],
                a: [
                    2.0 * (k * k - 1.0) * scale,
                    (1.0 - damping * k + k * k) * scale,
                ],
            });
        }
        Some(Self { order, sections })
    }

    fn run(&self, values: &mut [f64]) {
        let Some(&first) = values.first() else {
            return;
        };
        for section in &self.sections {
            let ([b0, b1, b2], [a1, a2]) = (section.b, section.a);
            // Transposed direct form; a constant passes unchanged from the first value on.
            let (mut s1, mut s2) = ((1.0 - b0) * first, (b2 - a2) * first);
            for value in values.iter_mut() {
                let x = *value;
                let y = b0 * x + s1;
                s1 = b1 * x - a1 * y + s2;
                s2 = b2 * x - a2 * y;
                *value = y;
            }
        }
    }

    /// A run forwards and one backwards: zero phase.
    #[must_use]
    pub(crate) fn both_ways(&self, values: &[f64]) -> Vec<f64> {
        let count = values.len();
        if count < 2 {
            return values.to_vec();
        }
        let pad = self.padding().min(count - 1);
        let (first, last) = (values[0], values[count - 1]);
        let before = (1..=pad).rev().map(|at| 2.0 * first - values[at]);
        let after = (1..=pad).map(|at| 2.0 * last - values[count - 1 - at]);
        let mut all: Vec<f64> = before.chain(values.iter().copied()).chain(after).collect();
        for _ in 0..2 {
            self.run(&mut all);
            all.reverse();
        }
        all[pad..pad + count].to_vec()
    }

    /// Readings by which each end is continued.
    fn padding(&self) -> usize {
        let slowest = self
            .sections
            .iter()
            .map(Section::radius)
            .fold(0.0, f64::max);
        // A pole of radius r is forgotten after ln(FORGOTTEN) / ln r readings.
        let forgotten = (FORGOTTEN.ln() / slowest.max(1e-3).ln()).ceil();
        (3 * (self.order + 1)).max(forgotten as usize)
    }

    /// Share of the variance of white noise that a run both ways leaves.
    #[must_use]
    pub(crate) fn noise_share(&self) -> f64 {
        let half = self.padding();
        let mut pulse = vec![0.0; 2 * half + 1];
        pulse[half] = 1.0;
        let answer = self.both_ways(&pulse);
        answer.iter().map(|value| value * value).sum()
    }
}

impl Section {
    /// Distance of its outermost pole from the origin.
    fn radius(&self) -> f64 {
        let [a1, a2] = self.a;
        let root = 0.25 * a1 * a1 - a2;
        if root < 0.0 {
            a2.sqrt()
        } else {
            0.5 * a1.abs() + root.sqrt()
        }
    }
}

/// What the cut-off of a single run is divided by so that two runs are 3.0103 dB down.
#[must_use]
pub(crate) fn both_ways_factor(order: usize) -> f64 {
    (std::f64::consts::SQRT_2 - 1.0).powf(0.5 / order as f64)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// What the filter is held against.
    impl LowPass {
        /// A filter of an order, 3.0103 dB down in a single run at `cut_off`, a share of the Nyquist
        /// frequency. `None` unless the order lies in 1..=8 and the cut-off strictly between 0 and 1.
        fn single(order: usize, cut_off: f64) -> Option<Self> {
            (cut_off > 0.0 && cut_off < 1.0)
                .then(|| Self::warped(order, (0.5 * PI * cut_off).tan()))
                .flatten()
        }

        /// Coefficients b and a of the whole filter in powers of 1/z, a starting with 1.
        fn transfer_function(&self) -> (Vec<f64>, Vec<f64>) {
            let (mut b, mut a) = (vec![1.0], vec![1.0]);
            for section in &self.sections {
                b = product(&b, &section.b);
                a = product(&a, &[1.0, section.a[0], section.a[1]]);
            }
            b.truncate(self.order + 1);
            a.truncate(self.order + 1);
            (b, a)
        }

        /// Gain of a single run at a frequency, a share of the Nyquist frequency.
        fn gain(&self, frequency: f64) -> f64 {
            // Section by section: the whole polynomial has lost its digits at low cut-offs.
            let size = |c: [f64; 3]| {
                let (mut re, mut im) = (0.0, 0.0);
                for (power, c) in c.iter().enumerate() {
                    let phase = PI * frequency * power as f64;
                    re += c * phase.cos();
                    im -= c * phase.sin();
                }
                f64::hypot(re, im)
            };
            let gains = self.sections.iter().map(|section| {
                let [a1, a2] = section.a;
                size(section.b) / size([1.0, a1, a2])
            });
            gains.product()
        }

        /// A single run forwards, as a recorder could do it: late by the filter's delay. It starts in
        /// the steady state of the first value.
        fn causal(&self, values: &[f64]) -> Vec<f64> {
            let mut out = values.to_vec();
            self.run(&mut out);
            out
        }
    }

    fn product(p: &[f64], q: &[f64]) -> Vec<f64> {
        let mut out = vec![0.0; p.len() + q.len() - 1];
        for (i, p) in p.iter().enumerate() {
            for (j, q) in q.iter().enumerate() {
                out[i + j] += p * q;
            }
        }
        out
    }

    fn decibel(gain: f64) -> f64 {
        20.0 * gain.log10()
    }

    // tests/data/butterworth.csv: computed with another library, order 2 checked against the closed
    // form. Tolerance: a few last digits, since sections are multiplied out.
    #[test]
    fn coefficients_are_the_published_ones() {
        let text = include_str!("../../tests/data/butterworth.csv");
        let mut rows = 0;
        for line in text
            .lines()
            .filter(|line| line.starts_with(char::is_numeric))
        {
            let field: Vec<f64> = line.split(',').map(|word| word.parse().unwrap()).collect();
            let filter = LowPass::single(field[0] as usize, field[1]).unwrap();
            let (b, a) = filter.transfer_function();
            let at = field[2] as usize;
            assert_relative_eq!(b[at], field[3], epsilon = 1e-16, max_relative = 1e-12);
            assert_relative_eq!(a[at], field[4], epsilon = 1e-15, max_relative = 1e-12);
            rows += 1;
        }
        assert_eq!(rows, 21);
    }

    // Check values 8.3: half power in one run, a quarter in two, half again once corrected; the
    // correction is exact because it is made on the pre-warped frequency.
    #[test]
    fn both_ways_is_half_power_at_the_wanted_frequency() {
        for order in 1..=HIGHEST_ORDER {
            for cut_off in [0.01, 0.2, 0.7] {
                let single = LowPass::single(order, cut_off).unwrap();
                assert_relative_eq!(
                    decibel(single.gain(cut_off)),
                    -3.010_299_956,
                    epsilon = 1e-6
                );
                let twice = 2.0 * decibel(single.gain(cut_off));
                assert_relative_eq!(twice, -6.020_599_913, epsilon = 1e-6);
                let corrected = LowPass::for_both_ways(order, cut_off).unwrap();
                let twice = 2.0 * decibel(corrected.gain(cut_off));
                assert_relative_eq!(twice, -3.010_299_956, epsilon = 1e-6);
            }
        }
        assert_relative_eq!(both_ways_factor(1), 0.643_594_3, epsilon = 5e-8);
        assert_relative_eq!(both_ways_factor(2), 0.802_243_3, epsilon = 5e-8);
        assert_relative_eq!(both_ways_factor(4), 0.895_680_3, epsilon = 5e-8);
    }

    #[test]
    fn a_constant_and_a_straight_line_pass_unchanged_to_their_ends() {
        for (order, cut_off) in [(1, 0.05), (2, 0.2), (2, 0.02), (4, 0.1), (8, 0.3)] {
            let filter = LowPass::for_both_ways(order, cut_off).unwrap();
            let flat = vec![3.5; 40];
            for value in filter.causal(&flat).iter().chain(&filter.both_ways(&flat)) {
                assert_relative_eq!(*value, 3.5, epsilon = 1e-12);
            }
            let line: Vec<f64> = (0..900).map(|at| 2.0 - 0.25 * f64::from(at)).collect();
            for (out, expected) in filter.both_ways(&line).iter().zip(&line) {
                assert_relative_eq!(*out, *expected, epsilon = 1e-6);
            }
        }
    }

    // The gain of two runs is the square of that of one, and nothing is moved in time.
    #[test]
    fn a_sine_keeps_its_phase_and_loses_the_gain_of_two_runs() {
        let filter = LowPass::for_both_ways(2, 0.1).unwrap();
        for frequency in [0.03, 0.1, 0.2] {
            let wave = |at: usize| (PI * frequency * at as f64).sin();
            let values: Vec<f64> = (0..2000).map(wave).collect();
            let out = filter.both_ways(&values);
            let (mut with, mut across, mut power) = (0.0, 0.0, 0.0);
            for (at, value) in out.iter().enumerate().take(1400).skip(600) {
                let phase = PI * frequency * at as f64;
                with += value * phase.sin();
                across += value * phase.cos();
                power += phase.sin().powi(2);
            }
            assert_relative_eq!(with / power, filter.gain(frequency).powi(2), epsilon = 1e-3);
            assert!((across / power).abs() < 1e-3, "{}", across / power);
        }
    }

    // One run is late by the slope of the phase at zero, sum of 1/(w_c) times 2 sin of each pole's
    // angle: for order 2, sqrt 2 / w_c in the prototype, so sqrt 2 / (2 k) readings on the grid.
    #[test]
    fn one_run_is_late_by_the_filter_s_delay() {
        let filter = LowPass::single(2, 0.1).unwrap();
        let ramp: Vec<f64> = (0..400).map(f64::from).collect();
        let late = ramp[399] - filter.causal(&ramp)[399];
        let delay = std::f64::consts::SQRT_2 / (2.0 * (0.05 * PI).tan());
        assert_relative_eq!(late, delay, epsilon = 1e-9);
    }

    #[test]
    fn what_cannot_be_a_filter_is_refused() {
        assert!(LowPass::single(0, 0.5).is_none() && LowPass::single(9, 0.5).is_none());
        for cut_off in [0.0, 1.0, -0.1, f64::NAN] {
            assert!(LowPass::single(2, cut_off).is_none());
        }
        let filter = LowPass::single(2, 0.5).unwrap();
        assert_eq!(filter.both_ways(&[7.0]), [7.0]);
        assert_eq!(filter.causal(&[]), [0.0; 0]);
    }
}
