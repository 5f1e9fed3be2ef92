//! The firing file: what was fired, on what rig, with which recorders, and what is already known.
//!
//! [`read_firing`] turns the TOML text into a [`Firing`], refusing it whole with every mistake
//! listed. Paths are relative to the firing file. Values keep the place they were written at where
//! a later stage may have to complain about them.

pub mod axes;
pub mod cells;
pub mod chamber;
mod curves;
pub mod document;
pub mod inertia;
pub mod json_file;
pub mod logs;
pub mod motors;
pub mod options;

use std::f64::consts::FRAC_PI_2;
use std::path::{Path, PathBuf};

use indexmap::IndexMap;

use crate::diagnostic::{Diagnostic, Located, Place, Problems, Source, nearest};
use crate::quantity::{Acceleration, Angle, Given, Length};

pub use axes::{Axis, Vehicle};
pub use cells::{Cell, CellCurve, CellsOn, Mount, Stand, TapTest};
pub use chamber::{Chamber, Reads};
pub use logs::{Align, AlignBy, LogFile, Signal, TimeColumn};
pub use motors::{Certified, MOST_MOTORS, Motor, Propellant};
pub use options::{BurnRule, ReduceOptions};

use document::Table;

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

/// Reads a firing file.
///
/// # Errors
/// Every mistake found in it, each with its place.
pub fn read_firing(path: &Path) -> Result<Firing, Problems> {
    let source = Source::read(path).map_err(|problems| within_folder(problems, path))?;
    let folder = path.parent().map(Path::to_path_buf).unwrap_or_default();
    let firing = document::read(&source, |root| walk(root, &source.file, &folder))?;
    let problems = cross_check(&firing);
    if problems.is_empty() {
        Ok(firing)
    } else {
        Err(Problems(problems))
    }
}

/// A folder was named where its firing file was meant.
fn within_folder(mut problems: Problems, path: &Path) -> Problems {
    if path.is_dir() {
        let inside = path.join("firing.toml");
        let hint = if inside.is_file() {
            format!("name the firing file in it: {}", inside.display())
        } else {
            "name a firing file, such as firing.toml".to_owned()
        };
        problems
            .0
            .iter_mut()
            .for_each(|one| one.hints.push(hint.clone()));
    }
    problems
}

fn walk(root: &mut Table<'_>, file: &str, folder: &Path) -> Option<Firing> {
    let title = root
        .text("title")
        .map_or_else(|| untitled(file), |title| title.value);
    let date = root.date("date");
    let site = root
        .table("site")
        .map(|mut table| read_site(&mut table))
        .unwrap_or_default();
    let logs = each(root, "log", |name, table| logs::read(name, table, folder));
    let cells = each(root, "cell", |_, table| cells::read(table, folder));
    let stand = root
        .table("stand")
        .map(|mut table| cells::read_stand(&mut table));
    let motors = each(root, "motor", |_, table| motors::read(table, folder));
    let chamber = root
        .table("chamber")
        .and_then(|mut table| chamber::read(&mut table, folder));
    let axes = each(root, "axis", |_, table| axes::read(table, folder));
    let vehicle = root
        .table("vehicle")
        .and_then(|mut table| axes::read_vehicle(&mut table));
    let reduce = root
        .table("reduce")
        .map(|mut table| options::read(&mut table, folder))
        .unwrap_or_default();
    let curves = curves::at_hand(reduce.curves.as_ref(), &motors).unwrap_or_else(|problem| {
        root.mistake(*problem);
        Vec::new()
    });
    if logs.is_empty() {
        root.mistake(
            Diagnostic::error("no-log", "the firing file names no log")
                .at(Place::file(file))
                .hint("add a table such as [log.stand] with file = \"stand.csv\""),
        );
    }
    Some(Firing {
        file: file.to_owned(),
        folder: folder.to_path_buf(),
        title,
        date,
        site,
        logs,
        cells,
        stand: stand.unwrap_or_default(),
        motors,
        chamber,
        axes,
        vehicle,
        curves,
        reduce,
    })
}

/// The name of the firing file, without the folders that led there.
fn untitled(file: &str) -> String {
    let name = Path::new(file).file_name();
    name.map_or_else(
        || file.to_owned(),
        |name| name.to_string_lossy().into_owned(),
    )
}

