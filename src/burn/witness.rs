//! What else in the logs says when a motor burnt, where the load alone does not: the pressure in its chamber, the line
//! that fires it, the current through its igniter.
//!
//! Pressure rises and falls with thrust, and no hand presses it: its largest hump, if nothing else is near its size, is a
//! window for the load. A fire command chooses among what may be a burn: the one thing that begins within some seconds
//! after it.
//!
//! Limit: a witness is asked only where nothing in the load surely is the burn, and never against a window. What is small
//! beside something else in the load is no burn, whatever a witness says: a purge of the chamber presses a little too.

use super::locate;
use super::segmentation::{Choice, Chosen, Expected, Segment, Segmentation};
use crate::calibration::{Load, Signals};
use crate::config::Firing;

/// Thrust may begin before and end after the pressure stands out by this share of its length: the stand rings, gas is
/// left in the chamber.
const MARGIN: f64 = 0.25;

/// A motor answers to its fire command within this time, s, or hangs. Common practice, no source.
const ANSWERS_S: f64 = 3.0;

/// Something is small beside what has so many times its area.
const SMALL: f64 = 4.0;

/// The load of all cells, split where the firing file, or another signal, says that its burn lies.
pub(crate) fn split(firing: &Firing, signals: &Signals, load: &Load) -> Segmentation {
    let alone = locate::split_window(firing, load);
    if firing.reduce.window_s.is_some() || matches!(alone.choice(), Choice::Burn(_)) {
        return alone;
    }
    let pressure = pressure_s(firing, signals).map(|span_s| (span_s, Chosen::Pressure));
    let fire = || Some((answer_s(firing, signals, &alone)?, Chosen::Fire));
    let Some((window_s, by)) = pressure.or_else(fire) else {
        return alone;
    };
    let marked = locate::split_in(firing, load, window_s, by);
    match marked.choice() {
        Choice::Burn(burn)
            if !alone
                .segments
                .iter()
                .any(|one| one.area_ns > SMALL * burn.area_ns) =>
        {
            marked
        }
        _ => alone,
    }
}

/// When the pressure in the chamber shows a burn, with a margin.
fn pressure_s(firing: &Firing, signals: &Signals) -> Option<(f64, f64)> {
    let pressure = signals.quantity(&firing.chamber.as_ref()?.pressure)?;
    let split = Segmentation::of(pressure.time_s(), pressure.value(), &Expected::default());
    // A purge rises and falls too, but holds little beside the burn before it.
    let by_area = |a: &&Segment, b: &&Segment| a.area_ns.total_cmp(&b.area_ns);
    let largest = split.segments.iter().max_by(by_area)?;
    let rivals = |one: &&Segment| SMALL * one.area_ns > largest.area_ns;
    if largest.area_ns <= 0.0 || split.segments.iter().filter(rivals).count() > 1 {
        return None;
    }
    let (from_s, to_s) = (largest.from_s, largest.to_s);
    let margin_s = MARGIN * (to_s - from_s);
    Some((from_s - margin_s, to_s + margin_s))
}

/// When the only thing burns that may be a burn and begins soon after the first fire command.
fn answer_s(firing: &Firing, signals: &Signals, split: &Segmentation) -> Option<(f64, f64)> {
    let motors = firing.motors.values();
    let lines = motors.flat_map(|motor| [&motor.fire, &motor.igniter].into_iter().flatten());
    let fire_s = lines
        .filter_map(|line| Some(signals.channels.first_rise(line, None)?.0))
        .min_by(f64::total_cmp)?;
    let answers = |at_s: f64| (0.0..=ANSWERS_S).contains(&(at_s - fire_s));
    let mut all = split.burns.iter().filter(|one| answers(one.span_s.0));
    let only = all.next().filter(|_| all.next().is_none())?;
    Some(only.span_s)
}
