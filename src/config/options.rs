//! Choices for the reduction, each with its default.

use std::path::PathBuf;

use super::keys::{Choice, Key, Table, choice, interval, path, quantity, quantity_or_none};
use crate::diagnostic::Located;
use crate::quantity::{Frequency, Ratio, Time};

/// Share of peak thrust that begins and ends the burn.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum BurnRule {
    /// 5 % of peak.
    #[default]
    FivePercent,
    /// 10 % of peak.
    TenPercent,
}

impl BurnRule {
    /// The share as a fraction.
    #[must_use]
    pub const fn fraction(self) -> f64 {
        match self {
            Self::FivePercent => 0.05,
            Self::TenPercent => 0.10,
        }
    }

    /// As it is written in files and shown to people.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::FivePercent => "5 %",
            Self::TenPercent => "10 %",
        }
    }
}

impl Choice for BurnRule {
    const WORDS: &'static [(&'static str, Self)] = &[
        (Self::FivePercent.word(), Self::FivePercent),
        (Self::TenPercent.word(), Self::TenPercent),
    ];
}

/// Choices for the reduction.
#[derive(Debug, Clone)]
pub struct ReduceOptions {
    /// What begins and ends the burn.
    pub burn_rule: BurnRule,
    /// Where to look for the burn, s on the first log's clock; the whole record when absent.
    pub window_s: Option<(f64, f64)>,
    /// Cut-off of the zero-phase low pass used for display and peak, Hz, and where it is written.
    pub low_pass_hz: Option<Located<f64>>,
    /// How far total impulse may lie from the certified value, as a fraction.
    pub impulse_tolerance: f64,
    /// Motor-to-motor standard deviation of impulse, as a fraction: prior of the lit evidence.
    pub motor_spread: f64,
    /// Folder of certified curves in which the motor that was fired is looked for.
    pub curves: Option<Located<PathBuf>>,
}

impl Default for ReduceOptions {
    fn default() -> Self {
        Self {
            burn_rule: BurnRule::default(),
            window_s: None,
            low_pass_hz: None,
            impulse_tolerance: 0.10,
            motor_spread: 0.05,
            curves: None,
        }
    }
}

/// The keys of `[reduce]`.
#[rustfmt::skip] // one key a line
pub(super) const KEYS: &[Key] = &[
    choice::<BurnRule>("burn_rule", "share of peak thrust that begins and ends the burn").default("5 %"),
    interval::<Time>("window", "where to look for the burn; the whole record when absent"),
    quantity_or_none::<Frequency>("low_pass", "cut-off of the zero-phase low pass for display and peak, never for impulse").above_zero().default("none"),
    quantity::<Ratio>("impulse_tolerance", "how far total impulse may lie from the certified value").above_zero().default("10 %"),
    quantity::<Ratio>("motor_spread", "motor-to-motor standard deviation of impulse: prior of the lit evidence").above_zero().default("5 %"),
    path("curves", "folder of certified curves in which the motor that was fired is looked for"),
];

pub(super) fn read(table: &Table<'_>) -> ReduceOptions {
    let low_pass_hz = table.si::<Frequency>("low_pass");
    let place = table.place_of("low_pass");
    ReduceOptions {
        burn_rule: table.choice("burn_rule").unwrap_or_default(),
        window_s: table.interval::<Time>("window"),
        low_pass_hz: low_pass_hz
            .zip(place)
            .map(|(value, place)| Located { value, place }),
        impulse_tolerance: table.si_or_default::<Ratio>("impulse_tolerance"),
        motor_spread: table.si_or_default::<Ratio>("motor_spread"),
        curves: table.path("curves"),
    }
}
