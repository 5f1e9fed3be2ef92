//! Readers of what people and recorders write.

use std::path::Path;

use burnwright::internal::{
    Gravity, LoadKind, RawTable, judge, judgement_text, read_certified, read_curve, read_points,
    read_rehearsal, record_of_bytes, rehearse, wanted_columns, write_curve,
};
use burnwright::{Report, Screen, Vehicle, begin_firing, look, look_at, read_firing};
use proptest::prelude::*;
use tempfile::TempDir;

use super::odd::{bytes, logs, mistakes, toml, with};
use super::small::{firing, laid_out, put, rehearsal};
use super::{cases, finite, in_time, shown, told};

const GRAVITY: Gravity = Gravity {
    value_m_s2: 9.81,
    relative_u: 0.0,
};

const POINTS: &str = "raw,mass_g,direction,run\n8123,0,up,1\n28000,500,up,1\n48123,1000,up,1\n68000,1500,up,1\n\
                      48150,1000,down,1\n28020,500,down,1\n8130,0,down,1\n";

const VEHICLE: &str = "[vehicle]\nmass = \"1.18 kg\"\npropellant = \"40 g\"\n[release]\ntilt = \"3 deg\"\n\
                       at = \"150 ms\"\n[wind]\ngust_force = \"1 N\"\ngust_at = \"0.5 s\"\n[air]\ndrag_area_m2 = 0.003\n\
                       [spread]\nthrust = \"2 %\"\n[motor.a]\nshare = \"50 %\"\n[motor.b]\noffset = { yaw = \"14 mm\" }\n";

const NAMES: &[&str] = &[
    "title",
    "date",
    "site",
    "latitude",
    "altitude",
    "log",
    "stand",
    "file",
    "time",
    "column",
    "unit",
    "rate",
    "align",
    "to",
    "by",
    "edge",
    "shape",
    "offset",
    "here",
    "there",
    "cell",
    "base",
    "signal",
    "points",
    "scale",
    "capacity",
    "carries",
    "mount",
    "cells_on",
    "tap",
    "motor",
    "left",
    "certified",
    "propellant",
    "fire",
    "axis",
    "pitch",
    "command",
    "tilt",
    "travel",
    "arm",
    "inertia",
    "vehicle",
    "reduce",
    "window",
    "stand.csv",
    "t_ms",
    "raw",
    "seed",
    "lasts",
    "recorder",
    "columns",
    "of",
    "cell.base",
    "says",
    "loads",
    "zero",
    "slope",
    "computer",
    "name",
    "thrust_curve",
    "thrust_file",
    "total_impulse",
    "quantity",
    "centre",
    "coefficients",
    "covariance",
    "mass",
    "release",
    "wind",
    "air",
    "spread",
    "share",
    "chamber",
    "steering",
];

/// Bytes in a file of its own, read by something that takes paths.
fn read<T>(bytes: &[u8], reader: impl FnOnce(&Path) -> T) -> T {
    let folder = TempDir::new().unwrap();
    put(folder.path(), "in", bytes);
    in_time(|| reader(&folder.path().join("in")))
}

fn log(bytes: &[u8]) {
    let folder = laid_out(firing(false));
    let firing = read_firing(&folder.path().join("firing.toml")).unwrap();
    let wanted = wanted_columns(&firing, "stand");
    match in_time(|| record_of_bytes(&firing.logs["stand"], &wanted, bytes)) {
        Ok(record) => {
            assert!(record.time_s.iter().all(|time| time.is_finite()));
            let all = record
                .columns
                .values()
                .all(|one| one.len() == record.time_s.len());
            assert!(all && record.line.len() == record.time_s.len());
            for part in &record.segments {
                let times = &record.time_s[part.clone()];
                assert!(times.windows(2).all(|pair| pair[0] <= pair[1]), "{times:?}");
            }
        }
        Err(problems) => told(&problems),
    }
}

fn looked(bytes: &[u8]) {
    match read(bytes, |path| look_at(path, None)) {
        Ok(one) => {
            let look = look(vec![one]);
            finite(&look);
            // Words of the file stand in all of these, and "NaN" may be one of them.
            assert!(!look.json().is_empty());
            assert!(!look.text(Screen::default()).is_empty());
            assert!(!begin_firing(&look, &["in".to_owned()]).text.is_empty());
        }
        Err(problems) => told(&problems),
    }
}

fn table(bytes: &[u8]) {
    match in_time(|| RawTable::of_bytes("in", bytes)) {
        Ok(table) => {
            for name in table.names().to_vec() {
                if let Err(problems) = table.numbers(&name) {
                    told(&problems);
                }
                table.texts(&name).unwrap();
            }
        }
        Err(problems) => told(&problems),
    }
}

fn known(bytes: &[u8]) {
    let judged = read(bytes, |path| {
        let points = read_points(path, &GRAVITY)?;
        let (cell, judgement) = judge(&points, Some(0.0002))?;
        let curve = write_curve(&cell.curve, points.kind, "test")?;
        Ok((judgement, curve, points.kind))
    });
    match judged {
        Ok((judgement, curve, kind)) => {
            finite(&judgement);
            shown(&judgement_text(&judgement, Screen::default()));
            // What `calibrate` writes, `reduce` reads.
            read(curve.as_bytes(), |path| read_curve(path, kind)).unwrap();
        }
        Err(problems) => told(&problems),
    }
}

