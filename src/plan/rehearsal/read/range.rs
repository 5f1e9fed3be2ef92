//! Values that no rig has: each refused by name, with the range that would do.

use super::super::spec::{AxisTruth, CellTruth, MotorTruth, Pattern, Recorder, Rehearsal};
use super::At;
use crate::diagnostic::Diagnostic;
use crate::plausible::plainly;

/// One value and where it may lie.
struct Check {
    /// Keys that lead to it.
    path: String,
    what: String,
    value: f64,
    low: f64,
    high: f64,
}

/// Longest times of a computer, s.
const LONGEST_S: f64 = 600.0;

/// Shortest stay of a step, s.
const SHORTEST_STAY_S: f64 = 1e-3;

/// Every value outside its range.
pub(super) fn check(rehearsal: &Rehearsal, at: At<'_>) -> Vec<Diagnostic> {
    let mut all = Vec::new();
    for (name, one) in &rehearsal.recorders {
        recorder(name, one, &mut all);
    }
    for (name, one) in &rehearsal.cells {
        cell(name, one, &mut all);
    }
    for (name, one) in &rehearsal.axes {
        axis(name, one, &mut all);
    }
    for (name, one) in &rehearsal.motors {
        motor(name, one, rehearsal, &mut all);
    }
    let stand = &rehearsal.stand;
    add(
        &mut all,
        "stand.damping_ratio".to_owned(),
        "damping_ratio of the stand".to_owned(),
        stand.damping_ratio,
        (0.0, 0.99),
    );
    if let Some(hz) = stand.natural_frequency_hz {
        add(
            &mut all,
            "stand.natural_frequency".to_owned(),
            "natural_frequency of the stand, Hz".to_owned(),
            hz,
            (0.1, 5000.0),
        );
    }
    if let Some(computer) = &rehearsal.computer {
        add(
            &mut all,
            "computer.limit".to_owned(),
            "limit of the computer, deg".to_owned(),
            computer.limit_deg,
            (0.0, 90.0),
        );
        add(
            &mut all,
            "computer.step".to_owned(),
            "step of the computer, deg".to_owned(),
            computer.step_deg,
            (0.0, 90.0),
        );
        for (key, value) in [("starts", computer.starts_s), ("lasts", computer.lasts_s)] {
            let path = format!("computer.{key}");
            let what = format!("{key} of the computer, s,");
            add(&mut all, path, what, value, (-LONGEST_S, LONGEST_S));
        }
        for (axis, gains) in &computer.steering {
            if gains.pattern != Pattern::None && gains.dwell_s != 0.0 {
                for (key, value) in [("dwell", gains.dwell_s), ("shortest", gains.shortest_s)] {
                    let path = format!("computer.axis.{axis}.{key}");
                    let what = format!("{key} of steering.{axis}, s,");
                    add(&mut all, path, what, value, (SHORTEST_STAY_S, LONGEST_S));
                }
            }
            for (gain, value) in [("kp", gains.kp), ("ki", gains.ki), ("kd", gains.kd)] {
                add(
                    &mut all,
                    format!("computer.axis.{axis}.{gain}"),
                    format!("{gain} of steering.{axis}"),
                    value,
                    (-1e3, 1e3),
                );
            }
        }
    }
    all.iter()
        .filter(|one| !(one.low..=one.high).contains(&one.value))
        .map(|one| {
            let message = format!("{} cannot be {}", one.what, plainly(one.value));
            let (low, high) = (plainly(one.low), plainly(one.high));
            Diagnostic::error("out-of-range", message)
                .at(at(&one.path))
                .hint(format!("choose it between {low} and {high}"))
        })
        .collect()
}

fn add(all: &mut Vec<Check>, path: String, what: String, value: f64, (low, high): (f64, f64)) {
    all.push(Check {
        path,
        what,
        value,
        low,
        high,
    });
}

fn recorder(name: &str, one: &Recorder, all: &mut Vec<Check>) {
    add(
        all,
        format!("recorder.{name}.jitter"),
        format!("jitter of recorder {name}, s"),
        one.jitter_s,
        (0.0, 1.0),
    );
    add(
        all,
        format!("recorder.{name}.drift"),
        format!("drift of recorder {name}, ppm"),
        one.drift_ppm,
        (-1e5, 1e5),
    );
    add(
        all,
        format!("recorder.{name}.dropped"),
        format!("dropped of recorder {name}"),
        one.dropped,
        (0.0, 0.9),
    );
    let dirt = [
        ("wild", one.dirt.wild),
        ("doubled", one.dirt.doubled),
        ("swapped", one.dirt.swapped),
    ];
    for (what, share) in dirt {
        add(
            all,
            format!("recorder.{name}.dirt.{what}"),
            format!("{what} rows of recorder {name}"),
            share,
            (0.0, 0.5),
        );
    }
    add(
        all,
        format!("recorder.{name}.dirt.head_lines"),
        format!("head_lines of recorder {name}"),
        one.dirt.head_lines as f64,
        (0.0, 1e4),
    );
    if let Some(time) = &one.time {
        add(
            all,
            format!("recorder.{name}.time.digits"),
            format!("digits of the time of recorder {name}"),
            time.digits as f64,
            (0.0, 12.0),
        );
        if let Some(bits) = time.counter_bits {
            add(
                all,
                format!("recorder.{name}.time.counter_bits"),
                format!("counter_bits of recorder {name}"),
                f64::from(bits),
                (8.0, 52.0),
            );
        }
    }
    for (column, shown) in &one.columns {
        let of = format!("of column {column} of recorder {name}");
        let path = format!("recorder.{name}.columns.{column}");
        add(
            all,
            format!("{path}.noise"),
            format!("noise {of}"),
            shown.noise_si,
            (0.0, 1e9),
        );
        add(
            all,
            format!("{path}.step"),
            format!("step {of}"),
            shown.step_si,
            (0.0, 1e9),
        );
        add(
            all,
            format!("{path}.digits"),
            format!("digits {of}"),
            shown.digits as f64,
            (0.0, 12.0),
        );
    }
}

