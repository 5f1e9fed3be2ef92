//! The firing file: what was fired, on what rig, with which recorders, and what is already known.
//!
//! [`read_firing`] turns the TOML text into a [`Firing`], refusing it whole with every mistake
//! listed. Paths are relative to the firing file. Values keep the place they were written at where
//! a later stage may have to complain about them.

pub(crate) mod axes;
pub(crate) mod cells;
pub(crate) mod certified;
pub(crate) mod chamber;
mod cross_check;
mod curves;
pub(crate) mod inertia;
pub(crate) mod json_file;
pub(crate) mod keys;
pub(crate) mod logs;
pub(crate) mod motors;
pub(crate) mod options;
pub(crate) mod plan;
pub(crate) mod signal;
mod thrust_curve;

use std::path::{Path, PathBuf};

use indexmap::IndexMap;

use crate::diagnostic::{Code, Diagnostic, Error, Place, Source};
use crate::quantity::{Acceleration, Angle, Given, Length, Units};

pub(crate) use axes::{Axis, Vehicle};
pub(crate) use cells::{Cell, CellCurve, CellsOn, Mount, Stand, TapTest};
pub(crate) use certified::Certified;
pub(crate) use chamber::{Chamber, Reads};
pub(crate) use logs::{Align, AlignBy, LogFile, TimeColumn};
pub(crate) use motors::{MOST_MOTORS, Motor};
pub(crate) use options::{BurnRule, ReduceOptions};
pub(crate) use plan::{Plan, PlannedAxis};
pub(crate) use signal::Signal;

use keys::{Choice, Key, Table, choice, date, quantity, table, tables, text};

/// Everything a firing file says. Maps keep the order of the file.
#[derive(Debug, Clone)]
pub struct Firing {
    /// The firing file itself, as the user named it.
    pub file: String,
    /// Folder that relative paths start from.
    pub folder: PathBuf,
    /// Title of the firing.
    pub title: String,
    /// Date, as written.
    pub date: Option<String>,
    /// The units that its results are shown in.
    pub units: Units,
    /// Where it was fired.
    pub site: Site,
    /// Recorders. The first one's clock is the clock of the results.
    pub logs: IndexMap<String, LogFile>,
    /// Load cells.
    pub cells: IndexMap<String, Cell>,
    /// The rig.
    pub stand: Stand,
    /// Motors.
    pub motors: IndexMap<String, Motor>,
    /// The pressure measured in a motor's chamber.
    pub chamber: Option<Chamber>,
    /// Steering axes.
    pub axes: IndexMap<String, Axis>,
    /// The free rocket the plant is carried over to.
    pub vehicle: Option<Vehicle>,
    /// Certified motors with a thrust curve that are at hand, the firing's own among them.
    pub curves: Vec<Certified>,
    /// What is expected of it while it is still to come.
    pub plan: Plan,
    /// Choices for the reduction.
    pub reduce: ReduceOptions,
}

/// Where the firing took place: it sets the weight of the dead weights.
#[derive(Debug, Clone, Default)]
pub struct Site {
    /// Geographic latitude.
    pub latitude: Option<Given<Angle>>,
    /// Height above the ellipsoid.
    pub altitude: Option<Given<Length>>,
    /// Measured gravity, used instead of the two above.
    pub gravity: Option<Given<Acceleration>>,
}

impl Choice for Units {
    const WORDS: &'static [(&'static str, Self)] = &[("si", Self::Si), ("us", Self::Us)];
}

