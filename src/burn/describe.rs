//! Times and heights of a burn, with their uncertainties.
//!
//! The burn runs from thrust first at or above the rule's share of peak to last at or above it
//! (5 %: NFPA 1125 as quoted by its users), the action time the same at 10 %. Total impulse runs
//! further, to the last measurable thrust: the first place on either side of the burn where thrust,
//! averaged over a few readings, cannot be told from rest.

use super::correction::{Correction, Modes};
use super::crossing::{Crossing, Edge};
use super::foot::Passage;
use super::locate::Delay;
use super::low_pass::{self, LowPassed};
use super::peak::Peak;
use super::readable::Readable;
use super::ringing::swing::Swing;
use super::thrust::ThrustTrace;
use super::{BurnReport, LowPassReport, ThrustReport};
use crate::config::BurnRule;
use crate::numeric::trapezoid;
use crate::quantity::measured::NORMAL_FACTOR;
use crate::quantity::{Measured, Unit};
use crate::series::Series;
use crate::uncertainty::{Kind, Term, measured};

/// Share of peak that begins and ends the action time (MIL-STD-292C; Sutton & Biblarz, ch. 12; both
/// from memory).
const ACTION_FRACTION: f64 = 0.10;

/// Thrust is measurable while its running mean stands this many standard deviations above rest.
const MEASURABLE_SDS: f64 = 3.0;

/// ... and at least this share of peak above it, so that a perfectly quiet log has an end too.
const MEASURABLE_SHARE: f64 = 0.002;

/// Length of the running mean, s.
const MEASURABLE_MEAN_S: f64 = 0.02;

/// A burn described.
#[derive(Debug, Clone)]
pub(crate) struct Description {
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
    /// The trace that edges are read from: thrust corrected for the stand's ringing, N.
    pub edges: Series,
    /// Noise of one value of it, N.
    pub edge_noise_n: f64,
    /// Ringing-corrected thrust, N, around the burn; `None` when nothing was corrected.
    pub correction: Option<Correction>,
    /// Thrust behind the low pass; `None` when none was asked for.
    pub low_passed: Option<LowPassed>,
}

/// How a burn is to be described.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Choice<'a> {
    /// What begins and ends the burn.
    pub rule: BurnRule,
    /// How late the readings are: that moves single times, but no durations.
    pub delay: Delay,
    /// The modes whose ringing edges and peak are corrected for.
    pub modes: Modes<'a>,
    /// What swings where no mode is known.
    pub swings: &'a [Swing],
    /// Cut-off of the low pass for display and peak, Hz.
    pub low_pass_hz: Option<f64>,
}

