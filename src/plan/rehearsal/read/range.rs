//! Values that no rig has: each refused by name, with the range that would do.

use super::super::spec::{AxisTruth, CellTruth, Recorder, Rehearsal};
use crate::diagnostic::{Diagnostic, Place};

/// One value and where it may lie.
struct Check {
    what: String,
    value: f64,
    low: f64,
    high: f64,
}

/// Every value outside its range.
pub(super) fn check(rehearsal: &Rehearsal) -> Vec<Diagnostic> {
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
    let stand = &rehearsal.stand;
    add(
        &mut all,
        "damping_ratio of the stand".to_owned(),
        stand.damping_ratio,
        (0.0, 0.99),
    );
    if let Some(hz) = stand.natural_frequency_hz {
        add(
            &mut all,
            "natural_frequency of the stand, Hz".to_owned(),
            hz,
            (0.1, 5000.0),
        );
    }
    if let Some(computer) = &rehearsal.computer {
        add(
            &mut all,
            "limit of the computer, deg".to_owned(),
            computer.limit_deg,
            (0.0, 90.0),
        );
        add(
            &mut all,
            "step of the computer, deg".to_owned(),
            computer.step_deg,
            (0.0, 90.0),
        );
        for (axis, gains) in &computer.steering {
            for (gain, value) in [("kp", gains.kp), ("ki", gains.ki), ("kd", gains.kd)] {
                add(
                    &mut all,
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
            Diagnostic::error(
                "out-of-range",
                format!("{} cannot be {}", one.what, one.value),
            )
            .at(Place::file(&*rehearsal.file))
            .hint(format!("choose it between {} and {}", one.low, one.high))
        })
        .collect()
}

fn add(all: &mut Vec<Check>, what: String, value: f64, (low, high): (f64, f64)) {
    all.push(Check {
        what,
        value,
        low,
        high,
    });
}

fn recorder(name: &str, one: &Recorder, all: &mut Vec<Check>) {
    add(
        all,
        format!("jitter of recorder {name}, s"),
        one.jitter_s,
        (0.0, 1.0),
    );
    add(
        all,
        format!("drift of recorder {name}, ppm"),
        one.drift_ppm,
        (-1e5, 1e5),
    );
    add(
        all,
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
            format!("{what} rows of recorder {name}"),
            share,
            (0.0, 0.5),
        );
    }
    add(
        all,
        format!("head_lines of recorder {name}"),
        one.dirt.head_lines as f64,
        (0.0, 1e4),
    );
    if let Some(time) = &one.time {
        add(
            all,
            format!("digits of the time of recorder {name}"),
            time.digits as f64,
            (0.0, 12.0),
        );
        if let Some(bits) = time.counter_bits {
            add(
                all,
                format!("counter_bits of recorder {name}"),
                f64::from(bits),
                (8.0, 52.0),
            );
        }
    }
    for (column, shown) in &one.columns {
        let of = format!("of column {column} of recorder {name}");
        add(all, format!("noise {of}"), shown.noise_si, (0.0, 1e9));
        add(all, format!("step {of}"), shown.step_si, (0.0, 1e9));
        add(
            all,
            format!("digits {of}"),
            shown.digits as f64,
            (0.0, 12.0),
        );
    }
}

fn cell(name: &str, one: &CellTruth, all: &mut Vec<Check>) {
    add(
        all,
        format!("slope of cell {name} without its sign"),
        one.curve[1].abs(),
        (1e-9, 1e12),
    );
    for (what, value) in [
        ("noise", one.noise),
        ("wander", one.wander),
        ("points.noise", one.points.noise),
    ] {
        add(all, format!("{what} of cell {name}"), value, (0.0, 1e12));
    }
    add(
        all,
        format!("delay of cell {name}, s"),
        one.delay_s,
        (0.0, 1.0),
    );
    add(
        all,
        format!("points.runs of cell {name}"),
        one.points.runs as f64,
        (1.0, 100.0),
    );
}

fn axis(name: &str, one: &AxisTruth, all: &mut Vec<Check>) {
    add(
        all,
        format!("damping of axis {name}, 1/s"),
        one.damping_per_s,
        (0.0, 1000.0),
    );
    add(
        all,
        format!("friction of axis {name}, rad/s2"),
        one.coulomb_rad_s2,
        (0.0, 1000.0),
    );
    add(
        all,
        format!("gain of axis {name}"),
        one.gain,
        (-100.0, 100.0),
    );
    add(
        all,
        format!("arm of axis {name}, m"),
        one.arm_m,
        (0.0, 100.0),
    );
}

#[cfg(test)]
mod tests {
    use super::super::super::spec::tests::{still_axis, still_rehearsal};
    use super::*;

    #[test]
    fn values_that_no_rig_has_are_refused_by_name() {
        let mut rehearsal = still_rehearsal();
        rehearsal.axes.insert("pitch".to_owned(), still_axis());
        assert_eq!(check(&rehearsal), []);
        for axis in rehearsal.axes.values_mut() {
            axis.damping_per_s = 1e9;
        }
        rehearsal.stand.damping_ratio = -0.1;
        let found = check(&rehearsal);
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
