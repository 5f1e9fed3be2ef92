//! Units of results: every unit that a [`super::Measured`] may carry, in one table.
//!
//! What people write is read by [`super::unit`], which takes any product of symbols; results come in these alone.

use std::fmt;

use serde::{Deserialize, Serialize};

macro_rules! units {
    ($( $(#[$doc:meta])* $name:ident = $symbol:tt, )+) => {
        /// Unit of a result; in files it is its symbol.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
        #[cfg_attr(test, derive(schemars::JsonSchema))]
        #[non_exhaustive]
        pub enum ResultUnit {
            $( $(#[$doc])* #[serde(rename = $symbol)] $name, )+
        }

        impl ResultUnit {
            const ALL: &[Self] = &[$( Self::$name, )+];

            /// Its symbol, as every file writes it.
            #[must_use]
            pub const fn symbol(self) -> &'static str {
                match self {
                    $( Self::$name => $symbol, )+
                }
            }
        }
    };
}

units! {
    /// A pure number.
    One = "1",
    /// Hundredths.
    Percent = "%",
    /// Millionths.
    PartPerMillion = "ppm",
    /// Readings of a record.
    Reading = "readings",
    /// What a converter gives.
    Raw = "raw",
    /// Seconds.
    Second = "s",
    /// Cycles per second.
    Hertz = "Hz",
    /// Per second.
    PerSecond = "1/s",
    /// Per second squared.
    PerSecondSquared = "1/s2",
    /// Newtons.
    Newton = "N",
    /// Newton seconds.
    NewtonSecond = "N s",
    /// Newton metre seconds.
    NewtonMetreSecond = "N m s",
    /// Grams.
    Gram = "g",
    /// Kilogram square metres.
    KilogramSquareMetre = "kg m2",
    /// Per kilogram and metre.
    PerKilogramMetre = "1/(kg m)",
    /// Metres.
    Metre = "m",
    /// Square millimetres.
    SquareMillimetre = "mm2",
    /// Metres per second.
    MetrePerSecond = "m/s",
    /// Degrees.
    Degree = "deg",
    /// Degrees per second.
    DegreePerSecond = "deg/s",
    /// Degrees for each raw step.
    DegreePerRaw = "deg/raw",
    /// Radians.
    Radian = "rad",
    /// Radians per second.
    RadianPerSecond = "rad/s",
    /// Radians per second squared.
    RadianPerSecondSquared = "rad/s2",
    /// Radians for each raw step.
    RadianPerRaw = "rad/raw",
    /// Pascals.
    Pascal = "Pa",
    /// Kilopascals.
    Kilopascal = "kPa",
    /// Kilopascal seconds.
    KilopascalSecond = "kPa s",
    /// Newtons for each day.
    NewtonPerDay = "N/day",
    /// Newtons from one firing to the next.
    NewtonPerFiring = "N/firing",
    /// Newton seconds for each day.
    NewtonSecondPerDay = "N s/day",
    /// Newton seconds from one firing to the next.
    NewtonSecondPerFiring = "N s/firing",
    /// Seconds for each day.
    SecondPerDay = "s/day",
    /// Seconds from one firing to the next.
    SecondPerFiring = "s/firing",
}

impl ResultUnit {
    /// The unit of a change of this quantity for each `step`, a day or a firing; `None` where the table has none.
    #[must_use]
    pub fn per(self, step: &str) -> Option<Self> {
        let symbol = format!("{self}/{step}");
        Self::ALL
            .iter()
            .find(|unit| unit.symbol() == symbol)
            .copied()
    }
}

impl fmt::Display for ResultUnit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.symbol())
    }
}

/// A symbol of the table; what it does not hold is a pure number.
impl From<&str> for ResultUnit {
    fn from(symbol: &str) -> Self {
        let known = Self::ALL.iter().find(|unit| unit.symbol() == symbol);
        debug_assert!(known.is_some(), "no such unit: {symbol}");
        known.copied().unwrap_or(Self::One)
    }
}

impl From<&Self> for ResultUnit {
    fn from(unit: &Self) -> Self {
        *unit
    }
}

impl std::ops::Deref for ResultUnit {
    type Target = str;

    fn deref(&self) -> &str {
        self.symbol()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn files_hold_the_symbol_and_no_two_units_share_one() {
        for unit in ResultUnit::ALL {
            let written = serde_json::to_string(unit).unwrap();
            assert_eq!(written, format!("\"{unit}\""));
            assert_eq!(serde_json::from_str::<ResultUnit>(&written).unwrap(), *unit);
            let same = ResultUnit::ALL
                .iter()
                .filter(|other| other.symbol() == unit.symbol());
            assert_eq!(same.count(), 1, "{unit}");
        }
    }

    #[test]
    fn a_drift_has_a_unit_of_its_own() {
        use ResultUnit::{Degree, NewtonSecond, NewtonSecondPerFiring};
        assert_eq!(NewtonSecond.per("firing"), Some(NewtonSecondPerFiring));
        assert_eq!(Degree.per("day"), None);
    }
}
