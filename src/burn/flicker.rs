//! Rough burning that the readings do not follow.
//!
//! Small motors burn roughly: thrust flickers by a percent or so, up to a hundred hertz or more. A
//! recorder slower than that catches single values of the flicker, which act as noise that is a share
//! of thrust; a fast one follows it. The fourth difference of readings has 70 times the variance of
//! whatever neighbours do not share, and nothing of a cubic (differences of noise: Hamming, Numerical
//! Methods for Scientists and Engineers, 1973, ch. 10); what the readings show at rest is their own
//! noise and is taken off.

use crate::numeric::{noise, polynomial};
use crate::series::Series;

/// Flicker is measured where thrust is above this share of its peak.
const ABOVE: f64 = 0.5;

/// The median of the absolute value of normal noise over its standard deviation.
const MEDIAN_TO_SD: f64 = 0.674_489_750_196_082;

/// Standard deviation of what burns faster than the readings follow, as a share of thrust; `sd_n` is
/// the noise of the readings at rest, N.
#[must_use]
pub(crate) fn measure(burning: &Series, sd_n: f64) -> f64 {
    let value = burning.value();
    let peak_n = value.iter().copied().fold(0.0, f64::max);
    let (mut apart, mut sum_n) = (Vec::new(), 0.0);
    for five in value.windows(5).filter(|five| five[2] > ABOVE * peak_n) {
        let difference = 6.0 * five[2] - 4.0 * (five[1] + five[3]) + five[0] + five[4];
        apart.push(difference.abs());
        sum_n += five[2];
    }
    // The median keeps the few large differences at the edges of the burn out.
    let sd = noise::median(&apart).unwrap_or(0.0) / (MEDIAN_TO_SD * 70.0_f64.sqrt());
    let rough_n = (sd * sd - sd_n * sd_n).max(0.0).sqrt();
    if sum_n > 0.0 {
        rough_n * apart.len() as f64 / sum_n
    } else {
        0.0
    }
}

/// Flicker is seen about a cubic through stretches of this length, s: it follows the shape of a burn.
const STRETCH_S: f64 = 0.08;

/// Highest frequency of flicker, Hz. Common practice, no source.
pub(crate) const REACHES_HZ: f64 = 150.0;

/// Standard deviation of the flicker that a trace does follow, as a share of thrust; `sd_n` is the
/// noise of the trace, N. `None` where no stretch holds readings enough.
#[must_use]
pub(crate) fn followed(burning: &Series, sd_n: f64) -> Option<f64> {
    let peak_n = burning.value().iter().copied().fold(0.0, f64::max);
    let (from_s, to_s) = burning.span_s()?;
    let mut shares = Vec::new();
    for at in 0..((to_s - from_s) / STRETCH_S) as usize {
        let start_s = from_s + at as f64 * STRETCH_S;
        let part = burning.between(start_s, start_s + STRETCH_S);
        let mean_n = part.value().iter().sum::<f64>() / part.len().max(1) as f64;
        let shifted: Vec<f64> = part.time_s().iter().map(|time| time - start_s).collect();
        let fit = polynomial::fit(&shifted, part.value(), 3).filter(|_| mean_n > ABOVE * peak_n);
        if let Some(sd) = fit.and_then(|fit| fit.residual_sd()) {
            shares.push((sd * sd - sd_n * sd_n).max(0.0).sqrt() / mean_n);
        }
    }
    noise::median(&shares)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng, rngs::ChaCha8Rng};

    fn burning(flicker: impl Fn(usize) -> f64) -> Series {
        let time: Vec<f64> = (0..2000).map(|i| i as f64 * 1e-3).collect();
        let value: Vec<f64> = (0..2000)
            .map(|i| (20.0 - 0.004 * i as f64) * (1.0 + flicker(i)))
            .collect();
        Series::new(&time, &value)
    }

    // White flicker of 1 % is found as such (2000 readings: to some 3 %); the same flicker that lasts
    // twenty readings is followed, and a smooth burn has none.
    #[test]
    fn flicker_is_found_where_the_readings_do_not_follow_it() {
        let mut random = ChaCha8Rng::seed_from_u64(3);
        let white: Vec<f64> = (0..2000)
            .map(|_| 0.01 * ((0..12).map(|_| random.random::<f64>()).sum::<f64>() - 6.0))
            .collect();
        let found = measure(&burning(|i| white[i]), 0.0);
        assert!((found - 0.01).abs() < 0.001, "{found}");
        let followed = measure(&burning(|i| 0.014 * (i as f64 / 6.0).sin()), 0.0);
        assert!(followed < 0.001, "{followed}");
        assert!(measure(&burning(|_| 0.0), 0.0) < 1e-4);
        // Noise of the readings themselves is no flicker.
        let own = measure(&burning(|i| white[i]), 0.16);
        assert!(own < 0.006, "{own}");
    }
}
