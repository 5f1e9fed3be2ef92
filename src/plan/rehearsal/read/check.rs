//! What only the whole rehearsal can show to be wrong.

use super::super::spec::{Hold, Pattern, Rehearsal, Shows};
use super::At;
use crate::diagnostic::{Code, Diagnostic, nearest};
use crate::quantity::range::{Range, plainly};

/// Everything that does not fit together.
pub(super) fn cross_check(rehearsal: &Rehearsal, at: At<'_>) -> Vec<Diagnostic> {
    let mut out = Vec::new();
    names(rehearsal, at, &mut out);
    out.extend(pressure(rehearsal, at));
    clocks(rehearsal, at, &mut out);
    axes(rehearsal, at, &mut out);
    tap(rehearsal, at, &mut out);
    curves(rehearsal, at, &mut out);
    motors(rehearsal, at, &mut out);
    steering(rehearsal, at, &mut out);
    out
}

/// A column of pressure needs a chamber.
fn pressure(rehearsal: &Rehearsal, at: At<'_>) -> Option<Diagnostic> {
    let mut columns = columns(rehearsal);
    let (path, _) = columns.find(|(_, shows)| **shows == Shows::Pressure)?;
    rehearsal.chamber.is_none().then(|| {
        Diagnostic::error(
            Code::NoChamber,
            "a column shows pressure, but there is no [chamber]",
        )
        .at(at(&path))
        .hint("add [chamber] with motor, throat_diameter and thrust_coefficient")
    })
}

/// What every column shows, and the keys that lead to it.
fn columns(rehearsal: &Rehearsal) -> impl Iterator<Item = (String, &Shows)> {
    rehearsal.recorders.iter().flat_map(|(name, one)| {
        let path = move |column: &String| format!("recorder.{name}.columns.{column}");
        let columns = one.columns.iter();
        columns.map(move |(column, shown)| (path(column), &shown.shows))
    })
}

fn names(rehearsal: &Rehearsal, at: At<'_>, out: &mut Vec<Diagnostic>) {
    let mut must = |kind: &str, name: &str, known: Vec<&String>, path: String| {
        if known.iter().any(|one| *one == name) {
            return;
        }
        let text = format!("there is no [{kind}.{name}] in this file");
        let mut problem = Diagnostic::error(Code::UnknownName, text).at(at(&path));
        let all: Vec<&str> = known.iter().map(|one| one.as_str()).collect();
        problem = match nearest(name, all.iter().copied()) {
            Some(near) => problem.hint(format!("did you mean \"{near}\"?")),
            None if all.is_empty() => problem.hint(format!("add a table [{kind}.{name}]")),
            None => problem.hint(format!("this file has {}", all.join(", "))),
        };
        out.push(problem);
    };
    for (path, shows) in columns(rehearsal) {
        match shows {
            Shows::Fire | Shows::Pressure => {}
            Shows::Cell(name) => must("cell", name, rehearsal.cells.keys().collect(), path),
            Shows::Tilt(name) | Shows::Rate(name) | Shows::Nozzle(name) | Shows::Command(name) => {
                must("axis", name, rehearsal.axes.keys().collect(), path);
            }
        }
    }
    for (cell, one) in &rehearsal.cells {
        for name in one.carries.iter().flatten() {
            let path = format!("cell.{cell}.carries");
            must("motor", name, rehearsal.motors.keys().collect(), path);
        }
    }
    if let Some(chamber) = &rehearsal.chamber {
        let path = "chamber.motor".to_owned();
        must(
            "motor",
            &chamber.motor,
            rehearsal.motors.keys().collect(),
            path,
        );
    }
    if let Some(computer) = &rehearsal.computer {
        must(
            "recorder",
            &computer.recorder,
            rehearsal.recorders.keys().collect(),
            "computer.recorder".to_owned(),
        );
        for axis in computer.steering.keys() {
            let path = format!("computer.axis.{axis}");
            must("axis", axis, rehearsal.axes.keys().collect(), path);
        }
    }
}

