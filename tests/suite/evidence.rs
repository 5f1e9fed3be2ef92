//! Which motors lit, where only one kind of evidence is left to tell.

#![allow(clippy::unwrap_used, reason = "a test may stop on the first surprise")]

use serde_json::Value;

use crate::runner::Folder;

const FIRING: &str = "demo-data/twin-one-dead/firing.toml";
const STAND: &str = "demo-data/twin-one-dead/stand.csv";
const OFFSETS: [&str; 2] = [
    "offset     = { pitch = \"0 mm ± 0.3 mm\", yaw = \"14 mm ± 0.3 mm\" }",
    "offset     = { pitch = \"0 mm ± 0.3 mm\", yaw = \"-14 mm ± 0.3 mm\" }",
];

/// The demo with one dead motor, where no offset lets the tilt tell which.
fn alike() -> Folder {
    Folder::copy_of("demo-data/twin-one-dead")
        .edit(FIRING, OFFSETS[0], "")
        .edit(FIRING, OFFSETS[1], "")
}

/// The stand's log with one column more, a function of time after its first row, s.
fn with_column(folder: &Folder, name: &str, value: impl Fn(f64) -> f64) -> String {
    let text = folder.read(STAND);
    let mut lines = text.lines();
    let mut out = format!("{},{name}\n", lines.next().unwrap());
    let mut first = None;
    for line in lines {
        let tick: f64 = line.split(',').next().unwrap().parse().unwrap();
        let begin = *first.get_or_insert(tick);
        out += &format!("{line},{:.3}\n", value(1e-6 * (tick - begin)));
    }
    out
}

fn reduced(folder: &Folder) -> Value {
    let run = folder.run(&["reduce", FIRING, "--json"]);
    assert_eq!(run.code, 0, "{}", run.stderr);
    serde_json::from_str(&run.stdout).unwrap()
}

fn lit<'a>(result: &'a Value, motor: &str) -> &'a str {
    result["motors"][motor]["lit"].as_str().unwrap()
}

fn probability(result: &Value, motor: &str) -> f64 {
    result["motors"][motor]["probability"].as_f64().unwrap()
}

#[test]
fn two_like_motors_are_counted_even_where_nothing_tells_them_apart() {
    let result = reduced(&alike());
    assert_eq!(lit(&result, "left"), "undecided");
    assert_eq!(lit(&result, "right"), "undecided");
    assert_eq!(result["ignition"]["lit_count"], 1);
    assert_eq!(result["ignition"]["all_lit"], "fails");
}

#[test]
fn pressure_in_one_chamber_says_which_motor_burnt() {
    let folder = alike();
    let rest = with_column(&folder, "p_kpa", |t| 2.0 + (937.0 * t).sin());
    let chamber = "[chamber]\npressure = { log = \"stand\", column = \"p_kpa\", unit = \"kPa\" }\nreads = \"gauge\"\nmotor = \"right\"\n\n[motor.left]";
    let folder = folder
        .file(STAND, &rest)
        .edit(FIRING, "[motor.left]", chamber);
    let result = reduced(&folder);
    assert_eq!(lit(&result, "left"), "lit");
    assert_eq!(lit(&result, "right"), "not lit");
    let burning = with_column(&alike(), "p_kpa", |t| {
        let burns = (2.52..4.5).contains(&t);
        2.0 + (937.0 * t).sin() + if burns { 2400.0 } else { 0.0 }
    });
    let result = reduced(&folder.file(STAND, &burning));
    assert_eq!(lit(&result, "left"), "not lit");
    assert_eq!(lit(&result, "right"), "lit");
}

// By hand: (0.01 / 0.3) / (0.99 / 0.7) = 0.0236 to one; 0.0236 / 1.0236 = 0.023.
#[test]
fn an_igniter_without_current_points_at_its_motor() {
    let folder = alike();
    let current = with_column(&folder, "i_right", |t| 0.01 * (937.0 * t).sin());
    let right = "[motor.right]\nigniter = { log = \"stand\", column = \"i_right\" }";
    let both = with_column(&folder.file(STAND, &current), "i_left", |t| {
        if (2.40..2.52).contains(&t) { 3.0 } else { 0.0 }
    });
    let left = "[motor.left]\nigniter = { log = \"stand\", column = \"i_left\" }";
    let folder = alike()
        .file(STAND, &both)
        .edit(FIRING, "[motor.right]", right)
        .edit(FIRING, "[motor.left]", left);
    let result = reduced(&folder);
    let right = probability(&result, "right");
    assert!((right - 0.023).abs() < 0.004, "{right}");
    assert!((probability(&result, "left") - (1.0 - right)).abs() < 0.002);
}

#[test]
fn without_any_certified_curve_rises_are_counted_and_said_to_be_weak() {
    let certified = "certified  = \"finch-24.toml\"                  # what it is certified as";
    let folder =
        alike()
            .edit(FIRING, certified, "")
            .edit(FIRING, "certified  = \"finch-24.toml\"", "");
    let result = reduced(&folder);
    for motor in ["left", "right"] {
        let evidence = result["motors"][motor]["evidence"].as_array().unwrap();
        let rises = evidence.iter().find(|one| one["from"] == "rises of thrust");
        let rises = rises.unwrap();
        assert!(rises["weight"].as_f64().unwrap().abs() < 4.0);
        assert!(rises["says"].as_str().unwrap().contains("once"), "{rises}");
        assert_eq!(lit(&result, motor), "undecided");
    }
    assert_eq!(result["ignition"]["all_lit"], "undecided");
}
