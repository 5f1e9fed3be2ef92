//! Physical quantities: types, units, and values as people write them.
//!
//! A type names the quantity, its constructor names the unit, and so does its getter. Inside, every
//! quantity is held in coherent SI units (radian for angles, kelvin for temperature). There is no
//! conversion from a bare number and no dereference to one, so a newton cannot be taken for a pound
//! without somebody writing it down.
//!
//! - [`mod@unit`] names the units of results, reads unit words (`N s`, `kg m2`, `deg/s`), and knows their size and
//!   dimension.
//! - [`given`] reads what a person wrote: a number, a unit, and perhaps how sure they are.
//! - [`estimate`] is a number known beforehand.
//! - [`mod@range`] says where a number may lie.
//! - [`measured`] is a result: value, standard uncertainty, coverage interval, and a [`Unit`].

pub mod estimate;
mod from_str;
pub mod given;
pub mod measured;
pub mod range;
pub mod unit;

pub use given::{Given, Spread};
pub use measured::Measured;
pub use unit::{Dimension, Unit, Units, WrittenUnit};

/// Standard acceleration of gravity, m/s2, exact (CGPM 1901, resolution 2). Specific impulse uses
/// this value and no other.
pub const STANDARD_GRAVITY_M_S2: f64 = 9.806_65;

/// What every physical quantity type can do.
pub trait Quantity: Copy {
    /// What the quantity is called in messages.
    const NAME: &'static str;
    /// The dimension a unit must have to give this quantity.
    const DIMENSION: Dimension;
    /// Units to suggest when a unit is missing or wrong.
    const UNITS: &'static [&'static str];
    /// From a value in coherent SI units.
    fn from_si(value: f64) -> Self;
    /// The value in coherent SI units.
    fn to_si(self) -> f64;
}

macro_rules! quantities {
    ($( $(#[$doc:meta])* $name:ident, $words:literal, $dimension:expr, [$($unit:literal),+],
        { $( $(#[$cdoc:meta])* $new:ident, $get:ident, $factor:expr; )+ } )+) => { $(
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
        pub struct $name(f64);

        impl $name {
            $(
                $(#[$cdoc])*
                #[must_use]
                pub const fn $new(value: f64) -> Self { Self(value * $factor) }
                $(#[$cdoc])*
                #[must_use]
                pub const fn $get(self) -> f64 { self.0 / $factor }
            )+
        }

        impl Quantity for $name {
            const NAME: &'static str = $words;
            const DIMENSION: Dimension = $dimension;
            const UNITS: &'static [&'static str] = &[$($unit),+];
            fn from_si(value: f64) -> Self { Self(value) }
            fn to_si(self) -> f64 { self.0 }
        }
    )+ };
}

const ONE: Dimension = Dimension::NONE;

quantities! {
    /// A force.
    Force, "force", Dimension::FORCE, ["N", "kN", "mN", "lbf", "ozf", "kgf", "gf"],
        { /** Newtons. */ newtons, to_newtons, 1.0; }
    /// A duration, or an instant counted from a stated zero.
    Time, "time", Dimension::TIME, ["s", "ms", "us", "min"],
        { /** Seconds. */ seconds, to_seconds, 1.0; }
    /// Force times time.
    Impulse, "impulse", Dimension::IMPULSE, ["N s", "lbf s"],
        { /** Newton seconds. */ newton_seconds, to_newton_seconds, 1.0; }
    /// A mass.
    Mass, "mass", Dimension::MASS, ["g", "kg", "lb", "oz"],
        { /** Kilograms. */ kilograms, to_kilograms, 1.0; }
    /// A length.
    Length, "length", Dimension::LENGTH, ["m", "mm", "cm", "in", "ft"],
        { /** Metres. */ metres, to_metres, 1.0; }
    /// A plane angle.
    Angle, "angle", Dimension::ANGLE, ["deg", "rad", "mrad"],
        { /** Radians. */ radians, to_radians, 1.0;
          /** Degrees. */ degrees, to_degrees, (std::f64::consts::PI / 180.0); }
    /// Angle per time.
    AngularRate, "angular rate", Dimension::ANGULAR_RATE, ["deg/s", "rad/s"],
        { /** Radians per second. */ radians_per_second, to_radians_per_second, 1.0;
          /** Degrees per second. */ degrees_per_second, to_degrees_per_second, (std::f64::consts::PI / 180.0); }
    /// Moment of inertia.
    Inertia, "moment of inertia", Dimension::INERTIA, ["kg m2", "g cm2"],
        { /** Kilogram square metres. */ kilogram_square_metres, to_kilogram_square_metres, 1.0; }
    /// A torque.
    Torque, "torque", Dimension::TORQUE, ["N m", "mN m"],
        { /** Newton metres. */ newton_metres, to_newton_metres, 1.0; }
    /// Acceleration.
    Acceleration, "acceleration", Dimension::ACCELERATION, ["m/s2", "ft/s2"],
        { /** Metres per second squared. */ metres_per_second_squared, to_metres_per_second_squared, 1.0; }
    /// A rate of events or cycles.
    Frequency, "frequency", Dimension::FREQUENCY, ["Hz", "kHz", "MHz"],
        { /** Hertz. */ hertz, to_hertz, 1.0; }
    /// A pressure.
    Pressure, "pressure", Dimension::PRESSURE, ["Pa", "kPa", "MPa", "bar", "psi"],
        { /** Pascals. */ pascals, to_pascals, 1.0; }
    /// A number without unit: a share, a tolerance, a drift.
    Ratio, "ratio", ONE, ["%", "ppm"],
        { /** As a plain fraction. */ fraction, to_fraction, 1.0;
          /** Parts per million. */ parts_per_million, to_parts_per_million, 1e-6; }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_getter_gives_back_what_the_constructor_took() {
        approx::assert_relative_eq!(Angle::degrees(5.0).to_degrees(), 5.0, max_relative = 1e-15);
        approx::assert_relative_eq!(
            Angle::degrees(180.0).to_radians(),
            std::f64::consts::PI,
            max_relative = 1e-15
        );
        approx::assert_relative_eq!(
            Ratio::parts_per_million(40.0).to_fraction(),
            4e-5,
            max_relative = 1e-15
        );
    }
}
