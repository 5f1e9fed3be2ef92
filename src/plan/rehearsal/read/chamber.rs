//! The chamber of one motor, and what the firing file says of it.

use super::super::spec::ChamberTruth;
use crate::config::Reads;
use crate::config::keys::{Key, SAYS, Table, choice, number, quantity, text};
use crate::quantity::{Length, Pressure, Ratio};

/// The keys of `[chamber]`.
#[rustfmt::skip] // one key a line
pub(super) const KEYS: &[Key] = &[
    text("motor", "the motor whose chamber it is").needed(),
    quantity::<Length>("throat_diameter", "diameter of the throat").above_zero().needed().stated(),
    quantity::<Pressure>("ambient", "pressure of the air").default("101325 Pa").stated(),
    quantity::<Ratio>("span_error", "limits of the transducer's slope").only_said(),
    choice::<Reads>("reads", "what the transducer counts from").default("gauge"),
    number("thrust_coefficient", "thrust over throat area and pressure above ambient").above_zero().needed(),
    quantity::<Ratio>("span", "what the transducer reads for each pascal").above_zero().default("100 %"),
    quantity::<Pressure>("zero", "what the transducer reads too much").default("0 Pa"),
    SAYS,
];

pub(super) fn read(table: &Table<'_>) -> Option<ChamberTruth> {
    Some(ChamberTruth {
        motor: table.text("motor")?.value,
        throat_m: table.si::<Length>("throat_diameter")?,
        coefficient: table.number("thrust_coefficient")?,
        ambient_pa: table.si_or_default::<Pressure>("ambient"),
        reads: table.choice("reads").unwrap_or_default(),
        span: table.si_or_default::<Ratio>("span"),
        zero_pa: table.si_or_default::<Pressure>("zero"),
        claims: table.stated(),
    })
}
