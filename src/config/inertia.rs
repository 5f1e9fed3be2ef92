//! A moment of inertia: given, or from a swing test whose numbers are given.
//!
//! - Bifilar pendulum (two parallel wires): J = m g D^2 T^2 / (16 pi^2 L) about the axis midway between
//!   the wires, for small angles (Jardin & Mueller, AIAA 2007-6822).
//! - Added mass: a body on a spring swings with period T1, and with a known inertia added with T2, so
//!   J = J_a / ((T2/T1)^2 - 1), J_a = m d^2 for masses at distance d. Common practice, no source; the
//!   masses must hang evenly about the axis, or gravity changes the spring as well.
//!
//! `to_pivot` moves the result from the centre of gravity to the pivot by the parallel-axis theorem.
//! Uncertainties are carried to first order (JCGM 100:2008, 5.1.2). Limits: air that swings along is
//! left out; it is a few parts in a thousand of a slim body.

use std::f64::consts::PI;

use super::keys::{Key, Table, quantity, table};
use crate::diagnostic::{Code, Diagnostic};
use crate::quantity::{
    Given, Inertia, Length, Mass, Quantity, STANDARD_GRAVITY_M_S2, Spread, Time,
};

/// Relative standard uncertainty of gravity when it is taken as standard: 9.78 to 9.83 m/s2 on Earth,
/// as limits.
const GRAVITY_RELATIVE_U: f64 = 0.0015;

/// A value with its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Sure {
    /// Value, SI.
    pub value: f64,
    /// Standard uncertainty, SI.
    pub u: f64,
}

impl<Q: Quantity> From<Given<Q>> for Sure {
    fn from(given: Given<Q>) -> Self {
        Self {
            value: given.si(),
            u: given.standard_uncertainty().unwrap_or(0.0),
        }
    }
}

impl Sure {
    fn relative(self) -> f64 {
        self.u / self.value
    }
}

/// Inertia by a bifilar pendulum: mass, distance between the wires, their length, period.
#[must_use]
pub(crate) fn bifilar(mass_kg: Sure, spacing_m: Sure, length_m: Sure, period_s: Sure) -> Sure {
    let value = mass_kg.value
        * STANDARD_GRAVITY_M_S2
        * (spacing_m.value * period_s.value / (4.0 * PI)).powi(2)
        / length_m.value;
    let relative = mass_kg
        .relative()
        .hypot(2.0 * spacing_m.relative())
        .hypot(2.0 * period_s.relative())
        .hypot(length_m.relative())
        .hypot(GRAVITY_RELATIVE_U);
    Sure {
        value,
        u: value * relative,
    }
}

/// Inertia by an added mass at a distance: periods without and with it. `None` unless the second is
/// longer.
#[must_use]
pub(crate) fn added_mass(
    mass_kg: Sure,
    distance_m: Sure,
    period_s: Sure,
    period_with_s: Sure,
) -> Option<Sure> {
    let square = (period_with_s.value / period_s.value).powi(2);
    if square <= 1.0 {
        return None;
    }
    let added = mass_kg.value * distance_m.value.powi(2);
    let value = added / (square - 1.0);
    let of_added = mass_kg.relative().hypot(2.0 * distance_m.relative());
    // dJ/J = -d(square)/(square - 1), and d(square) = 2 square dT/T.
    let of_periods = 2.0 * square / (square - 1.0);
    let of_periods = of_periods * period_s.relative().hypot(period_with_s.relative());
    Some(Sure {
        value,
        u: value * of_added.hypot(of_periods),
    })
}

/// Inertia about an axis at a distance from the one through the centre of gravity.
#[must_use]
pub(crate) fn about(central: Sure, mass_kg: Sure, distance_m: Sure) -> Sure {
    let moved = mass_kg.value * distance_m.value.powi(2);
    let u = (2.0 * mass_kg.value * distance_m.value * distance_m.u)
        .hypot(distance_m.value.powi(2) * mass_kg.u);
    Sure {
        value: central.value + moved,
        u: central.u.hypot(u),
    }
}

/// The keys of a swing test in place of a moment of inertia.
#[rustfmt::skip] // one key a line
pub(super) const KEYS: &[Key] = &[
    table("bifilar", BIFILAR, "a swing on two parallel wires").needed_unless(&["added_mass"]),
    table("added_mass", ADDED_MASS, "two swings on a spring, with and without an added mass"),
];

#[rustfmt::skip] // one key a line
const BIFILAR: &[Key] = &[
    quantity::<Mass>("mass", "mass of what swings").above_zero().needed(),
    quantity::<Length>("spacing", "distance between the wires").above_zero().needed(),
    quantity::<Length>("length", "length of the wires").above_zero().needed(),
    quantity::<Time>("period", "period of the swing").above_zero().needed(),
    quantity::<Length>("to_pivot", "from the axis of the swing to the pivot").not_below_zero(),
];

