//! WrittenUnit words: `N s`, `kg m2`, `deg/s`, `degC`.
//!
//! A unit is a product of symbols written with a space, `*`, `·` or `/` (which divides by the next
//! symbol only); a symbol may carry a power as digits behind it. Sizes are exact where the unit is
//! exact: pound, inch and kilogram-force by the 1959 international agreement and CGPM 1901.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::STANDARD_GRAVITY_M_S2;

/// How a unit is printed: as its symbol unless something else is said.
macro_rules! printed {
    ($symbol:literal) => {
        $symbol
    };
    ($symbol:literal $printed:literal) => {
        $printed
    };
}

macro_rules! units {
    ($( $(#[$doc:meta])* $name:ident = $symbol:literal $(or $printed:literal)?, )+) => {
        /// Unit of a result; in files it is its symbol.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
        #[cfg_attr(test, derive(schemars::JsonSchema))]
        #[non_exhaustive]
        pub enum Unit {
            $( $(#[$doc])* #[serde(rename = $symbol)] $name, )+
        }

        impl Unit {
            const ALL: &[Self] = &[$( Self::$name, )+];

            /// Its symbol, as every file writes it.
            #[must_use]
            pub const fn symbol(self) -> &'static str {
                match self {
                    $( Self::$name => $symbol, )+
                }
            }

            /// As it stands behind a number: powers raised, and nothing for a pure number.
            #[must_use]
            pub const fn printed(self) -> &'static str {
                match self {
                    $( Self::$name => printed!($symbol $($printed)?), )+
                }
            }
        }
    };
}

units! {
    /// A pure number.
    One = "1" or "",
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
    PerSecond = "1/s" or "s⁻¹",
    /// Per second squared.
    PerSecondSquared = "1/s2" or "s⁻²",
    /// Newtons.
    Newton = "N",
    /// Newton seconds.
    NewtonSecond = "N s",
    /// Newton metre seconds.
    NewtonMetreSecond = "N m s",
    /// Grams.
    Gram = "g",
    /// Kilogram square metres.
    KilogramSquareMetre = "kg m2" or "kg m²",
    /// Per kilogram and metre.
    PerKilogramMetre = "1/(kg m)" or "kg⁻¹ m⁻¹",
    /// Seconds for each kilogram and metre.
    SecondPerKilogramMetre = "s/(kg m)",
    /// Metres.
    Metre = "m",
    /// Square millimetres.
    SquareMillimetre = "mm2" or "mm²",
    /// Metres per second.
    MetrePerSecond = "m/s",
    /// Metres per second squared.
    MetrePerSecondSquared = "m/s2" or "m/s²",
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
    RadianPerSecondSquared = "rad/s2" or "rad/s²",
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

impl Unit {
    /// The unit of a change of this quantity from each day to the next; `None` where the table has none.
    #[must_use]
    pub(crate) const fn per_day(self) -> Option<Self> {
        match self {
            Self::Newton => Some(Self::NewtonPerDay),
            Self::NewtonSecond => Some(Self::NewtonSecondPerDay),
            Self::Second => Some(Self::SecondPerDay),
            _ => None,
        }
    }

    /// The same from each firing to the next.
    #[must_use]
    pub(crate) const fn per_firing(self) -> Option<Self> {
        match self {
            Self::Newton => Some(Self::NewtonPerFiring),
            Self::NewtonSecond => Some(Self::NewtonSecondPerFiring),
            Self::Second => Some(Self::SecondPerFiring),
            _ => None,
        }
    }
}

/// Which units a reader is shown; data stay in those of the SI.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Units {
    /// Those of the SI alone.
    #[default]
    Si,
    /// US customary units beside them.
    Us,
}

impl Unit {
    /// The unit of a symbol.
    #[must_use]
    pub(crate) fn of_symbol(symbol: &str) -> Option<Self> {
        Self::ALL
            .iter()
            .copied()
            .find(|unit| unit.symbol() == symbol)
    }

    /// The US customary unit for the same quantity, and how many of them make one of this; `None` where a
    /// reader needs none. Exact (NIST SP 811, appendix B).
    #[must_use]
    pub(crate) fn customary(self) -> Option<(f64, &'static str)> {
        const LBF_N: f64 = POUND_KG * G0;
        const PSI_PA: f64 = LBF_N / (INCH_M * INCH_M);
        let (size, name) = match self {
            Self::Newton => (LBF_N, "lbf"),
            Self::NewtonSecond => (LBF_N, "lbf s"),
            Self::NewtonPerDay => (LBF_N, "lbf/day"),
            Self::NewtonPerFiring => (LBF_N, "lbf/firing"),
            Self::NewtonSecondPerDay => (LBF_N, "lbf s/day"),
            Self::NewtonSecondPerFiring => (LBF_N, "lbf s/firing"),
            Self::Gram => (POUND_KG / 16.0 * 1e3, "oz"),
            Self::Metre => (INCH_M, "in"),
            Self::SquareMillimetre => (INCH_M * INCH_M * 1e6, "in²"),
            Self::MetrePerSecond => (12.0 * INCH_M, "ft/s"),
            Self::MetrePerSecondSquared => (12.0 * INCH_M, "ft/s²"),
            Self::Pascal => (PSI_PA, "psi"),
            Self::Kilopascal => (PSI_PA * 1e-3, "psi"),
            Self::KilopascalSecond => (PSI_PA * 1e-3, "psi s"),
            _ => return None,
        };
        Some((size.recip(), name))
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.printed())
    }
}

/// Powers of metre, kilogram, second, ampere, kelvin and radian.
///
/// The radian is kept as a dimension of its own, so that `deg/s` is not taken for `Hz`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Dimension([i8; 6]);

impl Dimension {
    /// A pure number.
    pub const NONE: Self = Self([0, 0, 0, 0, 0, 0]);
    /// Length.
    pub const LENGTH: Self = Self([1, 0, 0, 0, 0, 0]);
    /// Mass.
    pub const MASS: Self = Self([0, 1, 0, 0, 0, 0]);
    /// Time.
    pub const TIME: Self = Self([0, 0, 1, 0, 0, 0]);
    /// Electric current.
    pub const CURRENT: Self = Self([0, 0, 0, 1, 0, 0]);
    /// Temperature.
    pub const TEMPERATURE: Self = Self([0, 0, 0, 0, 1, 0]);
    /// Plane angle.
    pub const ANGLE: Self = Self([0, 0, 0, 0, 0, 1]);
    /// Cycles or events per time.
    pub const FREQUENCY: Self = Self([0, 0, -1, 0, 0, 0]);
    /// Force.
    pub const FORCE: Self = Self([1, 1, -2, 0, 0, 0]);
    /// Force times time.
    pub const IMPULSE: Self = Self([1, 1, -1, 0, 0, 0]);
    /// Angle per time.
    pub const ANGULAR_RATE: Self = Self([0, 0, -1, 0, 0, 1]);
    /// Mass times length squared.
    pub const INERTIA: Self = Self([2, 1, 0, 0, 0, 0]);
    /// Force times lever arm.
    pub const TORQUE: Self = Self([2, 1, -2, 0, 0, 0]);
    /// Length per time squared.
    pub const ACCELERATION: Self = Self([1, 0, -2, 0, 0, 0]);
    /// Force per area.
    pub const PRESSURE: Self = Self([-1, 1, -2, 0, 0, 0]);
    /// Electric potential.
    pub const VOLTAGE: Self = Self([2, 1, -3, -1, 0, 0]);

    fn times(self, other: Self, power: i8) -> Self {
        let mut out = self.0;
        for (mine, theirs) in out.iter_mut().zip(other.0) {
            *mine = mine.saturating_add(theirs.saturating_mul(power));
        }
        Self(out)
    }
}

/// A unit: how large it is in coherent SI units, and of what dimension.
#[derive(Debug, Clone, PartialEq)]
pub struct WrittenUnit {
    /// As it was written.
    pub name: String,
    /// Size in coherent SI units.
    pub factor: f64,
    /// Zero of the scale in coherent SI units (only `degC` has one).
    pub zero: f64,
    /// What it measures.
    pub dimension: Dimension,
}

/// Why a unit word could not be read; the range is in bytes of the word.
#[derive(Debug, Clone, PartialEq)]
pub struct UnknownUnit {
    /// The symbol that is not known.
    pub symbol: String,
    /// Where it stands in the text.
    pub range: std::ops::Range<usize>,
    /// A known symbol that looks alike.
    pub nearest: Option<&'static str>,
}

const G0: f64 = STANDARD_GRAVITY_M_S2;
const POUND_KG: f64 = 0.453_592_37;
const INCH_M: f64 = 0.0254;
const DEGREE_RAD: f64 = std::f64::consts::PI / 180.0;

/// Every symbol: its name, size in SI, dimension.
const SYMBOLS: &[(&str, f64, Dimension)] = &[
    ("s", 1.0, Dimension::TIME),
    ("ms", 1e-3, Dimension::TIME),
    ("us", 1e-6, Dimension::TIME),
    ("µs", 1e-6, Dimension::TIME),
    ("μs", 1e-6, Dimension::TIME),
    ("ns", 1e-9, Dimension::TIME),
    ("min", 60.0, Dimension::TIME),
    ("h", 3600.0, Dimension::TIME),
    ("N", 1.0, Dimension::FORCE),
    ("kN", 1e3, Dimension::FORCE),
    ("mN", 1e-3, Dimension::FORCE),
    ("lbf", POUND_KG * G0, Dimension::FORCE),
    ("ozf", POUND_KG * G0 / 16.0, Dimension::FORCE),
    ("kgf", G0, Dimension::FORCE),
    ("gf", G0 * 1e-3, Dimension::FORCE),
    ("kg", 1.0, Dimension::MASS),
    ("g", 1e-3, Dimension::MASS),
    ("mg", 1e-6, Dimension::MASS),
    ("lb", POUND_KG, Dimension::MASS),
    ("oz", POUND_KG / 16.0, Dimension::MASS),
    ("m", 1.0, Dimension::LENGTH),
    ("mm", 1e-3, Dimension::LENGTH),
    ("cm", 1e-2, Dimension::LENGTH),
    ("km", 1e3, Dimension::LENGTH),
    ("in", INCH_M, Dimension::LENGTH),
    ("ft", 12.0 * INCH_M, Dimension::LENGTH),
    ("rad", 1.0, Dimension::ANGLE),
    ("mrad", 1e-3, Dimension::ANGLE),
    ("deg", DEGREE_RAD, Dimension::ANGLE),
    ("°", DEGREE_RAD, Dimension::ANGLE),
    ("Hz", 1.0, Dimension::FREQUENCY),
    ("kHz", 1e3, Dimension::FREQUENCY),
    ("MHz", 1e6, Dimension::FREQUENCY),
    ("V", 1.0, Dimension::VOLTAGE),
    ("mV", 1e-3, Dimension::VOLTAGE),
    ("uV", 1e-6, Dimension::VOLTAGE),
    ("A", 1.0, Dimension::CURRENT),
    ("mA", 1e-3, Dimension::CURRENT),
    ("Pa", 1.0, Dimension::PRESSURE),
    ("hPa", 1e2, Dimension::PRESSURE),
    ("kPa", 1e3, Dimension::PRESSURE),
    ("MPa", 1e6, Dimension::PRESSURE),
    ("bar", 1e5, Dimension::PRESSURE),
    ("mbar", 1e2, Dimension::PRESSURE),
    (
        "psi",
        POUND_KG * G0 / (INCH_M * INCH_M),
        Dimension::PRESSURE,
    ),
    ("K", 1.0, Dimension::TEMPERATURE),
    ("%", 1e-2, Dimension::NONE),
    ("ppm", 1e-6, Dimension::NONE),
];

/// Offset of the Celsius scale, K, exact.
const CELSIUS_ZERO_K: f64 = 273.15;

/// Reads a unit word.
///
/// # Errors
/// The first symbol that is not known, with its place and a near miss if there is one.
pub fn parse(text: &str) -> Result<WrittenUnit, UnknownUnit> {
    let name = text.trim().to_owned();
    if name == "degC" || name == "°C" {
        let zero = CELSIUS_ZERO_K;
        return Ok(WrittenUnit {
            name,
            factor: 1.0,
            zero,
            dimension: Dimension::TEMPERATURE,
        });
    }
    let (mut factor, mut dimension) = (1.0, Dimension::NONE);
    let mut divide = false;
    let mut seen = 0;
    for (start, token, divides_next) in tokens(text) {
        if token.is_empty() {
            divide |= divides_next;
            continue;
        }
        let (symbol, power) = split_power(token);
        if symbol == "1" && seen == 0 {
            seen += 1;
            divide = divides_next;
            continue;
        }
        let known = SYMBOLS.iter().find(|(name, ..)| *name == symbol);
        let Some((_, size, of)) = known else {
            return Err(UnknownUnit {
                symbol: symbol.to_owned(),
                range: start..start + token.len(),
                nearest: nearest_symbol(symbol),
            });
        };
        let power = if divide { -power } else { power };
        factor *= size.powi(i32::from(power));
        dimension = dimension.times(*of, power);
        divide = divides_next;
        seen += 1;
    }
    if seen == 0 {
        return Err(UnknownUnit {
            symbol: name,
            range: 0..text.len(),
            nearest: None,
        });
    }
    Ok(WrittenUnit {
        name,
        factor,
        zero: 0.0,
        dimension,
    })
}

impl WrittenUnit {
    /// A value in this unit, turned into coherent SI units.
    #[must_use]
    pub fn to_si(&self, value: f64) -> f64 {
        value * self.factor + self.zero
    }
}

/// Words of a product with their byte offset; the flag says that a `/` follows.
fn tokens(text: &str) -> Vec<(usize, &str, bool)> {
    let mut out = Vec::new();
    let mut start = 0;
    for (at, ch) in text.char_indices() {
        if ch.is_whitespace() || matches!(ch, '*' | '·' | '/') {
            out.push((start, &text[start..at], ch == '/'));
            start = at + ch.len_utf8();
        }
    }
    out.push((start, &text[start..], false));
    out
}

fn split_power(token: &str) -> (&str, i8) {
    let body = token.trim_end_matches(|c: char| c.is_ascii_digit() || c == '²' || c == '³');
    let digits = &token[body.len()..];
    if body.is_empty() || digits.is_empty() {
        return (token, 1);
    }
    let body_without_hat = body.strip_suffix('^').unwrap_or(body);
    match digits {
        "²" => (body_without_hat, 2),
        "³" => (body_without_hat, 3),
        _ => match digits.parse::<i8>() {
            Ok(power) if (1..=9).contains(&power) => (body_without_hat, power),
            _ => (token, 1),
        },
    }
}

fn nearest_symbol(symbol: &str) -> Option<&'static str> {
    SYMBOLS
        .iter()
        .find(|(name, ..)| name.eq_ignore_ascii_case(symbol))
        .or_else(|| {
            SYMBOLS
                .iter()
                .find(|(name, ..)| strsim::levenshtein(name, symbol) == 1)
        })
        .map(|(name, ..)| *name)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    // NIST SP 811 (exact conversions); tolerance: rounding of one multiplication.
    #[test]
    fn sizes_are_the_published_ones() {
        for (unit, size) in [
            ("lbf", 4.448_221_615_260_5),
            ("ozf", 0.278_013_850_953_781_2),
            ("psi", 6_894.757_293_168_361),
            ("lbf s", 4.448_221_615_260_5),
            ("g cm2", 1e-7),
            ("kg m2", 1.0),
            ("kg m²", 1.0),
            ("ft/s2", 0.3048),
            ("min", 60.0),
        ] {
            assert_relative_eq!(parse(unit).unwrap().factor, size, max_relative = 1e-14);
        }
    }

    // The units behind the SI ones are those that are read.
    #[test]
    fn customary_units_have_the_size_of_the_symbols_that_are_read() {
        let mut told = 0;
        for unit in Unit::ALL {
            let Some((factor, name)) = unit.customary() else {
                continue;
            };
            let per = |name: &str| name.replace("/day", "").replace("/firing", "");
            let size = |name: &str| parse(&per(name)).unwrap();
            let (ours, theirs) = (size(unit.symbol()), size(name));
            assert_relative_eq!(factor * theirs.factor, ours.factor, max_relative = 1e-14);
            assert_eq!(ours.dimension, theirs.dimension, "{name}");
            told += 1;
        }
        assert_eq!(told, 14);
    }

    #[test]
    fn files_hold_the_symbol_and_no_two_units_share_one() {
        for unit in Unit::ALL {
            let written = serde_json::to_string(unit).unwrap();
            assert_eq!(written, format!("\"{}\"", unit.symbol()));
            assert_eq!(serde_json::from_str::<Unit>(&written).unwrap(), *unit);
            for alike in [Unit::symbol, Unit::printed] {
                let same = Unit::ALL
                    .iter()
                    .filter(|other| alike(**other) == alike(*unit));
                assert_eq!(same.count(), 1, "{unit:?}");
            }
        }
    }

    #[test]
    fn a_drift_has_a_unit_of_its_own() {
        assert_eq!(
            Unit::NewtonSecond.per_firing(),
            Some(Unit::NewtonSecondPerFiring)
        );
        assert_eq!(Unit::Degree.per_day(), None);
    }

    #[test]
    fn a_rate_of_angle_is_not_a_frequency() {
        assert_eq!(parse("deg/s").unwrap().dimension, Dimension::ANGULAR_RATE);
        assert_eq!(
            parse("Hz").unwrap().dimension,
            parse("1/s").unwrap().dimension
        );
        assert_ne!(
            parse("deg/s").unwrap().dimension,
            parse("Hz").unwrap().dimension
        );
    }

    #[test]
    fn an_unknown_symbol_names_its_place_and_a_near_miss() {
        let problem = parse("N sec").unwrap_err();
        assert_eq!((problem.symbol.as_str(), problem.range), ("sec", 2..5));
        assert_eq!(parse("hz").unwrap_err().nearest, Some("Hz"));
    }
}