/// The keys of a firing file.
#[rustfmt::skip] // one key a line
pub(crate) const KEYS: &[Key] = &[
    text("title", "title of the firing; the file's name when absent"),
    date("date", "when it was fired"),
    choice::<Units>("units", "units shown beside those of the SI on screen, page and picture").default("si"),
    table("site", SITE, "where it was fired; standard gravity when absent"),
    tables("log", logs::KEYS, "one recorder's file; the first one's clock is that of the results"),
    tables("cell", cells::KEYS, "one load cell"),
    table("stand", cells::STAND, "the rig"),
    tables("motor", motors::KEYS, "one motor"),
    table("chamber", chamber::KEYS, "the pressure measured in a motor's chamber"),
    tables("axis", axes::KEYS, "one steering axis"),
    table("vehicle", axes::VEHICLE, "the free rocket the plant is carried over to"),
    table("plan", plan::KEYS, "what is expected while the firing is still to come"),
    table("reduce", options::KEYS, "choices for the reduction"),
];

const SITE: &[Key] = &[
    quantity::<Angle>("latitude", "geographic latitude").between(-90.0, 90.0, "deg"),
    quantity::<Length>("altitude", "height above the ellipsoid").between(-500.0, 9000.0, "m"),
    quantity::<Acceleration>("gravity", "measured gravity, in place of the two above").above_zero(),
];

/// Reads a firing file.
///
/// # Errors
/// Every mistake found in it, each with its place.
pub fn read_firing(path: &Path) -> Result<Firing, Error> {
    let source = Source::read(path).map_err(|problems| within_folder(problems, path))?;
    let folder = path.parent().unwrap_or(Path::new(""));
    let firing = keys::read(&source, folder, KEYS, |root| {
        Some(walk(root, &source.file, folder))
    })?;
    let problems = cross_check::cross_check(&firing);
    Error::if_any(problems)?;
    Ok(firing)
}

/// A folder was named where its firing file was meant.
fn within_folder(error: Error, path: &Path) -> Error {
    if !path.is_dir() {
        return error;
    }
    let inside = path.join("firing.toml");
    let hint = if inside.is_file() {
        format!("name the firing file in it: {}", inside.display())
    } else {
        "name a firing file, such as firing.toml".to_owned()
    };
    error.each(|one| one.hints.push(hint.clone()))
}

fn walk(root: &Table<'_>, file: &str, folder: &Path) -> Firing {
    let title = root.text("title");
    let logs = each(root, "log", logs::read);
    let motors = each(root, "motor", |_, table| motors::read(table));
    let reduce = root.table("reduce").map(options::read).unwrap_or_default();
    let curves = curves::at_hand(reduce.curves.as_ref(), &motors).unwrap_or_else(|problem| {
        root.mistake(*problem);
        Vec::new()
    });
    if root.tables("log").is_empty() {
        root.mistake(
            Diagnostic::error(Code::NoLog, "the firing file names no log")
                .at(Place::file(file))
                .hint("add a table such as [log.stand] with file = \"stand.csv\""),
        );
    }
    Firing {
        file: file.to_owned(),
        folder: folder.to_path_buf(),
        title: title.map_or_else(|| untitled(file), |title| title.value),
        date: root.text("date").map(|date| date.value),
        units: root.choice("units").unwrap_or_default(),
        site: root.table("site").map(read_site).unwrap_or_default(),
        logs,
        cells: each(root, "cell", |_, table| cells::read(table)),
        stand: root
            .table("stand")
            .map(cells::read_stand)
            .unwrap_or_default(),
        motors,
        chamber: root.table("chamber").and_then(chamber::read),
        axes: each(root, "axis", |_, table| axes::read(table)),
        vehicle: root.table("vehicle").and_then(axes::read_vehicle),
        curves,
        plan: root.table("plan").map(plan::read).unwrap_or_default(),
        reduce,
    }
}

/// The name of the firing file, without the folders that led there.
fn untitled(file: &str) -> String {
    let name = Path::new(file).file_name();
    name.map_or_else(
        || file.to_owned(),
        |name| name.to_string_lossy().into_owned(),
    )
}

