//! Times and heights of a burn, with their uncertainties.
//!
//! The burn runs from thrust first at or above the rule's share of peak to last at or above it
//! (5 %: NFPA 1125 as quoted by its users), the action time the same at 10 %. Total impulse runs
//! further, to the last measurable thrust: the first place on either side of the burn where thrust,
//! averaged over a few readings, cannot be told from rest.

use super::crossing::{self, Crossing, Edge};
use super::dynamics::{self, Mode};
use super::low_pass::{self, LowPassed};
use super::peak::{self, Peak};
use super::thrust::ThrustTrace;
use super::{BurnReport, LowPassReport, ThrustReport};
use crate::firing::BurnRule;
use crate::numeric::trapezoid;
use crate::quantity::Measured;
use crate::series::Series;
use crate::uncertainty::{Kind, combined, combined_of};

/// Share of peak that begins and ends the action time (MIL-STD-292C; Sutton & Biblarz, ch. 12; both
/// from memory).
const ACTION_FRACTION: f64 = 0.10;

/// Thrust is measurable while its running mean stands this many standard deviations above rest.
const MEASURABLE_SDS: f64 = 3.0;

/// ... and at least this share of peak above it, so that a perfectly quiet log has an end too.
const MEASURABLE_SHARE: f64 = 0.002;

/// Length of the running mean, s.
const MEASURABLE_MEAN_S: f64 = 0.02;

/// The corrected trace is taken to rest for this long from the beginning of the search, s.
const RESTING_S: f64 = 0.15;

/// A burn described.
#[derive(Debug, Clone)]
pub struct Burn {
    /// For the results.
    pub report: BurnReport,
    /// For the results.
    pub thrust: ThrustReport,
    /// The peak.
    pub peak: Peak,
    /// Beginning and end by the rule, s; the ends of the record where it cuts the burn off.
    pub window_s: (f64, f64),
    /// First and last measurable thrust, s.
    pub measurable_s: (f64, f64),
    /// The trace that edges are read from: thrust with the stand's ringing taken off, N.
    pub edges: Series,
    /// Noise of one value of it, N.
    pub edge_noise_n: f64,
    /// Thrust with the ringing taken off, N, around the burn; `None` when nothing was.
    pub corrected: Option<Series>,
    /// Thrust behind the low pass; `None` when none was asked for.
    pub low_passed: Option<LowPassed>,
}

/// How a burn is to be described.
#[derive(Debug, Clone, Copy)]
pub struct Choice<'a> {
    /// What begins and ends the burn.
    pub rule: BurnRule,
    /// Standard uncertainty that the cell's delay and clock add to single times, but not to
    /// durations, s.
    pub clock_u_s: f64,
    /// The stand's mode, whose ringing is taken off for edges and peak.
    pub mode: Option<&'a Mode>,
    /// Cut-off of the low pass for display and peak, Hz.
    pub low_pass_hz: Option<f64>,
}

/// Describes the burn of a thrust trace. `search_s` is where to look.
#[must_use]
pub fn describe(trace: &ThrustTrace, search_s: (f64, f64), choice: &Choice<'_>) -> Option<Burn> {
    let (rule, clock_u_s) = (choice.rule, choice.clock_u_s);
    let force = choice
        .mode
        .and_then(|mode| dynamics::corrected(&trace.thrust, mode, search_s.0, search_s.1));
    let thrust = force.as_ref().unwrap_or(&trace.thrust);
    let sd_n = edge_noise(trace, thrust, search_s);
    let mut peak = peak::find(thrust, search_s.0, search_s.1, sd_n)?;
    let ringing_u_n = |at_s: f64| match (&force, choice.mode) {
        (Some(force), Some(mode)) => dynamics::u_n(&trace.thrust, force, mode, at_s),
        _ => 0.0,
    };
    peak.u_n = peak.u_n.hypot(ringing_u_n(peak.time_s));
    let shown = spliced(&trace.thrust, force.as_ref());
    let low_passed = choice
        .low_pass_hz
        .and_then(|hz| low_pass::filter(&shown, hz));
    let filtered = low_passed.as_ref().and_then(|low| {
        let mut top = low.peak(search_s, &shown, sd_n, &peak)?;
        top.u_n = top.u_n.hypot(ringing_u_n(top.time_s));
        Some(top)
    });
    let level_u_n = level_uncertainty(trace);
    let edges = |fraction: f64| {
        let level = fraction * peak.value_n;
        let find = |edge| crossing::find(thrust, search_s.0, search_s.1, level, edge, sd_n);
        (find(Edge::First), find(Edge::Last))
    };
    let (first, last) = edges(rule.fraction());
    let (action_first, action_last) = edges(ACTION_FRACTION);
    let instant = |edge: &Option<Crossing>| {
        edge.as_ref().map(|edge| {
            Measured::normal(
                edge.time_s,
                edge.with_level_u(level_u_n).hypot(clock_u_s),
                "s",
            )
        })
    };
    let span_s = trace.thrust.span_s()?;
    let window_s = (
        first.map_or(span_s.0, |edge| edge.time_s),
        last.map_or(span_s.1, |edge| edge.time_s),
    );
    let measurable_s = measurable(&trace.thrust, window_s, trace.noise().0, peak.value_n);
    let burn_time = duration(first, last, level_u_n);
    let average = burn_time
        .as_ref()
        .map(|time| average(trace, window_s, time));
    Some(Burn {
        report: BurnReport {
            rule: rule.word().to_owned(),
            ignition_s: instant(&first),
            burnout_s: instant(&last),
            burn_time_s: burn_time,
            action_time_s: duration(action_first, action_last, level_u_n),
        },
        thrust: ThrustReport {
            peak_n: Some(peak_measured(trace, filtered.as_ref().unwrap_or(&peak))),
            average_n: average,
            low_pass: low_passed
                .as_ref()
                .zip(filtered.as_ref())
                .map(|(low, top)| low_pass_report(trace, low, measurable_s, &peak, top)),
        },
        peak,
        measurable_s,
        window_s,
        edges: thrust.clone(),
        edge_noise_n: sd_n,
        corrected: force,
        low_passed,
    })
}

