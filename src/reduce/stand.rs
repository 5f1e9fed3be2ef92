//! What is known of the stand's ringing: stated, from taps, from the record itself; in that order.
//!
//! A wrong frequency or damping puts back a part of the ringing it should take off: 2 du/u of it
//! for the frequency, 2 dz for the damping ratio. Two sources agree when that part is below a tenth.

use indexmap::IndexMap;

use super::Burnt;
use super::segment;
use super::signals::Signals;
use super::thrust::cell_readings;
use crate::burn::describe::Burn;
use crate::burn::dynamics::Mode;
use crate::burn::load::Load;
use crate::burn::ringing::{Ringing, taps};
use crate::burn::search;
use crate::burn::{ModeFrom, StandReport};
use crate::calibration::CalibratedCell;
use crate::config::{Firing, TapTest};
use crate::diagnostic::{Diagnostic, Problems};
use crate::finding::{COMMON_PRACTICE, Finding};
use crate::quantity::{Given, Measured, Quantity};
use crate::series::Series;

/// Relative difference of two frequencies, and difference of two damping ratios, that put back a
/// tenth of the ringing.
const A_TENTH: f64 = 0.05;

/// Readings before the burn that are left out of a tap record in the same log, s.
const BEFORE_BURN_S: f64 = 0.2;

/// What the firing file and its tap record say of the stand.
#[derive(Debug, Clone, Default)]
pub(super) struct Stand {
    stated_hz: Option<Measured>,
    stated_damping: Option<Measured>,
    tap: Option<Ringing>,
}

/// Reads what is stated and fits the taps.
pub(super) fn known(
    firing: &Firing,
    signals: &mut Signals,
    cells: &IndexMap<String, CalibratedCell>,
    warnings: &mut Vec<Diagnostic>,
) -> Stand {
    let tap = firing.stand.tap.as_ref().and_then(|tap| {
        segment::choose(signals, firing, cells);
        let found = taps::combined(&tap_records(firing, signals, cells, tap));
        if found.is_none() {
            warnings.push(no_tap(tap));
        }
        found
    });
    Stand {
        stated_hz: firing
            .stand
            .natural_frequency
            .as_ref()
            .map(|given| measured(given, "Hz")),
        stated_damping: firing
            .stand
            .damping_ratio
            .as_ref()
            .map(|given| measured(given, "1")),
        tap,
    }
}

fn measured<Q: Quantity>(given: &Given<Q>, unit: &str) -> Measured {
    Measured::normal(
        given.si(),
        given.standard_uncertainty().unwrap_or(0.0),
        unit,
    )
}

fn no_tap(tap: &TapTest) -> Diagnostic {
    Diagnostic::warning(
        "no-tap",
        "the tap record shows no ringing that could be fitted",
    )
    .at(tap.signal.column.place.clone())
    .hint("tap the rig sharply along thrust, and let it ring out for a second before the next tap")
    .hint("read at least five times in a period")
}

/// The readings that hold the taps: the whole log, or what lies before the burn when the log is that
/// of the firing.
fn tap_records(
    firing: &Firing,
    signals: &Signals,
    cells: &IndexMap<String, CalibratedCell>,
    tap: &TapTest,
) -> Vec<Series> {
    if firing.tap_log().is_some() {
        return signals.own_series(&tap.signal);
    }
    let readings = cell_readings(firing, signals, cells, |_| true);
    let fraction = firing.reduce.burn_rule.fraction();
    let burn_s = Load::from_cells(&readings).and_then(|load| {
        let found = search::find(&load.time_s, &load.force_n, fraction)?;
        Some(load.time_s[found.rows.start])
    });
    let until_s = burn_s.map_or(f64::INFINITY, |burn_s| burn_s - BEFORE_BURN_S);
    let series = signals.series(&tap.signal);
    series
        .iter()
        .map(|series| series.between(f64::NEG_INFINITY, until_s))
        .collect()
}

impl Stand {
    /// The mode to be taken off, and where it comes from: stated before tap before record. A stated
    /// frequency without damping takes the damping of the tap.
    pub(super) fn mode(&self, record: Option<&Ringing>) -> Option<(Mode, ModeFrom)> {
        if let Some(hz) = &self.stated_hz {
            let damping = self.damping();
            let mode = Mode {
                natural_hz: hz.value,
                natural_relative_u: hz.relative(),
                damping: damping.map_or(0.0, |damping| damping.value),
                damping_u: damping.map_or(0.0, |damping| damping.u),
            };
            return Some((mode, ModeFrom::Stated));
        }
        let tap = self.tap.as_ref().map(|tap| (tap.mode(), ModeFrom::Tap));
        tap.or_else(|| record.map(|record| (record.mode(), ModeFrom::Record)))
    }

    fn damping(&self) -> Option<&Measured> {
        let tap = self.tap.as_ref().map(|tap| &tap.damping);
        self.stated_damping.as_ref().or(tap)
    }

