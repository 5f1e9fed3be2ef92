//! Load cells and the rig they sit in.

use std::path::{Path, PathBuf};

use super::document::Table;
use super::logs::{Signal, read_signal};
use crate::diagnostic::{Diagnostic, Located, Place};
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

/// What the cells are fixed to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum CellsOn {
    /// They tilt with the rocket and feel the whole thrust.
    #[default]
    Rocket,
    /// They stay on the ground and feel thrust times the cosine of tilt plus nozzle angle.
    Ground,
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

/// Longest delay of a cell's readings, s: no converter averages longer.
const LONGEST_DELAY_S: f64 = 1.0;

/// Lowest natural frequency of a stand, Hz: below it thrust rises within one swing, and taking the
/// swing off would divide by next to nothing.
const SLOWEST_STAND_HZ: f64 = 5.0;

pub(super) fn read(table: &mut Table<'_>, folder: &Path) -> Option<Cell> {
    let place = table.place();
    if !table.has("signal") {
        table.missing("signal", "signal = { log = \"..\", column = \"..\" }");
    }
    let signal = read_signal(table, "signal", folder);
    let curve = read_curve(table, folder);
    let capacity = table.positive("capacity");
    let masses = table.not_negative("masses");
    let delay = table.bounded(
        "delay",
        |delay_s| (0.0..=LONGEST_DELAY_S).contains(&delay_s),
        "must lie between 0 s and 1 s",
    );
    let carries = table.texts("carries");
    Some(Cell {
        place,
        signal: signal?,
        curve: curve?,
        capacity,
        masses,
        delay,
        carries,
    })
}

fn read_curve(table: &mut Table<'_>, folder: &Path) -> Option<CellCurve> {
    let file = |text: Located<String>| Located {
        value: folder.join(&text.value),
        place: text.place,
    };
    let points = table
        .text("points")
        .map(|text| CellCurve::Points(file(text)));
    let curve = table.text("curve").map(|text| CellCurve::Curve(file(text)));
    let scale = table.bounded("scale", |scale| scale != 0.0, "cannot be zero");
    let zero = table.number("zero");
    let scale = scale.map(|scale| CellCurve::Scale {
        scale,
        zero_raw: zero.map_or(0.0, |zero| zero.value),
    });
    let given: Vec<CellCurve> = [points, curve, scale].into_iter().flatten().collect();
    if given.len() == 1 {
        return given.into_iter().next();
    }
    // One that could not be read has been complained of already.
    if given.is_empty()
        && ["points", "curve", "scale"]
            .iter()
            .any(|key| table.has(key))
    {
        return None;
    }
    let message = if given.is_empty() {
        format!("`{}` has neither points nor curve nor scale", table.name())
    } else {
        format!(
            "`{}` has more than one of points, curve and scale",
            table.name()
        )
    };
    table.mistake(
        Diagnostic::error("cell-curve", message)
            .at(table.place())
            .hint("give one: points = \"..csv\", curve = \"..toml\", or scale = \"0.0123 N\""),
    );
    None
}

pub(super) fn read_stand(table: &mut Table<'_>) -> Stand {
    let mounts = [
        ("nozzle-down", Mount::NozzleDown),
        ("nozzle-up", Mount::NozzleUp),
        ("level", Mount::Level),
    ];
    let grounds = [("rocket", CellsOn::Rocket), ("ground", CellsOn::Ground)];
    let stand = Stand {
        mount: table.choice("mount", &mounts).unwrap_or_default(),
        cells_on: table.choice("cells_on", &grounds).unwrap_or_default(),
        natural_frequency: table.bounded(
            "natural_frequency",
            |natural_hz| natural_hz >= SLOWEST_STAND_HZ,
            "lies at or above 5 Hz: a slower stand cannot follow a burn",
        ),
        damping_ratio: read_damping(table),
        tap: read_signal(table, "tap", Path::new("")).map(|signal| TapTest { signal }),
    };
    table.finish();
    stand
}

/// A damping ratio: a bare number, or text with an uncertainty.
fn read_damping(table: &mut Table<'_>) -> Option<Given<Ratio>> {
    let ratio = table.plain_ratio("damping_ratio")?;
    if (0.0..1.0).contains(&ratio.value.si()) {
        return Some(ratio.value);
    }
    table.mistake(
        Diagnostic::error("out-of-range", "a damping ratio must lie between 0 and 1")
            .at(ratio.place)
            .hint("write for example damping_ratio = \"0.03\" or \"0.03 ± 0.005\""),
    );
    None
}