/// Reads each named table of a group; the reader's `None` means that a mistake is recorded.
pub(crate) fn each<T>(
    root: &Table<'_>,
    group: &str,
    read: impl Fn(&str, &Table<'_>) -> Option<T>,
) -> IndexMap<String, T> {
    let tables = root.tables(group).iter();
    tables
        .filter_map(|(name, table)| Some((name.clone(), read(name, table)?)))
        .collect()
}

fn read_site(table: &Table<'_>) -> Site {
    Site {
        latitude: table.quantity("latitude"),
        altitude: table.quantity("altitude"),
        gravity: table.quantity("gravity"),
    }
}

impl Firing {
    /// Every signal the file refers to.
    pub fn signals(&self) -> impl Iterator<Item = &Signal> {
        let cells = self.cells.values().map(|cell| &cell.signal);
        let motors = self.motors.values();
        let fires = motors.flat_map(|motor| motor.fire.iter().chain(&motor.igniter));
        let axes = self.axes.values().flat_map(Axis::signals);
        let tap = self.stand.tap.iter().map(|tap| &tap.signal);
        let chamber = self.chamber.iter().map(|chamber| &chamber.pressure);
        let swings = self.swings();
        cells
            .chain(fires)
            .chain(axes)
            .chain(tap)
            .chain(chamber)
            .chain(swings)
    }

    /// Free swings of the axes.
    fn swings(&self) -> impl Iterator<Item = &Signal> {
        self.axes.values().filter_map(|axis| axis.swing.as_ref())
    }

    /// Logs that serve only a tap test or free swings, which need no clock in common with the others.
    #[must_use]
    pub fn lone_logs(&self) -> Vec<&str> {
        let tied = |log: &str| {
            let mut logs = self.logs.values();
            logs.any(|other| other.align.as_ref().is_some_and(|by| by.to.value == log))
        };
        let all = |log: &str| self.signals().filter(|one| one.log.value == log).count();
        let lone = |log: &str| {
            let tap = self.stand.tap.iter().map(|tap| &tap.signal);
            let swings = self.swings().chain(tap);
            swings.filter(|one| one.log.value == log).count()
        };
        let names = self.logs.keys().map(String::as_str);
        names
            .filter(|log| lone(log) > 0 && lone(log) == all(log) && !tied(log))
            .collect()
    }

    /// The log that serves only the tap test, which needs no clock in common with the others.
    #[must_use]
    pub fn tap_log(&self) -> Option<&str> {
        let log = self.stand.tap.as_ref()?.signal.log.value.as_str();
        let uses = self.signals().filter(|signal| signal.log.value == log);
        let tied = |other: &LogFile| other.align.as_ref().is_some_and(|by| by.to.value == log);
        (uses.count() == 1 && !self.logs.values().any(tied)).then_some(log)
    }

    /// A dry run moves the gimbal on the bench: axes, but no cell and no motor.
    #[must_use]
    pub fn is_dry_run(&self) -> bool {
        self.cells.is_empty() && self.motors.is_empty() && !self.axes.is_empty()
    }

    /// Motors whose thrust a cell feels.
    #[must_use]
    pub fn motors_of<'a>(&'a self, cell: &'a Cell) -> Vec<&'a str> {
        match &cell.carries {
            Some(names) => names.iter().map(|name| name.value.as_str()).collect(),
            None => self.motors.keys().map(String::as_str).collect(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_keys_of_a_firing_file_are_declared_well() {
        keys::tests::hold(KEYS);
    }

    #[test]
    fn what_reduce_leaves_unsaid_is_the_declared_default() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("firing.toml");
        let text = "[log.stand]\nfile = \"s.csv\"\n[cell.a]\nscale = \"1 N\"\n\
                    signal = { log = \"stand\", column = \"a\" }\n";
        let read = |more: &str| {
            std::fs::write(&path, format!("{text}{more}")).unwrap();
            format!("{:?}", read_firing(&path).unwrap().reduce)
        };
        assert_eq!(read(""), read("[reduce]\n"));
    }
}
