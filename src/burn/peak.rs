//! The peak: how high thrust went.
//!
//! The largest of many noisy readings is too high by about the noise times the root of twice the
//! logarithm of their number. A parabola through the readings around the largest one averages that
//! out; where the record is too coarse for a parabola the largest reading stands, with what may have
//! been missed between readings as its uncertainty.

use super::flicker;
use crate::numeric::polynomial;
use crate::series::Series;

/// Half widths of the parabola, s, tried from the longest: thrust peaks of hobby motors are rounded
/// over tens of milliseconds, and some are sharp.
const HALF_WIDTHS_S: [f64; 3] = [0.008, 0.004, 0.002];

/// A parabola follows the peak when its residuals are at most this many times the noise at rest.
const FOLLOWS: f64 = 1.6;

/// How wrong a parabola through the largest reading and its neighbours may be where the top is a corner,
/// in falls from reading to reading beside it: a corner stands up to a quarter of it higher.
const BEND_MISS_U: f64 = 0.08;

/// What it misses of rough burning for each second between readings, in standard deviations of what
/// they do not follow of it. At 80 readings a second the largest of some twenty values of flicker stands
/// against the largest of the five that were read: 1.87 less 1.16 (normal order statistics; Tippett,
/// Biometrika 17, 1925). That flicker reaches to about 150 Hz is common practice, no source.
const MISS_PER_S: f64 = 50.0;

/// What even fast readings miss of the flicker that they hardly follow.
const LEAST_MISS: f64 = 0.15;

/// Steps longer than this miss no more of it, s.
const LONGEST_MISS_S: f64 = 0.0125;

/// Rougher than this share of thrust is no flicker of a motor that burns (common practice, no source) but a rig that
/// swings, or combustion that stops and starts: what that misses is not known, and nothing is added for it.
const ROUGHEST: f64 = 0.2;

/// Its standard uncertainty over itself, and at least: neither the number of values nor their luck is
/// known.
const MISS_U_SHARE: f64 = 0.8;
const LEAST_MISS_U: f64 = 0.2;

/// Bandwidth of a parabola fitted to readings, times its half width (Schafer, What is a Savitzky-Golay
/// filter?, IEEE Signal Processing Magazine 28, 2011: 3 dB at 3/3.2 of a half cycle per half width).
const PARABOLA_BAND: f64 = 0.47;

/// Fewest readings for a parabola.
const FEWEST: usize = 7;

/// A peak.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Peak {
    /// When, s.
    pub time_s: f64,
    /// How high, N.
    pub value_n: f64,
    /// Standard uncertainty from noise and sampling alone, N.
    pub u_n: f64,
    /// Up to where it follows flicker, Hz; infinite where a single reading makes it.
    pub follows_hz: f64,
}

/// The largest of many values of flicker stands about so many of its standard deviations above the
/// middle, and where it is followed in part only, the largest of the part does as well.
const LARGEST_SDS: f64 = 1.8;

/// A band that ends at 3 dB follows flicker whole up to about this share of it.
const WHOLE_BAND: f64 = 0.7;

/// Standard uncertainty of what lies beyond the band, over itself.
const BEYOND_U_SHARE: f64 = 0.5;

impl Peak {
    /// Adds the flicker that the trace, which ends at a bandwidth, Hz, or the parabola through it does
    /// not follow, from what the trace does; flicker is taken as equally strong at all frequencies.
    /// `sd_n` is the trace's noise.
    pub(crate) fn beyond_band(&mut self, trace: &Series, bandwidth_hz: f64, sd_n: f64) {
        let part = |hz: f64| (hz / flicker::REACHES_HZ).min(1.0).sqrt();
        let bandwidth_hz = WHOLE_BAND * bandwidth_hz;
        let follows = part(self.follows_hz.min(bandwidth_hz));
        let Some(share) = flicker::followed(trace, sd_n).filter(|_| follows < 1.0) else {
            return;
        };
        let missed_n = LARGEST_SDS * share / part(bandwidth_hz) * self.value_n * (1.0 - follows);
        self.value_n += missed_n;
        self.u_n = self.u_n.hypot(BEYOND_U_SHARE * missed_n);
    }
}

/// Finds the peak between two times; `sd_n` is the noise of one reading, `rough` the standard
/// deviation of what burns faster than the readings follow, as a share of thrust.
#[must_use]
pub(crate) fn find(
    thrust: &Series,
    (from_s, to_s): (f64, f64),
    sd_n: f64,
    rough: f64,
) -> Option<Peak> {
    let part = thrust.between(from_s, to_s);
    let (row, largest) = part
        .value()
        .iter()
        .copied()
        .enumerate()
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    let at = part.time_s()[row];
    let parabola = HALF_WIDTHS_S
        .iter()
        .find_map(|half| parabola(&part, at, *half, sd_n));
    if let Some(peak) = parabola {
        return Some(peak);
    }
    let flicker = rough * largest;
    let slope = slope_beside(part.value(), row);
    let missed = LEAST_MISS + MISS_PER_S * part.step_s().unwrap_or(0.0).min(LONGEST_MISS_S);
    let (added, u_share) = if rough > ROUGHEST {
        (0.0, 1.0)
    } else {
        (missed * flicker, MISS_U_SHARE)
    };
    Some(Peak {
        time_s: at,
        value_n: top_of_three(part.value(), row) + added,
        u_n: sd_n
            .hypot(BEND_MISS_U * slope)
            .hypot((u_share * missed).hypot(LEAST_MISS_U) * flicker),
        follows_hz: f64::INFINITY,
    })
}

