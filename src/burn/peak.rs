//! The peak: how high thrust went.
//!
//! The largest of many noisy readings is too high by about the noise times the root of twice the
//! logarithm of their number. A parabola through the readings around the largest one averages that
//! out; where the record is too coarse for a parabola the largest reading stands, with what may have
//! been missed between readings as its uncertainty.

use crate::numeric::polynomial;
use crate::series::Series;

/// Half widths of the parabola, s, tried from the longest: thrust peaks of hobby motors are rounded
/// over tens of milliseconds, and some are sharp.
const HALF_WIDTHS_S: [f64; 3] = [0.008, 0.004, 0.002];

/// A parabola follows the peak when its residuals are at most this many times the noise at rest.
const FOLLOWS: f64 = 1.6;

/// Fewest readings for a parabola.
const FEWEST: usize = 7;

/// A peak.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Peak {
    /// When, s.
    pub time_s: f64,
    /// How high, N.
    pub value_n: f64,
    /// Standard uncertainty from noise and sampling alone, N.
    pub u_n: f64,
}

/// Finds the peak between two times; `sd_n` is the noise of one reading.
#[must_use]
pub fn find(thrust: &Series, from_s: f64, to_s: f64, sd_n: f64) -> Option<Peak> {
    let part = thrust.between(from_s, to_s);
    let (row, largest) = part
        .value()
        .iter()
        .copied()
        .enumerate()
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    let at = part.time_s()[row];
    let rough = roughness(&part, at, sd_n);
    let parabola = HALF_WIDTHS_S
        .iter()
        .find_map(|half| parabola(&part, at, *half, sd_n));
    if let Some(peak) = parabola {
        return Some(peak);
    }
    let neighbours = [row.checked_sub(1), Some(row + 1)];
    let beside: Vec<f64> = neighbours
        .iter()
        .filter_map(|row| row.and_then(|row| part.value().get(row)).copied())
        .collect();
    let mean = beside.iter().sum::<f64>() / beside.len().max(1) as f64;
    // A smooth top between readings rises above the largest by up to an eighth of the bend.
    let missed = (largest - mean).max(0.0) / 8.0;
    Some(Peak {
        time_s: at,
        value_n: largest,
        u_n: sd_n.hypot(missed).hypot(rough),
    })
}

/// Time and height of the top of a smooth curve: the parabola through the largest value and its
/// neighbours.
#[must_use]
pub fn top(curve: &Series) -> Option<(f64, f64)> {
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

/// What scatters about a parabola around the peak beyond the noise of the readings, N: rough burning.
/// The highest instant of it may lie between readings, or be a reading that noise lifted.
fn roughness(part: &Series, at_s: f64, sd_n: f64) -> f64 {
    let around = part.between(at_s - HALF_WIDTHS_S[0], at_s + HALF_WIDTHS_S[0]);
    let shifted: Vec<f64> = around.time_s().iter().map(|time| time - at_s).collect();
    let scatter = if around.len() < FEWEST {
        None
    } else {
        polynomial::fit(&shifted, around.value(), 2).and_then(|fit| fit.residual_sd())
    };
    let scatter = scatter.unwrap_or(0.0);
    (scatter * scatter - sd_n * sd_n).max(0.0).sqrt()
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
    })
}
