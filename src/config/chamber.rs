//! Chamber pressure: the transducer, the throat, and the motor they belong to.

use super::keys::{Choice, Key, Table, choice, quantity, signal_of, text};
use super::signal::Signal;
use crate::diagnostic::{Located, Place};
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

impl Choice for Reads {
    const WORDS: &'static [(&'static str, Self)] = &[
        (Self::Gauge.word(), Self::Gauge),
        (Self::Absolute.word(), Self::Absolute),
    ];
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

/// The keys of `[chamber]`.
#[rustfmt::skip] // one key a line
pub(super) const KEYS: &[Key] = &[
    signal_of::<Pressure>("pressure", "the transducer's readings").needed(),
    choice::<Reads>("reads", "what the transducer counts from").default("gauge"),
    quantity::<Pressure>("ambient", "pressure of the air; the standard atmosphere's when absent").between(0.0, 210.0, "kPa").because("it is the absolute pressure of the air"),
    quantity::<Length>("throat_diameter", "diameter of the nozzle's throat").above_zero(),
    quantity::<Ratio>("span_error", "limits of the transducer's slope, shared by all readings").not_below_zero(),
    text("motor", "the motor whose chamber it is; the only one when absent"),
];

pub(super) fn read(table: &Table<'_>) -> Option<Chamber> {
    Some(Chamber {
        place: table.place(),
        pressure: Signal::read(table, "pressure")?,
        reads: table.choice("reads").unwrap_or_default(),
        ambient: table.quantity("ambient"),
        throat_diameter: table.quantity("throat_diameter"),
        span_error: table.quantity("span_error"),
        motor: table.text("motor"),
    })
}
