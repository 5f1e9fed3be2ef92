//! Where two series look most alike: normalised cross-correlation over all shifts.
//!
//! Both are put on a common grid; the products come from one pass of the Fourier transform, the
//! means and squares of each overlap from running sums (J. P. Lewis, Fast Normalized
//! Cross-Correlation, 1995). Shifts are ranked by Fisher's z times the square root of the overlap,
//! so that a short overlap that fits by chance does not win over a long one that fits.

use std::ops::Range;

use realfft::RealFftPlanner;

use crate::series::Series;

/// Two series at their likeliest shift.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Likeness {
    /// Time on the other clock when this one reads zero, s, without drift.
    pub offset_s: f64,
    /// Correlation at that shift, -1 to 1.
    pub correlation: f64,
    /// Another shift, outside the same peak, that fits nearly as well, s.
    pub secondary_peak_s: Option<f64>,
}

/// Longest grid, points: bounds memory and time for very long logs.
const GRID_POINTS: f64 = 131_072.0;

/// The smallest overlap, as a share of the shorter series, and in points.
const OVERLAP_SHARE: f64 = 0.2;
const OVERLAP_POINTS: usize = 16;

/// A second peak of at least this share of the first counts as a secondary peak.
const RIVAL_SHARE: f64 = 0.95;

/// The peak ends where the correlation has fallen to this share of its top.
const PEAK_FOOT: f64 = 0.5;

/// Finds the likeliest shift; `None` when a series is too short or flat wherever they overlap.
#[must_use]
pub(crate) fn likeliest_shift(here: &Series, there: &Series) -> Option<Likeness> {
    let (here_start_s, here_end_s) = here.span_s()?;
    let (there_start_s, there_end_s) = there.span_s()?;
    let longest_s = (here_end_s - here_start_s).max(there_end_s - there_start_s);
    let step_s = here
        .step_s()?
        .max(there.step_s()?)
        .max(longest_s / GRID_POINTS);
    let a = on_grid(here, step_s);
    let b = on_grid(there, step_s);
    let products = cross_products(&a, &b)?;
    let (sums_a, sums_b) = (RunningSums::of(&a), RunningSums::of(&b));
    let least = OVERLAP_POINTS.max((OVERLAP_SHARE * a.len().min(b.len()) as f64) as usize);
    // Shift number s means that a[i] stands beside b[i + s - (a.len() - 1)].
    let correlation: Vec<(f64, usize)> = (0..products.len())
        .map(|shift| {
            let from_a = (a.len() - 1).saturating_sub(shift);
            let from_b = shift.saturating_sub(a.len() - 1);
            let length = (a.len() - from_a).min(b.len() - from_b);
            if length < least {
                return (0.0, length);
            }
            let (mean_a, square_a) = sums_a.over(from_a, length);
            let (mean_b, square_b) = sums_b.over(from_b, length);
            let product = products[shift] - length as f64 * mean_a * mean_b;
            let norm = (square_a * square_b).sqrt();
            let floor = FLAT_SHARE * (sums_a.square() * sums_b.square()).sqrt();
            let correlation = if norm > floor { product / norm } else { 0.0 };
            (correlation.clamp(-1.0, 1.0), length)
        })
        .collect();
    let best = alike_or_opposite(&correlation)?;
    let shift_s = |shift: usize| {
        there_start_s - here_start_s + (shift as f64 - (a.len() - 1) as f64) * step_s
    };
    let top = correlation[best].0;
    let peak = peak_around(&correlation, best);
    let second = best_of(&correlation, |shift| {
        let (height, length) = correlation[shift];
        !peak.contains(&shift)
            && height * top.signum() >= RIVAL_SHARE * top.abs()
            && 2 * length >= correlation[best].1
    });
    Some(Likeness {
        offset_s: shift_s(best),
        correlation: top,
        secondary_peak_s: second.map(shift_s),
    })
}

/// Below this share of the whole signal's energy an overlap counts as flat.
const FLAT_SHARE: f64 = 1e-9;

fn on_grid(series: &Series, step_s: f64) -> Vec<f64> {
    let Some((start_s, end_s)) = series.span_s() else {
        return vec![];
    };
    let points = ((end_s - start_s) / step_s).floor() as usize + 1;
    let values: Vec<f64> = (0..points)
        .filter_map(|at| series.at(start_s + at as f64 * step_s))
        .collect();
    let mean = values.iter().sum::<f64>() / values.len().max(1) as f64;
    values.iter().map(|value| value - mean).collect()
}

