//! Mistakes in what was recorded: logs, columns, points, cells that were silent for a reason.

use super::*;

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
     |         ^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^ they miss one another by 992.000 s
  hint: they have no time in common: check the offset, and the units of both times
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
