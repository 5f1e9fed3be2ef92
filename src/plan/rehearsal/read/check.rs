//! What only the whole rehearsal can show to be wrong.

use super::super::spec::{Hold, Rehearsal, Shows};
use super::axis::SHORTEST_LAG_S;
use crate::diagnostic::{Diagnostic, Place, nearest};

/// Everything that does not fit together.
pub(super) fn cross_check(rehearsal: &Rehearsal) -> Vec<Diagnostic> {
    let mut out = Vec::new();
    let place = || Place::file(&*rehearsal.file);
    names(rehearsal, &mut out);
    out.extend(pressure(rehearsal));
    clocks(rehearsal, &mut out);
    axes(rehearsal, &mut out);
    tap(rehearsal, &mut out);
    for (name, motor) in &rehearsal.motors {
        if motor.impulse_scale <= 0.0 || motor.time_scale <= 0.0 || motor.propellant_kg <= 0.0 {
            let what = format!("scales and propellant of motor `{name}` must be above zero");
            out.push(
                Diagnostic::error("out-of-range", what)
                    .at(place())
                    .hint("a motor that does not light has lights = false and keeps its scales"),
            );
        }
    }
    out
}

/// A column of pressure needs a chamber.
fn pressure(rehearsal: &Rehearsal) -> Option<Diagnostic> {
    let mut columns = rehearsal
        .recorders
        .values()
        .flat_map(|one| one.columns.values());
    let shown = columns.any(|column| column.shows == Shows::Pressure);
    (shown && rehearsal.chamber.is_none()).then(|| {
        Diagnostic::error(
            "no-chamber",
            "a column shows pressure, but there is no [chamber]",
        )
        .at(Place::file(&*rehearsal.file))
        .hint("add [chamber] with motor, throat_diameter and thrust_coefficient")
    })
}

fn names(rehearsal: &Rehearsal, out: &mut Vec<Diagnostic>) {
    let mut must = |kind: &str, name: &str, known: Vec<&String>| {
        if known.iter().any(|one| *one == name) {
            return;
        }
        let mut problem = Diagnostic::error(
            "unknown-name",
            format!("there is no [{kind}.{name}] in this file"),
        )
        .at(Place::file(&*rehearsal.file));
        if let Some(near) = nearest(name, known.iter().map(|one| one.as_str())) {
            problem = problem.hint(format!("did you mean \"{near}\"?"));
        }
        out.push(problem);
    };
    for column in rehearsal
        .recorders
        .values()
        .flat_map(|one| one.columns.values())
    {
        match &column.shows {
            Shows::Fire | Shows::Pressure => {}
            Shows::Cell(name) => must("cell", name, rehearsal.cells.keys().collect()),
            Shows::Tilt(name) | Shows::Rate(name) | Shows::Nozzle(name) | Shows::Command(name) => {
                must("axis", name, rehearsal.axes.keys().collect());
            }
        }
    }
    for name in rehearsal
        .cells
        .values()
        .filter_map(|cell| cell.carries.as_ref())
        .flatten()
    {
        must("motor", name, rehearsal.motors.keys().collect());
    }
    if let Some(chamber) = &rehearsal.chamber {
        must("motor", &chamber.motor, rehearsal.motors.keys().collect());
    }
    if let Some(computer) = &rehearsal.computer {
        must(
            "recorder",
            &computer.recorder,
            rehearsal.recorders.keys().collect(),
        );
        for axis in computer.steering.keys() {
            must("axis", axis, rehearsal.axes.keys().collect());
        }
    }
}

fn clocks(rehearsal: &Rehearsal, out: &mut Vec<Diagnostic>) {
    let mut wrong = |what: String, hint: &str| {
        let place = Place::file(&*rehearsal.file);
        out.push(Diagnostic::error("out-of-range", what).at(place).hint(hint));
    };
    if !(0.0..rehearsal.lasts_s).contains(&rehearsal.fire_s) {
        wrong(
            "the fire command must fall within the first log".to_owned(),
            "choose fire below lasts",
        );
    }
    if rehearsal.lasts_s > LONGEST_S {
        wrong(
            format!("a rehearsal lasts at most {LONGEST_S} s"),
            "choose a smaller `lasts`",
        );
    }
    for (at, (name, one)) in rehearsal.recorders.iter().enumerate() {
        if !(one.rate_hz > 0.0 && one.rate_hz <= FASTEST_HZ) {
            wrong(
                format!("the rate of `{name}` must lie above 0 and at or below {FASTEST_HZ} Hz"),
                "that is the step of the integration",
            );
        }
        if at == 0 && (one.starts_s != 0.0 || one.drift_ppm != 0.0) {
            wrong(
                format!("`{name}` is the first recorder: its clock is the clock of the truth"),
                "give starts and drift to the others",
            );
        }
        if one.starts_s >= rehearsal.lasts_s || one.starts_s < -LONGEST_S {
            wrong(
                format!("`{name}` would start outside the firing"),
                "choose another `starts`",
            );
        }
    }
}

fn tap(rehearsal: &Rehearsal, out: &mut Vec<Diagnostic>) {
    let Some(plan) = &rehearsal.tap else {
        return;
    };
    let mut wrong = |code, what: String, hint: &str| {
        let place = Place::file(&*rehearsal.file);
        out.push(Diagnostic::error(code, what).at(place).hint(hint));
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

fn axes(rehearsal: &Rehearsal, out: &mut Vec<Diagnostic>) {
    for (name, axis) in &rehearsal.axes {
        let place = Place::file(&*rehearsal.file);
        if axis.lag_s < SHORTEST_LAG_S || axis.delay_s < 0.0 || axis.dead_band_width_deg < 0.0 {
            let what = format!(
                "axis `{name}`: lag must be at least 0.5 ms, delay and dead band not below zero"
            );
            out.push(Diagnostic::error("out-of-range", what).at(place.clone()));
        }
        if axis.arm_m <= 0.0 || axis.inertia_kg_m2 <= 0.0 || axis.inertia_spent_kg_m2 <= 0.0 {
            let what = format!("axis `{name}`: arm and inertia must be above zero");
            out.push(Diagnostic::error("out-of-range", what).at(place.clone()));
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
