//! A published thrust curve replayed as a log comes back as it went in.
//!
//! `tests/data/nar-c6-thrust.csv`: the certification record of a C6 motor. Its points were written
//! down from memory; what speaks for them is that their trapezoid sum reproduces the published
//! headline of 8.82 N s. The test proves that the reduction integrates what it is given, not that
//! the points are the official ones.

#![allow(clippy::unwrap_used, reason = "a test may stop on the first surprise")]

use approx::{assert_abs_diff_eq, assert_relative_eq};
use serde_json::Value;

use crate::runner::{Folder, printed_everywhere, repository};

const FIRING: &str = r#"
title = "Certified C6 curve, replayed"

[log.stand]
file = "c6.csv"
time = { column = "time_s", unit = "s" }

[cell.base]
signal = { log = "stand", column = "thrust" }
scale  = "1 N"

[stand]
mount = "level"

[motor.c6]
"#;

/// Zeros before and after the curve: one second, every 50 ms.
const REST_ROWS: u32 = 20;
const REST_STEP_S: f64 = 0.05;

fn published() -> Vec<(f64, f64)> {
    let path = repository().join("tests/data/nar-c6-thrust.csv");
    let text = std::fs::read_to_string(path).unwrap();
    let points = text
        .lines()
        .filter_map(|line| line.split_once(','))
        .filter_map(|(time, thrust)| Some((time.parse().ok()?, thrust.parse().ok()?)));
    points.collect()
}

fn replayed(curve: &[(f64, f64)]) -> String {
    let mut log = "time_s,thrust\n".to_owned();
    let shift_s = f64::from(REST_ROWS) * REST_STEP_S;
    let end_s = shift_s + curve.last().unwrap().0;
    for row in 0..REST_ROWS {
        log += &format!("{:.3},0\n", f64::from(row) * REST_STEP_S);
    }
    for (time_s, thrust_n) in curve {
        log += &format!("{:.3},{thrust_n}\n", shift_s + time_s);
    }
    for row in 1..=REST_ROWS {
        log += &format!("{:.3},0\n", end_s + f64::from(row) * REST_STEP_S);
    }
    log
}

fn area(curve: &[(f64, f64)]) -> f64 {
    let part = |pair: &[(f64, f64)]| 0.5 * (pair[0].1 + pair[1].1) * (pair[1].0 - pair[0].0);
    curve.windows(2).map(part).sum()
}

fn value(result: &Value, group: &str, key: &str) -> f64 {
    result[group][key]["value"]
        .as_f64()
        .unwrap_or_else(|| panic!("no {group}.{key}"))
}

#[test]
fn the_certified_c6_curve_comes_back_from_its_own_log() {
    let curve = published();
    assert_eq!(curve.len(), 25, "24 points and the origin");
    let sum_ns = area(&curve);
    assert_abs_diff_eq!(sum_ns, 8.817_238, epsilon = 5e-7);

    let folder = Folder::new()
        .file("firing.toml", FIRING)
        .file("c6.csv", &replayed(&curve));
    let run = folder.run(&["reduce", "firing.toml"]);
    assert_eq!(run.code, 0, "{}", run.stderr);
    let result = folder.json("reduced/result.json");
    let total_ns = value(&result, "impulse", "total_ns");
    assert_relative_eq!(total_ns, sum_ns, max_relative = 0.01);
    // Straight lines between the points: 5 % of 14.09 N is crossed at 0.023086 s and 1.853088 s.
    assert_abs_diff_eq!(
        value(&result, "burn", "burn_time_s"),
        1.830_002,
        epsilon = 0.002
    );
    assert_abs_diff_eq!(
        value(&result, "burn", "ignition_s"),
        1.023_086,
        epsilon = 0.002
    );
    assert_abs_diff_eq!(value(&result, "thrust", "peak_n"), 14.09, epsilon = 0.005);
    assert_relative_eq!(
        value(&result, "impulse", "burn_window_ns"),
        8.806_671,
        max_relative = 0.005
    );
    assert_relative_eq!(
        value(&result, "thrust", "average_n"),
        4.812_38,
        max_relative = 0.005
    );
    assert_eq!(result["class"]["letter"], "C");
    let page = folder.read("reduced/report.html");
    for (group, key) in [
        ("impulse", "total_ns"),
        ("burn", "burn_time_s"),
        ("thrust", "peak_n"),
        ("thrust", "average_n"),
    ] {
        printed_everywhere(&run.stdout, &page, &result[group][key]);
    }
}
