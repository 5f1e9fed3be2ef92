//! Is the recorder fast enough for the peak, and for the ignition time?
//!
//! Near its top thrust is a parabola. If it stands above 90 % of peak for a width w, a reading that
//! misses the top by half a step h falls short of it by 0.1 P (h/w)^2: the second-order term of
//! P (1 - cos(pi f h)) for a half sine of frequency f. With n = w/h readings in the width that is
//! 0.1 P/n^2.
//!
//! An edge that rises like half a cosine over T bends most where it begins. At 5 % of its height a
//! straight line between two readings misses the crossing by at most h^2 |F''|/8 divided by the
//! slope, about 0.81 h^2/T, and from 5 % to 50 % it takes 0.356 T. With n readings there the miss is
//! at most 0.31 h/n: three keep it within the tenth of a step that [`super::crossing`] counts into the
//! uncertainty of every crossing.
//!
//! Both rules are about sampling alone: a converter that averages over several readings rounds a
//! peak off however fast it is read.

use super::describe::Description;
use crate::finding::{Finding, Outcome};
use crate::log::words::short;
use crate::quantity::{Measured, Unit};
use crate::series::Series;

/// Share of peak by which thrust has fallen at the ends of the peak's width.
const FALL: f64 = 0.1;
/// Fewest readings within the peak's width: what lies between two of them is then below 0.16 % of
/// peak. Common practice, no source.
const FEWEST_AT_PEAK: f64 = 8.0;
/// More are never asked for: what lies between two of so many is below 0.01 % of peak.
const MOST_AT_PEAK: f64 = 32.0;
/// Fewest readings on the edge, see the head.
const FEWEST_ON_EDGE: f64 = 3.0;
/// The edge ends at this share of peak.
const EDGE_END: f64 = 0.5;
/// Noise may dip below a level by so many standard deviations before thrust counts as fallen.
const DIP_SDS: f64 = 3.0;
/// Standard uncertainty of where a level was crossed between two readings, as a share of the step: a
/// tenth, as for any crossing.
const CROSSING_SHARE: f64 = 0.1;

/// How finely something short was read.
#[derive(Debug, Clone, PartialEq)]
struct Fineness {
    /// Readings within it.
    pub readings: Measured,
    /// How many would do.
    pub needed: f64,
    /// How long it lasted, s.
    pub width_s: f64,
    /// Step between readings, s.
    pub step_s: f64,
    /// The rate that would do, Hz, rounded up to two digits.
    pub rate_hz: f64,
}

impl Fineness {
    fn new(width_s: f64, u_s: f64, step_s: f64, needed: f64) -> Self {
        let readings = Measured::normal(width_s / step_s, u_s / step_s, Unit::Reading);
        Self {
            readings,
            needed,
            width_s,
            step_s,
            rate_hz: rounded_up(needed / width_s),
        }
    }
}

/// How finely the peak was read, and the most that may have been missed of it between two readings, N.
/// `None` where the record cuts the peak off.
#[must_use]
fn at_peak(burn: &Description) -> Option<(Fineness, f64)> {
    // What a slow recorder did not show of the peak has no width that was read.
    let read_n = burn.edges.value().iter().copied().fold(0.0, f64::max);
    let (peak_n, sd_n) = (burn.peak.value_n.min(read_n), burn.edge_noise_n);
    let fall = FALL + DIP_SDS * sd_n / peak_n;
    let level = (1.0 - fall) * peak_n;
    if level <= 0.0 {
        return None;
    }
    let (from_s, to_s) = around(&burn.edges, burn.peak.time_s, level)?;
    let step_s = step_near(&burn.edges, burn.peak.time_s)?;
    // A parabola is narrower at 90 % by the root of the ratio of the falls.
    let width_s = (to_s - from_s) * (FALL / fall).sqrt();
    let by_noise = width_s * sd_n / (2.0 * fall * peak_n) / std::f64::consts::SQRT_2;
    let by_step = CROSSING_SHARE * step_s * std::f64::consts::SQRT_2;
    let relative_u = burn.thrust.peak_n.as_ref().map_or(0.0, Measured::relative);
    let needed = (FALL / relative_u)
        .sqrt()
        .clamp(FEWEST_AT_PEAK, MOST_AT_PEAK);
    let out = Fineness::new(width_s, by_noise.hypot(by_step), step_s, needed);
    let missed_n = FALL * peak_n / out.readings.value.powi(2);
    Some((out, missed_n.min(peak_n)))
}

