//! Mistakes in the firing file itself: keys, units, names, clocks.

use super::*;

#[test]
fn an_unknown_key_is_answered_with_the_nearest_known_one() {
    let folder = demo().edit(FIRING, "capacity =", "capcity =");
    refused(
        &folder,
        r#"
error: unknown key `capcity` in `cell.base`
  at demo-data/twin-captive/firing.toml:27:1
     |
  27 | capcity = "98 N"
     | ^^^^^^^ did you mean `capacity`?
  hint: known keys: capacity, carries, curve, delay, masses, points, scale, signal, zero
"#,
    );
}

#[test]
fn a_bare_number_is_asked_for_its_unit() {
    let folder = demo().edit(FIRING, "\"98 N\"", "98");
    refused(
        &folder,
        r#"
error: `cell.base.capacity` needs a force with its unit
  at demo-data/twin-captive/firing.toml:27:12
     |
  27 | capacity = 98
     |            ^^ a number without a unit
  hint: write it in quotes with one of N, kN, mN, lbf, ozf, kgf, gf
"#,
    );
}

#[test]
fn a_quantity_without_unit_is_asked_for_it() {
    let folder = demo().edit(FIRING, "\"98 N\"", "\"98\"");
    refused(
        &folder,
        r#"
error: `cell.base.capacity` needs a force with its unit
  at demo-data/twin-captive/firing.toml:27:13
     |
  27 | capacity = "98"
     |             ^^ a number without a unit
  hint: add one of N, kN, mN, lbf, ozf, kgf, gf
"#,
    );
}

#[test]
fn a_unit_of_something_else_is_marked() {
    let folder = demo().edit(FIRING, "\"98 N\"", "\"98 kg\"");
    refused(
        &folder,
        r#"
error: `cell.base.capacity` is a force, and `kg` is not a unit of that
  at demo-data/twin-captive/firing.toml:27:16
     |
  27 | capacity = "98 kg"
     |                ^^ wrong kind of unit
  hint: use one of N, kN, mN, lbf, ozf, kgf, gf
"#,
    );
}

#[test]
fn a_unit_nobody_knows_is_answered_with_the_nearest() {
    let folder = demo().edit(FIRING, "\"98 N\"", "\"98 Nw\"");
    refused(
        &folder,
        r#"
error: `Nw` is not a unit known here
  at demo-data/twin-captive/firing.toml:27:16
     |
  27 | capacity = "98 Nw"
     |                ^^ did you mean `N`?
  hint: `cell.base.capacity` takes a force: N, kN, mN, lbf, ozf, kgf, gf
"#,
    );
}

#[test]
fn a_quantity_that_cannot_be_negative_says_so() {
    let folder = demo().edit(FIRING, "\"98 N\"", "\"-98 N\"");
    refused(
        &folder,
        r#"
error: `cell.base.capacity` must be above zero
  at demo-data/twin-captive/firing.toml:27:13
     |
  27 | capacity = "-98 N"
     |             ^^^^^
"#,
    );
}

#[test]
fn an_angle_in_millimetres_is_refused_at_its_unit() {
    let folder = demo().edit(
        FIRING,
        "\"cmd_pitch_deg\", unit = \"deg\"",
        "\"cmd_pitch_deg\", unit = \"mm\"",
    );
    refused(
        &folder,
        r#"
error: `axis.pitch.command` cannot be in `mm`
  at demo-data/twin-captive/firing.toml:52:71
     |
  52 | command       = { log = "computer", column = "cmd_pitch_deg", unit = "mm" }
     |                                                                       ^^
  hint: use one of deg, rad, mrad, or a points file
"#,
    );
}

