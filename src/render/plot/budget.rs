//! Where the uncertainty of the total impulse comes from, and where motors lie in their class.

use crate::burn::impulse::ImpulseReport;
use crate::motors::class::ClassReport;
use crate::quantity::Unit;
use crate::render::number;
use crate::uncertainty::Kind;

use super::Bar;
use super::palette::{MEASURED, MODEL_SOLID};

/// Shares below this have no bar to be seen; the table lists them.
const LEAST_SHARE: f64 = 0.01;

/// Bars of the budget.
#[must_use]
pub(crate) fn budget(impulse: &ImpulseReport) -> Vec<Bar> {
    impulse
        .budget
        .iter()
        .filter(|line| line.share >= LEAST_SHARE)
        .map(|line| Bar {
            name: format!("{} ({})", line.source, line.kind.word()),
            share: line.share,
            value: number::plain(100.0 * line.share, 2, Unit::Percent),
            colour: if line.kind == Kind::Random {
                MODEL_SOLID
            } else {
                MEASURED
            },
        })
        .collect()
}

/// Bars of where each motor lies in its class.
#[must_use]
pub(crate) fn places_in_class(class: &ClassReport) -> Vec<Bar> {
    class
        .per_motor
        .iter()
        .filter_map(|motor| {
            let percent = motor
                .percent_of_class
                .filter(|percent| percent.is_finite())?;
            let letter = motor.letter.as_deref()?;
            Some(Bar {
                name: format!("{}: class {letter}, from its floor to its top", motor.motor),
                share: percent / 100.0,
                value: number::plain(percent, 2, Unit::Percent),
                colour: MEASURED,
            })
        })
        .collect()
}