/// Sums of products for every shift, from one Fourier transform of each.
fn cross_products(a: &[f64], b: &[f64]) -> Option<Vec<f64>> {
    if a.is_empty() || b.is_empty() {
        return None;
    }
    let shifts = a.len() + b.len() - 1;
    let length = shifts.next_power_of_two().max(2);
    let mut planner = RealFftPlanner::<f64>::new();
    let forward = planner.plan_fft_forward(length);
    let backward = planner.plan_fft_inverse(length);
    let mut padded_a = forward.make_input_vec();
    let mut padded_b = forward.make_input_vec();
    // Reversing one series turns the convolution into a correlation.
    for (to, from) in padded_a.iter_mut().zip(a.iter().rev()) {
        *to = *from;
    }
    padded_b[..b.len()].copy_from_slice(b);
    let mut spectrum_a = forward.make_output_vec();
    let mut spectrum_b = forward.make_output_vec();
    forward.process(&mut padded_a, &mut spectrum_a).ok()?;
    forward.process(&mut padded_b, &mut spectrum_b).ok()?;
    for (one, other) in spectrum_a.iter_mut().zip(&spectrum_b) {
        *one *= other;
    }
    // Rounding leaves imaginary crumbs at both ends, which must be real.
    spectrum_a[0].im = 0.0;
    if let Some(last) = spectrum_a.last_mut() {
        last.im = 0.0;
    }
    let mut out = backward.make_output_vec();
    backward.process(&mut spectrum_a, &mut out).ok()?;
    out.truncate(shifts);
    Some(out.iter().map(|sum| sum / length as f64).collect())
}

struct RunningSums {
    sum: Vec<f64>,
    square: Vec<f64>,
}

impl RunningSums {
    fn of(values: &[f64]) -> Self {
        let running = |term: fn(f64) -> f64| {
            let mut total = 0.0;
            let mut out = vec![0.0];
            out.extend(values.iter().map(|value| {
                total += term(*value);
                total
            }));
            out
        };
        Self {
            sum: running(|value| value),
            square: running(|value| value * value),
        }
    }

    /// Mean, and sum of squares about it, of a stretch.
    fn over(&self, from: usize, length: usize) -> (f64, f64) {
        let sum = self.sum[from + length] - self.sum[from];
        let square = self.square[from + length] - self.square[from];
        (sum / length as f64, square - sum * sum / length as f64)
    }

    fn square(&self) -> f64 {
        self.square.last().copied().unwrap_or(0.0)
    }
}

/// The shift of the greatest evidence; one at which the two move against each other only if its
/// evidence is [`OPPOSITE_FACTOR`] times that of the best at which they move alike.
fn alike_or_opposite(correlation: &[(f64, usize)]) -> Option<usize> {
    let alike = best_of(correlation, |shift| correlation[shift].0 > 0.0);
    let opposite = best_of(correlation, |shift| correlation[shift].0 < 0.0);
    let weight = |shift: Option<usize>| shift.map_or(0.0, |shift| evidence(correlation[shift]));
    if weight(opposite) > OPPOSITE_FACTOR * weight(alike) {
        opposite
    } else {
        alike
    }
}

/// A swing fits its own mirror image half a period later nearly as well as itself; a column whose
/// sign is reversed fits so much better that this factor tells the two cases apart.
const OPPOSITE_FACTOR: f64 = 1.5;

/// Fisher's z times the square root of the overlap. The z of 1 is infinite; this much is as good as
/// certain.
fn evidence((height, length): (f64, usize)) -> f64 {
    height.abs().min(1.0 - 1e-9).atanh() * (length as f64).sqrt()
}

/// The shift of the greatest evidence among some.
fn best_of(correlation: &[(f64, usize)], among: impl Fn(usize) -> bool) -> Option<usize> {
    (0..correlation.len())
        .filter(|shift| correlation[*shift].0 != 0.0 && among(*shift))
        .max_by(|a, b| evidence(correlation[*a]).total_cmp(&evidence(correlation[*b])))
}

fn peak_around(correlation: &[(f64, usize)], top: usize) -> Range<usize> {
    let height = correlation[top].0;
    let inside = |shift: usize| correlation[shift].0 * height.signum() > PEAK_FOOT * height.abs();
    let mut range = top..top + 1;
    while range.start > 0 && inside(range.start - 1) {
        range.start -= 1;
    }
    while range.end < correlation.len() && inside(range.end) {
        range.end += 1;
    }
    range
}

#[cfg(test)]
mod tests {
    use super::*;

    fn series(from_s: f64, values: impl Fn(f64) -> f64) -> Series {
        let time_s: Vec<f64> = (0..500).map(|i| f64::from(i) * 0.01).collect();
        let value: Vec<f64> = time_s.iter().map(|t| values(t + from_s)).collect();
        Series::new(&time_s, &value)
    }

    #[test]
    fn a_bump_is_found_at_its_shift_whatever_its_size_and_sign() {
        let bump = |t: f64| (-(t - 3.0).powi(2) / 0.02).exp();
        // `there` starts 1.2 s later in the world, so that its clock reads 1.2 s less.
        let found = likeliest_shift(&series(0.0, bump), &series(1.2, |t| 7.0 - 3.0 * bump(t)));
        let found = found.unwrap();
        approx::assert_relative_eq!(found.offset_s, -1.2, epsilon = 0.006);
        assert!(found.correlation < -0.999);
        assert_eq!(found.secondary_peak_s, None);
    }

    #[test]
    fn a_plain_wave_has_secondary_peaks_and_a_flat_line_has_no_shift() {
        let wave = series(0.0, |t| (t * 9.0).sin());
        assert!(
            likeliest_shift(&wave, &wave)
                .unwrap()
                .secondary_peak_s
                .is_some()
        );
        assert_eq!(likeliest_shift(&wave, &series(0.0, |_| 2.0)), None);
    }
}