/// Time and height of the top of a smooth curve: the parabola through the largest value and its
/// neighbours.
#[must_use]
pub(crate) fn top(curve: &Series) -> Option<(f64, f64)> {
    let value = curve.value();
    let row = (0..value.len()).max_by(|a, b| value[*a].total_cmp(&value[*b]))?;
    let (at, largest) = (curve.time_s()[row], value[row]);
    let rows = row.saturating_sub(1)..(row + 2).min(value.len());
    let shifted: Vec<f64> = curve.time_s()[rows.clone()]
        .iter()
        .map(|t| t - at)
        .collect();
    let Some(fit) = polynomial::fit(&shifted, &value[rows], 2) else {
        return Some((at, largest));
    };
    let c = fit.coefficients();
    let shift = if c[2] < 0.0 {
        -c[1] / (2.0 * c[2])
    } else {
        0.0
    };
    let shift = shift.clamp(shifted[0], shifted[shifted.len() - 1]);
    Some((at + shift, fit.at(shift)))
}

/// Top of the parabola through a reading and its neighbours, taken as evenly spaced, N.
fn top_of_three(value: &[f64], row: usize) -> f64 {
    let middle = value[row];
    let beside = row.checked_sub(1).and_then(|before| value.get(before));
    let (Some(before), Some(after)) = (beside, value.get(row + 1)) else {
        return middle;
    };
    let bend = 2.0 * middle - before - after;
    // Where one side falls more at once than both do further out, it is an edge and no bend.
    let falls_most = middle - before.min(*after);
    if bend <= 0.0 || falls_most > slope_beside(value, row) {
        return middle;
    }
    middle + (after - before).powi(2) / (8.0 * bend)
}

/// By how much readings fall from one to the next on either side of a row, N; 0 where they do not.
fn slope_beside(value: &[f64], row: usize) -> f64 {
    let mean_at = |distance: usize| {
        let both = [row.checked_sub(distance), Some(row + distance)];
        let there = both.iter().flatten().filter_map(|row| value.get(*row));
        let (sum, count) = there.fold((0.0, 0.0), |(sum, count), v| (sum + v, count + 1.0));
        sum / count
    };
    let fall = mean_at(1) - mean_at(2);
    if fall.is_finite() { fall.max(0.0) } else { 0.0 }
}

/// The top of a parabola through the readings around a time, if it follows them.
fn parabola(part: &Series, at_s: f64, half_width_s: f64, sd_n: f64) -> Option<Peak> {
    let around = part.between(at_s - half_width_s, at_s + half_width_s);
    if around.len() < FEWEST {
        return None;
    }
    let shifted: Vec<f64> = around.time_s().iter().map(|time| time - at_s).collect();
    let fit = polynomial::fit(&shifted, around.value(), 2)?;
    let scatter = fit.residual_sd()?;
    let c = fit.coefficients();
    let bends_down = c[2] < 0.0;
    if !bends_down || scatter > FOLLOWS * sd_n {
        return None;
    }
    let top = (-c[1] / (2.0 * c[2])).clamp(shifted[0], shifted[shifted.len() - 1]);
    // The parabola's own scatter holds the noise and whatever the parabola cannot follow.
    Some(Peak {
        time_s: at_s + top,
        value_n: fit.at(top),
        u_n: fit.u_at(top).hypot(scatter - sd_n.min(scatter)),
        follows_hz: PARABOLA_BAND / half_width_s,
    })
}

#[cfg(test)]
mod tests {
    use super::super::coverage_tests::normal;
    use super::*;
    use approx::assert_relative_eq;
    use rand::{SeedableRng, rngs::ChaCha8Rng};

    fn read(step_s: f64, value: &[f64]) -> Series {
        let time: Vec<f64> = (0..value.len()).map(|row| step_s * row as f64).collect();
        Series::new(&time, value)
    }

