//! What else could have happened: the cases that once made a confidently wrong verdict, each with what must be said now.

#![allow(clippy::unwrap_used, reason = "a test may stop on the first surprise")]

use burnwright::result::{Lit, MotorReport};
use burnwright::{FiringResult, Outcome, read_firing, reduce};

use crate::runner::{Folder, repository};

/// The fire command, and the ignition of a motor that answers at once, s.
const FIRE_S: f64 = 3.0;
const LIGHTS_S: f64 = 3.1;

/// Thrust of the Finch 24, N, so long after its ignition.
fn finch(since_s: f64) -> f64 {
    const CURVE: [(f64, f64); 19] = [
        (0.0, 0.0),
        (0.03, 9.4),
        (0.06, 16.5),
        (0.11, 21.3),
        (0.17, 25.2),
        (0.22, 26.0),
        (0.29, 24.8),
        (0.38, 19.9),
        (0.5, 16.8),
        (0.65, 15.0),
        (0.85, 14.1),
        (1.1, 13.5),
        (1.35, 13.0),
        (1.6, 12.4),
        (1.78, 11.5),
        (1.9, 9.5),
        (1.98, 6.5),
        (2.05, 2.6),
        (2.11, 0.0),
    ];
    let after = CURVE.partition_point(|point| point.0 <= since_s);
    if after == 0 || after == CURVE.len() {
        return 0.0;
    }
    let ((t0, n0), (t1, n1)) = (CURVE[after - 1], CURVE[after]);
    n0 + (n1 - n0) * (since_s - t0) / (t1 - t0)
}

fn burn(t: f64) -> f64 {
    finch(t - LIGHTS_S)
}

/// A triangle of so many newton seconds that begins at a time and lasts so long.
fn pop(t: f64, begins_s: f64, lasts_s: f64, impulse_ns: f64) -> f64 {
    let share = (t - begins_s) / lasts_s;
    let shape = (share / 0.2).min((1.0 - share) / 0.8).max(0.0);
    2.0 * impulse_ns / lasts_s * shape
}

/// A smooth push between two times.
fn lean(t: f64, from_s: f64, to_s: f64, top_n: f64) -> f64 {
    let edge =
        |since_s: f64| 0.5 - 0.5 * (std::f64::consts::PI * (since_s / 0.3).clamp(0.0, 1.0)).cos();
    top_n * edge(t - from_s) * edge(to_s - t)
}

type Reading<'a> = &'a dyn Fn(f64) -> f64;

