//! The burn located in the load, with the baseline on either side: what does not depend on which motors lit.
//!
//! Where several firings lie in one record, far apart, the largest is used unless a window says otherwise.

use super::baseline::{self, Baseline};
use super::recording::Recording;
use super::search;
use super::segmentation::{self, Burning};
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
    /// Looks for the burn in the load of all cells. `None` when nothing burns, or without any baseline.
    pub(crate) fn in_all_cells(
        recording: &Recording<'_>,
        warnings: &mut Vec<Diagnostic>,
    ) -> Option<Self> {
        let firing = recording.firing;
        let load = recording.load.as_ref()?;
        let within_s = firing
            .reduce
            .window_s
            .or_else(|| largest_of_several(firing, load, warnings));
        let mut out = Self::new(recording, load, within_s, warnings)?;
        out.clock_u_s = delay_u_s(firing);
        Some(out)
    }

    /// Looks for the burn in a load, as far as its clock is certain. `None` as for all cells.
    pub(crate) fn new(
        recording: &Recording<'_>,
        load: &Load,
        within_s: Option<(f64, f64)>,
        warnings: &mut Vec<Diagnostic>,
    ) -> Option<Self> {
        if load.beyond_curve > 0 {
            let message = format!(
                "{} readings left out: the calibration curve has no load for them",
                load.beyond_curve
            );
            warnings.push(Diagnostic::warning(Code::BeyondCurve, message));
        }
        let load = within_s.map_or_else(|| load.clone(), |(from, to)| load.between(from, to));
        let firing = recording.firing;
        let fraction = firing.reduce.burn_rule.fraction();
        let found = search::find(&load.time_s, &load.force_n, fraction)?;
        let baseline = baseline::find(&load.time_s, &load.force_n, &found.rows);
        baseline.sides().next()?;
        for (side, name) in [(&baseline.before, "before"), (&baseline.after, "after")] {
            if side.is_none() {
                warnings.push(no_baseline(name));
            }
        }
        for (time_s, height_n) in &found.spikes {
            let message =
                format!("a spike of {height_n:.1} N at {time_s:.3} s was not taken for burning");
            warnings.push(Diagnostic::warning(Code::Spike, message));
        }
        let cosine = match firing.stand.cells_on {
            CellsOn::Rocket => None,
            CellsOn::Ground => Some(cosine(recording, &load.time_s)),
        };
        Some(Self {
            burn_s: load.span_of(&found.rows),
            load,
            baseline,
            cosine,
            clock_u_s: 0.0,
            within_s,
        })
    }
}

/// The largest standard uncertainty of a cell's delay, s: it moves all instants, no duration.
fn delay_u_s(firing: &Firing) -> f64 {
    let delays = firing.cells.values().filter_map(|cell| cell.delay.as_ref());
    delays
        .filter_map(Given::standard_uncertainty)
        .fold(0.0, f64::max)
}

/// Where several firings lie in one record, the part of it that holds the largest, s.
fn largest_of_several(
    firing: &Firing,
    load: &Load,
    warnings: &mut Vec<Diagnostic>,
) -> Option<(f64, f64)> {
    let fraction = firing.reduce.burn_rule.fraction();
    let burns = segmentation::burns(&load.time_s, &load.force_n, fraction);
    let largest = segmentation::largest(&burns).filter(|_| burns.len() > 1)?;
    warnings.push(several_burns(&burns, largest));
    Some(largest.segment_s)
}

fn several_burns(burns: &[Burning], used: &Burning) -> Diagnostic {
    let list: Vec<String> = burns
        .iter()
        .map(|burn| {
            let (from_s, to_s, area_ns) = (burn.from_s, burn.to_s, burn.area_ns);
            format!("{from_s:.2} s to {to_s:.2} s (about {area_ns:.3} N s)")
        })
        .collect();
    let message = format!(
        "the record burns {} times, far apart: {}; the largest is used, from {:.2} s",
        burns.len(),
        list.join(", "),
        used.from_s
    );
    let (from_s, to_s) = used.segment_s;
    Diagnostic::warning(Code::SeveralBurns, message)
        .hint(format!(
            "choose with [reduce] window = [\"..\", \"..\"]; here it is [\"{from_s:.1} s\", \"{to_s:.1} s\"]"
        ))
        .hint("a window that holds several of them makes them one burn")
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
