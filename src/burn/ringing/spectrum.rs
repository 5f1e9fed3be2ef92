//! Where a record rings loudest: the start of a fit.
//!
//! Readings are put on an even grid of the median step, less a straight line, and transformed with
//! zeros behind them, so that the peak lies within a quarter of the record's own resolution.

use realfft::RealFftPlanner;

use crate::numeric::polynomial;
use crate::series::Series;

/// Zeros behind the readings, in lengths of the record.
const ZEROS: usize = 3;

/// Frequency at which readings ring loudest between two frequencies, Hz. `None` for too few
/// readings or an empty range.
#[must_use]
pub(crate) fn loudest_hz(readings: &Series, from_hz: f64, to_hz: f64) -> Option<f64> {
    let (even, step_s) = even(readings)?;
    let count = (even.len() * (1 + ZEROS)).next_power_of_two();
    let mut padded = even;
    padded.resize(count, 0.0);
    let transform = RealFftPlanner::<f64>::new().plan_fft_forward(count);
    let mut spectrum = transform.make_output_vec();
    transform.process(&mut padded, &mut spectrum).ok()?;
    let width_hz = 1.0 / (step_s * count as f64);
    let rows = (from_hz / width_hz).ceil() as usize..=(to_hz / width_hz).floor() as usize;
    rows.filter_map(|row| Some((row, spectrum.get(row)?.norm_sqr())))
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .map(|(row, _)| row as f64 * width_hz)
}

/// Readings at even steps of the median step, less their straight line, and the step.
fn even(readings: &Series) -> Option<(Vec<f64>, f64)> {
    let step_s = readings.step_s()?;
    let (from, to) = readings.span_s()?;
    let count = ((to - from) / step_s).floor() as usize + 1;
    let time: Vec<f64> = (0..count).map(|at| at as f64 * step_s).collect();
    let value: Option<Vec<f64>> = time.iter().map(|time| readings.at(from + time)).collect();
    let value = value?;
    let line = polynomial::fit(&time, &value, 1)?;
    let rest = time.iter().zip(&value);
    Some((
        rest.map(|(time, value)| value - line.at(*time)).collect(),
        step_s,
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_louder_of_two_tones_is_found_and_the_range_is_kept() {
        let time: Vec<f64> = (0..1000).map(|at| f64::from(at) * 1e-3).collect();
        let tone = |hz: f64, t: f64| (std::f64::consts::TAU * hz * t).sin();
        let value: Vec<f64> = time
            .iter()
            .map(|t| 5.0 + 3.0 * t + tone(84.0, *t) + 0.4 * tone(31.0, *t))
            .collect();
        let readings = Series::new(&time, &value);
        assert!((loudest_hz(&readings, 5.0, 400.0).unwrap() - 84.0).abs() < 0.25);
        assert!((loudest_hz(&readings, 5.0, 60.0).unwrap() - 31.0).abs() < 0.25);
        assert!(loudest_hz(&Series::default(), 5.0, 60.0).is_none());
    }
}