/// Two Finches in the cells given by their motors and what they read, N, at 500 Hz for 9 s.
fn firing(cells: &[(&str, Reading<'_>)], fire_s: f64) -> FiringResult {
    fired(cells, fire_s, "fire")
}

/// The same where the right motor's fire line is this column: `fire`, or `idle`, which never rises.
fn fired(cells: &[(&str, Reading<'_>)], fire_s: f64, right_line: &str) -> FiringResult {
    let mut file = "title = \"two\"\n[log.stand]\nfile = \"stand.csv\"\ntime = { column = \"t\", unit = \"s\" }\n".to_owned();
    let mut log = "t,idle,fire".to_owned();
    for (at, (carries, _)) in cells.iter().enumerate() {
        file += &format!(
            "[cell.c{at}]\nsignal = {{ log = \"stand\", column = \"c{at}\" }}\nscale = \"0.001 N\"\nzero = 0\ncarries = [{carries}]\n"
        );
        log += &format!(",c{at}");
    }
    file += "[stand]\nmount = \"level\"\n";
    for (motor, line) in [("left", "fire"), ("right", right_line)] {
        file += &format!(
            "[motor.{motor}]\ncertified = \"finch-24.toml\"\nfire = {{ log = \"stand\", column = \"{line}\" }}\n"
        );
    }
    log.push('\n');
    let mut state = 1_u64;
    for row in 0..4500 {
        let t = 0.002 * f64::from(row);
        log += &format!("{t:.3},0,{}", u8::from((fire_s..fire_s + 0.5).contains(&t)));
        for (_, reading) in cells {
            // A sum of uniform numbers: 20 mN of noise.
            let mut noise = || {
                state = state
                    .wrapping_mul(6_364_136_223_846_793_005)
                    .wrapping_add(1_442_695_040_888_963_407);
                (state >> 33) as f64 / f64::from(u32::MAX >> 1) - 0.5
            };
            let noise: f64 = 0.02 * (0..12).map(|_| noise()).sum::<f64>();
            let value = reading(t);
            // What stands at a rail does not flicker.
            let code = if value.abs() >= 8388.0 {
                value * 1e3
            } else {
                1e3 * (value + noise)
            };
            log += &format!(",{}", code.round());
        }
        log.push('\n');
    }
    let certified =
        std::fs::read_to_string(repository().join("motor-curves/finch-24.toml")).unwrap();
    let folder = Folder::new()
        .file("firing.toml", &file)
        .file("stand.csv", &log)
        .file("finch-24.toml", &certified);
    reduce(&read_firing(&folder.path("firing.toml")).unwrap())
        .unwrap()
        .result
}

fn motor<'a>(result: &'a FiringResult, name: &str) -> &'a MotorReport {
    &result.motors.as_ref().unwrap()[name]
}

/// What is said of the right motor, whose own cell reads this while the left one burns.
fn right(reading: Reading<'_>) -> (Lit, String) {
    let result = firing(&[("\"left\"", &burn), ("\"right\"", reading)], FIRE_S);
    assert_eq!(motor(&result, "left").lit, Lit::Lit);
    let right = motor(&result, "right");
    let says: Vec<&str> = right.evidence.iter().map(|one| one.says.as_str()).collect();
    (right.lit, says.join("; "))
}

#[test]
fn a_dead_motor_is_not_lit_by_what_its_neighbour_or_the_world_does_to_its_cell() {
    let heat = |t: f64| {
        if t < LIGHTS_S {
            0.0
        } else {
            (t - LIGHTS_S) / 2.0 * (1.0 - (t - LIGHTS_S) / 2.0).exp()
        }
    };
    let cases: [(&str, Reading<'_>); 6] = [
        ("3 % cross-talk", &|t| 0.03 * burn(t)),
        ("-0.30 N s", &|t| -0.01 * burn(t)),
        ("a thermal hump of 0.4 N", &|t| 0.4 * heat(t)),
        ("an igniter's pop of 0.02 N s", &|t| {
            pop(t, 3.05, 0.03, 0.02)
        }),
        ("an igniter's pop of 0.4 N s", &|t| pop(t, 3.05, 0.03, 0.4)),
        ("a hand", &|t| lean(t, 3.4, 4.9, 8.0)),
    ];
    for (name, reading) in cases {
        let (lit, says) = right(reading);
        assert_ne!(lit, Lit::Lit, "{name}: {says}");
        assert!(!says.is_empty() || lit == Lit::Undecided, "{name}");
    }
    assert_eq!(right(&|t| -0.01 * burn(t)).0, Lit::NotLit);
    assert_eq!(right(&|_| 0.0).0, Lit::NotLit);
}

#[test]
fn a_cell_that_reads_nothing_says_nothing_and_the_others_are_reduced() {
    let broken: [(&str, Reading<'_>); 2] = [
        ("a wire that broke before firing", &|_| 9000.0),
        ("a converter at its rail", &|_| 8388.607),
    ];
    for (name, reading) in broken {
        let result = firing(&[("\"left\"", &burn), ("\"right\"", reading)], FIRE_S);
        assert_eq!(motor(&result, "left").lit, Lit::Lit, "{name}");
        let total_ns = motor(&result, "left").total_ns.as_ref().unwrap().value;
        assert!((total_ns - 29.8).abs() < 0.5, "{name}: {total_ns}");
        assert_eq!(motor(&result, "right").lit, Lit::Undecided, "{name}");
        assert_eq!(result.impulse.as_ref().unwrap().total_ns, None, "{name}");
        let said = result
            .warnings
            .iter()
            .any(|one| one.text.contains("cannot be believed"));
        assert!(said, "{name}: {:?}", result.warnings);
    }
}

#[test]
fn one_motor_and_a_pop_in_a_shared_cell_are_not_two() {
    let both = "\"left\", \"right\"";
    let result = firing(&[(both, &|t| burn(t) + pop(t, 3.05, 0.06, 2.2))], FIRE_S);
    let ignition = result.ignition.as_ref().unwrap();
    assert_ne!(ignition.all_lit, Outcome::Holds);
    for name in ["left", "right"] {
        assert_eq!(motor(&result, name).lit, Lit::Undecided);
    }
}

#[test]
fn a_burn_before_its_command_is_told() {
    let result = firing(&[("\"left\"", &burn), ("\"right\"", &burn)], LIGHTS_S + 1.6);
    let mut findings = result.findings.iter();
    let told = findings.find(|one| one.claim == "no motor burns before its fire command");
    assert_eq!(told.unwrap().outcome, Outcome::Fails);
}

// Its cell reads a whole burn, and its line, beside one that rose, stayed silent: which of the two is wrong nobody knows.
#[test]
fn what_one_piece_contradicts_is_not_stated() {
    let cells: [(&str, Reading<'_>); 2] = [("\"left\"", &burn), ("\"right\"", &burn)];
    let result = fired(&cells, FIRE_S, "idle");
    assert_eq!(motor(&result, "left").lit, Lit::Lit);
    assert_eq!(motor(&result, "right").lit, Lit::Undecided);
    let mut findings = result.findings.iter();
    let told = findings.find(|one| one.claim == "the evidence on motor right is consistent");
    assert_eq!(told.unwrap().outcome, Outcome::Fails);
}

#[test]
fn two_like_motors_in_one_cell_have_two_times_and_nobody_s_names() {
    let both = "\"left\", \"right\"";
    let result = firing(&[(both, &|t| burn(t) + finch(t - 3.3))], FIRE_S);
    let ignition = result.ignition.as_ref().unwrap();
    assert_eq!(ignition.all_lit, Outcome::Holds);
    let times: Vec<f64> = ignition.times_s.iter().map(|one| one.value).collect();
    assert_eq!(times.len(), 2, "{ignition:?}");
    for (found, true_s) in times.iter().zip([3.104, 3.304]) {
        assert!((found - true_s).abs() < 0.01, "{times:?}");
    }
    assert!((ignition.stagger_s.as_ref().unwrap().value - 0.2).abs() < 0.01);
    assert_eq!(motor(&result, "left").ignition_s, None);
}

#[test]
fn a_puff_that_dies_is_the_ignition() {
    let chuff = |t: f64| pop(t, 2.0 + LIGHTS_S - FIRE_S, 0.15, 0.6) + finch(t - 3.6);
    let result = firing(
        &[("\"left\"", &|t| chuff(t - 1.0)), ("\"right\"", &|_| 0.0)],
        FIRE_S,
    );
    let left = motor(&result, "left");
    assert_eq!(left.lit, Lit::Lit);
    let puff = left.ignition_s.as_ref().unwrap();
    assert!((puff.value - 3.105).abs() < 0.01, "{puff:?}");
    let burn = left.relight_s.as_ref().unwrap();
    assert!((burn.value - 4.604).abs() < 0.01, "{burn:?}");
}

// The left cell is silent and can be believed; of the right one nothing is known.
#[test]
fn where_nothing_burns_a_lost_cell_and_a_burst_leave_their_motor_undecided() {
    let burst = |t: f64| if (3.1..3.12).contains(&t) { 90.0 } else { 0.0 };
    let cases: [(&str, Reading<'_>); 2] = [
        ("a wire that breaks before the fire command", &|t| {
            if t < 2.5 { 0.0 } else { 9000.0 }
        }),
        ("a motor that bursts", &burst),
    ];
    for (name, reading) in cases {
        let result = firing(&[("\"left\"", &|_| 0.0), ("\"right\"", reading)], FIRE_S);
        assert_eq!(motor(&result, "left").lit, Lit::NotLit, "{name}");
        assert_eq!(motor(&result, "right").lit, Lit::Undecided, "{name}");
    }
}
