//! Every mistake a person can make, and the whole text that answers it.
//!
//! Each test makes one mistake in a copy of `demo-data/twin-captive` and holds the whole of stderr
//! against the answer it should get: what is wrong, where (file:line:column, source line, caret),
//! what to do. Stdout stays empty and nothing is written.

#![allow(clippy::unwrap_used, reason = "a test may stop on the first surprise")]

use crate::runner::{Folder, Run};

const FIRING: &str = "demo-data/twin-captive/firing.toml";
const STAND: &str = "demo-data/twin-captive/stand.csv";
const POINTS: &str = "demo-data/twin-captive/cell-base-points.csv";
const RESULTS: &str = "demo-data/twin-captive/reduced";

fn demo() -> Folder {
    Folder::copy_of("demo-data/twin-captive")
}

/// Holds a failed run against its message; the first line of `message` is left out.
fn failed(run: &Run, code: i32, message: &str) {
    assert_eq!(run.stderr, message.trim_start_matches('\n'));
    assert_eq!((run.code, run.stdout.as_str()), (code, ""));
}

/// Reduces a firing that must be refused with a message.
fn refused(folder: &Folder, message: &str) {
    failed(&folder.run(&["reduce", FIRING]), 1, message);
    assert_eq!(folder.files_in(RESULTS), [""; 0], "something was written");
}

#[test]
fn a_missing_log_is_shown_where_it_is_named() {
    let folder = demo().edit(FIRING, "file = \"stand.csv\"", "file = \"stnad.csv\"");
    refused(
        &folder,
        r#"
error: there is no such file: demo-data/twin-captive/stnad.csv
  at demo-data/twin-captive/firing.toml:15:9
     |
  15 | file = "stnad.csv"
     |         ^^^^^^^^^
  hint: a file named `stand.csv` lies in that folder
"#,
    );
}

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
fn a_missing_column_is_answered_with_the_columns_there_are() {
    let folder = demo().edit(FIRING, "column = \"base_raw\"", "column = \"base_row\"");
    refused(
        &folder,
        r#"
error: there is no column "base_row" in stand.csv
  at demo-data/twin-captive/firing.toml:25:39
     |
  25 | signal   = { log = "stand", column = "base_row" }
     |                                       ^^^^^^^^ did you mean "base_raw"?
  hint: the columns of that file: t_us, base_raw, tilt_pitch, tilt_yaw, fire
"#,
    );
}

#[test]
fn a_missing_time_column_is_too() {
    let folder = demo().edit(FIRING, "column = \"t_us\"", "column = \"t_ms\"");
    refused(
        &folder,
        r#"
error: there is no column "t_ms" in stand.csv
  at demo-data/twin-captive/firing.toml:16:20
     |
  16 | time = { column = "t_ms", unit = "us", counter_bits = 32 }
     |                    ^^^^ did you mean "t_us"?
  hint: the columns of that file: t_us, base_raw, tilt_pitch, tilt_yaw, fire
"#,
    );
}

#[test]
fn a_missing_column_of_an_alignment_is_too() {
    let folder = demo().edit(FIRING, "there = \"fire\"", "there = \"fir\"");
    refused(
        &folder,
        r#"
error: there is no column "fir" in stand.csv
  at demo-data/twin-captive/firing.toml:22:62
     |
  22 | align = { to = "stand", by = "edge", here = "fire", there = "fir" }
     |                                                              ^^^ did you mean "fire"?
  hint: the columns of that file: t_us, base_raw, tilt_pitch, tilt_yaw, fire
"#,
    );
}

#[test]
fn an_empty_log_says_so() {
    let folder = demo().file(STAND, "");
    refused(
        &folder,
        r#"
error: the file is empty
  in demo-data/twin-captive/stand.csv
  hint: the recorder may not have closed it: copy it from the card again
"#,
    );
}

#[test]
fn a_log_with_a_header_only_has_no_readings() {
    let folder = demo().file(STAND, "t_us,base_raw,tilt_pitch,tilt_yaw,fire\n");
    refused(
        &folder,
        r#"
error: no row of readings in 1 line
  at demo-data/twin-captive/stand.csv:1:1
    |
  1 | t_us,base_raw,tilt_pitch,tilt_yaw,fire
    | ^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^
  hint: a row is a line with a number in it, as many cells as most others have
  hint: if the separator is unusual, give delimiter = ".."
"#,
    );
}

