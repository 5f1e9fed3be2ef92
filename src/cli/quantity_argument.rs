//! Quantities on the command line, written as in a firing file: `"52.1 deg"`, `"0.02 %"`.

use std::f64::consts::FRAC_PI_2;

use burnwright::quantity::{Angle, Given, Quantity};

/// A quantity of any size.
pub(super) fn any<Q: Quantity>(text: &str) -> Result<Given<Q>, String> {
    text.parse()
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
