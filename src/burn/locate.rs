//! The burn located in the load, with the baseline on either side: what does not depend on which motors lit.
//!
//! Where several firings lie in one record, the largest is used unless a window says otherwise. Where no rest lies
//! beside the burn the zero is not known, unless the firing file states it.

use super::baseline::{self, Baseline};
use super::recording::Recording;
use super::segmentation::{Choice, Chosen, Expected, FoundBurn, Segmentation};
use crate::calibration::Load;
use crate::config::{CellsOn, Firing};
use crate::diagnostic::{Code, Diagnostic};
use crate::quantity::Given;
use crate::series::Series;

/// A burn that was found in a load.
pub(crate) struct Located {
    /// The load of the part of the record that was looked at.
    pub load: Load,
    /// First and last reading at or above the burn rule's level, s.
    pub burn_s: (f64, f64),
    /// The baseline on either side.
    pub baseline: Baseline,
    /// cos(tilt + nozzle angle) over time, for cells that stay on the ground.
    pub cosine: Option<Series>,
    /// Standard uncertainty of the cells' clock, s.
    pub clock_u_s: f64,
    /// The part of the record that was looked at, s, where that is not the whole.
    pub within_s: Option<(f64, f64)>,
}

impl Located {
    /// The burn of the recording, in the load of all cells. `None` when nothing surely burns, or without any baseline.
    pub(crate) fn in_all_cells(
        recording: &Recording<'_>,
        warnings: &mut Vec<Diagnostic>,
    ) -> Option<Self> {
        let load = recording.load.as_ref()?;
        if load.beyond_curve > 0 {
            let message = format!(
                "{} readings left out: the calibration curve has no load for them",
                load.beyond_curve
            );
            warnings.push(Diagnostic::warning(Code::BeyondCurve, message));
        }
        let split = &recording.segmentation;
        let Choice::Burn(found) = split.choice() else {
            return None;
        };
        warnings.extend(several_burns(split, found));
        let window_s = recording.firing.reduce.window_s;
        let within_s = window_s.map_or_else(
            || split.within_s(found),
            |window_s| Some(with_rests(window_s, found)),
        );
        let mut out = Self::at(recording, load, found, within_s)?;
        match out.baseline.declared {
            Some(zero) => warnings.push(declared_zero(zero)),
            None => {
                let sides = [
                    (&out.baseline.before, "before"),
                    (&out.baseline.after, "after"),
                ];
                let missing = sides.iter().filter(|(side, _)| side.is_none());
                warnings.extend(missing.map(|(_, name)| no_baseline(name)));
            }
        }
        out.clock_u_s = delay_u_s(recording.firing);
        Some(out)
    }

    /// Of a burn that was found in a load, as far as its clock is certain. `None` without any baseline.
    pub(crate) fn at(
        recording: &Recording<'_>,
        load: &Load,
        found: &FoundBurn,
        within_s: Option<(f64, f64)>,
    ) -> Option<Self> {
        let firing = recording.firing;
        let load = part(load, within_s);
        let rows = |(from_s, to_s): (f64, f64)| {
            let start = load.time_s.partition_point(|time| *time < from_s);
            start..load.time_s.partition_point(|time| *time <= to_s).max(start)
        };
        // Up to the burn itself: the baseline leaves out what still burns.
        let before = found.before_s.map(|(from_s, _)| (from_s, found.span_s.0));
        let after = found.after_s.map(|(_, to_s)| (found.span_s.1, to_s));
        let rests = [before, after].map(|rest| rest.map(rows));
        let mut baseline =
            baseline::beside(&load.time_s, &load.force_n, &rows(found.span_s), rests);
        if baseline.sides().next().is_none() {
            baseline.declared = Some(firing.reduce.zero.as_ref()?.of_burn(found.height_n));
        }
        let cosine = match firing.stand.cells_on {
            CellsOn::Rocket => None,
            CellsOn::Ground => Some(cosine(recording, &load.time_s)),
        };
        Some(Self {
            burn_s: found.span_s,
            load,
            baseline,
            cosine,
            clock_u_s: 0.0,
            within_s,
        })
    }
}

/// A window, and the rests beside the burn in it.
fn with_rests((from_s, to_s): (f64, f64), found: &FoundBurn) -> (f64, f64) {
    (
        found.before_s.map_or(from_s, |rest| rest.0.min(from_s)),
        found.after_s.map_or(to_s, |rest| rest.1.max(to_s)),
    )
}