/// How finely the ignition edge was read, from the burn's beginning to half of peak. `None` where the
/// record cuts the edge off.
#[must_use]
fn on_edge(burn: &Description) -> Option<Fineness> {
    let ignition = burn.report.ignition_s.as_ref()?;
    let level = EDGE_END * burn.peak.value_n;
    let (time, value) = (burn.edges.time_s(), burn.edges.value());
    let first = burn.edges.index_at(ignition.value);
    let row = (first..value.len()).find(|row| value[*row] >= level)?;
    let half_s = between(&burn.edges, row.checked_sub(1)?, row, level);
    let step_s = step_near(&burn.edges, time[row])?;
    let width_s = (half_s - ignition.value).max(f64::MIN_POSITIVE);
    let by_step = CROSSING_SHARE * step_s;
    Some(Fineness::new(
        width_s,
        ignition.u.hypot(by_step),
        step_s,
        FEWEST_ON_EDGE,
    ))
}

/// When thrust rose above a level before a time, and fell below it after.
fn around(thrust: &Series, at_s: f64, level: f64) -> Option<(f64, f64)> {
    let value = thrust.value();
    let top = thrust.index_at(at_s).min(value.len().checked_sub(1)?);
    // A parabola's top may lie between readings, or a noisy reading beside it stand lower.
    let top = (top.saturating_sub(1)..(top + 2).min(value.len()))
        .max_by(|a, b| value[*a].total_cmp(&value[*b]))?;
    let before = (0..top).rev().find(|row| value[*row] < level)?;
    let after = (top..value.len()).find(|row| value[*row] < level)?;
    Some((
        between(thrust, before, before + 1, level),
        between(thrust, after - 1, after, level),
    ))
}

/// Where the straight line through two readings passes a level, s.
fn between(thrust: &Series, before: usize, after: usize, level: f64) -> f64 {
    let (time, value) = (thrust.time_s(), thrust.value());
    let rise = value[after] - value[before];
    let share = if rise == 0.0 {
        1.0
    } else {
        (level - value[before]) / rise
    };
    time[before] + share.clamp(0.0, 1.0) * (time[after] - time[before])
}

/// Readings to either side that the step is the median of.
const NEIGHBOURS: usize = 10;

fn step_near(thrust: &Series, at_s: f64) -> Option<f64> {
    let row = thrust.index_at(at_s);
    let time = thrust.time_s();
    let (from, to) = (
        row.saturating_sub(NEIGHBOURS),
        (row + NEIGHBOURS).min(time.len().checked_sub(1)?),
    );
    thrust.between(time[from], time[to]).step_s()
}

/// Two significant digits, rounded up.
fn rounded_up(rate_hz: f64) -> f64 {
    let unit = 10.0_f64.powf(rate_hz.log10().floor() - 1.0);
    (rate_hz / unit - 1e-9).ceil() * unit
}

/// Closed form that the rule for the peak rests on, with what is practice in it.
const PEAK_SOURCE: &str = "closed form for a parabola between readings, P (1 - cos(pi f h)) to second \
    order; the number itself is common practice, no source";

/// The two findings; none where the record cuts off what they are about.
pub(crate) fn findings(burn: &Description) -> Vec<Finding> {
    let peak = at_peak(burn).map(|(peak, missed_n)| peak_finding(&peak, missed_n));
    let edge = on_edge(burn).map(|edge| edge_finding(&edge));
    peak.into_iter().chain(edge).collect()
}

fn peak_finding(peak: &Fineness, missed_n: f64) -> Finding {
    let rule = format!(
        "at least {:.0} readings while thrust stands above 90 % of peak, and so many that what a top \
         between two of them may miss (here at most {} N) is below the peak's standard \
         uncertainty",
        FEWEST_AT_PEAK,
        short(missed_n),
    );
    judged(
        "the recorder is fast enough for the peak",
        peak,
        rule,
        PEAK_SOURCE,
    )
}

fn edge_finding(edge: &Fineness) -> Finding {
    let rule = format!(
        "at least {FEWEST_ON_EDGE:.0} readings between the burn's beginning and half of peak: a straight line \
         between two of them then finds the beginning within a tenth of their distance",
    );
    let source = "closed form for an edge like half a cosine";
    judged(
        "the recorder is fast enough for the ignition time",
        edge,
        rule,
        source,
    )
}

