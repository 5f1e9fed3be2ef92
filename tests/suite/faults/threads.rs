//! The same bytes on one thread and on several.

#[path = "../../../studies/same_bytes/commands.rs"]
mod commands;

use std::path::PathBuf;
use std::process::Command;

use commands::{Way, all, differing};

use crate::runner::repository;

#[test]
fn one_thread_and_several_print_and_write_the_same_bytes() {
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let pinned = Command::new("taskset").args(["-c", "0", "true"]).status();
    if cores < 2 || !pinned.is_ok_and(|status| status.success()) {
        println!("skipped: it takes two cores and `taskset`");
        return;
    }
    let way = |one_core| Way {
        program: PathBuf::from(env!("CARGO_BIN_EXE_burnwright")),
        one_core,
    };
    let alone = all(&way(true), &repository(), 1).unwrap();
    let several = all(&way(false), &repository(), 1).unwrap();
    assert_eq!(alone.len(), several.len());
    for ((line, one), (_, other)) in alone.iter().zip(&several) {
        assert_eq!(
            String::from_utf8_lossy(&one["exit code"]),
            "exit status: 0",
            "{line}"
        );
        assert!(one.len() > 3, "{line} wrote nothing");
        assert_eq!(differing(one, other), [""; 0], "{line}");
    }
}
