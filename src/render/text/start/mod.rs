//! A first firing file, begun from what was seen in the logs.
//!
//! What was found is filled in. What only the maker knows is marked with [`TO_COMPLETE`], which the
//! reader of firing files refuses line by line, so that nothing is reduced with a guess in it. What
//! a name suggests, or what is optional, stands as a comment.

mod cell;
mod written;

use cell::cell_tables;
use written::{Named, bare, optional, quoted, signal, unlike};

use crate::config::keys::TO_COMPLETE;
use crate::look::{Clock, ColumnLook, Kind, LogLook, Look, Signal, UnclearSeen};
use crate::render::words::clean;

/// A first firing file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Start {
    /// Its text.
    pub text: String,
    /// Places that have to be completed before it can be reduced.
    pub to_complete: usize,
    /// Whether the column of the load cell has to be written in as well.
    pub needs_cell: bool,
}

/// Writes a first firing file; `files` names each log as the firing file's folder sees it.
#[must_use]
pub fn start(look: &Look, files: &[String]) -> Start {
    let names = log_names(files);
    let mut out = HEAD.to_owned();
    let title = names.first().map_or("firing", String::as_str);
    out += &format!("title = {}  # say which firing this was\n", quoted(title));
    out += "# date = 2026-03-14\n\n";
    out += &optional(SITE);
    for (nth, (log, file)) in look.logs.iter().zip(files).enumerate() {
        out += &log_table(look, nth, log, file, &names);
    }
    let all: Vec<Named> = look
        .logs
        .iter()
        .zip(&names)
        .flat_map(|(log, name)| log.columns.iter().map(move |one| (one, name.as_str())))
        .collect();
    for (column, _) in &all {
        out += &of_others(column);
    }
    out += &cell_tables(look, &names);
    // Without anything that could be a cell, but with a gimbal that moves, it is a dry run.
    let moves = |signal: Signal| all.iter().any(|(one, _)| is(one, signal) && moving(one));
    let dry = look.cells.is_empty()
        && look.perhaps_cells.is_empty()
        && moves(Signal::Command)
        && (moves(Signal::Nozzle) || moves(Signal::Tilt));
    if !dry {
        out += STAND;
        out += &motor_tables(&all, look, &names);
        out += &reduce_table(look);
    }
    out += &chamber_table(&all);
    out += &axis_tables(&others_than_cells(look, &names));
    out += &optional(VEHICLE);
    let text = out.trim_end().to_owned() + "\n";
    let open = |line: &&str| !line.starts_with('#') && line.contains(&format!("\"{TO_COMPLETE}\""));
    Start {
        to_complete: text.lines().filter(open).count(),
        needs_cell: look.cells.is_empty() && !dry,
        text,
    }
}

const HEAD: &str = r#"# A first firing file, begun by `burnwright look` from what it found in the logs.
# Complete every value that reads "??"; `burnwright reduce` names those that are left.
# A line that begins with # does nothing until the # is taken away.
# A quantity carries its unit, and perhaps limits or a standard uncertainty:
# "20.1 g", "310 mm ± 1 mm", "310 mm u 0.4 mm". Paths start from the folder of this file.

"#;

const SITE: &str = r#"[site]             # where it was fired: it sets the weight of calibration masses
latitude = "??"    # such as "52.1 deg"
altitude = "??"    # such as "40 m"
"#;

const STAND: &str = r#"[stand]
mount = "??"       # "nozzle-down", "nozzle-up" or "level": which way the nozzle points in the rig
# cells_on = "ground"            # when the cells stay on the ground while the rocket tilts
# natural_frequency = "??"       # of the rig along thrust, from a tap test (docs/stand.md)
# damping_ratio = "??"           # such as "0.03"

"#;

const AXIS_TEMPLATE: &str = r#"[axis.pitch]
command = "??"    # { log = "..", column = "..", unit = "deg" }: what the computer asked for
# nozzle, tilt and rate likewise: measured nozzle angle, rig encoder, gyro
"#;

const AXIS_MORE: &str = r#"travel = "??"      # mechanical limit of the nozzle either side, such as "5 deg"
arm = "??"         # rig pivot to swivel point, such as "310 mm ± 1 mm"
inertia = "??"     # of all that swings, about the pivot, such as "0.081 kg m2 u 0.001 kg m2"
"#;

