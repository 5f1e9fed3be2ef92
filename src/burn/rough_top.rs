//! How much of a rough top is thrust.
//!
//! Readings about a smooth top scatter more than at rest, and to and fro, where the motor flickers, and where the stand rings. Flicker is
//! thrust, and the largest reading, or more, is the peak. What a stand adds that nobody described is none, and the peak may be
//! hardly above the smooth top. The record does not tell them apart, so the peak lies between both, nearer to the largest
//! reading, and its uncertainty spans them. A recorder that reads less than some 250 times a second, and may average over its
//! period, shows little flicker; what it misses is added as limits.
//!
//! The smooth top is the largest value of parabolas fitted to the readings within 30 ms (Savitzky and Golay, Analytical
//! Chemistry 36, 1964). The shares are those of firings that an independent program drew (docs/coverage.md): common practice
//! has none, no source.

use super::peak::Peak;
use crate::numeric::polynomial;
use crate::series::Series;

/// Half width of the parabolas, s, and in readings at least.
const HALF_WIDTH_S: f64 = 0.03;
const HALF_WIDTH_READINGS: f64 = 3.0;

/// Readings that stand at least so high are tried as the top, so many of them.
const NEAR_TOP: f64 = 0.9;
const TRIED: usize = 120;

/// A parabola over an edge overshoots: all its readings stand at least so high, and reach over so many half widths.
const TOP: f64 = 0.7;
const WHOLE: f64 = 1.7;

/// Roughness is at least this share of the top, and crosses it so many times: a corner crosses a parabola four times.
const LEAST_ROUGH: f64 = 1e-3;
const CROSSES: usize = 6;

/// Of what the largest reading has over the smooth top so much is thrust, give or take.
const IS_THRUST: f64 = 0.8;
const IS_THRUST_U: f64 = 0.4;

/// What a slow recorder does not show of flicker, as a share of the peak, and its standard uncertainty; it is slow wholly
/// from the second step on, s, and not at all up to the first.
const UNSEEN: f64 = 0.008;
const UNSEEN_U: f64 = 0.006;
const FAST_S: f64 = 0.004;
const SLOW_S: f64 = 0.012;

/// Judges a peak by the readings of its burn, of which each has a noise of `sd_n`.
pub(super) fn judge(peak: &mut Peak, burning: &Series, sd_n: f64) {
    let Some(step_s) = burning.step_s() else {
        return;
    };
    if let Some(smooth_n) = smooth_top(burning, step_s, sd_n) {
        let over_n = (peak.value_n - smooth_n).max(0.0);
        peak.value_n -= (1.0 - IS_THRUST) * over_n;
        peak.u_n = peak.u_n.hypot(IS_THRUST_U * over_n);
    }
    let slow = ((step_s - FAST_S) / (SLOW_S - FAST_S)).clamp(0.0, 1.0);
    peak.u_n = peak.u_n.hypot(UNSEEN_U * slow * peak.value_n);
    peak.value_n *= 1.0 + UNSEEN * slow;
}

/// The smooth top, N; `None` where the readings about it scatter no more than at rest.
fn smooth_top(burning: &Series, step_s: f64, sd_n: f64) -> Option<f64> {
    let (time_s, value_n) = (burning.time_s(), burning.value());
    let largest_n = value_n.iter().copied().fold(0.0, f64::max);
    let high = |row: &usize| value_n[*row] >= NEAR_TOP * largest_n;
    let rows: Vec<usize> = (0..value_n.len()).filter(high).collect();
    let half_s = HALF_WIDTH_S.max(HALF_WIDTH_READINGS * step_s);
    let parabola = |row: &usize| {
        let at_s = time_s[*row];
        let around = burning.between(at_s - half_s, at_s + half_s);
        let (first_s, last_s) = around.span_s()?;
        let all_high = around.value().iter().all(|one| *one >= TOP * largest_n);
        if !all_high || last_s - first_s < WHOLE * half_s {
            return None;
        }
        let shifted: Vec<f64> = around.time_s().iter().map(|time| time - at_s).collect();
        let fit = polynomial::fit(&shifted, around.value(), 2)?;
        let above: Vec<bool> = shifted
            .iter()
            .zip(around.value())
            .map(|(time, value)| *value > fit.at(*time))
            .collect();
        let crosses = above.windows(2).filter(|pair| pair[0] != pair[1]).count();
        let freedom = around.len().checked_sub(3).filter(|free| *free > 0)?;
        Some((fit.at(0.0), fit.residual_sd()?, freedom as f64, crosses))
    };
    let tried = rows.iter().step_by((rows.len() / TRIED).max(1));
    let (smooth_n, scatter_n, freedom, crosses) = tried
        .filter_map(parabola)
        .max_by(|a, b| a.0.total_cmp(&b.0))?;
    // Two standard deviations of a mean of squares.
    let by_chance = 1.0 + 2.0 * (2.0 / freedom).sqrt();
    let rough = scatter_n.powi(2) > by_chance * sd_n.powi(2)
        && scatter_n > LEAST_ROUGH * smooth_n
        && crosses >= CROSSES;
    rough.then_some(smooth_n)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn top(step_s: f64, value: impl Fn(f64) -> f64) -> (Peak, Series) {
        let count = (0.4 / step_s) as usize;
        let time: Vec<f64> = (0..count).map(|row| step_s * row as f64).collect();
        let value: Vec<f64> = time.iter().map(|t| value(*t)).collect();
        let largest = value.iter().copied().fold(0.0, f64::max);
        let peak = Peak {
            time_s: 0.2,
            value_n: largest,
            u_n: 0.0,
            follows_hz: f64::INFINITY,
        };
        (peak, Series::new(&time, &value))
    }

    // A flat 50 N that swings by 1 N at 100 Hz, read at 2 kHz: a parabola over three cycles on either side leaves nearly 50 N,
    // so the peak is 50.8 N, give or take 0.4 N.
    #[test]
    fn a_top_that_swings_is_between_its_middle_and_its_largest() {
        let swing = |t: f64| 50.0 + (std::f64::consts::TAU * 100.0 * t).sin();
        let (mut peak, burning) = top(5e-4, swing);
        judge(&mut peak, &burning, 0.01);
        assert_relative_eq!(peak.value_n, 50.8, epsilon = 0.08);
        assert_relative_eq!(peak.u_n, 0.4, epsilon = 0.08);
    }

    // What scatters no more than at rest is left alone; a recorder of 50 Hz misses 0.8 % of 50 N, give or take 0.3 N.
    #[test]
    fn a_smooth_top_is_left_alone_and_a_slow_one_gets_what_it_missed() {
        let smooth = |t: f64| 50.0 - 100.0 * (t - 0.2).powi(2);
        let (mut peak, burning) = top(5e-4, smooth);
        judge(&mut peak, &burning, 0.1);
        assert_eq!((peak.value_n, peak.u_n), (50.0, 0.0));
        let (mut peak, burning) = top(0.02, smooth);
        judge(&mut peak, &burning, 0.1);
        assert_relative_eq!(peak.value_n, 50.4, epsilon = 0.01);
        assert_relative_eq!(peak.u_n, 0.3, epsilon = 1e-9);
    }
}