#[test]
fn a_word_in_a_number_column_of_a_log_is_shown_with_a_caret() {
    let folder = demo();
    let log = folder.read(STAND);
    let line = log.lines().nth(411).unwrap();
    let (time, rest) = line.split_once(',').unwrap();
    let (_, rest) = rest.split_once(',').unwrap();
    let (carets, margin) = ("^^^^^", " ".repeat(time.len() + 1));
    refused(
        &folder.edit(STAND, line, &format!("{time},8l624,{rest}")),
        &format!(
            r#"
error: `8l624` in column "base_raw" is not a number
  at demo-data/twin-captive/stand.csv:412:12
      |
  412 | {time},8l624,{rest}
      | {margin}{carets} expected a number
  hint: if it stands for a missing reading, list it: missing = ["8l624"]
"#
        ),
    );
}

#[test]
fn a_time_column_in_the_wrong_unit_is_found_out() {
    let folder = demo().edit(FIRING, "unit = \"us\", counter", "unit = \"s\", counter");
    refused(
        &folder,
        r#"
error: readings would lie 1000 s apart
  at demo-data/twin-captive/firing.toml:16:20
     |
  16 | time = { column = "t_us", unit = "s", counter_bits = 32 }
     |                    ^^^^
  hint: is the unit of the time column right?
"#,
    );
}

#[test]
fn one_point_makes_no_curve() {
    let folder = demo().file(POINTS, "raw,mass_g\n81217,0\n");
    refused(
        &folder,
        r#"
error: too few for a calibration: 1 point at 1 load
  in demo-data/twin-captive/cell-base-points.csv
  hint: give at least three points at two loads; five loads, up and down, make a good curve
"#,
    );
}

#[test]
fn a_word_among_the_points_is_shown_with_a_caret() {
    let folder = demo().file(POINTS, "raw,mass_g\n81217,0\n101449,half\n121633,1000\n");
    refused(
        &folder,
        r#"
error: `half` in column "mass_g" is not a number
  at demo-data/twin-captive/cell-base-points.csv:3:8
    |
  3 | 101449,half
    |        ^^^^ expected a number
  hint: correct it, or take the whole row out
"#,
    );
}

#[test]
fn points_that_do_not_follow_the_load_are_refused() {
    let folder = demo().file(POINTS, "raw,mass_g\n5,0\n5,500\n5,1000\n");
    refused(
        &folder,
        r#"
error: the raw readings do not follow the load
  in demo-data/twin-captive/cell-base-points.csv
  hint: was the cell connected, and are raw and load in the right columns?
"#,
    );
}