/// Describes the burn of a thrust trace. `search_s` is where to look.
#[must_use]
pub(crate) fn describe(
    trace: &ThrustTrace,
    search_s: (f64, f64),
    choice: &Choice<'_>,
) -> Option<Description> {
    let rule = choice.rule;
    let readable = Readable::of(trace, search_s, choice.modes, choice.swings);
    let peak = readable.peak()?;
    let shown = readable.spliced();
    let low_passed = choice
        .low_pass_hz
        .and_then(|hz| low_pass::filter(&shown, hz));
    let filtered = low_passed.as_ref().and_then(|low| {
        let mut top = low.peak(search_s, &shown, readable.sd_n, &peak)?;
        top.u_n = top.u_n.hypot(readable.ringing_u_n(top.time_s));
        Some(top)
    });
    let (first, last) = readable.crossings(rule.fraction() * peak.value_n);
    if first
        .zip(last)
        .is_some_and(|(first, last)| last.time_s <= first.time_s)
    {
        return None;
    }
    let action = readable.crossings(ACTION_FRACTION * peak.value_n);
    // A level stands on the baseline and on a share of the peak; both are only known so well.
    let level = |fraction: f64| Level {
        readable: &readable,
        value_n: fraction * peak.value_n,
        peak_u_n: fraction * peak.u_n,
    };
    let (burning, acting) = (level(rule.fraction()), level(ACTION_FRACTION));
    let ends = |(first, last): (Option<Crossing>, Option<Crossing>), level: &Level<'_>| {
        let passage = |edge, found: Crossing| level.passage(edge, &found);
        [
            first.map(|found| passage(Edge::First, found)),
            last.map(|found| passage(Edge::Last, found)),
        ]
    };
    let burnt = ends((first, last), &burning);
    if let [Some(first), Some(last)] = burnt
        && last.time_s <= first.time_s
    {
        return None;
    }
    let instant = |edge: &Passage| {
        let half_s = NORMAL_FACTOR * edge.u_s;
        let reach_s = edge.reach_s.unwrap_or((half_s, half_s));
        choice.delay.instant(edge.time_s, edge.u_s, reach_s)
    };
    let span_s = trace.thrust.span_s()?;
    let window_s = (
        burnt[0].map_or(span_s.0, |edge| edge.time_s),
        burnt[1].map_or(span_s.1, |edge| edge.time_s),
    );
    let measurable_s = measurable(&trace.thrust, window_s, trace.noise_n(), peak.value_n);
    let burn_time = burning.duration((first, last), burnt);
    let average = burn_time
        .as_ref()
        .map(|time| average(trace, window_s, time));
    Some(Description {
        report: BurnReport {
            rule: rule.word().to_owned(),
            ignition_s: burnt[0].as_ref().map(instant),
            burnout_s: burnt[1].as_ref().map(instant),
            burn_time_s: burn_time,
            action_time_s: acting.duration(action, ends(action, &acting)),
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
        edges: readable.thrust().clone(),
        edge_noise_n: readable.sd_n,
        correction: readable.correction,
        low_passed,
    })
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

/// A level that thrust passes, and how well it is known.
struct Level<'a> {
    readable: &'a Readable<'a>,
    value_n: f64,
    /// Standard uncertainty that the peak gives it, N.
    peak_u_n: f64,
}

impl Level<'_> {
    fn u_n(&self, time_s: f64) -> f64 {
        self.readable.edge_u_n(time_s).hypot(self.peak_u_n)
    }

    /// When it was passed, where that was found as a crossing.
    fn passage(&self, edge: Edge, found: &Crossing) -> Passage {
        let level_n = (self.value_n, self.u_n(found.time_s));
        self.readable.passage(level_n, edge, found)
    }

    /// Time between its two passages.
    fn duration(
        &self,
        (first, last): (Option<Crossing>, Option<Crossing>),
        [begins, ends]: [Option<Passage>; 2],
    ) -> Option<Measured> {
        let (first, last, begins, ends) = (first?, last?, begins?, ends?);
        let value = ends.time_s - begins.time_s;
        // A level too high shortens both ends: their errors by the level add up with their signs.
        let by_level =
            self.u_n(last.time_s) / last.slope_n_s - self.u_n(first.time_s) / first.slope_n_s;
        let u = first.u_s.hypot(last.u_s).hypot(by_level);
        if begins.reach_s.is_none() && ends.reach_s.is_none() {
            return Some(Measured::normal(value, u, Unit::Second));
        }
        // What the ends linger is added to it.
        let steep = |of: &Crossing| NORMAL_FACTOR * of.with_level_u(self.u_n(of.time_s));
        let more = |reach_s: f64, of: &Crossing| reach_s.powi(2) - steep(of).powi(2);
        let reach =
            |of: &Passage, found: &Crossing| of.reach_s.unwrap_or((steep(found), steep(found)));
        let (begins_s, ends_s) = (reach(&begins, &first), reach(&ends, &last));
        let half = |begins_s: f64, ends_s: f64| {
            let squares =
                (NORMAL_FACTOR * u).powi(2) + more(begins_s, &first) + more(ends_s, &last);
            squares.max(0.0).sqrt()
        };
        let (low, high) = (
            value - half(begins_s.1, ends_s.0),
            value + half(begins_s.0, ends_s.1),
        );
        let u = 0.5 * (high - low) / NORMAL_FACTOR;
        Some(Measured::interval(value, u, low, high, Unit::Second))
    }
}