    // 10 - 8 (t - 0.33)^2 is a parabola: its top is found exactly; on a slope the top is an end.
    #[test]
    fn the_top_of_a_parabola_is_exact() {
        let value: Vec<f64> = (0..8)
            .map(|row| 10.0 - 8.0 * (0.1 * f64::from(row) - 0.33).powi(2))
            .collect();
        let (time_s, height) = top(&read(0.1, &value)).unwrap();
        assert_relative_eq!(time_s, 0.33, max_relative = 1e-9);
        assert_relative_eq!(height, 10.0, max_relative = 1e-12);
        let (time_s, height) = top(&read(0.1, &[1.0, 2.0, 4.0])).unwrap();
        assert_relative_eq!(time_s, 0.2, max_relative = 1e-9);
        assert_relative_eq!(height, 4.0, max_relative = 1e-9);
    }

    // By hand: beside the top 9 and 9.5, bend 1.5, so 0.5^2/(8 * 1.5) above it; further out 6 and 7:
    // readings fall by 9.25 - 6.5.
    #[test]
    fn three_readings_round_a_top_and_an_edge_stays_an_edge() {
        let round = [6.0, 9.0, 10.0, 9.5, 7.0];
        assert_relative_eq!(
            top_of_three(&round, 2),
            10.0 + 0.25 / 12.0,
            max_relative = 1e-12
        );
        assert_relative_eq!(slope_beside(&round, 2), 2.75, max_relative = 1e-12);
        // Falls more at once than further out: an edge.
        assert_eq!(top_of_three(&[8.9, 9.0, 10.0, 9.5, 9.4], 2), 10.0);
        // No bend, no neighbour, nothing that falls.
        assert_eq!(top_of_three(&[0.0, 5.0, 5.0, 5.0, 0.0], 2), 5.0);
        assert_eq!(top_of_three(&[5.0, 4.0, 1.0], 0), 5.0);
        assert_relative_eq!(slope_beside(&[5.0, 4.0, 1.0], 0), 3.0, max_relative = 1e-12);
        assert_eq!(slope_beside(&[9.0, 1.0, 5.0, 1.0, 9.0], 2), 0.0);
        assert_eq!(slope_beside(&[5.0], 0), 0.0);
    }

    // The readings above at 80 Hz with a tenth of flicker: it stands 0.15 + 50/80 of its standard
    // deviations above the largest that was read.
    #[test]
    fn a_slow_record_gets_what_it_missed_with_its_uncertainty() {
        let found = find(
            &read(0.0125, &[6.0, 9.0, 10.0, 9.5, 7.0]),
            (0.0, 1.0),
            0.01,
            0.1,
        )
        .unwrap();
        assert_relative_eq!(found.time_s, 0.025, max_relative = 1e-12);
        assert_relative_eq!(
            found.value_n,
            10.0 + 0.25 / 12.0 + 0.775,
            max_relative = 1e-12
        );
        let of_flicker = (0.8_f64 * 0.775).hypot(0.2);
        let u_n = 0.01_f64.hypot(0.08 * 2.75).hypot(of_flicker);
        assert_relative_eq!(found.u_n, u_n, max_relative = 1e-12);
        assert!(found.follows_hz.is_infinite());
    }

    // A round top of 50 N read at 2 kHz with 0.3 N of noise: the largest reading is 0.9 N too high, the
    // parabola is not. 200 errors over their uncertainty have a root mean square of 1 within 5 %; it
    // may be less, for the largest reading is never far from the top.
    #[test]
    fn a_parabola_averages_noise_out() {
        let mut random = ChaCha8Rng::seed_from_u64(9);
        let (mut squares, mut sum) = (0.0, 0.0);
        for _ in 0..200 {
            let value: Vec<f64> = (0..200)
                .map(|row| {
                    let t = 5e-4 * f64::from(row) - 0.05;
                    50.0 - 5000.0 * t * t + 0.3 * normal(&mut random)
                })
                .collect();
            let found = find(&read(5e-4, &value), (0.0, 0.1), 0.3, 0.0).unwrap();
            assert!(found.follows_hz.is_finite() && (found.time_s - 0.05).abs() < 0.015);
            let error = (found.value_n - 50.0) / found.u_n;
            squares += error * error / 200.0;
            sum += error / 200.0;
        }
        assert!((0.7..1.2).contains(&squares.sqrt()), "{squares}");
        assert!(sum.abs() < 0.6, "{sum}");
    }

    // What scatters more than noise about the widest parabola is followed by a narrower one.
    #[test]
    fn a_sharp_top_takes_a_narrow_parabola() {
        let value: Vec<f64> = (0..400)
            .map(|row| 50.0 - 40.0 * (1e-4 * f64::from(row) - 0.02).abs().powf(1.5) * 1e3)
            .collect();
        let wide = find(&read(1e-4, &value), (0.0, 0.04), 10.0, 0.0).unwrap();
        let narrow = find(&read(1e-4, &value), (0.0, 0.04), 0.3, 0.0).unwrap();
        assert_relative_eq!(wide.follows_hz, 0.47 / 0.008, max_relative = 1e-12);
        assert!(narrow.follows_hz > wide.follows_hz, "{narrow:?}");
    }
}