#[test]
fn a_misspelt_unit_of_a_column_is_told_once() {
    let folder = demo().edit(
        FIRING,
        "\"cmd_pitch_deg\", unit = \"deg\"",
        "\"cmd_pitch_deg\", unit = \"degr\"",
    );
    refused(
        &folder,
        r#"
error: `degr` is not a unit known here
  at demo-data/twin-captive/firing.toml:52:71
     |
  52 | command       = { log = "computer", column = "cmd_pitch_deg", unit = "degr" }
     |                                                                       ^^^^ did you mean `deg`?
  hint: units are written as in N, kg, mm, deg, deg/s, Hz, V
"#,
    );
}

#[test]
fn two_curves_for_one_cell_are_one_too_many() {
    let folder = demo().edit(FIRING, "capacity = \"98 N\"", "scale = \"0.01 N\"");
    refused(
        &folder,
        r#"
error: `cell.base` has more than one of points, curve and scale
  at demo-data/twin-captive/firing.toml:24:1
     |
  24 | [cell.base]
     | ^^^^^^^^^^^
  hint: give one: points = "..csv", curve = "..toml", or scale = "0.0123 N"
"#,
    );
}

#[test]
fn a_cell_without_a_curve_is_told_what_would_do() {
    let folder = demo().edit(FIRING, "points   =", "# points =");
    refused(
        &folder,
        r#"
error: `cell.base` has neither points nor curve nor scale
  at demo-data/twin-captive/firing.toml:24:1
     |
  24 | [cell.base]
     | ^^^^^^^^^^^
  hint: give one: points = "..csv", curve = "..toml", or scale = "0.0123 N"
"#,
    );
}

#[test]
fn an_unknown_log_is_answered_with_the_nearest() {
    let folder = demo().edit(
        FIRING,
        "log = \"stand\", column = \"base_raw\"",
        "log = \"stnd\", column = \"base_raw\"",
    );
    refused(
        &folder,
        r#"
error: there is no [log.stnd] in this file
  at demo-data/twin-captive/firing.toml:25:21
     |
  25 | signal   = { log = "stnd", column = "base_raw" }
     |                     ^^^^ did you mean "stand"?
  hint: the logs of this file: stand, computer
"#,
    );
}

#[test]
fn an_unknown_motor_is_answered_with_the_nearest() {
    let folder = demo().edit(FIRING, "[\"left\", \"right\"]", "[\"left\", \"rihgt\"]");
    refused(
        &folder,
        r#"
error: there is no [motor.rihgt] in this file
  at demo-data/twin-captive/firing.toml:30:22
     |
  30 | carries  = ["left", "rihgt"]                  # motors whose thrust it feels
     |                      ^^^^^ did you mean "right"?
  hint: the motors of this file: left, right
"#,
    );
}

#[test]
fn clocks_tied_in_a_circle_are_found() {
    let folder = demo().edit(
        FIRING,
        "align = { to = \"stand\"",
        "align = { to = \"computer\"",
    );
    refused(
        &folder,
        r#"
error: these clocks are tied in a circle
  at demo-data/twin-captive/firing.toml:22:17
     |
  22 | align = { to = "computer", by = "edge", here = "fire", there = "fire" }
     |                 ^^^^^^^^
  hint: tie one of them to `stand`
"#,
    );
}

#[test]
fn a_clock_that_is_not_tied_is_found() {
    let folder = demo().edit(FIRING, "align =", "# align =");
    refused(
        &folder,
        r#"
error: the clock of log `computer` is not tied to that of `stand`
  at demo-data/twin-captive/firing.toml:19:1
     |
  19 | [log.computer]
     | ^^^^^^^^^^^^^^
  hint: add align = { to = "stand", by = "edge", here = "..", there = ".." }
"#,
    );
}

#[test]
fn a_missing_certified_motor_is_shown_where_it_is_named() {
    let folder = demo().edit(FIRING, "\"finch-24.toml\"", "\"finch-42.toml\"");
    refused(
        &folder,
        r#"
error: there is no such file: demo-data/twin-captive/finch-42.toml
  at demo-data/twin-captive/firing.toml:40:15
     |
  40 | certified  = "finch-42.toml"                  # what its maker promises
     |               ^^^^^^^^^^^^^
  hint: a file named `finch-24.toml` lies in that folder
"#,
    );
}