/// Flattest curve of a cell, counts/N.
const FLATTEST: f64 = 1e-9;

/// A cell's curve must not turn back where its points and the motors load it.
fn curves(rehearsal: &Rehearsal, at: At<'_>, out: &mut Vec<Diagnostic>) {
    for (name, cell) in &rehearsal.cells {
        let (lowest, highest) = cell.range;
        if lowest >= highest {
            let text = format!(
                "the converter of cell `{name}` reads up to {highest}, and no less than {lowest}"
            );
            out.push(
                Diagnostic::error(Code::OutOfRange, text)
                    .at(at(&format!("cell.{name}.lowest")))
                    .hint("give the lower end to lowest, the upper to highest, in counts"),
            );
        }
        let loads = cell.points.loads_kg.iter();
        let loads_n = loads.map(|mass_kg| mass_kg * rehearsal.gravity_m_s2);
        let [_, slope, bend, cubic] = cell.curve;
        if slope.abs() < FLATTEST {
            let least = plainly(FLATTEST);
            let text = format!("`cell.{name}.slope` cannot be zero, nor within {least} of it");
            let place = at(&format!("cell.{name}.slope"));
            out.push(Diagnostic::error(Code::OutOfRange, text).at(place));
            continue;
        }
        let rises = |load_n: f64| slope + 2.0 * bend * load_n + 3.0 * cubic * load_n * load_n;
        if loads_n
            .into_iter()
            .all(|load_n| rises(load_n) * slope > 0.0)
        {
            continue;
        }
        let text = format!("the curve of cell `{name}` turns back within the loads of its points");
        out.push(
            Diagnostic::error(Code::TurnsBack, text)
                .at(at(&format!("cell.{name}.bend")))
                .hint("choose a smaller bend or cubic: a reading must belong to one load"),
        );
    }
}

fn clocks(rehearsal: &Rehearsal, at: At<'_>, out: &mut Vec<Diagnostic>) {
    let mut wrong = |path: &str, what: String, hint: &str| {
        out.push(
            Diagnostic::error(Code::OutOfRange, what)
                .at(at(path))
                .hint(hint),
        );
    };
    if !(0.0..rehearsal.lasts_s).contains(&rehearsal.fire_s) {
        wrong(
            "fire",
            "the fire command must fall within the first log".to_owned(),
            "choose fire below lasts",
        );
    }
    for (at, (name, one)) in rehearsal.recorders.iter().enumerate() {
        if at == 0 && (one.starts_s != 0.0 || one.drift_ppm != 0.0) {
            wrong(
                &format!("recorder.{name}"),
                format!("`{name}` is the first recorder: its clock is the clock of the truth"),
                "give starts and drift to the others",
            );
        }
        if one.starts_s >= rehearsal.lasts_s {
            wrong(
                &format!("recorder.{name}.starts"),
                format!("`{name}` would start outside the firing"),
                "choose another `starts`",
            );
        }
    }
}

fn tap(rehearsal: &Rehearsal, at: At<'_>, out: &mut Vec<Diagnostic>) {
    let Some(plan) = &rehearsal.tap else {
        return;
    };
    let mut wrong = |code, what: String, hint: &str| {
        out.push(Diagnostic::error(code, what).at(at("tap")).hint(hint));
    };
    if rehearsal.recorders.contains_key(&plan.log) {
        let what = format!("the tap's log `{}` is a recorder already", plan.log);
        wrong(
            Code::SameName,
            what,
            "a tap test has a log of its own: choose another name",
        );
    }
    if !rehearsal.cells.contains_key(&plan.cell) {
        let what = format!("there is no [cell.{}] in this file", plan.cell);
        wrong(
            Code::UnknownName,
            what,
            "name the cell that the tap is read from",
        );
    }
    if rehearsal.stand.natural_frequency_hz.is_none() {
        let what = "a stiff stand does not ring after a tap".to_owned();
        wrong(
            Code::StiffStand,
            what,
            "give natural_frequency of the stand",
        );
    }
    let touches = plan.contact_s <= plan.lasts_s;
    let inside = |tap: &f64| (0.0..plan.lasts_s).contains(tap);
    if !touches || !plan.taps_s.iter().all(inside) {
        let what = "the taps must fall within the log of the tap test".to_owned();
        wrong(
            Code::OutOfRange,
            what,
            "choose `taps` and `contact` below `lasts`",
        );
    }
}

