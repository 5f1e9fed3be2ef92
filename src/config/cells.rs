//! Load cells and the rig they sit in.

use std::path::PathBuf;

use super::keys::{Choice, Key, Table, choice, number, path, plain, quantity, signal, texts};
use super::signal::Signal;
use crate::diagnostic::{Code, Diagnostic, Located, Place};
use crate::quantity::range::Range;
use crate::quantity::{Force, Frequency, Given, Ratio, Time};

/// One load cell.
#[derive(Debug, Clone)]
pub struct Cell {
    /// Where its table stands.
    pub place: Place,
    /// Its raw readings.
    pub signal: Signal,
    /// How raw readings become force.
    pub curve: CellCurve,
    /// Rated load.
    pub capacity: Option<Given<Force>>,
    /// Tolerance of the dead weights behind the points, shared by all of them.
    pub masses: Option<Given<Ratio>>,
    /// How late its readings are.
    pub delay: Option<Given<Time>>,
    /// Motors whose thrust it feels; all when absent.
    pub carries: Option<Vec<Located<String>>>,
}

/// How a cell's readings become force.
#[derive(Debug, Clone)]
pub enum CellCurve {
    /// Known loads, fitted anew at each reduction.
    Points(Located<PathBuf>),
    /// A curve that `calibrate` wrote.
    Curve(Located<PathBuf>),
    /// A stated slope and zero.
    Scale {
        /// Force for each raw step.
        scale: Given<Force>,
        /// Raw reading without load.
        zero_raw: f64,
    },
}

/// Which way the nozzle points: it decides the sign of the weight loss.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Mount {
    /// Thrust lifts the rocket; burning propellant adds to the reading.
    #[default]
    NozzleDown,
    /// Thrust presses the rocket down; burning propellant takes from the reading.
    NozzleUp,
    /// Weight does not act along thrust.
    Level,
}

impl Mount {
    /// The sign with which lost weight adds to the reading.
    #[must_use]
    pub const fn weight_sign(self) -> f64 {
        match self {
            Self::NozzleDown => 1.0,
            Self::NozzleUp => -1.0,
            Self::Level => 0.0,
        }
    }
}

impl Choice for Mount {
    const WORDS: &'static [(&'static str, Self)] = &[
        ("nozzle-down", Self::NozzleDown),
        ("nozzle-up", Self::NozzleUp),
        ("level", Self::Level),
    ];
}

/// What the cells are fixed to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum CellsOn {
    /// They tilt with the rocket and feel the whole thrust.
    #[default]
    Rocket,
    /// They stay on the ground and feel thrust times the cosine of tilt plus nozzle angle.
    Ground,
}

impl Choice for CellsOn {
    const WORDS: &'static [(&'static str, Self)] =
        &[("rocket", Self::Rocket), ("ground", Self::Ground)];
}

/// The rig.
#[derive(Debug, Clone, Default)]
pub struct Stand {
    /// Which way the nozzle points.
    pub mount: Mount,
    /// What the cells are fixed to.
    pub cells_on: CellsOn,
    /// Natural frequency along thrust.
    pub natural_frequency: Option<Given<Frequency>>,
    /// Damping ratio along thrust.
    pub damping_ratio: Option<Given<Ratio>>,
    /// A tap-test record that the two can be found from.
    pub tap: Option<TapTest>,
}

/// A record of the rig ringing after one tap or several. Its log needs no alignment when it serves
/// nothing else.
#[derive(Debug, Clone)]
pub struct TapTest {
    /// The ringing cell.
    pub signal: Signal,
}

/// The keys of `[cell.NAME]`.
#[rustfmt::skip] // one key a line
pub(super) const KEYS: &[Key] = &[
    signal("signal", "its raw readings").needed(),
    path("points", "known loads against raw readings, fitted anew at each reduction"),
    path("curve", "a curve that `calibrate` wrote, in place of points"),
    quantity::<Force>("scale", "force for each raw step, in place of points").range(Range::NotZero, ""),
    number("zero", "raw reading without load, with `scale`").default("0"),
    quantity::<Force>("capacity", "rated load").above_zero(),
    quantity::<Ratio>("masses", "tolerance of the dead weights behind the points, shared by all of them").not_below_zero(),
    quantity::<Time>("delay", "how late the converter's readings are; anything up to one period when absent").between(0.0, 1.0, "s").because("no converter averages longer"),
    texts("carries", "the motors whose thrust it feels; all when absent"),
];

pub(super) fn read(table: &Table<'_>) -> Option<Cell> {
    let curve = read_curve(table);
    Some(Cell {
        place: table.place(),
        signal: Signal::read(table, "signal")?,
        curve: curve?,
        capacity: table.quantity("capacity"),
        masses: table.quantity("masses"),
        delay: table.quantity("delay"),
        carries: table.texts("carries"),
    })
}

fn read_curve(table: &Table<'_>) -> Option<CellCurve> {
    let given = ["points", "curve", "scale"].iter();
    let message = match given.filter(|key| table.has(key)).count() {
        0 => "has neither points nor curve nor scale",
        1 => {
            let points = table.path("points").map(CellCurve::Points);
            let curve = table.path("curve").map(CellCurve::Curve);
            let scale = table.quantity("scale").map(|scale| CellCurve::Scale {
                scale,
                zero_raw: table.number_or_default("zero"),
            });
            return points.or(curve).or(scale);
        }
        _ => "has more than one of points, curve and scale",
    };
    table.mistake(
        Diagnostic::error(Code::CellCurve, format!("`{}` {message}", table.name()))
            .at(table.place())
            .hint("give one: points = \"..csv\", curve = \"..toml\", or scale = \"0.0123 N\""),
    );
    None
}

/// The keys of `[stand]`.
#[rustfmt::skip] // one key a line
pub(super) const STAND: &[Key] = &[
    choice::<Mount>("mount", "which way the nozzle points: decides the sign of the weight loss").default("nozzle-down"),
    choice::<CellsOn>("cells_on", "what the cells are fixed to").default("rocket"),
    quantity::<Frequency>("natural_frequency", "natural frequency along thrust, from a tap test").range(Range::AtLeast(5.0), "Hz").because("a slower stand cannot follow a burn"),
    plain("damping_ratio", "damping ratio along thrust").between(0.0, 0.99, ""),
    signal("tap", "a record of the rig ringing after taps, which the two can be found from"),
];

pub(super) fn read_stand(table: &Table<'_>) -> Stand {
    Stand {
        mount: table.choice("mount").unwrap_or_default(),
        cells_on: table.choice("cells_on").unwrap_or_default(),
        natural_frequency: table.quantity("natural_frequency"),
        damping_ratio: table.quantity("damping_ratio"),
        tap: Signal::read(table, "tap").map(|signal| TapTest { signal }),
    }
}
