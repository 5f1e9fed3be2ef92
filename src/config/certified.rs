//! Certified-motor files: what a design is certified to deliver.

use std::path::Path;

use super::keys::{self, Key, Table, pairs, path, quantity, text};
use super::thrust_curve;
use crate::diagnostic::{Error, Source};
use crate::numeric::trapezoid;
use crate::quantity::{Force, Given, Impulse, Mass, Time};
use crate::series::Series;

/// A certified motor design.
#[derive(Debug, Clone)]
pub struct Certified {
    /// The file it was read from.
    pub file: String,
    /// Its name.
    pub name: String,
    /// Designation, such as `E14-4`.
    pub designation: Option<String>,
    /// Total impulse.
    pub total_impulse: Option<Given<Impulse>>,
    /// Average thrust.
    pub average_thrust: Option<Given<Force>>,
    /// Peak thrust.
    pub peak_thrust: Option<Given<Force>>,
    /// Burn time.
    pub burn_time: Option<Given<Time>>,
    /// Propellant mass.
    pub propellant: Option<Given<Mass>>,
    /// Where the numbers come from.
    pub source: Option<String>,
    /// Thrust curve: s, N.
    pub thrust_curve: Option<Series>,
}

impl Certified {
    /// Stated total impulse, or the area of the curve, N s.
    #[must_use]
    pub fn total_impulse_ns(&self) -> Option<f64> {
        self.total_impulse
            .as_ref()
            .map(Given::si)
            .or_else(|| self.thrust_curve.as_ref().map(trapezoid::area))
    }
}

/// The keys of a certified-motor file.
#[rustfmt::skip] // one key a line
pub(crate) const KEYS: &[Key] = &[
    text("name", "the motor's name").needed(),
    text("designation", "its designation, such as E14-4"),
    quantity::<Impulse>("total_impulse", "certified total impulse").above_zero(),
    quantity::<Force>("average_thrust", "certified average thrust").above_zero(),
    quantity::<Force>("peak_thrust", "certified peak thrust").above_zero(),
    quantity::<Time>("burn_time", "certified burn time").above_zero(),
    quantity::<Mass>("propellant", "propellant mass").above_zero(),
    text("source", "where the numbers come from"),
    pairs("thrust_curve", "points of the thrust curve: s, N"),
    path("thrust_file", "a file of such points, in place of thrust_curve"),
];

/// Reads a certified-motor file.
///
/// # Errors
/// Every mistake in it.
pub fn read_certified(path: &Path) -> Result<Certified, Error> {
    let source = Source::read(path)?;
    let folder = path.parent().unwrap_or(Path::new(""));
    keys::read(&source, folder, KEYS, |root| {
        let total_impulse = root.quantity("total_impulse");
        Some(Certified {
            file: source.file.clone(),
            name: root.text("name")?.value,
            designation: root.text("designation").map(|text| text.value),
            total_impulse,
            average_thrust: root.quantity("average_thrust"),
            peak_thrust: root.quantity("peak_thrust"),
            burn_time: root.quantity("burn_time"),
            propellant: root.quantity("propellant"),
            source: root.text("source").map(|text| text.value),
            thrust_curve: thrust_curve::read(root, total_impulse.as_ref()),
        })
    })
}

/// The certified design that a table names under a key.
pub(crate) fn named(table: &Table<'_>, key: &str) -> Option<Certified> {
    let file = table.path(key)?;
    match read_certified(&file.value) {
        Ok(certified) => Some(certified),
        Err(problems) => {
            let told = problems.where_named(&file.place, &file.value);
            told.into_iter().for_each(|problem| table.mistake(problem));
            None
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_keys_of_a_certified_motor_are_declared_well() {
        keys::tests::hold(KEYS);
    }
}
