//! A quantity from text alone, as on a command line: `"52.1 deg".parse::<Given<Angle>>()`.

use std::str::FromStr;

use super::Quantity;
use super::given::{self, Given, QuantityProblem};

impl<Q: Quantity> FromStr for Given<Q> {
    /// What is wrong, and what would do.
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        given::parse::<Q>(text).map_err(|problem| {
            let what = match problem {
                QuantityProblem::NotANumber { .. } => "that is not a number".to_owned(),
                QuantityProblem::DecimalComma { .. } => {
                    "a decimal point is written in place of the comma".to_owned()
                }
                QuantityProblem::NoUnit { .. } => "the unit is missing".to_owned(),
                QuantityProblem::UnknownUnit { symbol, .. } => {
                    format!("there is no unit `{symbol}`")
                }
                QuantityProblem::WrongUnit { unit, .. } => {
                    format!("`{unit}` is no unit of {}", Q::NAME)
                }
                QuantityProblem::OutOfRange { .. } => "that is out of range".to_owned(),
            };
            format!("{what}; write a number with one of {}", Q::UNITS.join(", "))
        })
    }
}