fn cell(name: &str, one: &CellTruth, all: &mut Vec<Check>) {
    add(
        all,
        format!("cell.{name}.slope"),
        format!("slope of cell {name} without its sign"),
        one.curve[1].abs(),
        (1e-9, 1e12),
    );
    for (what, value) in [
        ("noise", one.noise),
        ("wander", one.wander),
        ("points.noise", one.points.noise),
    ] {
        let path = format!("cell.{name}.{what}");
        add(
            all,
            path,
            format!("{what} of cell {name}"),
            value,
            (0.0, 1e12),
        );
    }
    add(
        all,
        format!("cell.{name}.delay"),
        format!("delay of cell {name}, s"),
        one.delay_s,
        (0.0, 1.0),
    );
    add(
        all,
        format!("cell.{name}.points.runs"),
        format!("points.runs of cell {name}"),
        one.points.runs as f64,
        (1.0, 100.0),
    );
}

fn axis(name: &str, one: &AxisTruth, all: &mut Vec<Check>) {
    add(
        all,
        format!("axis.{name}.damping"),
        format!("damping of axis {name}, 1/s"),
        one.damping_per_s,
        (0.0, 1000.0),
    );
    add(
        all,
        format!("axis.{name}.friction"),
        format!("friction of axis {name}, rad/s2"),
        one.coulomb_rad_s2,
        (0.0, 1000.0),
    );
    add(
        all,
        format!("axis.{name}.gain"),
        format!("gain of axis {name}"),
        one.gain,
        (-100.0, 100.0),
    );
    for (key, value) in [("travel", one.travel_rad), ("slew", one.slew_rad_s)] {
        if let Some(value) = value {
            add(
                all,
                format!("axis.{name}.{key}"),
                format!("{key} of axis {name}, in rad,"),
                value,
                (1e-6, 1e4),
            );
        }
    }
    for (key, unit, value, most) in [
        (
            "start_tilt",
            "deg",
            one.start_tilt_rad.abs().to_degrees(),
            90.0,
        ),
        ("wind", "rad/s2", one.wind_rad_s2, 1e4),
        ("slow_wobble", "deg", one.slow_wobble_rad.to_degrees(), 90.0),
        ("fast_wobble", "deg", one.fast_wobble_rad.to_degrees(), 90.0),
        (
            "misalignment",
            "deg",
            one.misalignment_rad.abs().to_degrees(),
            90.0,
        ),
    ] {
        add(
            all,
            format!("axis.{name}.{key}"),
            format!("{key} of axis {name}, {unit},"),
            value,
            (0.0, most),
        );
    }
    add(
        all,
        format!("axis.{name}.arm"),
        format!("arm of axis {name}, m"),
        one.arm_m,
        (0.0, 100.0),
    );
}

fn motor(name: &str, one: &MotorTruth, rehearsal: &Rehearsal, all: &mut Vec<Check>) {
    let path = |key: &str| format!("motor.{name}.{key}");
    for (key, value) in [
        ("impulse_scale", one.impulse_scale),
        ("time_scale", one.time_scale),
    ] {
        add(
            all,
            path(key),
            format!("{key} of motor {name}, as a share,"),
            value,
            (0.01, 10.0),
        );
    }
    add(
        all,
        path("delay"),
        format!("delay of motor {name}, s,"),
        one.delay_s,
        (0.0, rehearsal.lasts_s.max(0.0)),
    );
    add(
        all,
        path("roughness"),
        format!("roughness of motor {name}, as a share,"),
        one.roughness,
        (0.0, 1.0),
    );
    add(
        all,
        path("propellant"),
        format!("propellant of motor {name}, kg,"),
        one.propellant_kg,
        (1e-6, 1e3),
    );
}

#[cfg(test)]
mod tests {
    use super::super::super::spec::tests::{still_axis, still_rehearsal};
    use super::*;
    use crate::diagnostic::Place;

    #[test]
    fn values_that_no_rig_has_are_refused_by_name() {
        let mut rehearsal = still_rehearsal();
        rehearsal.axes.insert("pitch".to_owned(), still_axis());
        let at = |_: &str| Place::file("REHEARSAL.toml");
        assert_eq!(check(&rehearsal, &at), []);
        for axis in rehearsal.axes.values_mut() {
            axis.damping_per_s = 1e9;
        }
        rehearsal.stand.damping_ratio = -0.1;
        let found = check(&rehearsal, &at);
        assert!(
            found
                .iter()
                .any(|one| one.message.starts_with("damping_ratio of the stand"))
        );
        assert!(
            found
                .iter()
                .any(|one| one.message.starts_with("damping of axis"))
        );
    }
}