/// Splits the load of all cells, where the firing file says that its burn lies.
pub(crate) fn split_window(firing: &Firing, load: &Load) -> Segmentation {
    match firing.reduce.window_s {
        Some(window_s) => split_in(firing, load, window_s, Chosen::Window),
        None => split(firing, load, None),
    }
}

/// Splits the load of all cells whose burn lies within some time, and says who says so.
pub(crate) fn split_in(
    firing: &Firing,
    load: &Load,
    window_s: (f64, f64),
    by: Chosen,
) -> Segmentation {
    let expected = Expected {
        window_s: Some((window_s, by)),
        ..expected(firing)
    };
    Segmentation::of(&load.time_s, &load.force_n, &expected)
}

/// Splits some load of a firing, or a part of it.
pub(crate) fn split(firing: &Firing, load: &Load, within_s: Option<(f64, f64)>) -> Segmentation {
    let load = part(load, within_s);
    Segmentation::of(&load.time_s, &load.force_n, &expected(firing))
}

fn expected(firing: &Firing) -> Expected {
    Expected {
        together: firing.motors.len() != 1,
        zero_n: firing.reduce.zero.as_ref().map(|zero| zero.level_n),
        window_s: None,
    }
}

fn part(load: &Load, within_s: Option<(f64, f64)>) -> Load {
    within_s.map_or_else(|| load.clone(), |(from, to)| load.between(from, to))
}

/// The largest standard uncertainty of a cell's delay, s: it moves all instants, no duration.
fn delay_u_s(firing: &Firing) -> f64 {
    let delays = firing.cells.values().filter_map(|cell| cell.delay.as_ref());
    delays
        .filter_map(Given::standard_uncertainty)
        .fold(0.0, f64::max)
}

/// What else in the record is a burn, where there is more than one.
fn several_burns(split: &Segmentation, used: &FoundBurn) -> Option<Diagnostic> {
    if split.burns.len() < 2 {
        return None;
    }
    let list: Vec<String> = split.burns.iter().map(FoundBurn::told).collect();
    let message = format!(
        "the record burns {} times: {}; the largest is used, from {:.2} s",
        split.burns.len(),
        list.join(", "),
        used.span_s.0
    );
    let (from_s, to_s) = split.within_s(used)?;
    let hint = format!(
        "choose with [reduce] window = [\"..\", \"..\"]; here it is [\"{from_s:.1} s\", \"{to_s:.1} s\"]"
    );
    Some(Diagnostic::warning(Code::SeveralBurns, message).hint(hint))
}

fn declared_zero((zero_n, u_n): (f64, f64)) -> Diagnostic {
    let message = format!(
        "the record has no rest beside the burn: its zero is taken to be {zero_n:.3} N as stated, with a standard \
         uncertainty of {u_n:.2} N"
    );
    Diagnostic::warning(Code::StatedZero, message)
        .hint("log from two seconds before the fire command to three after burnout")
}

fn no_baseline(side: &str) -> Diagnostic {
    let message = format!(
        "the record has no baseline {side} the burn, so the zero comes from one side alone"
    );
    Diagnostic::warning(Code::NoRest, message)
        .hint("log at least two seconds before the fire command and three after burnout")
}

/// cos(tilt + nozzle angle) over all axes, for cells that stay on the ground.
fn cosine(recording: &Recording<'_>, time_s: &[f64]) -> Series {
    let signals = &recording.signals;
    let axes = recording.firing.axes.values();
    let angles: Vec<(Option<Series>, Option<Series>)> = axes
        .map(|axis| {
            let nozzle = axis.nozzle.as_ref().unwrap_or(&axis.command);
            (
                axis.tilt.as_ref().and_then(|tilt| signals.quantity(tilt)),
                signals.quantity(nozzle),
            )
        })
        .collect();
    let at = |series: &Option<Series>, time_s: f64| {
        let angle_rad = series.as_ref().and_then(|series| series.at(time_s));
        angle_rad.unwrap_or(0.0)
    };
    let value: Vec<f64> = time_s
        .iter()
        .map(|time| {
            angles
                .iter()
                .map(|(tilt, nozzle)| (at(tilt, *time) + at(nozzle, *time)).cos())
                .product()
        })
        .collect();
    Series::new(time_s, &value)
}