    /// For the results; `None` when nothing is known.
    pub(super) fn report(&self, burnt: Option<&Burnt>) -> Option<StandReport> {
        let record = burnt.and_then(|burnt| burnt.ringing.record.as_ref());
        let (_, from) = self.mode(record)?;
        let source = match from {
            ModeFrom::Stated => None,
            ModeFrom::Tap => self.tap.as_ref(),
            ModeFrom::Record => record,
        };
        let stated = || (self.stated_hz.clone(), self.damping().cloned());
        let (hz, damping) = source.map_or_else(stated, |ringing| {
            (
                Some(ringing.natural_hz.clone()),
                Some(ringing.damping.clone()),
            )
        });
        let changed = burnt.and_then(|burnt| burnt.ringing.changed);
        Some(StandReport {
            natural_frequency_hz: hz,
            damping_ratio: damping,
            from,
            decays: source.map(|ringing| ringing.decays),
            decrement_damping_ratio: source.and_then(|ringing| ringing.decrement_damping),
            peak_changed_n: changed.map(|(peak_n, _)| peak_n),
            ignition_changed_s: changed.and_then(|(_, ignition_s)| ignition_s),
            bandwidth_hz: burnt.and_then(|burnt| burnt.burn.inverse?.bandwidth_hz()),
        })
    }

    /// Whether the sources agree.
    pub(super) fn findings(&self, burnt: Option<&Burnt>) -> Vec<Finding> {
        let record = burnt.and_then(|burnt| burnt.ringing.record.as_ref());
        let mut out = Vec::new();
        let taps = self.tap.as_ref().map(|tap| (tap, "the taps"));
        let record = record.map(|record| (record, "the ringing in the record"));
        for (seen, name) in [taps, record].into_iter().flatten() {
            if let Some(stated) = &self.stated_hz {
                let within = A_TENTH * stated.value;
                let claim = format!("the stated natural frequency agrees with {name}");
                out.push(agrees(claim, stated, &seen.natural_hz, within));
            }
            if let Some(stated) = &self.stated_damping {
                let claim = format!("the stated damping ratio agrees with {name}");
                out.push(agrees(claim, stated, &seen.damping, A_TENTH));
            }
        }
        out
    }
}

fn agrees(claim: String, stated: &Measured, seen: &Measured, within: f64) -> Finding {
    let apart = Measured::normal(
        stated.value - seen.value,
        stated.u.hypot(seen.u),
        &stated.unit,
    );
    Finding::within(
        claim,
        apart,
        [Some(-within), Some(within)],
        "stated less seen, within what puts back a tenth of the ringing",
        COMMON_PRACTICE,
    )
    .advice("tap the rig with the motors in it, at the place where they push")
}

/// Readings slower than this hardly show ringing beside their own step, s.
const FAST_STEP_S: f64 = 0.005;

/// Nothing is known of the stand, and the readings are fast enough to carry its ringing: intervals
/// of edges and peak then miss too often (docs/coverage.md).
pub(super) fn unknown(report: Option<&StandReport>, burnt: Option<&Burnt>) -> Option<Diagnostic> {
    let fast = burnt?.trace.thrust.step_s()? < FAST_STEP_S;
    let message = "the stand's natural frequency is not known: burn times and peak may carry its \
                   ringing, which their intervals do not count";
    (report.is_none() && fast).then(|| {
        Diagnostic::warning("stand-unknown", message).hint(
            "tap the rig, record it, and give tap = { log = \"..\", column = \"..\" } in [stand]",
        )
    })
}

/// What taking the ringing off changed: peak, N, and ignition, s.
pub(super) fn changed(plain: &Burn, corrected: &Burn) -> Option<(f64, Option<f64>)> {
    corrected.corrected.as_ref()?;
    let ignition = |burn: &Burn| burn.report.ignition_s.as_ref().map(|time| time.value);
    let moved = ignition(corrected)
        .zip(ignition(plain))
        .map(|(with, without)| with - without);
    Some((corrected.peak.value_n - plain.peak.value_n, moved))
}

/// A low pass that the cells' readings are too slow for.
///
/// # Errors
/// The cut-off lies too near the Nyquist frequency, with the place where it is written.
pub(super) fn check_low_pass(firing: &Firing, signals: &Signals) -> Result<(), Problems> {
    let Some(cut_off) = &firing.reduce.low_pass_hz else {
        return Ok(());
    };
    let first = firing.cells.values().next();
    let step_s = first.and_then(|cell| signals.series(&cell.signal)?.step_s());
    let Some(nyquist_hz) = step_s.map(|step_s| 0.5 / step_s) else {
        return Ok(());
    };
    let highest_hz = crate::burn::low_pass::HIGHEST_SHARE * nyquist_hz;
    if cut_off.value <= highest_hz {
        return Ok(());
    }
    let message = format!(
        "`low_pass` lies above {highest_hz:.4} Hz, 0.8 of the Nyquist frequency of the cells' readings"
    );
    Err(Diagnostic::error("low-pass-too-high", message)
        .at(cut_off.place.clone())
        .hint("choose a lower cut-off, or \"none\": readings this slow have nothing above it to take out")
        .into())
}