const VEHICLE: &str = r#"[vehicle]          # the free rocket, which the steering is carried over to
inertia = "??"     # about its own centre of gravity, such as "0.066 kg m2"
arm = "??"         # centre of gravity to swivel point, such as "280 mm"
"#;

fn is(column: &ColumnLook, signal: Signal) -> bool {
    column
        .role
        .as_ref()
        .is_some_and(|role| role.signal == signal)
}

/// The names of the logs' tables: their files' without folder and ending.
fn log_names(files: &[String]) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    for file in files {
        let last = file.rsplit('/').next().unwrap_or(file);
        let stem = last.rsplit_once('.').map_or(last, |(stem, _)| stem);
        let name = unlike(&out, &bare(stem));
        out.push(name);
    }
    out
}

fn log_table(look: &Look, nth: usize, log: &LogLook, file: &str, names: &[String]) -> String {
    let mut out = String::new();
    for note in &log.notes {
        out += &format!("# {}\n", clean(note));
    }
    if nth == 0 && look.logs.len() > 1 {
        out += "# the clock of this log, the first, is the clock of the results\n";
    }
    out += &format!("[log.{}]\nfile = {}\n", names[nth], quoted(file));
    out += &time_line(&log.clock);
    let mut missing: Vec<String> = Vec::new();
    for word in log.columns.iter().flat_map(|one| &one.missing_words) {
        let word = quoted(word);
        if !missing.contains(&word) {
            missing.push(word);
        }
    }
    if !missing.is_empty() {
        out += &format!(
            "missing = [{}]  # words taken for missing readings: check\n",
            missing.join(", ")
        );
    }
    if nth > 0 {
        out += &align_line(look, nth, &names[0]);
    }
    out.push('\n');
    out
}

fn time_line(clock: &Clock) -> String {
    match clock {
        Clock::Column {
            column,
            unit,
            guessed,
            counter_bits,
        } => {
            let bits =
                counter_bits.map_or(String::new(), |bits| format!(", counter_bits = {bits}"));
            let check = if *guessed {
                "  # the unit is guessed from the steps: check"
            } else {
                ""
            };
            let column = quoted(column);
            format!("time = {{ column = {column}, unit = \"{unit}\"{bits} }}{check}\n")
        }
        Clock::Text { column, format } => format!(
            "time = {{ column = {}, format = {} }}\n",
            quoted(column),
            quoted(format)
        ),
        Clock::Rate {
            rate_hz,
            stated: true,
            line,
        } => {
            let by = line.map_or(String::new(), |line| format!("  # line {line} states it"));
            format!("time = {{ rate = \"{rate_hz} Hz\" }}{by}\n")
        }
        Clock::Rate { stated: false, .. } => format!(
            "# no column rises like a clock: write {{ rate = \"80 Hz\" }} with the true rate, or\n\
             # {{ column = \"..\", unit = \"ms\" }}\ntime = \"{TO_COMPLETE}\"\n"
        ),
    }
}

fn align_line(look: &Look, nth: usize, first: &str) -> String {
    let to = quoted(first);
    match look.ties.iter().find(|tie| tie.log == nth) {
        Some(tie) => format!(
            "align = {{ to = {to}, by = \"edge\", here = {}, there = {} }}  # check: one line?\n",
            quoted(&tie.here),
            quoted(&tie.there)
        ),
        None => format!(
            "# what ties this clock to the first log's: a line that both logs saw rise,\n\
             # {{ to = {to}, by = \"edge\", here = \"..\", there = \"..\" }}, or a known offset,\n\
             # {{ to = {to}, by = \"offset\", offset = \"1.25 s u 10 ms\" }}, or two columns that move\n\
             # alike, by = \"shape\" with here and there\nalign = \"{TO_COMPLETE}\"\n"
        ),
    }
}

