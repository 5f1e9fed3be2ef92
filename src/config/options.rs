//! Choices for the reduction, each with its default.

use std::path::{Path, PathBuf};

use super::document::Table;
use crate::diagnostic::{Diagnostic, Located};
use crate::quantity::{Frequency, Given, Ratio, Time, given};

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

pub(super) fn read(table: &mut Table<'_>, folder: &Path) -> ReduceOptions {
    let rules = [
        ("5 %", BurnRule::FivePercent),
        ("10 %", BurnRule::TenPercent),
    ];
    let standard = ReduceOptions::default();
    let window: Option<Vec<Given<Time>>> = table.quantities("window");
    let window_s = window.and_then(|ends| match ends.as_slice() {
        [from, to] if from.si() < to.si() => Some((from.si(), to.si())),
        _ => {
            table.mistake(
                Diagnostic::error(
                    "wrong-kind",
                    "`window` needs two times, the earlier one first",
                )
                .at(table.place_of("window").unwrap_or_else(|| table.place()))
                .hint("write window = [\"2.1 s\", \"6.0 s\"]"),
            );
            None
        }
    });
    let low_pass_hz = table.text("low_pass").and_then(|text| {
        if text.value == "none" {
            return None;
        }
        let cut = given::parse::<Frequency>(&text.value)
            .ok()
            .filter(|cut| cut.si() > 0.0);
        if cut.is_none() {
            table.mistake(
                Diagnostic::error("wrong-unit", "`low_pass` must be \"none\" or a frequency")
                    .at(text.place.clone())
                    .hint("write for example low_pass = \"200 Hz\""),
            );
        }
        cut.map(|cut| Located {
            value: cut.si(),
            place: text.place,
        })
    });
    let share = |given: Option<Given<Ratio>>, standard: f64| given.map_or(standard, |g| g.si());
    let out = ReduceOptions {
        burn_rule: table.choice("burn_rule", &rules).unwrap_or_default(),
        window_s,
        low_pass_hz,
        impulse_tolerance: share(
            table.positive("impulse_tolerance"),
            standard.impulse_tolerance,
        ),
        motor_spread: share(table.positive("motor_spread"), standard.motor_spread),
        curves: table.text("curves").map(|named| Located {
            value: folder.join(&named.value),
            place: named.place,
        }),
    };
    table.finish();
    out
}
