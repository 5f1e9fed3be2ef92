//! Margins of a loop: gain, phase and delay margin, and the sensitivity peak.
//!
//! For an open loop L, closed by negative feedback:
//!
//! - upper gain margin: 1/|L| where L crosses the negative real axis inside -1, the smallest of them;
//! - lower gain margin: the same beyond -1, the largest: gain that falls by more makes the loop unstable
//!   too (an integral over a double integrator always has one);
//! - phase margin: angle from -180 degrees where |L| = 1, the smallest of them;
//! - delay margin: dead time that turns one of these angles to zero, the shortest of them;
//! - sensitivity peak: the largest 1/|1 + L|; the shortest distance from -1 is its inverse.
//!
//! Source: Åström & Murray, Feedback Systems, 2008, 9.3. Crossings are looked for on a logarithmic
//! grid and closed in. Margins say nothing of a loop that is not stable: that is looked
//! at by its roots (`Transfer::closed_is_stable`).

use nalgebra::Complex;
use serde::{Deserialize, Serialize};

/// Margins of one loop.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Margins {
    /// Whether the closed loop is stable; the other numbers are to be read only then.
    pub stable: bool,
    /// Upper gain margin, a factor; none when the loop never becomes unstable as gain rises.
    #[serde(rename = "gain_up")]
    pub upper_gain: Option<f64>,
    /// Frequency of that crossing, rad/s.
    pub phase_crossover_rad_s: Option<f64>,
    /// Lower gain margin, the factor to which gain may fall; none when it may fall to nothing.
    #[serde(rename = "gain_down")]
    pub lower_gain: Option<f64>,
    /// Phase margin, deg; none when |L| is never 1.
    pub phase_deg: Option<f64>,
    /// Where |L| is 1 with the smallest phase margin, rad/s.
    pub gain_crossover_rad_s: Option<f64>,
    /// Delay margin: the additional dead time that makes it unstable, s.
    pub delay_s: Option<f64>,
    /// Largest 1/|1 + L|.
    pub sensitivity_peak: f64,
}

/// Points of the grid for each factor of ten.
const POINTS_PER_DECADE: f64 = 60.0;

/// Most steps to a zero, which ends at the digits that a number has.
const MOST_STEPS: usize = 100;
const LEAST_SHARE: f64 = 4.0 * f64::EPSILON;

/// The grid between two frequencies.
pub(crate) fn frequencies(from: f64, to: f64) -> impl Iterator<Item = f64> {
    let decades = (to / from).log10();
    let count = (POINTS_PER_DECADE * decades).ceil().max(2.0) as usize;
    (0..=count).map(move |at| from * (to / from).powf(at as f64 / count as f64))
}

/// Margins of an open loop that is known on a grid of frequencies, rad/s.
#[must_use]
pub(crate) fn margins(
    grid: &[(f64, Complex<f64>)],
    open: &dyn Fn(f64) -> Complex<f64>,
    stable: bool,
) -> Margins {
    let mut out = Margins {
        stable,
        upper_gain: None,
        phase_crossover_rad_s: None,
        lower_gain: None,
        phase_deg: None,
        gain_crossover_rad_s: None,
        delay_s: None,
        sensitivity_peak: sensitivity_peak(open, grid),
    };
    for pair in grid.windows(2) {
        let [(low, before), (high, after)] = [pair[0], pair[1]];
        if (before.norm_sqr() - 1.0) * (after.norm_sqr() - 1.0) <= 0.0 {
            out.take_gain_crossing(open, zero_between(low, high, |w| open(w).norm_sqr() - 1.0));
        }
        if before.im * after.im <= 0.0 && before.re.min(after.re) < 0.0 {
            out.take_phase_crossing(open, zero_between(low, high, |w| open(w).im));
        }
    }
    out
}