fn judged(claim: &str, found: &Fineness, rule: String, source: &str) -> Finding {
    let limits = [Some(found.needed), None];
    let finding = Finding::within(claim, found.readings.clone(), limits, rule, source);
    if finding.outcome == Outcome::Holds {
        return finding;
    }
    let advice = format!(
        "it was read every {:.3} ms, and what had to be seen lasted {:.1} ms: log at {} Hz or faster",
        1e3 * found.step_s,
        1e3 * found.width_s,
        found.rate_hz
    );
    finding.advice(advice)
}

#[cfg(test)]
mod tests {
    use super::super::describe::tests::burn_read_every;
    use super::*;
    use approx::assert_relative_eq;
    use std::f64::consts::PI;

    // Closed form: 100 sin(pi t/2) stands above 90 % for 2 acos(0.9) 2/pi s, and a top that lies half
    // a step from either reading is missed by 100 (1 - cos(pi h/4)).
    #[test]
    fn a_half_sine_has_its_closed_form_width_and_miss() {
        let width_s = 4.0 / PI * 0.9_f64.acos();
        for step_s in [0.01, 0.05, 0.1] {
            let burn = burn_read_every(step_s, |t| 100.0 * (PI * t / 2.0).sin(), 2.0);
            let (peak, missed_n) = at_peak(&burn).unwrap();
            assert_relative_eq!(peak.width_s, width_s, max_relative = 0.01);
            let closed_n = 100.0 * (1.0 - (PI * step_s / 4.0).cos());
            assert_relative_eq!(missed_n, closed_n, max_relative = 0.05);
        }
    }

    // A parabola of width w at 90 % falls by 0.1 within w/2 of its top: exact.
    #[test]
    fn a_parabola_is_read_exactly() {
        let burn = burn_read_every(0.01, |t| 100.0 * t * (2.0 - t), 2.0);
        let (peak, _) = at_peak(&burn).unwrap();
        assert_relative_eq!(peak.width_s, 2.0 * 0.1_f64.sqrt(), max_relative = 1e-3);
        assert_relative_eq!(peak.rate_hz, rounded_up(peak.needed / peak.width_s));
    }

    // Half a cosine of 0.2 s: from 5 % to 50 % in 0.2 (1/2 - acos(0.9)/pi) s; read every 5 ms that is
    // 14 readings, every 40 ms fewer than three.
    #[test]
    fn a_smooth_edge_has_its_closed_form_length() {
        let shape = |t: f64| 50.0 * (1.0 - (PI * t.min(0.2) / 0.2).cos());
        let length_s = 0.2 * (0.5 - 0.9_f64.acos() / PI);
        let fine = on_edge(&burn_read_every(0.005, shape, 2.0)).unwrap();
        assert_relative_eq!(fine.width_s, length_s, max_relative = 0.01);
        assert!(fine.readings.low > FEWEST_ON_EDGE, "{fine:?}");
        let coarse = on_edge(&burn_read_every(0.04, shape, 2.0)).unwrap();
        assert!(coarse.readings.high < FEWEST_ON_EDGE, "{coarse:?}");
        // Three readings in 71 ms are 42.1 a second.
        assert_relative_eq!(fine.rate_hz, 43.0);
    }

    // The bound of the head, against the crossings themselves: wherever the readings fall on the
    // edge, a straight line between two of them misses 5 % by no more than 0.31 h/n.
    #[test]
    fn a_straight_line_misses_a_smooth_edge_by_no_more_than_the_bound() {
        let (length_s, step_s) = (1.0, 0.1);
        let edge = |t: f64| 0.5 * (1.0 - (PI * t / length_s).cos());
        let crossing_s = 0.9_f64.acos() / PI * length_s;
        let n = (0.5 * length_s - crossing_s) / step_s;
        let mut worst_s: f64 = 0.0;
        for shift in 0..100 {
            let before = crossing_s - step_s * f64::from(shift) / 100.0;
            let (low, high) = (edge(before), edge(before + step_s));
            let found = before + step_s * (0.05 - low) / (high - low);
            worst_s = worst_s.max((found - crossing_s).abs());
        }
        assert!(
            worst_s < 0.31 * step_s / n && worst_s > 0.2 * step_s / n,
            "{worst_s}"
        );
    }

    #[test]
    fn rates_are_rounded_up_to_two_digits() {
        assert_relative_eq!(rounded_up(42.1), 43.0);
        assert_relative_eq!(rounded_up(296.0), 300.0);
        assert_relative_eq!(rounded_up(8000.0), 8000.0);
        assert_relative_eq!(rounded_up(0.123), 0.13);
    }
}
