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

/// Longest step between readings of the curve, s.
const FINE_STEP_S: f64 = 0.002;

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
    for pair in curve.windows(2) {
        let ((from_s, from_n), (to_s, to_n)) = (pair[0], pair[1]);
        // Readings every few milliseconds on the straight line, so that its corners are seen as such.
        let rows = ((to_s - from_s) / FINE_STEP_S).ceil();
        for row in 0..rows as usize {
            let part = row as f64 / rows;
            let time_s = shift_s + from_s + part * (to_s - from_s);
            log += &format!("{time_s:.6},{:.6}\n", from_n + part * (to_n - from_n));
        }
    }
    if let Some((_, last_n)) = curve.last() {
        log += &format!("{end_s:.6},{last_n}\n");
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
    let run = folder.run(&["reduce", "firing.toml", "--full"]);
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
    // The data sheet's 4.74 N is the impulse over the whole 1.86 s, not over the burn; both averages
    // must be impulse over their own time.
    let whole_n = total_ns / curve.last().unwrap().0;
    assert_abs_diff_eq!(whole_n, 4.74, epsilon = 0.005 + 0.01 * 4.74);
    assert_abs_diff_eq!(sum_ns / 1.86, 4.74, epsilon = 0.005);
    let burn_ns = value(&result, "impulse", "burn_window_ns");
    let burn_s = value(&result, "burn", "burn_time_s");
    assert_relative_eq!(
        value(&result, "thrust", "average_n"),
        burn_ns / burn_s,
        max_relative = 1e-9
    );
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

/// Force and absolute pressure that stand from 10 s to 10 s + `lasts_s`, with ramps of 20 ms about both
/// ends, read 200 times a second: the areas are those of rectangles.
fn rectangle(force_n: f64, pressure_mpa: f64, lasts_s: f64) -> String {
    const AIR_MPA: f64 = 0.1013;
    let mut log = "t,n,mpa\n".to_owned();
    for row in 0..(200.0 * (lasts_s + 20.0)) as usize {
        let t = row as f64 / 200.0;
        let into = (t - 9.99) / 0.02;
        let share = into.min((lasts_s + 10.01 - t) / 0.02).clamp(0.0, 1.0);
        let pressure = AIR_MPA + (pressure_mpa - AIR_MPA) * share;
        log += &format!("{t:.3},{:.6},{pressure:.9}\n", force_n * share);
    }
    log
}

fn textbook(motor: &str, chamber: &str) -> String {
    format!(
        "[log.stand]\nfile = \"stand.csv\"\ntime = {{ column = \"t\", unit = \"s\" }}\n\n\
         [cell.base]\nsignal = {{ log = \"stand\", column = \"n\" }}\nscale = \"1 N\"\n\n\
         [stand]\nmount = \"level\"\n\n[motor.one]\n{motor}\n\n{chamber}\n\n\
         [reduce]\nwindow = [\"0 s\", \"1000 s\"]\n"
    )
}

fn reduced(firing: &str, log: &str) -> (Value, String, Folder) {
    let folder = Folder::new()
        .file("firing.toml", firing)
        .file("stand.csv", log);
    let run = folder.run(&["reduce", "firing.toml", "--full"]);
    assert_eq!(run.code, 0, "{}", run.stderr);
    (folder.json("reduced/result.json"), run.stdout, folder)
}

// Sutton & Biblarz, Rocket Propulsion Elements, example 2-1 (from memory): 70 kg in 3.0 s at a specific
// impulse of 240 s. With the book's 9.81 m/s2 that is 54 936 N, 2354.4 m/s and 164 808 N s; with standard
// gravity 54 917.24 N and 164 751.72 N s. The program knows standard gravity alone, so the first force
// must come back as 240 s times 9.81/9.80665, and the second as 240 s.
#[test]
fn a_textbook_vehicle_by_both_values_of_gravity() {
    for (force_n, total_ns, specific_s, exhaust_m_s) in [
        (54_936.0, 164_808.0, 240.0 * 9.81 / 9.806_65, 2354.4),
        (54_917.24, 164_751.72, 240.0, 240.0 * 9.806_65),
    ] {
        let firing = textbook("loaded = \"200 kg\"\nspent = \"130 kg\"", "");
        let (result, ..) = reduced(&firing, &rectangle(force_n, 7.0, 3.0));
        assert_relative_eq!(
            value(&result, "impulse", "total_ns"),
            total_ns,
            max_relative = 1e-6
        );
        assert_relative_eq!(
            value(&result, "impulse", "specific_s"),
            specific_s,
            max_relative = 1e-6
        );
        let exhaust = value(&result, "impulse", "exhaust_velocity_m_s");
        assert_relative_eq!(exhaust, exhaust_m_s, max_relative = 1e-6);
        assert!(result["chamber"].is_null());
    }
}

// The same book, example 2-2 (from memory): 1210 kg before and 215 kg after, 40 s, 62 250 N, 7.00 MPa,
// throat 0.0855 m. Recomputed from these: total 2 490 000 N s, specific impulse 255.185 s with standard
// gravity (255.098 s with 9.81), exhaust velocity 2502.51 m/s, c* 1615.69 m/s (the book rounds to 1613);
// CF = F/(p A) by definition. The 10 ms beyond 5 % at either end hold 1e-6 of the impulse, and of the
// pressure integral 4e-6 more than the rectangle.
#[test]
fn a_textbook_motor_on_a_stand_with_its_chamber_pressure() {
    let firing = textbook(
        "loaded = \"1210 kg\"\nspent = \"215 kg\"",
        "[chamber]\npressure = { log = \"stand\", column = \"mpa\", unit = \"MPa\" }\n\
         reads = \"absolute\"\nambient = \"0.1013 MPa\"\nthroat_diameter = \"85.5 mm ± 0.1 mm\"\n\
         span_error = \"0.5 %\"",
    );
    let (result, stdout, folder) = reduced(&firing, &rectangle(62_250.0, 7.0, 40.0));
    let close = |group: &str, key: &str, published: f64| {
        assert_relative_eq!(value(&result, group, key), published, max_relative = 2e-5);
    };
    close("impulse", "total_ns", 2_490_000.0);
    close("impulse", "specific_s", 255.185_263_3);
    close("impulse", "exhaust_velocity_m_s", 2_502.512_563);
    close("chamber", "characteristic_velocity_m_s", 1_615.686_371);
    let area_m2 = std::f64::consts::PI * 0.0855_f64.powi(2) / 4.0;
    close("chamber", "throat_area_mm2", 1e6 * area_m2);
    close("chamber", "thrust_coefficient", 62_250.0 / (7e6 * area_m2));
    close("chamber", "peak_kpa", 7000.0);
    // The mean over the burn holds the two short ramps too.
    assert_relative_eq!(
        value(&result, "chamber", "mean_kpa"),
        7000.0,
        max_relative = 1e-3
    );
    // Limits of 0.1 mm of 85.5 mm and of 0.5 % of what stands above ambient, both divided by root 3
    // (JCGM 100, 4.3.7), are all that is uncertain.
    let u = result["chamber"]["characteristic_velocity_m_s"]["u"]
        .as_f64()
        .unwrap();
    let relative = (2.0 * 0.1 / 85.5_f64).hypot(0.005 * 6.8987 / 7.0) / 3.0_f64.sqrt();
    assert_relative_eq!(u, relative * 1615.686, max_relative = 0.01);
    let page = folder.read("reduced/report.html");
    for key in [
        "peak_kpa",
        "characteristic_velocity_m_s",
        "thrust_coefficient",
    ] {
        printed_everywhere(&stdout, &page, &result["chamber"][key]);
    }
}
