//! Every mistake a person can make, and the whole text that answers it.
//!
//! Each test makes one mistake in a copy of `demo-data/twin-captive` and holds the whole of stderr
//! against the answer it should get: what is wrong, where (file:line:column, source line, caret),
//! what to do. Stdout stays empty and nothing is written.

#![allow(clippy::unwrap_used, reason = "a test may stop on the first surprise")]

mod command_line;
mod firing_file;
mod recordings;

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
