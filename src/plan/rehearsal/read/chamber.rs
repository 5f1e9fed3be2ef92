//! The chamber of one motor, and what the firing file says of it.

use super::super::spec::ChamberTruth;
use super::{Says, or};
use crate::config::Reads;
use crate::config::document::Table;
use crate::diagnostic::Diagnostic;
use crate::quantity::{Length, Pressure, Ratio};

/// Pressure of the air when nothing is said, Pa: the standard atmosphere at sea level.
const AMBIENT_PA: f64 = 101_325.0;

pub(super) fn read(table: &mut Table<'_>) -> Option<ChamberTruth> {
    let motor = table.need_text("motor", "the motor whose chamber it is");
    if !table.has("throat_diameter") {
        table.missing("throat_diameter", "a length such as \"4.6 mm\"");
    }
    let mut says = Says::open(table);
    let throat = says.quantity::<Length>(table, "throat_diameter");
    let ambient = says.quantity::<Pressure>(table, "ambient");
    says.only_said::<Ratio>("span_error", None);
    let kinds = [("gauge", Reads::Gauge), ("absolute", Reads::Absolute)];
    let reads = table.choice("reads", &kinds).unwrap_or_default();
    let coefficient = table.number("thrust_coefficient");
    if !table.has("thrust_coefficient") {
        table.missing("thrust_coefficient", "a number such as 1.4");
    }
    let out = ChamberTruth {
        motor: motor?.value,
        throat_m: throat?,
        coefficient: coefficient?.value,
        ambient_pa: ambient.unwrap_or(AMBIENT_PA),
        reads,
        span: or::<Ratio>(table, "span", 1.0),
        zero_pa: or::<Pressure>(table, "zero", 0.0),
        claims: says.close(),
    };
    if out.throat_m <= 0.0 || out.coefficient <= 0.0 || out.span <= 0.0 {
        let what = "throat, thrust coefficient and span must be above zero";
        table.mistake(Diagnostic::error("out-of-range", what).at(table.place()));
    }
    Some(out)
}
