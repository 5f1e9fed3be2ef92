//! Thrust through a low pass of zero phase: for the eye, and for the peak.
//!
//! A Butterworth filter of second order runs forwards and backwards
//! ([`crate::numeric::butterworth`]); both runs together are 3 dB down at the stated cut-off. It
//! needs even steps: readings at others are put on an even grid of their median step by straight
//! lines, and that is said. Never for impulse, which the filter can only blur, nor for ignition and
//! burnout, which a run backwards brings forward.
//!
//! A filtered top is lower than the true one by what the filter takes of its bend, and by all rough
//! burning above the cut-off; an unfiltered one is higher by noise. The difference of the two is a
//! field of the results, and counts in the uncertainty of the filtered peak as limits that reach from
//! nothing to all of it (JCGM 100:2008, 4.3.7); so does what the filter took around the top beyond
//! the noise, because the true thrust had it.

use super::peak::{self, Peak};
use crate::numeric::butterworth::LowPass;
use crate::series::Series;

/// Order of the filter in each direction.
pub(crate) const ORDER: usize = 2;

/// Highest cut-off as a share of the Nyquist frequency: above, a digital filter no longer has the
/// shape its name promises.
pub(crate) const HIGHEST_SHARE: f64 = 0.8;

/// Steps further from the median than this share of it are uneven.
const UNEVEN: f64 = 1e-3;

/// Thrust behind the filter.
#[derive(Debug, Clone)]
pub(crate) struct LowPassed {
    /// Cut-off, Hz.
    pub cut_off_hz: f64,
    /// Thrust, N, at even steps.
    pub thrust: Series,
    /// Its step, s.
    pub step_s: f64,
    /// Whether readings had to be put on even steps.
    pub resampled: bool,
    /// Share of the variance of white noise that is left.
    pub noise_share: f64,
}

/// Filters thrust; `None` when there is none, or when the cut-off is too high for its steps.
#[must_use]
pub(crate) fn filter(thrust: &Series, cut_off_hz: f64) -> Option<LowPassed> {
    let step_s = thrust.step_s()?;
    let low_pass = LowPass::for_both_ways(ORDER, 2.0 * cut_off_hz * step_s)?;
    let uneven = |pair: &[f64]| (pair[1] - pair[0] - step_s).abs() > UNEVEN * step_s;
    let resampled = thrust.time_s().windows(2).any(uneven);
    let even = if resampled {
        on_even_steps(thrust, step_s)?
    } else {
        thrust.clone()
    };
    Some(LowPassed {
        cut_off_hz,
        thrust: Series::new(even.time_s(), &low_pass.both_ways(even.value())),
        step_s,
        resampled,
        noise_share: low_pass.noise_share(),
    })
}

fn on_even_steps(thrust: &Series, step_s: f64) -> Option<Series> {
    let (from, to) = thrust.span_s()?;
    let count = ((to - from) / step_s).floor() as usize + 1;
    let time: Vec<f64> = (0..count).map(|at| from + at as f64 * step_s).collect();
    let value: Option<Vec<f64>> = time.iter().map(|time| thrust.at(*time)).collect();
    Some(Series::new(&time, &value?))
}

impl LowPassed {
    /// The peak between two times. `sd_n` is the noise of one value of `thrust`, the trace before
    /// the filter, and `unfiltered` its peak.
    #[must_use]
    pub(crate) fn peak(
        &self,
        (from_s, to_s): (f64, f64),
        thrust: &Series,
        sd_n: f64,
        unfiltered: &Peak,
    ) -> Option<Peak> {
        let noise_n = sd_n * self.noise_share.sqrt();
        // Filtered values lie on a smooth curve: the top between them is a parabola's.
        let top = peak::top(&self.thrust.between(from_s, to_s))?;
        let lower_by_n = unfiltered.value_n - top.1;
        Some(Peak {
            follows_hz: self.cut_off_hz,
            time_s: top.0,
            value_n: top.1,
            u_n: noise_n
                .hypot(lower_by_n / 3.0_f64.sqrt())
                .hypot(self.taken_n(thrust, top.0, sd_n)),
        })
    }

