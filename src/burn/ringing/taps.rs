//! Taps in a record of the stand at rest, and what they say together.
//!
//! A tap is where a swing rises to several times the largest of the two periods before and stands
//! out of the noise. The decay is fitted from half a period after its largest swing, when the hammer
//! has left, to where it sinks into the noise or the next tap comes. Taps are combined by their
//! weighted mean; when they scatter by more than their own uncertainties allow, these are raised by
//! the ratio (Birge, Physical Review 40, 1932), and Student's t has the degrees of freedom of both
//! parts together.

use super::decay::{self, Decay, FEWEST_PER_PERIOD, SLOWEST_HZ, Sought};
use super::{Ringing, spectrum};
use crate::numeric::noise;
use crate::quantity::{Measured, Unit};
use crate::series::Series;

/// A tap rises to this many times the largest swing of the period before.
const RISES: f64 = 3.0;

/// The stretch before a tap, in periods: in one period of few readings a swing can hide.
const BEFORE_PERIODS: f64 = 2.0;

/// ... and stands this many standard deviations of the noise high.
const STANDS_OUT: f64 = 8.0;

/// A decay is followed until a whole period stays below this many standard deviations.
const SUNK: f64 = 3.0;

/// ... and for this share of its length beyond.
const TAIL: f64 = 0.5;

/// A decay shorter than this many periods says little.
const FEWEST_PERIODS: f64 = 4.0;

/// Noise is the spread of the quietest tenth of stretches this long, s.
const STRETCH_S: f64 = 0.05;

/// ... and have at least this many readings, or the quietest would be quiet by chance.
const FEWEST_STRETCH: usize = 32;

/// A fit that leaves more than this share of what it had to explain is no ringing.
const EXPLAINS: f64 = 4.0;

/// Slow drift of the baseline is taken off by medians of stretches this long, s.
const REST_S: f64 = 1.0;

/// What the taps of a record say; `None` when no tap rings.
#[must_use]
pub(crate) fn combined(records: &[Series]) -> Option<Ringing> {
    let decays: Vec<Decay> = records.iter().flat_map(decays).collect();
    together(&decays)
}

/// The decays after each tap of a record.
#[must_use]
pub(crate) fn decays(record: &Series) -> Vec<Decay> {
    let Some(step_s) = record.step_s() else {
        return vec![];
    };
    let centred = less_rest(record);
    let highest_hz = 1.0 / (FEWEST_PER_PERIOD * step_s);
    let Some(loudest_hz) = spectrum::loudest_hz(&centred, SLOWEST_HZ, highest_hz) else {
        return vec![];
    };
    let period_s = 1.0 / loudest_hz;
    let windows = windows(&centred, period_s, quiet_sd(&centred, step_s));
    windows
        .iter()
        .filter_map(|(from_s, to_s)| {
            let part = record.between(*from_s, *to_s);
            let sought = Sought {
                degree: 1,
                from_hz: SLOWEST_HZ.max(0.5 * loudest_hz),
                to_hz: 2.0 * loudest_hz,
                explains: EXPLAINS,
                damping: 1.0,
            };
            let found = decay::fit(&part, sought)?;
            (found.explains > EXPLAINS).then_some(found)
        })
        .collect()
}

/// Readings less the medians of the seconds around them.
fn less_rest(record: &Series) -> Series {
    let Some((first, last)) = record.span_s() else {
        return Series::default();
    };
    let mut rest = Series::default();
    let mut at = first;
    while at <= last {
        let part = record.between(at, at + REST_S);
        if let Some(middle) = noise::median(part.value()) {
            rest.push(at + 0.5 * REST_S, middle);
        }
        at += REST_S;
    }
    record.map(|time, value| value - rest.at(time).unwrap_or(0.0))
}

/// Spread of the quietest tenth of stretches.
fn quiet_sd(centred: &Series, step_s: f64) -> f64 {
    let count = ((STRETCH_S / step_s) as usize).max(FEWEST_STRETCH);
    let mut spreads: Vec<f64> = centred
        .value()
        .chunks_exact(count)
        .filter_map(|part| Some(noise::mean_and_sd(part)?.sd))
        .collect();
    spreads.sort_by(f64::total_cmp);
    spreads.get(spreads.len() / 10).copied().unwrap_or(0.0)
}

