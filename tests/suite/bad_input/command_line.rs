//! Mistakes on the command line and in the folders it names.

use super::*;

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
  hint: move it away, or name another folder
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
  <FIRING.toml>...

Usage: burnwright reduce <FIRING.toml>...

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

Usage: burnwright reduce --strict <FIRING.toml>...

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