fn average(trace: &ThrustTrace, window_s: (f64, f64), time: &Measured) -> Measured {
    let weights = trapezoid::weights(trace.thrust.time_s(), window_s.0, window_s.1);
    let impulse = trapezoid::area_between(&trace.thrust, window_s.0, window_s.1);
    let value = impulse / time.value;
    let of_impulse = trace.terms(&weights).into_iter();
    let mut terms: Vec<Term> = of_impulse
        .map(|term| term.times(1.0 / time.value))
        .collect();
    // Moving an end by dt adds little impulse there but stretches the time the rest is spread over.
    terms.push(Term::random("burn time", value * time.u / time.value));
    measured(value, &terms, Unit::Newton)
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
    // The noise of one reading is in the peak's own uncertainty; the rest is common to all readings.
    let of_reading = trace.terms(&weights).into_iter();
    let mut terms: Vec<Term> = of_reading
        .filter(|term| term.kind == Kind::Systematic)
        .collect();
    terms.push(Term::random("baseline", trace.baseline_u_n(peak.time_s)));
    terms.push(Term::random("height above it", peak.u_n));
    measured(peak.value_n, &terms, Unit::Newton)
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
pub(crate) mod tests {
    use super::super::baseline;
    use super::super::segmentation::burn_rows;
    use super::super::thrust::{WeightLoss, thrust};
    use super::*;
    use crate::calibration::Curve;
    use crate::calibration::{CellReadings, Load};
    use crate::quantity::{Force, Given};
    use approx::assert_relative_eq;

    const PLAIN: Choice<'_> = Choice {
        rule: BurnRule::FivePercent,
        delay: Delay::NONE,
        modes: Modes::Unknown,
        swings: &[],
        low_pass_hz: None,
    };

    /// A thrust shape between two seconds of rest, read every 0.1 ms and reduced.
    pub(crate) fn burn_of(shape: impl Fn(f64) -> f64, length_s: f64) -> (Description, ThrustTrace) {
        reduced(1e-4, shape, length_s)
    }

    /// The same read at another step.
    pub(in crate::burn) fn burn_read_every(
        step_s: f64,
        shape: impl Fn(f64) -> f64,
        length_s: f64,
    ) -> Description {
        reduced(step_s, shape, length_s).0
    }

    fn reduced(
        step_s: f64,
        shape: impl Fn(f64) -> f64,
        length_s: f64,
    ) -> (Description, ThrustTrace) {
        reduced_by(step_s, shape, length_s, BurnRule::FivePercent, true)
    }

    /// The same with the rule of a burn's ends, and without a rest after it where asked.
    pub(crate) fn reduced_by(
        step_s: f64,
        shape: impl Fn(f64) -> f64,
        length_s: f64,
        rule: BurnRule,
        rest_after: bool,
    ) -> (Description, ThrustTrace) {
        let count = ((length_s + 4.0) / step_s) as usize;
        let time: Vec<f64> = (0..count).map(|i| i as f64 * step_s).collect();
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
            left_out: Vec::new(),
            curve,
        };
        let load = Load::from_cells(&[cell]).unwrap();
        let rows = burn_rows(&load.time_s, &load.force_n);
        let mut line = baseline::find(&load.time_s, &load.force_n, &rows);
        line.after = line.after.filter(|_| rest_after);
        let burn_s = (load.time_s[rows.start], load.time_s[rows.end - 1]);
        let trace = thrust(load, line, burn_s, &WeightLoss::none(), None).unwrap();
        let search_s = (burn_s.0 - 0.2, burn_s.1 + 0.2);
        let choice = Choice { rule, ..PLAIN };
        (describe(&trace, search_s, &choice).unwrap(), trace)
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

    /// Windows and the impulse inside them by both rules, and the averages of the first.
    struct Closed {
        window_s: [f64; 2],
        inside_ns: [f64; 2],
        average_n: f64,
        total_ns: f64,
    }

    fn holds(name: &str, shape: impl Fn(f64) -> f64 + Copy, length_s: f64, closed: &Closed) {
        for (at, rule) in [BurnRule::FivePercent, BurnRule::TenPercent]
            .into_iter()
            .enumerate()
        {
            let (burn, trace) = reduced_by(1e-4, shape, length_s, rule, true);
            let window_s = burn.report.burn_time_s.as_ref().unwrap().value;
            let (times_s, areas) = [(2e-5, 2e-5), (6e-5, 1e-4)][at];
            assert!(
                (window_s - closed.window_s[at]).abs() < times_s,
                "{name}: {window_s}"
            );
            let (from, to) = burn.window_s;
            let inside_ns = trapezoid::area_between(&trace.thrust, from, to);
            assert!(
                (inside_ns / closed.inside_ns[at] - 1.0).abs() < areas,
                "{name}: {inside_ns}"
            );
            let action_s = burn.report.action_time_s.as_ref().unwrap().value;
            assert!(
                (action_s - closed.window_s[1]).abs() < times_s,
                "{name}: {action_s}"
            );
            if at == 0 {
                let average_n = burn.thrust.average_n.as_ref().unwrap().value;
                assert!(
                    (average_n / closed.average_n - 1.0).abs() < 3e-5,
                    "{name}: {average_n}"
                );
                let all = trapezoid::area(&trace.thrust);
                assert!((all / closed.total_ns - 1.0).abs() < 2e-5, "{name}: {all}");
            }
        }
    }

    // Closed forms (own computation, see check values 4.3), windows at 5 % and 10 % of peak. By the
    // 5 % rule times come to a fifth of the 0.1 ms step, areas to 2e-5. By the 10 % rule rest ends 50 ms
    // before the burn by that rule, and the half sine has been rising for 64 ms then: it lifts rest by
    // 5 mN of its 100 N.
    #[test]
    fn the_other_closed_form_shapes_by_both_rules() {
        holds(
            "half sine",
            |t| 100.0 * (std::f64::consts::FRAC_PI_2 * t).sin(),
            2.0,
            &Closed {
                window_s: [1.936_311_467, 1.872_462_878],
                inside_ns: [127.164_699_9, 126.685_735_1],
                average_n: 65.673_68,
                total_ns: 127.323_954_5,
            },
        );
        holds(
            "triangle",
            |t| (t / 0.2).min((1.0 - t) / 0.8) * 100.0,
            1.0,
            &Closed {
                window_s: [0.95, 0.90],
                inside_ns: [49.875, 49.5],
                average_n: 52.5,
                total_ns: 50.0,
            },
        );
        holds(
            "trapezoid",
            |t| 100.0 * (t / 0.1).min(1.0).min((2.0 - t) / 0.4),
            2.0,
            &Closed {
                window_s: [1.975, 1.95],
                inside_ns: [174.9375, 174.75],
                average_n: 88.575_95,
                total_ns: 175.0,
            },
        );
        holds(
            "boost and sustain",
            |t| {
                let boost = (1500.0 * t).min(150.0 - 500.0 * (t - 0.1));
                let sustain = if t > 0.2 {
                    50.0_f64.min(50.0 * (2.0 - t) / 0.3)
                } else {
                    0.0
                };
                boost.max(sustain)
            },
            2.0,
            &Closed {
                window_s: [1.95, 1.90],
                inside_ns: [104.8125, 104.25],
                average_n: 53.75,
                total_ns: 105.0,
            },
        );
    }

    // 100 exp(-t/0.5) begins at its peak: the rise lies between two readings, so that a straight line
    // puts the beginning up to a step early and half a step of thrust is added, 5e-5 s and 5e-3 N s.
    // It is cut off after 6 s, at 6e-6 of its peak. Its tail never rests, so that rest is taken from
    // before the burn alone: a mean of the tail after it would count 0.7 N of thrust as baseline.
    #[test]
    fn an_exponential_that_begins_at_its_peak_has_its_closed_form_window() {
        let shape = |t: f64| 100.0 * (-t / 0.5).exp();
        for (rule, window_s, inside_ns, mean_n) in [
            (BurnRule::FivePercent, 1.497_866_137, 47.5, 31.711_78),
            (
                BurnRule::TenPercent,
                1.151_292_546,
                45.0,
                90.0 / std::f64::consts::LN_10,
            ),
        ] {
            let (burn, trace) = reduced_by(1e-4, shape, 6.0, rule, false);
            let found_s = burn.report.burn_time_s.as_ref().unwrap().value;
            assert_relative_eq!(found_s, window_s, epsilon = 1.2e-4);
            let (from, to) = burn.window_s;
            let found_ns = trapezoid::area_between(&trace.thrust, from, to);
            assert_relative_eq!(found_ns, inside_ns, epsilon = 1e-2);
            let average_n = burn.thrust.average_n.as_ref().unwrap().value;
            assert_relative_eq!(average_n, mean_n, max_relative = 3e-4);
        }
    }
}