    /// What the filter took around a time beyond the noise, N: root of the mean square.
    fn taken_n(&self, thrust: &Series, at_s: f64, sd_n: f64) -> f64 {
        let reach_s = 0.5 / self.cut_off_hz;
        let around = thrust.between(at_s - reach_s, at_s + reach_s);
        let squares: f64 = around
            .iter()
            .map(|(time, value)| (value - self.thrust.at(time).unwrap_or(value)).powi(2))
            .sum();
        (squares / around.len().max(1) as f64 - sd_n * sd_n)
            .max(0.0)
            .sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::trapezoid;
    use approx::assert_relative_eq;

    fn half_sine(time: &[f64]) -> Series {
        let value: Vec<f64> = time
            .iter()
            .map(|t| {
                let inside = (1.0..=2.0).contains(t);
                if inside {
                    100.0 * (std::f64::consts::PI * (t - 1.0)).sin()
                } else {
                    0.0
                }
            })
            .collect();
        Series::new(time, &value)
    }

    // A half sine of 1 s and 100 N has the area 200/pi N s; a filter of gain 1 at zero keeps it.
    // Its top bends as a sine of 0.5 Hz, of which two runs at 20 Hz leave 1 - (0.5/20)^4 (2^0.5 - 1).
    #[test]
    fn a_smooth_burn_keeps_its_area_and_nearly_its_top() {
        let time: Vec<f64> = (0..3001).map(|at| f64::from(at) * 1e-3).collect();
        let before = half_sine(&time);
        let found = filter(&before, 20.0).unwrap();
        assert!(!found.resampled);
        let area = trapezoid::area_between(&found.thrust, 0.0, 3.0);
        assert_relative_eq!(area, 200.0 / std::f64::consts::PI, max_relative = 1e-5);
        let sharp = Peak {
            follows_hz: f64::INFINITY,
            time_s: 1.5,
            value_n: 100.0,
            u_n: 0.0,
        };
        let peak = found.peak((0.5, 2.5), &before, 0.0, &sharp).unwrap();
        assert_relative_eq!(peak.value_n, 100.0, epsilon = 1e-4);
        assert_relative_eq!(peak.time_s, 1.5, epsilon = 1e-6);
    }

    #[test]
    fn uneven_readings_are_put_on_even_steps_and_that_is_said() {
        let time: Vec<f64> = (0..3000)
            .map(|at| f64::from(at) * 1e-3 + if at % 2 == 0 { 0.0 } else { 3e-4 })
            .filter(|t| !(1.2..1.21).contains(t))
            .collect();
        let found = filter(&half_sine(&time), 20.0).unwrap();
        assert!(found.resampled);
        let steps = found.thrust.time_s().windows(2);
        for pair in steps {
            assert_relative_eq!(pair[1] - pair[0], found.step_s, epsilon = 1e-12);
        }
        assert_relative_eq!(found.thrust.at(1.5).unwrap(), 100.0, epsilon = 0.01);
    }

    // The filter smooths a spike away, and says so: the unfiltered peak lies within two u.
    #[test]
    fn a_spike_is_lower_by_what_is_said() {
        let time: Vec<f64> = (0..3001).map(|at| f64::from(at) * 1e-3).collect();
        let before =
            half_sine(&time).map(|t, v| v + if (t - 1.5).abs() < 0.002 { 30.0 } else { 0.0 });
        let found = filter(&before, 20.0).unwrap();
        let sharp = Peak {
            follows_hz: f64::INFINITY,
            time_s: 1.5,
            value_n: 130.0,
            u_n: 0.0,
        };
        let peak = found.peak((0.5, 2.5), &before, 0.0, &sharp).unwrap();
        assert!(peak.value_n < 110.0 && peak.value_n > 100.0);
        assert!((130.0 - peak.value_n).abs() < 1.96 * peak.u_n);
    }

    #[test]
    fn a_cut_off_above_nyquist_gives_nothing() {
        assert!(filter(&Series::new(&[0.0, 0.1, 0.2], &[0.0; 3]), 6.0).is_none());
    }
}