#[rustfmt::skip] // one key a line
const ADDED_MASS: &[Key] = &[
    quantity::<Mass>("mass", "the added mass").above_zero().needed(),
    quantity::<Length>("distance", "its distance from the axis").above_zero().needed(),
    quantity::<Time>("period", "period without it").above_zero().needed(),
    quantity::<Time>("period_with", "period with it").above_zero().needed(),
];

/// Reads an inertia: a quantity, or a table with a test.
pub(super) fn read(table: &Table<'_>, key: &'static str) -> Option<Given<Inertia>> {
    let Some(test) = table.table(key) else {
        return table.quantity(key);
    };
    let found = match test.table("bifilar") {
        Some(one) => read_bifilar(one),
        None => read_added(test.table("added_mass")?),
    }?;
    if test.has("bifilar") {
        test.refuse(&["added_mass"], "`bifilar`");
    }
    Some(Given {
        value: Inertia::from_si(found.value),
        spread: Spread::Standard(found.u),
    })
}

fn read_bifilar(table: &Table<'_>) -> Option<Sure> {
    let mass = Sure::from(table.quantity::<Mass>("mass")?);
    let spacing = table.quantity::<Length>("spacing")?;
    let length = table.quantity::<Length>("length")?;
    let period = table.quantity::<Time>("period")?;
    let central = bifilar(mass, spacing.into(), length.into(), period.into());
    let to_pivot = table.quantity::<Length>("to_pivot");
    Some(to_pivot.map_or(central, |distance| about(central, mass, distance.into())))
}

fn read_added(table: &Table<'_>) -> Option<Sure> {
    let mass = table.quantity::<Mass>("mass")?;
    let distance = table.quantity::<Length>("distance")?;
    let period = table.quantity::<Time>("period")?;
    let period_with = table.quantity::<Time>("period_with")?;
    let found = added_mass(
        mass.into(),
        distance.into(),
        period.into(),
        period_with.into(),
    );
    if found.is_none() {
        let message = "with a mass added the rig must swing slower: period_with above period";
        table.mistake(Diagnostic::error(Code::OutOfRange, message).at(table.place()));
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn sure(value: f64) -> Sure {
        Sure { value, u: 0.0 }
    }

    // Check value (formula from memory, arithmetic by hand): rod of 1.2 kg and 0.6 m, m l^2/12 = 0.036;
    // wires 0.4 m apart and 1 m long, g 9.80665: T = 1.737601418 s.
    #[test]
    fn a_rod_on_two_wires_has_its_inertia() {
        let found = bifilar(sure(1.2), sure(0.4), sure(1.0), sure(1.737_601_418));
        assert_relative_eq!(found.value, 0.036, max_relative = 1e-8);
        // The period enters squared: 0.1 % of it is 0.2 %, with 0.15 % of gravity 0.25 %.
        let period = Sure {
            value: 1.737_601_418,
            u: 0.001_737_601_418,
        };
        let found = bifilar(sure(1.2), sure(0.4), sure(1.0), period);
        assert_relative_eq!(found.relative(), 0.0025, max_relative = 1e-6);
    }

    // 0.036 on a spring of 1 N m/rad swings in 2 pi sqrt 0.036; with 0.2 kg at 0.3 m (0.018) in
    // 2 pi sqrt 0.054. The ratio of squares is 1.5, so a period's 0.1 % counts 2 * 1.5/0.5 = 6 fold.
    #[test]
    fn an_added_mass_gives_the_inertia_without_the_spring() {
        let period = |inertia: f64| 2.0 * PI * inertia.sqrt();
        let first = Sure {
            value: period(0.036),
            u: 0.001 * period(0.036),
        };
        let found = added_mass(sure(0.2), sure(0.3), first, sure(period(0.054))).unwrap();
        assert_relative_eq!(found.value, 0.036, max_relative = 1e-12);
        assert_relative_eq!(found.relative(), 0.006, max_relative = 1e-9);
        assert!(added_mass(sure(0.2), sure(0.3), sure(1.0), sure(1.0)).is_none());
    }

    // The rod turned about a point 0.1 m off its middle: 0.036 + 1.2 * 0.01 = 0.048.
    #[test]
    fn the_parallel_axis_adds_mass_times_distance_squared() {
        let distance = Sure {
            value: 0.1,
            u: 0.001,
        };
        let found = about(sure(0.036), sure(1.2), distance);
        assert_relative_eq!(found.value, 0.048, max_relative = 1e-12);
        assert_relative_eq!(found.u, 2.4e-4, max_relative = 1e-9);
    }
}
