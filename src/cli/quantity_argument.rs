//! Quantities on the command line, written as in a firing file: `"52.1 deg"`, `"0.02 %"`.

use std::f64::consts::FRAC_PI_2;

use crate::quantity::given::{self, QuantityProblem};
use crate::quantity::{Angle, Given, Quantity};

/// A quantity of any size.
pub(super) fn any<Q: Quantity>(text: &str) -> Result<Given<Q>, String> {
    given::parse::<Q>(text).map_err(|problem| {
        let what = match problem {
            QuantityProblem::NotANumber { .. } => "that is not a number".to_owned(),
            QuantityProblem::DecimalComma { .. } => {
                "a decimal point is written in place of the comma".to_owned()
            }
            QuantityProblem::NoUnit { .. } => "the unit is missing".to_owned(),
            QuantityProblem::UnknownUnit { symbol, .. } => format!("there is no unit `{symbol}`"),
            QuantityProblem::WrongUnit { unit, .. } => {
                format!("`{unit}` is no unit of {}", Q::NAME)
            }
            QuantityProblem::OutOfRange { .. } => "that is out of range".to_owned(),
        };
        format!("{what}; write a number with one of {}", Q::UNITS.join(", "))
    })
}

/// A quantity above zero.
pub(super) fn positive<Q: Quantity>(text: &str) -> Result<Given<Q>, String> {
    bounded(text, |value| value > 0.0, "must be above zero")
}

/// A quantity that is zero or above.
pub(super) fn not_negative<Q: Quantity>(text: &str) -> Result<Given<Q>, String> {
    bounded(text, |value| value >= 0.0, "cannot be below zero")
}

/// A latitude.
pub(super) fn latitude(text: &str) -> Result<Given<Angle>, String> {
    let rule = "must lie between -90 deg and 90 deg";
    bounded(text, |angle_rad| angle_rad.abs() <= FRAC_PI_2, rule)
}

fn bounded<Q: Quantity>(
    text: &str,
    accepts: impl Fn(f64) -> bool,
    rule: &str,
) -> Result<Given<Q>, String> {
    let value = any::<Q>(text)?;
    if accepts(value.si()) {
        Ok(value)
    } else {
        Err(format!("it {rule}"))
    }
}
