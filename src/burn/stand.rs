//! What is known of the stand's ringing: stated, from taps, from the record itself; in that order.
//!
//! A wrong frequency or damping puts back a part of the ringing it should remove: 2 du/u of it
//! for the frequency, 2 dz for the damping ratio. Two sources agree when that part is below a tenth ([`super::stand_report`]).

use super::ModeFrom;
use super::dynamics::Mode;
use super::low_pass;
use super::ringing::{Ringing, taps};
use super::segmentation::{Choice, Segmentation};
use crate::calibration::{CellReadings, Signals};
use crate::config::{Firing, TapTest};
use crate::diagnostic::{Code, Diagnostic, Error};
use crate::quantity::{Given, Measured, Quantity, Unit};
use crate::series::Series;

/// Readings before the burn that are left out of a tap record in the same log, s.
const BEFORE_BURN_S: f64 = 0.2;

/// What the firing file and its tap record say of the stand.
#[derive(Debug, Clone, Default)]
pub(crate) struct Stand {
    /// The stated natural frequency.
    pub(super) stated_hz: Option<Measured>,
    /// The stated damping ratio.
    pub(super) stated_damping: Option<Measured>,
    /// What the taps show.
    pub(super) tap: Option<Ringing>,
    /// What deserves attention.
    pub warnings: Vec<Diagnostic>,
}

fn measured<Q: Quantity>(given: &Given<Q>, unit: Unit) -> Measured {
    Measured::normal(
        given.si(),
        given.standard_uncertainty().unwrap_or(0.0),
        unit,
    )
}

fn no_tap(tap: &TapTest) -> Diagnostic {
    Diagnostic::warning(
        Code::NoTap,
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
    segmentation: &Segmentation,
    tap: &TapTest,
) -> Vec<Series> {
    if firing.tap_log().is_some() {
        return signals.channels.own_series(&tap.signal);
    }
    let burn_s = match segmentation.choice() {
        Choice::Burn(burn) => burn.span_s.0,
        Choice::Unclear(_) | Choice::Nothing => f64::INFINITY,
    };
    let until_s = burn_s - BEFORE_BURN_S;
    let series = signals.channels.series(&tap.signal);
    series
        .iter()
        .map(|series| series.between(f64::NEG_INFINITY, until_s))
        .collect()
}

impl Stand {
    /// Reads what is stated and fits the taps.
    #[must_use]
    pub(crate) fn known(firing: &Firing, signals: &Signals, segmentation: &Segmentation) -> Self {
        let mut warnings = Vec::new();
        let tap = firing.stand.tap.as_ref().and_then(|tap| {
            let found = taps::combined(&tap_records(firing, signals, segmentation, tap));
            if found.is_none() {
                warnings.push(no_tap(tap));
            }
            found
        });
        let stand = &firing.stand;
        let stated_hz = stand.natural_frequency.as_ref();
        let stated_damping = stand.damping_ratio.as_ref();
        Self {
            stated_hz: stated_hz.map(|given| measured(given, Unit::Hertz)),
            stated_damping: stated_damping.map(|given| measured(given, Unit::One)),
            tap,
            warnings,
        }
    }

    /// The mode to correct for where it is known before the record is looked at, and where it comes from: stated before tap. A
    /// stated frequency without damping takes the damping of the tap.
    pub(crate) fn mode(&self) -> Option<(Mode, ModeFrom)> {
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
        self.tap.as_ref().map(|tap| (tap.mode(), ModeFrom::Tap))
    }

    /// The damping ratio: stated before tap.
    pub(super) fn damping(&self) -> Option<&Measured> {
        let tap = self.tap.as_ref().map(|tap| &tap.damping);
        self.stated_damping.as_ref().or(tap)
    }
}

/// A low pass that the cells' readings are too slow for.
///
/// # Errors
/// The cut-off lies too near the Nyquist frequency, with the place where it is written.
pub(crate) fn check_low_pass(firing: &Firing, readings: &[CellReadings]) -> Result<(), Error> {
    let Some(cut_off) = &firing.reduce.low_pass_hz else {
        return Ok(());
    };
    let step_s = readings.first().and_then(|cell| cell.raw.step_s());
    let Some(nyquist_hz) = step_s.map(|step_s| 0.5 / step_s) else {
        return Ok(());
    };
    let highest_hz = low_pass::HIGHEST_SHARE * nyquist_hz;
    if cut_off.value <= highest_hz {
        return Ok(());
    }
    let message = format!(
        "`low_pass` lies above {highest_hz:.4} Hz, 0.8 of the Nyquist frequency of the cells' readings"
    );
    Err(Diagnostic::error(Code::LowPassTooHigh, message)
        .at(cut_off.place.clone())
        .hint("choose a lower cut-off, or \"none\": readings this slow have nothing above it to take out")
        .into())
}