impl Margins {
    fn take_gain_crossing(&mut self, open: &dyn Fn(f64) -> Complex<f64>, rad_s: f64) {
        let angle = (-open(rad_s)).arg();
        let until = if angle < 0.0 {
            angle + std::f64::consts::TAU
        } else {
            angle
        };
        let delay_s = until / rad_s;
        self.delay_s = Some(self.delay_s.map_or(delay_s, |old| old.min(delay_s)));
        let degrees = angle.to_degrees();
        if self.phase_deg.is_none_or(|old| degrees.abs() < old.abs()) {
            self.phase_deg = Some(degrees);
            self.gain_crossover_rad_s = Some(rad_s);
        }
    }

    fn take_phase_crossing(&mut self, open: &dyn Fn(f64) -> Complex<f64>, rad_s: f64) {
        let here = open(rad_s);
        // A pole on the axis flips the sign without a crossing.
        if here.re >= 0.0 || here.im.abs() > 1e-3 * here.norm() {
            return;
        }
        let factor = 1.0 / here.norm();
        if factor > 1.0 {
            if self.upper_gain.is_none_or(|old| factor < old) {
                self.upper_gain = Some(factor);
                self.phase_crossover_rad_s = Some(rad_s);
            }
        } else if self.lower_gain.is_none_or(|old| factor > old) {
            self.lower_gain = Some(factor);
        }
    }
}

/// Where a function that changes its sign between two frequencies is zero: by the straight line through the ends of the
/// bracket, the value at an end that stays halved (Dowell & Jarratt, BIT 11, 1971), and every third step in the middle, so
/// that a jump is closed in as well.
pub(super) fn zero_between(mut low: f64, mut high: f64, of: impl Fn(f64) -> f64) -> f64 {
    let (mut at_low, mut at_high) = (of(low), of(high));
    let rising = at_low < at_high;
    let mut last = None;
    for step in 1..MOST_STEPS {
        let line = low + at_low / (at_low - at_high) * (high - low);
        let inside = line > low && line < high;
        let next = if inside && step % 3 != 0 {
            line
        } else {
            0.5 * (low + high)
        };
        let value = of(next);
        let moves_low = (value < 0.0) == rising;
        let halved = if last == Some(moves_low) { 0.5 } else { 1.0 };
        if moves_low {
            (low, at_low, at_high) = (next, value, halved * at_high);
        } else {
            (high, at_high, at_low) = (next, value, halved * at_low);
        }
        last = Some(moves_low);
        if value == 0.0 || high - low <= LEAST_SHARE * high.abs() {
            return next;
        }
    }
    0.5 * (low + high)
}

