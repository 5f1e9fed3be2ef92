//! Chamber pressure: the transducer, the throat, and the motor they belong to.

use std::path::Path;

use super::document::Table;
use super::logs::{Signal, read_signal_of};
use crate::diagnostic::{Located, Place};
use crate::quantity::unit::Dimension;
use crate::quantity::{Given, Length, Pressure, Ratio};

/// What a pressure transducer counts from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Reads {
    /// From the air around it.
    #[default]
    Gauge,
    /// From vacuum.
    Absolute,
}

impl Reads {
    /// The word the firing file uses.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Gauge => "gauge",
            Self::Absolute => "absolute",
        }
    }
}

/// The chamber of one motor.
#[derive(Debug, Clone)]
pub struct Chamber {
    /// Where its table stands.
    pub place: Place,
    /// The transducer's readings.
    pub pressure: Signal,
    /// What they count from.
    pub reads: Reads,
    /// Pressure of the air; that of the standard atmosphere at the site when absent.
    pub ambient: Option<Given<Pressure>>,
    /// Diameter of the nozzle's throat.
    pub throat_diameter: Option<Given<Length>>,
    /// Limits of the relative error of the transducer's slope, shared by all its readings.
    pub span_error: Option<Given<Ratio>>,
    /// The motor; the only one when absent.
    pub motor: Option<Located<String>>,
}

/// Largest pressure of the air, Pa: no weather and no mine has twice the standard one.
const MOST_AMBIENT_PA: f64 = 2.1e5;

pub(super) fn read(table: &mut Table<'_>, folder: &Path) -> Option<Chamber> {
    let place = table.place();
    if !table.has("pressure") {
        table.missing(
            "pressure",
            "pressure = { log = \"..\", column = \"..\", unit = \"kPa\" }",
        );
    }
    let units = "Pa, kPa, MPa, bar, psi";
    let pressure = read_signal_of(table, "pressure", folder, Dimension::PRESSURE, units);
    let kinds = [("gauge", Reads::Gauge), ("absolute", Reads::Absolute)];
    let reads = table.choice("reads", &kinds).unwrap_or_default();
    let ambient = table.bounded(
        "ambient",
        |ambient_pa| (0.0..=MOST_AMBIENT_PA).contains(&ambient_pa),
        "is the absolute pressure of the air: between 0 and 210 kPa",
    );
    let throat_diameter = table.positive("throat_diameter");
    let span_error = table.not_negative("span_error");
    let motor = table.text("motor");
    table.finish();
    Some(Chamber {
        place,
        reads,
        ambient,
        throat_diameter,
        span_error,
        motor,
        pressure: pressure?,
    })
}
