//! Choices for the reduction, each with its default.

use std::path::PathBuf;

use super::keys::{Choice, Key, Table, choice, interval, path, quantity, quantity_or_word};
use crate::diagnostic::Located;
use crate::quantity::{Force, Frequency, Ratio, Time};

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

/// What the cells together read at rest, for a record that shows no rest.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StatedZero {
    /// The level, N.
    pub level_n: f64,
    /// Its standard uncertainty, N; `None` where only a tare was stated.
    pub u_n: Option<f64>,
}

impl StatedZero {
    /// Level and standard uncertainty beside a burn of a height, N. A tare by hand, some minutes ago, is taken to
    /// lie within 2 % of the height (common practice, no source).
    #[must_use]
    pub(crate) fn of_burn(&self, height_n: f64) -> (f64, f64) {
        let u_n = self.u_n.unwrap_or(0.02 * height_n / 3.0_f64.sqrt());
        (self.level_n, u_n)
    }
}

/// Choices for the reduction.
#[derive(Debug, Clone)]
pub struct ReduceOptions {
    /// What begins and ends the burn.
    pub burn_rule: BurnRule,
    /// Where to look for the burn, s on the first log's clock; the whole record when absent.
    pub window_s: Option<(f64, f64)>,
    /// What the cells read at rest, where the record shows no rest.
    pub zero: Option<StatedZero>,
    /// Cut-off of the zero-phase low pass used for display and peak, Hz, and where it is written.
    pub low_pass_hz: Option<Located<f64>>,
    /// How far total impulse may lie from the certified value, as a fraction.
    pub impulse_tolerance: f64,
    /// Motor-to-motor standard deviation of impulse, as a fraction: prior of the lit evidence.
    pub motor_spread: f64,
    /// Least impulse of a motor that lit, as a fraction of the certified one.
    pub least_impulse: f64,
    /// Folder of certified curves in which the motor that was fired is looked for.
    pub curves: Option<Located<PathBuf>>,
}

impl Default for ReduceOptions {
    fn default() -> Self {
        Self {
            burn_rule: BurnRule::default(),
            window_s: None,
            zero: None,
            low_pass_hz: None,
            impulse_tolerance: 0.10,
            motor_spread: 0.05,
            least_impulse: 0.02,
            curves: None,
        }
    }
}

/// The keys of `[reduce]`.
#[rustfmt::skip] // one key a line
pub(super) const KEYS: &[Key] = &[
    choice::<BurnRule>("burn_rule", "share of peak thrust that begins and ends the burn").default("5 %"),
    interval::<Time>("window", "where to look for the burn; the whole record when absent"),
    quantity_or_word::<Force>("zero", "tared", "what the cells together read at rest, for a record without rest beside the burn; tared: nothing, within 2 % of the peak"),
    quantity_or_word::<Frequency>("low_pass", "none", "cut-off of the zero-phase low pass for display and peak, never for impulse").above_zero().default("none"),
    quantity::<Ratio>("impulse_tolerance", "how far total impulse may lie from the certified value").above_zero().default("10 %"),
    quantity::<Ratio>("motor_spread", "motor-to-motor standard deviation of impulse: prior of the lit evidence").above_zero().default("5 %"),
    quantity::<Ratio>("least_impulse", "share of the certified impulse below which a motor did not light").between(0.0, 50.0, "%").default("2 %"),
    path("curves", "folder of certified curves in which the motor that was fired is looked for"),
];

pub(super) fn read(table: &Table<'_>) -> ReduceOptions {
    let low_pass_hz = table.si::<Frequency>("low_pass");
    let place = table.place_of("low_pass");
    ReduceOptions {
        burn_rule: table.choice("burn_rule").unwrap_or_default(),
        window_s: table.interval::<Time>("window"),
        zero: zero(table),
        low_pass_hz: low_pass_hz
            .zip(place)
            .map(|(value, place)| Located { value, place }),
        impulse_tolerance: table.si_or_default::<Ratio>("impulse_tolerance"),
        motor_spread: table.si_or_default::<Ratio>("motor_spread"),
        least_impulse: table.si_or_default::<Ratio>("least_impulse"),
        curves: table.path("curves"),
    }
}

fn zero(table: &Table<'_>) -> Option<StatedZero> {
    let tared = table.is_word("zero").then_some(StatedZero {
        level_n: 0.0,
        u_n: None,
    });
    tared.or_else(|| {
        let given = table.quantity::<Force>("zero")?;
        Some(StatedZero {
            level_n: given.si(),
            u_n: given.standard_uncertainty(),
        })
    })
}