fn sensitivity_peak(open: &dyn Fn(f64) -> Complex<f64>, grid: &[(f64, Complex<f64>)]) -> f64 {
    let of = |l: Complex<f64>| 1.0 / (l + 1.0).norm();
    let (mut best, mut nearest) = (0, f64::INFINITY);
    for (at, (_, l)) in grid.iter().enumerate() {
        let distance = (l + 1.0).norm_sqr();
        if distance < nearest {
            (best, nearest) = (at, distance);
        }
    }
    // Golden section between the neighbours (Kiefer 1953).
    let mut low = grid[best.saturating_sub(1)].0;
    let mut high = grid[(best + 1).min(grid.len() - 1)].0;
    let golden = 0.5 * (5.0_f64.sqrt() - 1.0);
    let value = |w: f64| of(open(w));
    let at = |w: f64| (w, value(w));
    let (mut left, mut right) = (
        at(high - golden * (high - low)),
        at(low + golden * (high - low)),
    );
    for _ in 0..40 {
        // Of the two points inside, one is the other's place in the next interval.
        if left.1 > right.1 {
            (high, right) = (right.0, left);
            left = at(high - golden * (high - low));
        } else {
            (low, left) = (left.0, right);
            right = at(low + golden * (high - low));
        }
    }
    value(0.5 * (low + high)).max(of(grid[best].1))
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use std::f64::consts::PI;

    type Loop = Box<dyn Fn(f64) -> Complex<f64>>;

    fn between(open: &dyn Fn(f64) -> Complex<f64>, from: f64, to: f64) -> Margins {
        let grid: Vec<(f64, Complex<f64>)> = frequencies(from, to).map(|w| (w, open(w))).collect();
        margins(&grid, open, true)
    }

    fn published(name: &str) -> Loop {
        let s = |w: f64| Complex::new(0.0, w);
        match name {
            "3/(s+1)^3" => Box::new(move |w| Complex::from(3.0) / (s(w) + 1.0).powi(3)),
            "1/(s*(s+1)^2)" => {
                Box::new(move |w| Complex::from(1.0) / (s(w) * (s(w) + 1.0).powi(2)))
            }
            "10000/((s+10)(s+20)(s+30))" => Box::new(move |w| {
                Complex::from(10_000.0) / ((s(w) + 10.0) * (s(w) + 20.0) * (s(w) + 30.0))
            }),
            "20(s+1)/(s(s+5)(s^2+2s+10))" => Box::new(move |w| {
                let s = s(w);
                (s + 1.0) * 20.0 / (s * (s + 5.0) * (s * s + s * 2.0 + 10.0))
            }),
            "exp(-s)/(2s)  [SIMC PI on first order, tau_c=theta=1]" => {
                Box::new(move |w| (-s(w)).exp() / (s(w) * 2.0))
            }
            "0.5*(1+1/(8s))*exp(-s)/s  [SIMC PI on integrator]" => Box::new(move |w| {
                let s = s(w);
                (Complex::from(1.0) + (s * 8.0).inv()) * 0.5 * (-s).exp() / s
            }),
            _ => Box::new(|w| {
                let z = Complex::from_polar(1.0, 0.1 * w);
                (z * 0.04798 + 0.0464) / (z * z - z * 1.81 + 0.9048)
            }),
        }
    }

    // tests/data/loop-margins.csv holds published margins (Åström & Murray; Ogata; Skogestad 2003;
    // two published plants), recomputed there to ten digits, Ms and delay margin to four.
    #[test]
    fn margins_are_the_published_ones() {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/loop-margins.csv");
        let mut reader = csv::ReaderBuilder::new()
            .comment(Some(b'#'))
            .from_path(path)
            .unwrap();
        let mut checked = 0;
        for row in reader.records() {
            let row = row.unwrap();
            let number = |at: usize| row[at].parse::<f64>().ok();
            let sampled = row[0].starts_with("discrete");
            let to = if sampled { PI / 0.1 } else { 1e3 };
            let found = between(&published(&row[0]), 1e-3, to);
            let name = &row[0];
            println!("{name} {found:?}");
            // Digits that the table prints of each number.
            let digits = |at: usize| if row[at].len() < 9 { 1e-5 } else { 5e-9 };
            for (value, column, tolerance) in [
                (
                    found.upper_gain,
                    1,
                    if row[1].contains('.') {
                        digits(1)
                    } else {
                        1e-9
                    },
                ),
                (found.phase_crossover_rad_s, 2, digits(2)),
                (found.phase_deg, 3, digits(3)),
                (found.gain_crossover_rad_s, 4, digits(4)),
                (Some(found.sensitivity_peak), 5, 5e-5),
                (found.delay_s, 6, 5e-4),
            ] {
                if let Some(wanted) = number(column) {
                    assert_relative_eq!(value.unwrap(), wanted, max_relative = tolerance);
                    checked += 1;
                }
            }
        }
        assert_eq!(checked, 6 * 6 + 4);
    }

    // L = (s + 1)^2 / s^3: phase -270 + 2 atan(w) deg is -180 at w = 1, where |L| = 2.
    #[test]
    fn an_integral_over_a_double_integrator_has_a_lower_gain_margin() {
        let open = |w: f64| {
            let s = Complex::new(0.0, w);
            (s + 1.0).powi(2) / s.powi(3)
        };
        let found = between(&open, 1e-2, 1e2);
        assert_relative_eq!(found.lower_gain.unwrap(), 0.5, max_relative = 1e-9);
        assert_eq!(found.upper_gain, None);
    }
}
