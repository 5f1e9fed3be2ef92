//! Motors: what was fired, and what each certified design is certified to deliver.

use indexmap::IndexMap;

use super::certified::{self, Certified};
use super::keys::{Key, Table, path, quantity, signal, table};
use super::signal::Signal;
use crate::diagnostic::{Code, Diagnostic, Place};
use crate::quantity::{Given, Length, Mass};
use crate::uncertainty::Term;

/// Motors of one firing at most: which of them lit is weighed for every combination.
pub(crate) const MOST_MOTORS: usize = 8;

/// One motor in the rig.
#[derive(Debug, Clone)]
pub struct Motor {
    /// Where its table stands.
    pub place: Place,
    /// The certified design it claims to be.
    pub certified: Option<Certified>,
    /// What it weighed.
    pub propellant: Propellant,
    /// Its igniter line.
    pub fire: Option<Signal>,
    /// Current through its igniter, in any unit.
    pub igniter: Option<Signal>,
    /// Distance of its axis from the rocket's axis, by steering axis; positive where its thrust
    /// makes positive tilt torque.
    pub offset: IndexMap<String, Given<Length>>,
}

/// What is known of the propellant.
#[derive(Debug, Clone, Default)]
pub struct Propellant {
    /// Propellant mass, as weighed or stated for this motor.
    pub mass: Option<Given<Mass>>,
    /// Motor before the firing.
    pub loaded: Option<Given<Mass>>,
    /// Motor after the firing.
    pub spent: Option<Given<Mass>>,
}

impl Propellant {
    /// What the uncertainty of the mass burnt is made of, kg; empty where nobody said.
    #[must_use]
    pub fn terms(&self, source: &str) -> Vec<Term> {
        let parts = match &self.mass {
            Some(mass) => [Some(mass), None],
            None => [self.loaded.as_ref(), self.spent.as_ref()],
        };
        parts
            .into_iter()
            .flatten()
            .filter_map(|part| Term::stated(source, part, 1.0))
            .collect()
    }

    /// What the motor lost between two weighings, and its standard uncertainty, kg.
    #[must_use]
    pub fn lost_kg(&self) -> Option<(f64, Option<f64>)> {
        let (loaded, spent) = (self.loaded.as_ref()?, self.spent.as_ref()?);
        let u = match (loaded.standard_uncertainty(), spent.standard_uncertainty()) {
            (Some(a), Some(b)) => Some(a.hypot(b)),
            (one, other) => one.or(other),
        };
        Some((loaded.si() - spent.si(), u))
    }

    /// Mass burnt and its standard uncertainty, kg: stated, else loaded minus spent.
    #[must_use]
    pub fn burnt_kg(&self) -> Option<(f64, Option<f64>)> {
        if let Some(mass) = &self.mass {
            return Some((mass.si(), mass.standard_uncertainty()));
        }
        self.lost_kg()
    }
}

/// A kitchen scale's last digit, kg: motors that gained no more than this lost nothing.
const GAINED_KG: f64 = 2e-3;

/// The keys of `[motor.NAME]`.
#[rustfmt::skip] // one key a line
pub(super) const KEYS: &[Key] = &[
    path("certified", "certified-motor file of the design it claims to be"),
    quantity::<Mass>("propellant", "propellant mass of this motor, weighed or stated").above_zero(),
    quantity::<Mass>("loaded", "the motor before the firing, in place of propellant").above_zero(),
    quantity::<Mass>("spent", "the motor after the firing").above_zero(),
    signal("fire", "igniter line, which marks the time of the fire command"),
    signal("igniter", "current through its igniter, in any unit"),
    table("offset", OFFSET, "its axis from the rocket's axis, positive where thrust makes positive tilt torque"),
];

/// The keys of a motor's offset: the names of the axes.
pub(crate) const OFFSET: &[Key] = &[
    quantity::<Length>("pitch", "on the pitch axis"),
    quantity::<Length>("yaw", "on the yaw axis"),
];

/// Reads a motor's offset by axis, perhaps from no table at all.
pub(crate) fn read_offset(table: Option<&Table<'_>>) -> IndexMap<String, Given<Length>> {
    let axes = OFFSET.iter().map(|key| key.name);
    axes.filter_map(|axis| Some((axis.to_owned(), table?.quantity(axis)?)))
        .collect()
}

pub(super) fn read(table: &Table<'_>) -> Option<Motor> {
    let propellant = Propellant {
        mass: table.quantity("propellant"),
        loaded: table.quantity("loaded"),
        spent: table.quantity("spent"),
    };
    // One that weighs the same did not burn; one that gained was mixed up.
    let gained =
        |(lost_kg, u_kg): (f64, Option<f64>)| -lost_kg > 3.0 * u_kg.unwrap_or(0.0) + GAINED_KG;
    if propellant.lost_kg().is_some_and(gained) {
        let message = format!("`{}` weighs more spent than loaded", table.name());
        table.mistake(Diagnostic::error(Code::OutOfRange, message).at(table.place()));
    }
    Some(Motor {
        place: table.place(),
        certified: certified::named(table, "certified"),
        propellant,
        fire: Signal::read(table, "fire"),
        igniter: Signal::read(table, "igniter"),
        offset: read_offset(table.table("offset")),
    })
}
