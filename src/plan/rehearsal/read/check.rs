//! What only the whole rehearsal can show to be wrong.

use super::super::spec::{Hold, Rehearsal, Shows};
use super::At;
use super::axis::SHORTEST_LAG_S;
use crate::diagnostic::{Diagnostic, nearest};

/// Everything that does not fit together.
pub(super) fn cross_check(rehearsal: &Rehearsal, at: At<'_>) -> Vec<Diagnostic> {
    let mut out = Vec::new();
    names(rehearsal, at, &mut out);
    out.extend(pressure(rehearsal, at));
    clocks(rehearsal, at, &mut out);
    axes(rehearsal, at, &mut out);
    tap(rehearsal, at, &mut out);
    curves(rehearsal, at, &mut out);
    for (name, motor) in &rehearsal.motors {
        if motor.impulse_scale <= 0.0 || motor.time_scale <= 0.0 || motor.propellant_kg <= 0.0 {
            let what = format!("scales and propellant of motor `{name}` must be above zero");
            out.push(
                Diagnostic::error("out-of-range", what)
                    .at(at(&format!("motor.{name}")))
                    .hint("a motor that does not light has lights = false and keeps its scales"),
            );
        }
    }
    out
}

/// A column of pressure needs a chamber.
fn pressure(rehearsal: &Rehearsal, at: At<'_>) -> Option<Diagnostic> {
    let mut columns = columns(rehearsal);
    let (path, _) = columns.find(|(_, shows)| **shows == Shows::Pressure)?;
    rehearsal.chamber.is_none().then(|| {
        Diagnostic::error(
            "no-chamber",
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
        let mut problem = Diagnostic::error("unknown-name", text).at(at(&path));
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

/// A cell's curve must not turn back where its points and the motors load it.
fn curves(rehearsal: &Rehearsal, at: At<'_>, out: &mut Vec<Diagnostic>) {
    for (name, cell) in &rehearsal.cells {
        let (lowest, highest) = cell.range;
        if lowest >= highest {
            let text = format!(
                "the converter of cell `{name}` reads up to {highest}, and no less than {lowest}"
            );
            out.push(
                Diagnostic::error("out-of-range", text)
                    .at(at(&format!("cell.{name}.lowest")))
                    .hint("give the lower end to lowest, the upper to highest, in counts"),
            );
        }
        let loads = cell.points.loads_kg.iter();
        let loads_n = loads.map(|mass_kg| mass_kg * rehearsal.gravity_m_s2);
        let [_, slope, bend, cubic] = cell.curve;
        let rises = |load_n: f64| slope + 2.0 * bend * load_n + 3.0 * cubic * load_n * load_n;
        if loads_n
            .into_iter()
            .all(|load_n| rises(load_n) * slope > 0.0)
            || slope == 0.0
        {
            continue;
        }
        let text = format!("the curve of cell `{name}` turns back within the loads of its points");
        out.push(
            Diagnostic::error("turns-back", text)
                .at(at(&format!("cell.{name}.bend")))
                .hint("choose a smaller bend or cubic: a reading must belong to one load"),
        );
    }
}

fn clocks(rehearsal: &Rehearsal, at: At<'_>, out: &mut Vec<Diagnostic>) {
    let mut wrong = |path: &str, what: String, hint: &str| {
        out.push(
            Diagnostic::error("out-of-range", what)
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
    if rehearsal.lasts_s > LONGEST_S {
        wrong(
            "lasts",
            format!("a rehearsal lasts at most {LONGEST_S} s"),
            "choose a smaller `lasts`",
        );
    }
    for (at, (name, one)) in rehearsal.recorders.iter().enumerate() {
        if !(one.rate_hz > 0.0 && one.rate_hz <= FASTEST_HZ) {
            wrong(
                &format!("recorder.{name}.rate"),
                format!("the rate of `{name}` must lie above 0 and at or below {FASTEST_HZ} Hz"),
                "that is the step of the integration",
            );
        }
        if at == 0 && (one.starts_s != 0.0 || one.drift_ppm != 0.0) {
            wrong(
                &format!("recorder.{name}"),
                format!("`{name}` is the first recorder: its clock is the clock of the truth"),
                "give starts and drift to the others",
            );
        }
        if one.starts_s >= rehearsal.lasts_s || one.starts_s < -LONGEST_S {
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
            "same-name",
            what,
            "a tap test has a log of its own: choose another name",
        );
    }
    if !rehearsal.cells.contains_key(&plan.cell) {
        let what = format!("there is no [cell.{}] in this file", plan.cell);
        wrong(
            "unknown-name",
            what,
            "name the cell that the tap is read from",
        );
    }
    if rehearsal.stand.natural_frequency_hz.is_none() {
        let what = "a stiff stand does not ring after a tap".to_owned();
        wrong("stiff-stand", what, "give natural_frequency of the stand");
    }
    let fits = plan.rate_hz <= FASTEST_HZ && plan.lasts_s <= LONGEST_S;
    let touches = plan.contact_s > 0.0 && plan.contact_s <= plan.lasts_s;
    let inside = plan
        .taps_s
        .iter()
        .all(|tap| (0.0..plan.lasts_s).contains(tap));
    if !fits || !touches || !inside {
        let what = format!(
            "the tap's rate is at most {FASTEST_HZ} Hz, its length at most {LONGEST_S} s, and its \
             taps fall within it"
        );
        wrong("out-of-range", what, "choose other values in [tap]");
    }
}

/// Longest rehearsal, s: a firing lasts seconds, and every step of it is kept.
const LONGEST_S: f64 = 600.0;

/// Fastest recorder, Hz.
const FASTEST_HZ: f64 = 20_000.0;

/// A disturbance stays below this many standard deviations for a few thousand steps.
const DISTURBANCE_FACTOR: f64 = 4.0;

fn axes(rehearsal: &Rehearsal, at: At<'_>, out: &mut Vec<Diagnostic>) {
    for (name, axis) in &rehearsal.axes {
        let place = at(&format!("axis.{name}"));
        if axis.lag_s < SHORTEST_LAG_S || axis.delay_s < 0.0 || axis.dead_band_width_deg < 0.0 {
            let what = format!(
                "axis `{name}`: lag must be at least 0.5 ms, delay and dead band not below zero"
            );
            let wrong = Diagnostic::error("out-of-range", what).at(place.clone());
            out.push(wrong.hint("leave a key out for none of it"));
        }
        if axis.arm_m <= 0.0 || axis.inertia_kg_m2 <= 0.0 || axis.inertia_spent_kg_m2 <= 0.0 {
            let what = format!("axis `{name}`: arm and inertia must be above zero");
            let wrong = Diagnostic::error("out-of-range", what).at(place.clone());
            out.push(wrong.hint("weigh and measure them, or take those of the example"));
        }
        let pull = axis.stiffness_per_s2 * axis.start_tilt_rad.abs()
            + DISTURBANCE_FACTOR * axis.wind_rad_s2;
        let falls = pull > axis.coulomb_rad_s2;
        if axis.stiffness_per_s2 > 0.0 && axis.hold == Hold::Free && falls {
            let what = format!("axis `{name}` would fall over before the fire command");
            out.push(
                Diagnostic::error("falls-over", what)
                    .at(place)
                    .hint("hold it: hold = \"clamp\", release = \"0.1 s\"; or set start_tilt to 0"),
            );
        }
    }
}
