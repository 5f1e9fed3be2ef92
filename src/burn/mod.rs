//! The burn: baseline, thrust, when it began and when it ended.
//!
//! - [`restart`] chooses between the segments of a log whose clock restarted; [`recording`] is all that a burn is
//!   measured from.
//! - [`segmentation`] splits the record into rest, burns and what else it shows, [`locate`] takes the burn from it;
//!   [`witness`] asks pressure or fire line where the load is not sure; [`silence`] says why none was found.
//! - [`baseline`] finds the baseline before and after it, and the noise; [`baseline_drift`] carries it through the burn.
//! - `zero_jump` says what a zero that is another one after the burn may have done to it.
//! - [`thrust`] takes the baseline and the weight loss off, and can carry the uncertainty of every
//!   reading into any weighted sum of them.
//! - [`flicker`] sees whether the readings follow the flicker of the burn.
//! - [`dynamics`] corrects for the ringing of a mode, for edges and peak only; [`correction`] does so for all cells.
//! - [`ringing`] finds the stand's mode from taps or from the record, `rings` says which modes are taken off.
//! - [`low_pass`] filters thrust for the eye and for the peak, never for impulse or edges.
//! - [`crossing`] says when thrust passed a level, [`peak`] how high it went, [`rate`] whether the
//!   recorder was fast enough for either.
//! - [`measure`] puts it together for the motors that lit, [`stand`] what is known of the stand's ringing.
//! - `readable` is the trace that edges and peak are read from; [`describe`] puts the times, the peak
//!   and their uncertainties together.

pub(crate) mod baseline;
pub(crate) mod baseline_drift;
pub(crate) mod correction;
#[cfg(test)]
mod coverage_tests;
pub(crate) mod crossing;
pub(crate) mod describe;
pub(crate) mod dynamics;
mod edge_line;
pub(crate) mod flicker;
mod foot;
pub(crate) mod impulse;
pub(crate) mod locate;
pub(crate) mod low_pass;
pub(crate) mod measure;
pub(crate) mod peak;
mod ramp;
pub(crate) mod rate;
mod readable;
pub(crate) mod recording;
pub(crate) mod restart;
pub(crate) mod ringing;
mod rings;
mod rough_top;
pub(crate) mod segmentation;
pub(crate) mod silence;
pub(crate) mod stand;
pub(crate) mod stand_report;
pub(crate) mod thrust;
pub(crate) mod witness;
pub(crate) mod zero_fit;
mod zero_jump;
mod zero_law;
#[cfg(test)]
mod zero_tests;

pub(crate) use locate::{Delay, Located};
pub(crate) use measure::{Burn, measure};
pub(crate) use recording::Recording;
pub(crate) use stand::Stand;

use indexmap::IndexMap;
use serde::{Deserialize, Serialize};

use crate::quantity::Measured;

/// When it burnt.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct BurnReport {
    /// The rule that begins and ends the burn.
    pub rule: String,
    /// First crossing of the rule's share of peak.
    pub ignition_s: Option<Measured>,
    /// Last crossing of it.
    pub burnout_s: Option<Measured>,
    /// Between the two.
    pub burn_time_s: Option<Measured>,
    /// The same at 10 % of peak.
    pub action_time_s: Option<Measured>,
}

/// How hard it pushed.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct ThrustReport {
    /// Largest thrust.
    pub peak_n: Option<Measured>,
    /// Burn-window impulse over burn time.
    pub average_n: Option<Measured>,
    /// What the low pass did, where one was asked for; the peak is then the filtered one.
    #[serde(default)]
    pub low_pass: Option<LowPassReport>,
}

/// What the low pass for display and peak did.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct LowPassReport {
    /// Cut-off: 3 dB down there after both runs, Hz.
    pub cut_off_hz: f64,
    /// Order of the Butterworth filter in each direction.
    pub order: usize,
    /// Step of the filtered readings, s.
    pub step_s: f64,
    /// Whether readings had to be put on even steps first.
    pub resampled: bool,
    /// Peak without the filter, N.
    pub unfiltered_peak_n: f64,
    /// By how much the filtered peak is lower, N.
    pub peak_lower_by_n: f64,
    /// Impulse of the filtered trace less that of the readings over the same time, N s: a check that
    /// nothing was lost; the impulse itself is never taken from the filtered trace.
    pub impulse_difference_ns: f64,
}

/// Where the stand's mode comes from, the most trusted first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "lowercase")]
pub enum ModeFrom {
    /// The firing file states it.
    Stated,
    /// A tap record.
    Tap,
    /// Free ringing in the record of the firing.
    Record,
}

impl ModeFrom {
    /// The word used in every output.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Stated => "stated",
            Self::Tap => "tap",
            Self::Record => "record",
        }
    }
}

/// What is known of the stand's ringing, and what correcting for it changed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct StandReport {
    /// Natural frequency along thrust.
    pub natural_frequency_hz: Option<Measured>,
    /// Damping ratio; `None` when nothing says it and none was assumed.
    pub damping_ratio: Option<Measured>,
    /// Where they come from.
    pub from: ModeFrom,
    /// Natural frequency of each cell, where several ring apart; those above are of the surest.
    pub each_cell_hz: IndexMap<String, Measured>,
    /// Decays that were fitted; `None` when stated.
    pub decays: Option<usize>,
    /// Damping ratio by the logarithmic decrement of the same swings, a cross-check.
    pub decrement_damping_ratio: Option<f64>,
    /// Ringing-corrected less uncorrected peak, N.
    pub peak_changed_n: Option<f64>,
    /// Ringing-corrected less uncorrected ignition, s.
    pub ignition_changed_s: Option<f64>,
    /// Bandwidth: up to here the corrected force is right within 3 dB, Hz; `None` when readings come too slowly
    /// to correct for ringing.
    pub bandwidth_hz: Option<f64>,
}