/// Reads each named table of a group; the reader's `None` means that it recorded a mistake.
fn each<T>(
    root: &mut Table<'_>,
    group: &'static str,
    read: impl Fn(&str, &mut Table<'_>) -> Option<T>,
) -> IndexMap<String, T> {
    let mut out = IndexMap::new();
    for (name, mut table) in root.named_tables(group) {
        let value = read(&name, &mut table);
        table.finish();
        if let Some(value) = value {
            out.insert(name, value);
        }
    }
    out
}

/// Places where somebody fires a rocket, m.
const LOWEST_M: f64 = -500.0;
const HIGHEST_M: f64 = 9000.0;

fn read_site(table: &mut Table<'_>) -> Site {
    let site = Site {
        latitude: table.bounded(
            "latitude",
            |angle_rad| angle_rad.abs() <= FRAC_PI_2,
            "must lie between -90 deg and 90 deg",
        ),
        altitude: table.bounded(
            "altitude",
            |height_m| (LOWEST_M..=HIGHEST_M).contains(&height_m),
            "must lie between -500 m and 9000 m",
        ),
        gravity: table.positive("gravity"),
    };
    table.finish();
    site
}

/// Names that must point at something the file defines.
fn cross_check(firing: &Firing) -> Vec<Diagnostic> {
    let mut out = Vec::new();
    let logs: Vec<&str> = firing.logs.keys().map(String::as_str).collect();
    let motors: Vec<&str> = firing.motors.keys().map(String::as_str).collect();
    for signal in firing.signals() {
        out.extend(must_be_known("log", &signal.log, &logs));
    }
    for cell in firing.cells.values() {
        let mut carried: Vec<&str> = Vec::new();
        for name in cell.carries.iter().flatten() {
            out.extend(must_be_known("motor", name, &motors));
            if carried.contains(&name.value.as_str()) {
                let text = format!("motor `{}` stands twice in this list", name.value);
                out.push(
                    Diagnostic::error("named-twice", text)
                        .at(name.place.clone())
                        .hint("name each motor that the cell feels once"),
                );
            }
            carried.push(&name.value);
        }
    }
    for log in firing.logs.values() {
        if let Some(align) = &log.align {
            out.extend(must_be_known("log", &align.to, &logs));
        }
    }
    out.extend(check_chamber(firing, &motors));
    out.extend(logs::check_alignment(&firing.logs, &firing.lone_logs()));
    out.extend(check_cells(firing));
    out
}

/// A pressure belongs to one motor, and it must be clear which.
fn check_chamber(firing: &Firing, motors: &[&str]) -> Option<Diagnostic> {
    let chamber = firing.chamber.as_ref()?;
    match &chamber.motor {
        Some(motor) => must_be_known("motor", motor, motors),
        None if motors.len() > 1 => {
            let message = "this file has several motors: whose chamber is it?";
            let list: Vec<String> = motors.iter().map(|name| format!("\"{name}\"")).collect();
            let hint = format!("add motor = {}", list.join(" or "));
            Some(
                Diagnostic::error("whose-chamber", message)
                    .at(chamber.place.clone())
                    .hint(hint),
            )
        }
        None => None,
    }
}

/// Motors that no cell could feel, readings that would be counted twice, and a file about nothing.
fn check_cells(firing: &Firing) -> Vec<Diagnostic> {
    let mut out = Vec::new();
    let about_nothing =
        firing.cells.is_empty() && firing.motors.is_empty() && firing.axes.is_empty();
    if let Some(log) = firing.logs.values().next().filter(|_| about_nothing) {
        out.push(
            Diagnostic::error(
                "nothing-described",
                "logs, but neither a load cell nor a steering axis that they saw",
            )
            .at(log.place.clone())
            .hint("add a table such as [cell.base] with its signal and points, and one for each motor")
            .hint("or [axis.pitch] for a dry run; `burnwright look` shows the columns"),
        );
    }
    if let Some((_, motor)) = firing.motors.get_index(MOST_MOTORS) {
        let message = format!("at most {MOST_MOTORS} motors can be told apart");
        out.push(Diagnostic::error("many-motors", message).at(motor.place.clone()));
    }
    if let Some(motor) = firing
        .motors
        .values()
        .next()
        .filter(|_| firing.cells.is_empty())
    {
        out.push(
            Diagnostic::error("no-cell", "a motor, but no load cell to feel its thrust")
                .at(motor.place.clone())
                .hint("add a table such as [cell.base]; or take the motors out for a dry run"),
        );
    }
    let cells: Vec<&Cell> = firing.cells.values().collect();
    for (at, cell) in cells.iter().enumerate() {
        let (log, column) = (&cell.signal.log, &cell.signal.column);
        let same = |other: &&Cell| {
            other.signal.log.value == log.value && other.signal.column.value == column.value
        };
        if cells[..at].iter().any(same) {
            let message = format!("another cell reads column \"{}\" already", column.value);
            out.push(
                Diagnostic::error("same-column", message)
                    .at(column.place.clone())
                    .hint("the forces of all cells are added up, so this one would count twice"),
            );
        }
    }
    out
}

fn must_be_known(kind: &str, name: &Located<String>, known: &[&str]) -> Option<Diagnostic> {
    if known.contains(&name.value.as_str()) {
        return None;
    }
    let code = if kind == "log" {
        "unknown-log"
    } else {
        "unknown-motor"
    };
    let mut problem = Diagnostic::error(
        code,
        format!("there is no [{kind}.{}] in this file", name.value),
    )
    .at(name.place.clone());
    if let Some(near) = nearest(&name.value, known.iter().copied()) {
        problem = problem.label(format!("did you mean \"{near}\"?"));
    }
    let list = if known.is_empty() {
        "none".to_owned()
    } else {
        known.join(", ")
    };
    Some(problem.hint(format!("the {kind}s of this file: {list}")))
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