/// Where each decay runs, s.
fn windows(centred: &Series, period_s: f64, noise_sd: f64) -> Vec<(f64, f64)> {
    let (time, value) = (centred.time_s(), centred.value());
    let swing = |from: f64, to: f64| {
        let rows = centred.index_at(from)..centred.index_at(to);
        rows.max_by(|a, b| value[*a].abs().total_cmp(&value[*b].abs()))
    };
    let height = |row: Option<usize>| row.map_or(0.0, |row| value[row].abs());
    let mut taps: Vec<usize> = Vec::new();
    let mut at = 0;
    while at < time.len() {
        let before = height(swing(time[at] - BEFORE_PERIODS * period_s, time[at]));
        let rises = value[at].abs() > (STANDS_OUT * noise_sd).max(RISES * before);
        if rises && before > 0.0 {
            let top = swing(time[at], time[at] + period_s).unwrap_or(at);
            taps.push(top);
            at = centred.index_at(time[top] + period_s).max(at + 1);
        } else {
            at += 1;
        }
    }
    let mut out = Vec::new();
    for (nth, top) in taps.iter().enumerate() {
        let from = time[*top] + 0.5 * period_s;
        let end = taps
            .get(nth + 1)
            .map_or(f64::INFINITY, |next| time[*next] - period_s);
        let end = end.min(time[time.len() - 1]);
        let mut to = from;
        while to < end && height(swing(to, to + period_s)) > SUNK * noise_sd {
            to += period_s;
        }
        // Ending right where noise happens to be small would make decays look faster or slower.
        let to = (to + TAIL * (to - from)).min(end);
        if to - from >= FEWEST_PERIODS * period_s {
            out.push((from, to));
        }
    }
    out
}

/// All decays in one.
#[must_use]
pub(crate) fn together(decays: &[Decay]) -> Option<Ringing> {
    let first = decays.first()?;
    let of = |value: &dyn Fn(&Decay) -> f64, at: usize, unit: Unit| {
        let values: Vec<(f64, f64)> = decays
            .iter()
            .map(|decay| (value(decay), decay.covariance[at][at]))
            .collect();
        mean(&values, first.degrees_of_freedom, unit)
    };
    let correlation = |decay: &Decay| {
        let [[f, both], [_, z]] = decay.covariance;
        both / (f * z).sqrt()
    };
    let seen: Vec<f64> = decays
        .iter()
        .filter_map(|one| one.decrement_damping)
        .collect();
    Some(Ringing {
        natural_hz: of(&|decay| decay.natural_hz, 0, Unit::Hertz)?,
        damping: of(&|decay| decay.damping, 1, Unit::One)?,
        correlation: decays.iter().map(correlation).sum::<f64>() / decays.len() as f64,
        decays: decays.len(),
        decrement_damping: (!seen.is_empty()).then(|| seen.iter().sum::<f64>() / seen.len() as f64),
    })
}

/// Weighted mean of values with their variances.
fn mean(values: &[(f64, f64)], freedom: usize, unit: Unit) -> Option<Measured> {
    let weights: f64 = values.iter().map(|(_, variance)| 1.0 / variance).sum();
    if !weights.is_finite() || weights <= 0.0 {
        return None;
    }
    let sum: f64 = values
        .iter()
        .map(|(value, variance)| value / variance)
        .sum();
    let (mean, u) = (sum / weights, weights.sqrt().recip());
    let others = values.len() - 1;
    if others == 0 {
        return Some(Measured::student(mean, u, freedom as f64, unit));
    }
    let squares: f64 = values
        .iter()
        .map(|(value, variance)| (value - mean).powi(2) / variance)
        .sum();
    let birge = squares / others as f64;
    if birge > 1.0 {
        // What the ratio adds rests on the number of taps alone, the rest on all residuals
        // (Welch and Satterthwaite, JCGM 100:2008, G.4.1).
        let freedom = birge * birge * others as f64 / (birge - 1.0).powi(2);
        return Some(Measured::student(mean, u * birge.sqrt(), freedom, unit));
    }
    Some(Measured::normal(mean, u, unit))
}