#[test]
fn a_quote_that_is_not_closed_is_shown() {
    let folder = demo().edit(
        FIRING,
        "\"Twin captive firing 2\"",
        "\"Twin captive firing 2",
    );
    refused(
        &folder,
        r#"
error: this is not valid TOML: invalid basic string, expected `"`
  at demo-data/twin-captive/firing.toml:6:31
    |
  6 | title = "Twin captive firing 2
    |                               ^
  hint: text stands in quotes and ends on its line, tables in [ ]; no key stands twice
"#,
    );
}

#[test]
fn a_key_that_stands_twice_is_shown() {
    let folder = demo().edit(FIRING, "altitude =", "latitude =");
    refused(
        &folder,
        r#"
error: this is not valid TOML: duplicate key
  at demo-data/twin-captive/firing.toml:11:1
     |
  11 | latitude = "40 m"
     | ^^^^^^^^
  hint: text stands in quotes and ends on its line, tables in [ ]; no key stands twice
"#,
    );
}

#[test]
fn a_misspelt_mount_is_answered_with_the_words_there_are() {
    let folder = demo().edit(FIRING, "\"nozzle-down\" ", "\"nozle-down\" ");
    refused(
        &folder,
        r#"
error: `stand.mount` cannot be "nozle-down"
  at demo-data/twin-captive/firing.toml:33:22
     |
  33 | mount             = "nozle-down"             # decides the sign of the weight loss
     |                      ^^^^^^^^^^ did you mean "nozzle-down"?
  hint: use one of "nozzle-down", "nozzle-up", "level"
"#,
    );
}

#[test]
fn nine_motors_are_one_too_many() {
    let folder = demo().edit(FIRING, "[axis.pitch]", "[motor.m3]\n[motor.m4]\n[motor.m5]\n[motor.m6]\n[motor.m7]\n[motor.m8]\n[motor.m9]\n\n[axis.pitch]");
    refused(
        &folder,
        r#"
error: at most 8 motors can be told apart
  at demo-data/twin-captive/firing.toml:57:1
     |
  57 | [motor.m9]
     | ^^^^^^^^^^
"#,
    );
}

#[test]
fn an_empty_firing_file_is_told_what_it_needs() {
    let folder = demo().file(FIRING, "");
    refused(
        &folder,
        r#"
error: the firing file names no log
  in demo-data/twin-captive/firing.toml
  hint: add a table such as [log.stand] with file = "stand.csv"
"#,
    );
}

#[test]
fn a_pressure_of_several_motors_must_say_whose_it_is() {
    let chamber = |more: &str| {
        let table = format!(
            "[chamber]\npressure = {{ log = \"stand\", column = \"base_raw\", unit = \"kPa\" }}\n{more}\n[vehicle]"
        );
        demo().edit(FIRING, "[vehicle]", &table)
    };
    for (more, wanted) in [
        (
            "",
            "error: this file has several motors: whose chamber is it?",
        ),
        ("motor = \"lft\"\n", "did you mean \"left\"?"),
        (
            "motor = \"left\"\nspan = \"1 %\"\n",
            "unknown key `span` in `chamber`",
        ),
        (
            "motor = \"left\"\nambient = \"-3 kPa\"\n",
            "`chamber.ambient` is the absolute pressure of the air",
        ),
        (
            "motor = \"left\"\nthroat_diameter = \"6 kPa\"\n",
            "`chamber.throat_diameter` is a length",
        ),
    ] {
        let run = chamber(more).run(&["reduce", FIRING]);
        assert_eq!(run.code, 1, "{more}");
        assert!(
            run.stderr.contains(wanted),
            "{wanted} is not in\n{}",
            run.stderr
        );
        assert!(run.stderr.contains("firing.toml:"), "{}", run.stderr);
    }
}