#[test]
fn a_missing_points_file_is_shown_where_it_is_named() {
    let folder = demo().edit(
        FIRING,
        "\"cell-base-points.csv\"",
        "\"cell-bse-points.csv\"",
    );
    refused(
        &folder,
        r#"
error: there is no such file: demo-data/twin-captive/cell-bse-points.csv
  at demo-data/twin-captive/firing.toml:26:13
     |
  26 | points   = "cell-bse-points.csv"             # known masses against raw readings
     |             ^^^^^^^^^^^^^^^^^^^
  hint: a file named `cell-base-points.csv` lies in that folder
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
fn logs_without_common_time_are_found() {
    let folder = demo().edit(
        FIRING,
        "by = \"edge\", here = \"fire\", there = \"fire\"",
        "by = \"offset\", offset = \"1000 s\"",
    );
    refused(
        &folder,
        r#"
error: log `computer` runs from 1000.000 s to 1009.730 s of the first log, which runs from 0.000 s to 8.000 s
  at demo-data/twin-captive/firing.toml:22:9
     |
  22 | align = { to = "stand", by = "offset", offset = "1000 s" }
     |         ^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^
  hint: they have no time in common: check the offset, and the units of both times
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
fn a_window_that_ends_before_it_begins_is_refused() {
    let folder = demo().edit(
        FIRING,
        "[vehicle]",
        "[reduce]\nwindow = [\"6 s\", \"2 s\"]\n\n[vehicle]",
    );
    refused(
        &folder,
        r#"
error: `window` needs two times, the earlier one first
  at demo-data/twin-captive/firing.toml:79:10
     |
  79 | window = ["6 s", "2 s"]
     |          ^^^^^^^^^^^^^^
  hint: write window = ["2.1 s", "6.0 s"]
"#,
    );
}

#[test]
fn a_window_outside_the_record_is_not_taken_for_silence() {
    let folder = demo().edit(
        FIRING,
        "[vehicle]",
        "[reduce]\nwindow = [\"100 s\", \"200 s\"]\n\n[vehicle]",
    );
    refused(
        &folder,
        r#"
error: `window` holds no reading of the cells
  in demo-data/twin-captive/firing.toml
  hint: times count from the first row of the first log
"#,
    );
}

#[test]
fn a_window_within_the_burn_is_not_taken_for_silence() {
    let folder = demo().edit(
        FIRING,
        "[vehicle]",
        "[reduce]\nwindow = [\"3 s\", \"3.5 s\"]\n\n[vehicle]",
    );
    refused(
        &folder,
        r#"
error: `window` holds no whole burn, but the record burns from 2.52 s to 4.64 s
  in demo-data/twin-captive/firing.toml
  hint: let it begin two seconds before the burn and end three after it
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
fn letters_of_an_old_code_page_are_shown() {
    let folder = demo();
    std::fs::write(folder.path(FIRING), b"title = \"Twin\"\n# caf\xe9\n").unwrap();
    refused(
        &folder,
        r#"
error: the file is not UTF-8 text
  at demo-data/twin-captive/firing.toml:2:6
    |
  2 | # caf�
    |      ^ not a letter in UTF-8
  hint: save it again as UTF-8, as most editors do by themselves
"#,
    );
}

#[test]
fn a_fire_line_that_never_rises_ties_no_clocks() {
    let folder = demo();
    let low = folder.read(STAND).replace(",1\n", ",0\n");
    refused(
        &folder.file(STAND, &low),
        r#"
error: column "fire" of stand.csv never rises: it is 0 throughout
  at demo-data/twin-captive/firing.toml:22:62
     |
  22 | align = { to = "stand", by = "edge", here = "fire", there = "fire" }
     |                                                              ^^^^
  hint: name a column that goes from low to high once, such as the igniter line
  hint: or give by = "offset", or by = "shape" with two columns that move alike
"#,
    );
}

#[test]
fn a_cell_that_was_not_connected_is_not_taken_for_silence() {
    let folder = demo();
    let dead = changed_readings(&folder, |_| "nan".to_owned());
    refused(
        &folder.file(STAND, &dead),
        r#"
error: column "base_raw" holds no reading at all
  at demo-data/twin-captive/firing.toml:25:39
     |
  25 | signal   = { log = "stand", column = "base_raw" }
     |                                       ^^^^^^^^
  hint: whether a motor lit cannot be told from this record: treat it as live
"#,
    );
}

#[test]
fn a_cell_that_reads_the_same_throughout_is_not_taken_for_silence() {
    let folder = demo();
    let frozen = changed_readings(&folder, |_| "81230".to_owned());
    refused(
        &folder.file(STAND, &frozen),
        r#"
error: column "base_raw" reads 81230 throughout
  at demo-data/twin-captive/firing.toml:25:39
     |
  25 | signal   = { log = "stand", column = "base_raw" }
     |                                       ^^^^^^^^
  hint: is the cell connected? until that is known treat every motor as live
"#,
    );
}

#[test]
fn a_cell_that_reads_the_wrong_way_is_not_taken_for_silence() {
    let folder = demo();
    let turned = changed_readings(&folder, |raw| (160_000 - raw).to_string());
    let run = folder.file(STAND, &turned).run(&["reduce", FIRING]);
    let (first, rest) = run.stderr.split_once('\n').unwrap();
    // The numbers are those of the demo, which may be made anew.
    assert!(first.starts_with("error: the load falls by "), "{first}");
    assert!(
        first.ends_with(" s, where thrust would make it rise"),
        "{first}"
    );
    assert_eq!(
        rest,
        r#"  at demo-data/twin-captive/firing.toml:25:39
     |
  25 | signal   = { log = "stand", column = "base_raw" }
     |                                       ^^^^^^^^
  hint: a load is positive when it presses the cell the way thrust does: turn the sign of the loads, or of `scale`
  hint: if somebody lifted the rig then, give window = [..] without that
"#
    );
    assert_eq!((run.code, run.stdout.as_str()), (1, ""));
}

/// The stand's log with each reading of the cell changed.
fn changed_readings(folder: &Folder, change: impl Fn(i64) -> String) -> String {
    let text = folder.read(STAND);
    let mut lines = text.lines();
    let mut out = format!("{}\n", lines.next().unwrap());
    for line in lines {
        let mut cells: Vec<String> = line.split(',').map(str::to_owned).collect();
        cells[1] = change(cells[1].parse().unwrap());
        out += &cells.join(",");
        out.push('\n');
    }
    out
}

#[test]
fn a_missing_firing_file_is_answered_with_the_nearest() {
    let folder = demo();
    failed(
        &folder.run(&["reduce", "demo-data/twin-captive/firng.toml"]),
        1,
        r#"
error: there is no such file
  in demo-data/twin-captive/firng.toml
  hint: a file named `firing.toml` lies in that folder
"#,
    );
    assert_eq!(folder.files_in(RESULTS), [""; 0]);
}

#[test]
fn a_folder_given_as_firing_file_is_answered_with_the_file_in_it() {
    let folder = demo();
    failed(
        &folder.run(&["reduce", "demo-data/twin-captive"]),
        1,
        r#"
error: this is a folder, not a file
  in demo-data/twin-captive
  hint: name the firing file in it: demo-data/twin-captive/firing.toml
"#,
    );
    assert_eq!(folder.files_in(RESULTS), [""; 0]);
}

#[test]
fn a_file_where_the_results_should_go_stays_as_it_is() {
    let folder = demo().file("taken", "mine");
    failed(
        &folder.run(&["reduce", FIRING, "--out", "taken"]),
        1,
        r#"
error: results need a folder, and this is a file
  in taken
  hint: move it away, or name another folder with --out DIR
"#,
    );
    assert_eq!(folder.files_in(RESULTS), [""; 0]);
}

#[test]
fn a_misspelt_command_is_answered_with_the_nearest() {
    let folder = demo();
    failed(
        &folder.run(&["redcue", FIRING]),
        2,
        r#"
error: unrecognized subcommand 'redcue'

  tip: a similar subcommand exists: 'reduce'

Usage: burnwright [OPTIONS] <COMMAND>

For more information, try '--help'.
"#,
    );
    assert_eq!(folder.files_in(RESULTS), [""; 0]);
}

#[test]
fn a_missing_firing_file_on_the_command_line_is_asked_for() {
    let folder = demo();
    failed(
        &folder.run(&["reduce"]),
        2,
        r#"
error: the following required arguments were not provided:
  <FIRING>

Usage: burnwright reduce <FIRING>

For more information, try '--help'.
"#,
    );
    assert_eq!(folder.files_in(RESULTS), [""; 0]);
}

#[test]
fn a_misspelt_option_is_answered_with_the_nearest() {
    let folder = demo();
    failed(
        &folder.run(&["reduce", FIRING, "--strikt"]),
        2,
        r#"
error: unexpected argument '--strikt' found

  tip: a similar argument exists: '--strict'

Usage: burnwright reduce --strict <FIRING>

For more information, try '--help'.
"#,
    );
    assert_eq!(folder.files_in(RESULTS), [""; 0]);
}

#[test]
fn a_rehearsal_without_a_folder_is_asked_for_it() {
    let folder = demo();
    failed(
        &folder.run(&["rehearse", FIRING]),
        2,
        r#"
error: the following required arguments were not provided:
  --out <DIR>

Usage: burnwright rehearse --out <DIR> <REHEARSAL>

For more information, try '--help'.
"#,
    );
    assert_eq!(folder.files_in(RESULTS), [""; 0]);
}