/// The columns that are not taken for load cells.
fn others_than_cells<'a>(look: &'a Look, names: &'a [String]) -> Vec<Named<'a>> {
    let is_cell = |log: usize, at: usize| {
        let mut cells = look.cells.iter();
        cells.any(|cell| (cell.log, cell.column) == (log, at))
    };
    let logs = look.logs.iter().zip(names).enumerate();
    logs.flat_map(|(nth, (log, name))| {
        let columns = log.columns.iter().enumerate();
        columns
            .filter(move |(at, _)| !is_cell(nth, *at))
            .map(|(_, one)| (one, name.as_str()))
    })
    .collect()
}

/// What a column is besides others of its log.
fn of_others(column: &ColumnLook) -> String {
    let name = clean(&column.name);
    let mut out = String::new();
    if let Some(title) = &column.title {
        out += &format!("# column {name} is \"{}\" by a line above\n", clean(title));
    }
    if let Some(from) = &column.computed_from {
        out += &format!(
            "# {name} was computed from {}: they are one cell\n",
            clean(from)
        );
    }
    if let [a, b] = column.sum_of.as_slice() {
        let (a, b) = (clean(a), clean(b));
        out += &format!("# {name} is the sum of {a} and {b}: in its place these two would do\n");
    }
    out
}

/// Rest that a window should hold before a burn and after it, s.
const REST_S: (f64, f64) = (2.0, 3.0);

/// The choices of a reduction; the window as a comment, where the clock of the results is that of the burn.
fn reduce_table(look: &Look) -> String {
    let mut out = "[reduce]\n".to_owned();
    let seen = look.cells.iter().filter(|cell| cell.log == 0);
    let column = seen.filter_map(|cell| look.column(cell)).next();
    let Some((_, column)) = column.filter(|(log, _)| log.stretches == 1) else {
        return out + "\n";
    };
    let by_height = |a: &&UnclearSeen, b: &&UnclearSeen| a.height_raw.total_cmp(&b.height_raw);
    let unclear = column.unclear.iter().max_by(by_height);
    let (span, why) = match (column.largest_burn(), unclear) {
        (Some(burn), _) => (
            (burn.onset_s, burn.end_s),
            "the burn that was found: reduce finds it by itself",
        ),
        (None, Some(one)) => ((one.from_s, one.to_s), "where this is the burn"),
        (None, None) => return out + "\n",
    };
    let (from_s, to_s) = ((span.0 - REST_S.0).max(0.0), span.1 + REST_S.1);
    out += &format!("# window = [\"{from_s:.1} s\", \"{to_s:.1} s\"]  # {why}\n\n");
    out
}

/// Lines that rise once and are no copy, in another log, of one already there.
fn fire_lines<'a>(all: &[Named<'a>], look: &Look, names: &[String]) -> Vec<Named<'a>> {
    let copy = |column: &ColumnLook, log: &str| {
        let tied = |tie: &crate::look::Tie| names[tie.log] == log && tie.here == column.name;
        look.ties.iter().any(tied)
    };
    all.iter()
        .copied()
        .filter(|(column, log)| column.rises_once() && !copy(column, log))
        .collect()
}

fn motor_tables(all: &[Named], look: &Look, names: &[String]) -> String {
    let lines = fire_lines(all, look, names);
    let (fires, others): (Vec<Named>, Vec<Named>) = lines
        .into_iter()
        .partition(|(one, _)| is(one, Signal::Fire));
    // A lone line that rises once is most likely the igniter's, whatever its name.
    let (fires, others) = match (fires.is_empty(), others.as_slice()) {
        (true, [_]) => (others, vec![]),
        _ => (fires, others),
    };
    let mut out =
        "# One table for each motor that was loaded, lit or not: copy it for the others.\n"
            .to_owned();
    let mut motors: Vec<String> = Vec::new();
    let slots = fires
        .iter()
        .map(Some)
        .chain(fires.is_empty().then_some(None));
    for fire in slots {
        let name = match fire {
            Some((column, _)) if fires.len() > 1 => unlike(&motors, &bare(&column.name)),
            _ => "one".to_owned(),
        };
        out += &format!("[motor.{name}]\n");
        out += &format!(
            "# propellant = \"{TO_COMPLETE}\"          # what burnt, such as \"20.1 g ± 0.1 g\", or loaded = \"..\" and\n\
             #                                # spent = \"..\": without it the specific impulse stays open\n"
        );
        if let Some((column, log)) = fire {
            let at = column.rises_s.first().copied().unwrap_or(0.0);
            let line = signal(column, log, None);
            out += &format!("fire = {line}  # rises once, at {at:.3} s\n");
        }
        out += "# certified = \"??\"             # its certified data (README, motor-curves)\n";
        out +=
            "# offset = { pitch = \"??\", yaw = \"??\" }  # motor axis from the rocket's axis\n\n";
        motors.push(name);
    }
    for (column, log) in others {
        let line = signal(column, log, None);
        out += &format!("# also a line that rises once: {line}\n");
    }
    out
}