/// Thrust with the corrected values in place of the readings where there are some: corrected values
/// stand at the times of readings.
fn spliced(thrust: &Series, corrected: Option<&Series>) -> Series {
    let Some(corrected) = corrected else {
        return thrust.clone();
    };
    let mut values = corrected.iter().peekable();
    let mut out = Series::default();
    for (time, reading) in thrust.iter() {
        let force = values.next_if(|(at, _)| *at <= time);
        out.push(time, force.map_or(reading, |(_, force)| force));
    }
    out
}

fn low_pass_report(
    trace: &ThrustTrace,
    low: &LowPassed,
    (from_s, to_s): (f64, f64),
    unfiltered: &Peak,
    filtered: &Peak,
) -> LowPassReport {
    // The filter may carry a little over either end of the measurable thrust: so far beyond, no more.
    let (from_s, to_s) = (from_s - 1.0 / low.cut_off_hz, to_s + 1.0 / low.cut_off_hz);
    let area = |series: &Series| trapezoid::area_between(series, from_s, to_s);
    LowPassReport {
        cut_off_hz: low.cut_off_hz,
        order: low_pass::ORDER,
        step_s: low.step_s,
        resampled: low.resampled,
        unfiltered_peak_n: unfiltered.value_n,
        peak_lower_by_n: unfiltered.value_n - filtered.value_n,
        impulse_difference_ns: area(&low.thrust) - area(&trace.thrust),
    }
}

/// Noise of the trace that edges are read from, N. Taking ringing off adds some: it is measured
/// where the corrected trace rests, before the burn.
fn edge_noise(trace: &ThrustTrace, thrust: &Series, search_s: (f64, f64)) -> f64 {
    let (sd_n, _) = trace.noise();
    let resting = thrust.between(search_s.0, search_s.0 + RESTING_S);
    crate::numeric::noise::at_rest(resting.value()).map_or(sd_n, |rest| rest.sd.max(sd_n))
}

/// How well the zero line is known, N: it moves every crossing.
fn level_uncertainty(trace: &ThrustTrace) -> f64 {
    let line = trace.zero_line();
    [&line.before, &line.after]
        .into_iter()
        .flatten()
        .map(|side| side.rest.u_mean())
        .fold(0.0, f64::max)
}

fn duration(first: Option<Crossing>, last: Option<Crossing>, level_u_n: f64) -> Option<Measured> {
    let (first, last) = (first?, last?);
    // A level too high shortens both ends: their errors by the level add up with their signs.
    let by_level = level_u_n * (1.0 / last.slope_n_s - 1.0 / first.slope_n_s);
    let u = first.u_s.hypot(last.u_s).hypot(by_level);
    Some(Measured::normal(last.time_s - first.time_s, u, "s"))
}

fn average(trace: &ThrustTrace, window_s: (f64, f64), time: &Measured) -> Measured {
    let weights = trapezoid::weights(trace.thrust.time_s(), window_s.0, window_s.1);
    let impulse = trapezoid::area_between(&trace.thrust, window_s.0, window_s.1);
    let value = impulse / time.value;
    let of_impulse = combined(&trace.terms(&weights)) / time.value;
    // Moving an end by dt adds little impulse there but stretches the time the rest is spread over.
    let of_time = value * time.u / time.value;
    Measured::normal(value, of_impulse.hypot(of_time), "N")
}

fn peak_measured(trace: &ThrustTrace, peak: &Peak) -> Measured {
    let row = trace
        .thrust
        .index_at(peak.time_s)
        .min(trace.thrust.len().saturating_sub(1));
    let mut weights = vec![0.0; trace.thrust.len()];
    if let Some(weight) = weights.get_mut(row) {
        *weight = 1.0;
    }
    let systematic = combined_of(&trace.terms(&weights), Kind::Systematic);
    Measured::normal(
        peak.value_n,
        peak.u_n.hypot(systematic).hypot(level_uncertainty(trace)),
        "N",
    )
}