fn curve(bytes: &[u8]) {
    match read(bytes, |path| read_curve(path, LoadKind::Force)) {
        Ok(curve) => {
            for raw in [-1e9, 0.0, 8000.0, 1e9] {
                assert!(curve.load(raw).is_none_or(f64::is_finite));
            }
        }
        Err(problems) => told(&problems),
    }
}

fn motor(bytes: &[u8]) {
    match read(bytes, read_certified) {
        Ok(motor) => finite(&motor),
        Err(problems) => told(&problems),
    }
}

fn thrust_file(bytes: &[u8]) {
    let folder = TempDir::new().unwrap();
    put(
        folder.path(),
        "m.toml",
        b"name = \"x\"\nthrust_file = \"in\"\n",
    );
    put(folder.path(), "in", bytes);
    match in_time(|| read_certified(&folder.path().join("m.toml"))) {
        Ok(motor) => finite(&motor),
        Err(problems) => told(&problems),
    }
}

fn firing_file(bytes: &[u8]) {
    let folder = laid_out(firing(true));
    put(folder.path(), "firing.toml", bytes);
    if let Err(problems) = in_time(|| read_firing(&folder.path().join("firing.toml"))) {
        told(&problems);
    }
}

fn vehicle(bytes: &[u8]) {
    let read = read(bytes, Vehicle::read);
    match read {
        Ok(vehicle) => finite(&vehicle),
        Err(problems) => told(&problems),
    }
}

/// Most rows that a rehearsal is gone through for: what is allowed at most takes minutes.
const MOST_ROWS: f64 = 3000.0;

fn rehearsed(bytes: &[u8]) {
    let folder = laid_out(firing(true));
    put(folder.path(), "R.toml", bytes);
    match in_time(|| read_rehearsal(&folder.path().join("R.toml"))) {
        Ok(plan) => {
            let rows: f64 = plan
                .recorders
                .values()
                .map(|one| one.rate_hz * plan.lasts_s)
                .sum();
            if rows > MOST_ROWS || plan.lasts_s > 10.0 {
                return;
            }
            if let Err(problems) = in_time(|| rehearse(&plan)) {
                told(&problems);
            }
        }
        Err(problems) => told(&problems),
    }
}

proptest! {
    #![proptest_config(cases(1.0))]

    #[test]
    fn logs_of_any_bytes(input in bytes()) {
        log(&input);
        looked(&input);
        table(&input);
    }

    #[test]
    fn logs_of_a_mad_recorder(input in logs()) {
        log(&input);
        looked(&input);
        table(&input);
    }

    #[test]
    fn logs_with_mistakes(mistakes in mistakes()) {
        let input = with(&mistakes, &firing(false)["stand.csv"]);
        log(&input);
        looked(&input);
    }

    #[test]
    fn points_of_any_bytes(input in prop_oneof![bytes(), logs()]) {
        known(&input);
    }

    #[test]
    fn points_with_mistakes(mistakes in mistakes()) {
        known(&with(&mistakes, POINTS));
    }

    #[test]
    fn firing_files_of_any_bytes(input in prop_oneof![bytes(), toml(NAMES)]) {
        firing_file(&input);
    }

    #[test]
    fn firing_files_with_mistakes(mistakes in mistakes()) {
        firing_file(&with(&mistakes, &firing(true)["firing.toml"]));
    }

    #[test]
    fn motor_files_of_any_bytes(input in prop_oneof![bytes(), toml(NAMES)]) {
        motor(&input);
        thrust_file(&input);
    }

    #[test]
    fn motor_files_with_mistakes(mistakes in mistakes()) {
        motor(&with(&mistakes, &firing(false)["finch-24.toml"]));
        thrust_file(&with(&mistakes, "s;N\n0;0\n0.1;20\n1.5;15\n2.1;0\n"));
    }

    #[test]
    fn curve_files_of_any_bytes(input in prop_oneof![bytes(), toml(NAMES)]) {
        curve(&input);
    }

    #[test]
    fn vehicle_files_of_any_bytes(input in prop_oneof![bytes(), toml(NAMES)]) {
        vehicle(&input);
    }

    #[test]
    fn vehicle_files_with_mistakes(mistakes in mistakes()) {
        vehicle(&with(&mistakes, VEHICLE));
    }

    #[test]
    fn rehearsals_of_any_bytes(input in prop_oneof![bytes(), toml(NAMES)]) {
        rehearsed(&input);
    }
}

proptest! {
    #![proptest_config(cases(0.25))]

    #[test]
    fn curve_files_with_mistakes(mistakes in mistakes()) {
        let good = {
            let points = read(POINTS.as_bytes(), |path| read_points(path, &GRAVITY)).unwrap();
            let (cell, _) = judge(&points, None).unwrap();
            write_curve(&cell.curve, points.kind, "test").unwrap()
        };
        curve(&with(&mistakes, &good));
    }

    #[test]
    fn rehearsals_with_mistakes(steered in any::<bool>(), mistakes in mistakes()) {
        rehearsed(&with(&mistakes, &rehearsal(steered)));
    }
}

#[test]
fn what_the_mistakes_are_made_in_is_right() {
    let folder = laid_out(firing(true));
    for (name, text) in [("p.csv", POINTS), ("v.toml", VEHICLE)] {
        put(folder.path(), name, text.as_bytes());
    }
    let path = |name: &str| folder.path().join(name);
    read_points(&path("p.csv"), &GRAVITY).unwrap();
    Vehicle::read(&path("v.toml")).unwrap();
    read_firing(&path("firing.toml")).unwrap();
    read_certified(&path("finch-24.toml")).unwrap();
}