fn moving(column: &ColumnLook) -> bool {
    matches!(column.kind, Kind::Moves | Kind::Steps)
}

fn may_press(column: &ColumnLook) -> bool {
    matches!(column.kind, Kind::Burns | Kind::Moves)
}

fn chamber_table(all: &[Named]) -> String {
    let found = all
        .iter()
        .find(|(column, _)| may_press(column) && is(column, Signal::Pressure));
    let Some((column, log)) = found else {
        return String::new();
    };
    let unit = column.role.as_ref().and_then(|role| role.unit);
    let line = signal(column, log, Some(unit.unwrap_or("kPa")));
    optional(&format!(
        "[chamber]          # by its name a pressure: check column and unit\npressure = {line}\nreads = \"gauge\"\n"
    ))
}

/// The keys of an axis, and what their columns look like by name.
const AXIS_KEYS: [(&str, Signal, &str); 4] = [
    ("command", Signal::Command, "deg"),
    ("nozzle", Signal::Nozzle, "deg"),
    ("tilt", Signal::Tilt, "deg"),
    ("rate", Signal::Rate, "deg/s"),
];

fn axis_tables(all: &[Named]) -> String {
    let moving: Vec<Named> = all.iter().copied().filter(|(one, _)| moving(one)).collect();
    let wanted = |one: &ColumnLook| AXIS_KEYS.iter().any(|(_, signal, _)| is(one, *signal));
    let mut out = String::new();
    let mut axes: Vec<&str> = Vec::new();
    for (column, _) in moving.iter().filter(|(one, _)| wanted(one)) {
        let axis = axis_of(column);
        if !axes.contains(&axis) {
            axes.push(axis);
        }
    }
    if !axes.is_empty() {
        out += "# Steering, guessed from names of columns that move: check columns and units, then take the # away.\n";
    }
    for axis in axes {
        let of = |signal: Signal| {
            let fits = move |one: &&Named| is(one.0, signal) && axis_of(one.0) == axis;
            moving.iter().filter(fits)
        };
        let mut table = format!("[axis.{axis}]\n");
        if of(Signal::Command).next().is_none() {
            table += "command = \"??\"    # { log = \"..\", column = \"..\", unit = \"deg\" }: what the computer asked for\n";
        }
        for (key, signal_kind, standard) in AXIS_KEYS {
            for (nth, (column, log)) in of(signal_kind).enumerate() {
                let unit = column.role.as_ref().and_then(|role| role.unit);
                let unit = match (signal_kind, unit) {
                    (Signal::Rate, _) | (_, None) => standard,
                    (_, Some(unit)) => unit,
                };
                let or = if nth > 0 { "# or " } else { "" };
                table += &format!("{or}{key} = {}\n", signal(column, log, Some(unit)));
            }
        }
        out += &optional(&(table + AXIS_MORE));
    }
    if out.is_empty() && !moving.is_empty() {
        out += "# Steering, where there is any: one table for each axis.\n";
        out += &optional(&(AXIS_TEMPLATE.to_owned() + AXIS_MORE));
    }
    let rest: Vec<String> = moving
        .iter()
        .filter(|(one, _)| !wanted(one))
        .map(|(one, log)| format!("{} of {log}", clean(&one.name)))
        .collect();
    if !rest.is_empty() {
        out += &format!("# Columns that move, too: {}\n\n", rest.join(", "));
    }
    out
}

fn axis_of(column: &ColumnLook) -> &str {
    let axis = column.role.as_ref().and_then(|role| role.axis.as_deref());
    axis.unwrap_or("pitch")
}