/// Where thrust on either side of the burn can no longer be told from rest.
fn measurable(thrust: &Series, window_s: (f64, f64), sd_n: f64, peak_n: f64) -> (f64, f64) {
    let step_s = thrust.step_s().unwrap_or(MEASURABLE_MEAN_S);
    let half = ((MEASURABLE_MEAN_S / step_s) as usize) / 2;
    let level =
        (MEASURABLE_SDS * sd_n / ((2 * half + 1) as f64).sqrt()).max(MEASURABLE_SHARE * peak_n);
    let value = thrust.value();
    let quiet = |row: usize| {
        let part = &value[row.saturating_sub(half)..(row + half + 1).min(value.len())];
        part.iter().sum::<f64>() / part.len() as f64 <= level
    };
    let first = thrust
        .index_at(window_s.0)
        .min(value.len().saturating_sub(1));
    let last = thrust
        .index_at(window_s.1)
        .min(value.len().saturating_sub(1));
    let start = (0..first).rev().find(|row| quiet(*row)).unwrap_or(0);
    let end = (last..value.len())
        .find(|row| quiet(*row))
        .unwrap_or(value.len().saturating_sub(1));
    (thrust.time_s()[start], thrust.time_s()[end])
}

#[cfg(test)]
mod tests {
    use super::super::load::{CellReadings, Load};
    use super::super::thrust::{WeightLoss, thrust};
    use super::super::{search, zero};
    use super::*;
    use crate::calibration::Curve;
    use crate::quantity::{Force, Given};
    use approx::assert_relative_eq;

    const PLAIN: Choice<'_> = Choice {
        rule: BurnRule::FivePercent,
        clock_u_s: 0.0,
        mode: None,
        low_pass_hz: None,
    };

    /// A thrust shape between two seconds of rest, read every 0.1 ms and reduced.
    fn burn_of(shape: impl Fn(f64) -> f64, length_s: f64) -> (Burn, ThrustTrace) {
        let count = ((length_s + 4.0) * 1e4) as usize;
        let time: Vec<f64> = (0..count).map(|i| i as f64 * 1e-4).collect();
        let force: Vec<f64> = time
            .iter()
            .map(|t| {
                if *t >= 2.0 && *t <= 2.0 + length_s {
                    shape(t - 2.0)
                } else {
                    0.0
                }
            })
            .collect();
        let curve = Curve::from_scale(&Given::plain(Force::newtons(1.0)), 0.0).unwrap();
        let raw = Series::new(&time, &force);
        let cell = CellReadings {
            name: "base".into(),
            raw,
            curve,
        };
        let load = Load::from_cells(&[cell]).unwrap();
        let found = search::find(&load.time_s, &load.force_n, 0.05).unwrap();
        let line = zero::find(&load.time_s, &load.force_n, &found.rows);
        let burn_s = (
            load.time_s[found.rows.start],
            load.time_s[found.rows.end - 1],
        );
        let weight = WeightLoss {
            sign: 0.0,
            weight_n: None,
        };
        let trace = thrust(load, line, burn_s, &weight, None).unwrap();
        let search_s = (burn_s.0 - 0.2, burn_s.1 + 0.2);
        (describe(&trace, search_s, &PLAIN).unwrap(), trace)
    }

    // Closed-form windows, impulses and averages (own computation, see check values 4.3). Tolerance:
    // a tenth of the 0.1 ms step on times, 1e-5 relative on areas.
    #[test]
    fn closed_form_shapes_have_their_windows_and_averages() {
        let pi = std::f64::consts::PI;
        let (burn, trace) = burn_of(|t| 100.0 * (pi * t / 2.0).sin(), 2.0);
        let window = burn.report.burn_time_s.unwrap().value;
        assert_relative_eq!(window, 1.936311467, epsilon = 1e-5);
        assert_relative_eq!(
            burn.report.action_time_s.unwrap().value,
            1.872462878,
            epsilon = 1e-5
        );
        assert_relative_eq!(
            burn.thrust.average_n.unwrap().value,
            65.67368,
            max_relative = 2e-5
        );
        let total =
            trapezoid::area_between(&trace.thrust, burn.measurable_s.0, burn.measurable_s.1);
        assert_relative_eq!(total, 127.3239545, max_relative = 1e-5);

        let (burn, _) = burn_of(|t| (t / 0.2).min((1.0 - t) / 0.8) * 100.0, 1.0);
        assert_relative_eq!(burn.report.burn_time_s.unwrap().value, 0.95, epsilon = 1e-5);
        assert_relative_eq!(
            burn.report.action_time_s.unwrap().value,
            0.90,
            epsilon = 1e-5
        );
        assert_relative_eq!(
            burn.thrust.average_n.unwrap().value,
            52.5,
            max_relative = 2e-5
        );
    }
}