/// Shortest stay of a step of a test pattern, s.
const SHORTEST_STAY_S: f64 = 1e-3;
/// Longest, s: a rehearsal is no longer.
const LONGEST_STAY_S: f64 = 600.0;

/// Stays of a pattern, which one that does not step need not have.
fn steering(rehearsal: &Rehearsal, at: At<'_>, out: &mut Vec<Diagnostic>) {
    let axes = rehearsal.computer.iter().flat_map(|one| &one.steering);
    for (axis, of) in axes.filter(|(_, of)| {
        of.dwell_s != 0.0 && matches!(of.pattern, Pattern::Doublets | Pattern::Steps)
    }) {
        for (key, stay_s) in [("dwell", of.dwell_s), ("shortest", of.shortest_s)] {
            let path = format!("computer.axis.{axis}.{key}");
            let range = Range::Between(SHORTEST_STAY_S, LONGEST_STAY_S);
            out.extend(outside(&path, stay_s, (range, "s"), at));
        }
    }
}

/// A first gas after the end of the rehearsal would never come.
fn motors(rehearsal: &Rehearsal, at: At<'_>, out: &mut Vec<Diagnostic>) {
    for (name, motor) in &rehearsal.motors {
        let range = Range::Between(0.0, rehearsal.lasts_s);
        out.extend(outside(
            &format!("motor.{name}.delay"),
            motor.delay_s,
            (range, "s"),
            at,
        ));
    }
}

fn outside(path: &str, value: f64, range: (Range, &str), at: At<'_>) -> Option<Diagnostic> {
    let (range, unit) = range;
    let message = format!("`{path}` {}", range.rule(unit));
    (!range.holds(value, 1.0)).then(|| Diagnostic::error(Code::OutOfRange, message).at(at(path)))
}

/// Strongest dry friction and wind over inertia, rad/s2: more than any rig has.
const STRONGEST_FRICTION_RAD_S2: f64 = 1e3;
const STRONGEST_WIND_RAD_S2: f64 = 1e4;

/// A disturbance stays below this many standard deviations for a few thousand steps.
const DISTURBANCE_FACTOR: f64 = 4.0;

fn axes(rehearsal: &Rehearsal, at: At<'_>, out: &mut Vec<Diagnostic>) {
    for (name, axis) in &rehearsal.axes {
        let place = at(&format!("axis.{name}"));
        for (key, pushed_rad_s2, most) in [
            ("friction", axis.coulomb_rad_s2, STRONGEST_FRICTION_RAD_S2),
            ("wind", axis.wind_rad_s2, STRONGEST_WIND_RAD_S2),
        ] {
            if pushed_rad_s2 > most {
                let what = format!(
                    "`axis.{name}.{key}` must be at most {most} rad/s2 times the inertia of the axis"
                );
                let place = at(&format!("axis.{name}.{key}"));
                out.push(Diagnostic::error(Code::OutOfRange, what).at(place));
            }
        }
        let pull = axis.stiffness_per_s2 * axis.start_tilt_rad.abs()
            + DISTURBANCE_FACTOR * axis.wind_rad_s2;
        let falls = pull > axis.coulomb_rad_s2;
        if axis.stiffness_per_s2 > 0.0 && axis.hold == Hold::Free && falls {
            let what = format!("axis `{name}` would fall over before the fire command");
            out.push(
                Diagnostic::error(Code::FallsOver, what)
                    .at(place)
                    .hint("hold it: hold = \"clamp\", release = \"0.1 s\"; or set start_tilt to 0"),
            );
        }
    }
}
