//! The burn located in the load, with the baseline on either side: what does not depend on which motors lit.
//!
//! Where several firings lie in one record, the largest is used unless a window says otherwise. Where no rest lies
//! beside the burn the zero is not known, unless the firing file states it.

use super::baseline::{self, Baseline};
use super::recording::Recording;
use super::segmentation::{Choice, Chosen, Expected, FoundBurn, Segmentation};
use crate::calibration::Load;
use crate::config::{Cell, CellsOn, Firing};
use crate::diagnostic::{Code, Diagnostic};
use crate::quantity::measured::NORMAL_FACTOR;
use crate::quantity::{Measured, Unit};
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
    /// How late its readings are.
    pub delay: Delay,
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
        out.delay = Delay::of(recording.firing.cells.values(), &out.load);
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
            delay: Delay::NONE,
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

/// How late the readings of some cells are: it moves all instants, no duration.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Delay {
    /// Largest standard uncertainty of what is stated, s.
    u_s: f64,
    /// Where one states none: a converter that averages over its period, and stamps the end of it, is up to so late, s.
    up_to_s: f64,
}

impl Delay {
    /// None.
    pub(crate) const NONE: Self = Self {
        u_s: 0.0,
        up_to_s: 0.0,
    };

    /// Of the cells that make a load.
    pub(crate) fn of<'a>(cells: impl Iterator<Item = &'a Cell>, load: &Load) -> Self {
        let time_s = &load.time_s;
        let span_s = time_s
            .last()
            .zip(time_s.first())
            .map(|(last, first)| last - first);
        let period_s = span_s.unwrap_or(0.0) / time_s.len().saturating_sub(1).max(1) as f64;
        cells.fold(Self::NONE, |most, cell| match &cell.delay {
            None => Self {
                up_to_s: period_s,
                ..most
            },
            Some(delay) => Self {
                u_s: most.u_s.max(delay.standard_uncertainty().unwrap_or(0.0)),
                ..most
            },
        })
    }

    /// An instant that was read with a standard uncertainty, s, and an interval that reaches so far before and after: it may be
    /// earlier, by as likely any part of the delay.
    pub(crate) fn instant(self, read_s: f64, u_s: f64, reach_s: (f64, f64)) -> Measured {
        let delay_u_s = self.u_s.hypot(self.up_to_s / 12.0_f64.sqrt());
        let reach = |side_s: f64| side_s.hypot(NORMAL_FACTOR * delay_u_s);
        let middle_s = read_s - 0.5 * self.up_to_s;
        let (low_s, high_s) = (middle_s - reach(reach_s.0), middle_s + reach(reach_s.1));
        Measured::interval(read_s, u_s.hypot(delay_u_s), low_s, high_s, Unit::Second)
    }
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

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    // A rectangle of 12 ms before the reading has its middle 6 ms and its standard deviation 12/sqrt(12) ms away.
    #[test]
    fn an_unstated_delay_makes_an_instant_up_to_one_period_earlier_and_a_stated_one_does_not() {
        let unstated = Delay {
            u_s: 0.0,
            up_to_s: 0.012,
        };
        let seen = unstated.instant(3.0, 0.0, (0.0, 0.0));
        assert_relative_eq!(seen.u, 0.012 / 12.0_f64.sqrt());
        assert!(
            seen.covers(2.9885)
                && seen.covers(2.9995)
                && !seen.covers(2.987)
                && !seen.covers(3.001)
        );
        let stated = Delay {
            u_s: 3e-4,
            up_to_s: 0.0,
        };
        assert_eq!(
            stated.instant(3.0, 4e-4, (4e-4 * NORMAL_FACTOR, 4e-4 * NORMAL_FACTOR)),
            Measured::normal(3.0, 5e-4, Unit::Second)
        );
        // By hand: 3 ms and 4 ms are 5 ms.
        let foot = Delay {
            u_s: 3e-3 / NORMAL_FACTOR,
            up_to_s: 0.0,
        }
        .instant(3.0, 4e-3, (4e-3, 0.0));
        assert_relative_eq!(foot.low, 2.995, max_relative = 1e-12);
        assert_relative_eq!(foot.high, 3.003, max_relative = 1e-12);
    }
}
