//! Ended before its time: by the kernel at any moment, by Ctrl-C, by a request to end.
#![cfg(unix)]

use std::os::unix::process::ExitStatusExt;
use std::path::Path;
use std::process::{Child, Command};
use std::time::{Duration, Instant};

use super::{
    CHANGED, FIRING, Files, TEMPORARY, demo, files_of, lay, old_and_new, program, temporaries,
};
use crate::runner::Folder;
use crate::studies::study;

const SIGINT: i32 = 2;
const SIGKILL: i32 = 9;
const SIGTERM: i32 = 15;

/// Numbers that are nowhere near each other, the same in every run.
struct Scattered(u64);

impl Scattered {
    /// A share of a time.
    fn of(&mut self, time: Duration) -> Duration {
        // The multiplier and increment of Knuth's MMIX.
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        time.mul_f64((self.0 >> 11) as f64 / (1_u64 << 53) as f64)
    }
}

fn changed_run(folder: &Folder) -> Child {
    program(folder, &["reduce", CHANGED, "--out", "out", "--quiet"])
        .spawn()
        .unwrap()
}

/// Waits until a folder's names are as wanted, or the program has ended.
fn waited(out: &Path, child: &mut Child, wanted: impl Fn(&[String]) -> bool) {
    let names = || {
        let entries = std::fs::read_dir(out).unwrap().flatten();
        let names = entries.map(|entry| entry.file_name().to_string_lossy().into_owned());
        names.collect::<Vec<_>>()
    };
    while !wanted(&names()) && child.try_wait().unwrap().is_none() {
        std::thread::yield_now();
    }
}

fn is_temporary_of(name: &str, of: &str) -> bool {
    name.starts_with(TEMPORARY) && name.ends_with(of)
}

/// Waits until the first temporary file is there.
fn writing_begun(out: &Path, child: &mut Child) {
    waited(out, child, |names| {
        names.iter().any(|name| is_temporary_of(name, ""))
    });
}

/// Waits until the first file is renamed: the last one's temporary is there, the first one's is not any more.
fn renaming_begun(out: &Path, child: &mut Child) {
    waited(out, child, |names| {
        let any = |of| names.iter().any(|name| is_temporary_of(name, of));
        any("-plant.h") && !any("-report.html")
    });
}

/// How long a run takes, and its writing.
fn durations(folder: &Folder) -> (Duration, Duration) {
    let out = folder.path("out");
    let start = Instant::now();
    let mut child = changed_run(folder);
    writing_begun(&out, &mut child);
    let begun = start.elapsed();
    child.wait().unwrap();
    (start.elapsed(), start.elapsed() - begun)
}

/// Where a kill came.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Came {
    Before,
    Preparing,
    Renaming,
    After,
}

/// Holds what a kill left against the old and the new files: each is the one or the other, whole; and old
/// ones beside new ones are told by their temporary files.
fn judged(left: &Files, old: &Files, new: &Files) -> Came {
    let names: Vec<&String> = left
        .keys()
        .filter(|name| !name.starts_with(TEMPORARY))
        .collect();
    assert!(names.iter().copied().eq(old.keys()), "{names:?}");
    let is_old = |name: &&String| {
        let bytes = &left[*name];
        assert!(
            bytes == &old[*name] || bytes == &new[*name],
            "{name} is neither"
        );
        bytes != &new[*name]
    };
    let differing = old
        .iter()
        .filter(|(name, bytes)| new[*name] != **bytes)
        .count();
    let olds: Vec<&String> = names.into_iter().filter(is_old).collect();
    if olds.len() == differing {
        return if temporaries(left) == 0 {
            Came::Before
        } else {
            Came::Preparing
        };
    }
    for name in &olds {
        let ending = format!("-{name}");
        let told = left.keys().any(|left| is_temporary_of(left, &ending));
        assert!(told, "{name} is old among new ones, and nothing tells it");
    }
    if temporaries(left) == 0 {
        Came::After
    } else {
        Came::Renaming
    }
}

#[test]
fn after_a_kill_every_file_is_the_old_one_or_the_new_one() {
    let usual = study(8, 24).0;
    let kills = std::env::var("BURNWRIGHT_KILLS").map_or(usual, |kills| kills.parse().unwrap());
    let (old, new) = old_and_new();
    let folder = demo();
    let out = folder.path("out");
    lay(old, &out);
    let (whole, writing) = durations(&folder);
    let mut scattered = Scattered(1);
    let mut came = Vec::new();
    for nth in 0..kills {
        lay(old, &out);
        let mut child = changed_run(&folder);
        // One of four at any moment, one as soon as a file is renamed, two while files are written.
        match nth % 4 {
            0 => std::thread::sleep(scattered.of(whole)),
            1 => renaming_begun(&out, &mut child),
            _ => {
                writing_begun(&out, &mut child);
                let share = scattered.of(writing.mul_f64(0.9));
                let since = Instant::now();
                while since.elapsed() < share {
                    std::hint::spin_loop();
                }
            }
        }
        child.kill().unwrap();
        let ended = child.wait().unwrap();
        assert!(
            ended.signal() == Some(SIGKILL) || ended.success(),
            "{ended}"
        );
        let left = files_of(&out);
        came.push(judged(&left, old, new));
        // The next run is not disturbed by what is left, and sweeps it up.
        if nth % 8 == 1 {
            assert!(changed_run(&folder).wait().unwrap().success());
            assert_eq!(&files_of(&out), new);
        }
    }
    let count = |what: Came| came.iter().filter(|one| **one == what).count();
    let (preparing, renaming) = (count(Came::Preparing), count(Came::Renaming));
    println!(
        "{kills} kills: {} before writing, {preparing} while the new files were prepared, {renaming} between \
         two renames, {} after; a run takes {} ms, its writing {} ms",
        count(Came::Before),
        count(Came::After),
        whole.as_millis(),
        writing.as_millis()
    );
    assert!(
        preparing + renaming > 0,
        "no kill came while files were written"
    );
}

fn signalled(child: &Child, signal: i32) {
    let line = format!("kill -{signal} {} 2>/dev/null", child.id());
    // It may have ended by itself.
    Command::new("sh").args(["-c", &line]).status().unwrap();
}

#[test]
fn interrupts_and_requests_to_end_leave_the_old_files_or_the_new_ones_and_no_litter() {
    let (old, new) = old_and_new();
    let folder = demo();
    let out = folder.path("out");
    lay(old, &out);
    let (whole, writing) = durations(&folder);
    let mut scattered = Scattered(7);
    let mut by_signal = 0;
    for nth in 0..12 {
        let signal = if nth % 2 == 0 { SIGINT } else { SIGTERM };
        lay(old, &out);
        let mut child = changed_run(&folder);
        if nth < 4 {
            std::thread::sleep(scattered.of(whole.mul_f64(0.5)));
        } else {
            writing_begun(&out, &mut child);
            std::thread::sleep(scattered.of(writing));
        }
        signalled(&child, signal);
        let ended = child.wait().unwrap();
        assert!(ended.signal() == Some(signal) || ended.success(), "{ended}");
        by_signal += usize::from(!ended.success());
        let left = files_of(&out);
        assert!(&left == old || &left == new, "{:?} {ended}", left.keys());
    }
    println!("12 signals, {by_signal} ended the program");
    assert!(by_signal > 3, "{by_signal}");
}

#[test]
fn a_signal_that_whoever_started_the_program_ignores_is_ignored() {
    let (old, new) = old_and_new();
    let folder = demo();
    let out = folder.path("out");
    lay(old, &out);
    let line = "trap '' INT; exec \"$@\"";
    let mut child = Command::new("sh")
        .args(["-c", line, "sh", env!("CARGO_BIN_EXE_burnwright")])
        .args(["reduce", CHANGED, "--out", "out", "--quiet"])
        .current_dir(folder.path(""))
        .spawn()
        .unwrap();
    writing_begun(&out, &mut child);
    for _ in 0..3 {
        signalled(&child, SIGINT);
    }
    let ended = child.wait().unwrap();
    if cfg!(target_os = "linux") {
        assert!(ended.success(), "{ended}");
        assert_eq!(&files_of(&out), new);
    }
}

#[test]
fn what_a_killed_run_left_goes_with_the_next_and_nothing_else_does() {
    let (_, new) = old_and_new();
    let folder = demo()
        .file("out/.burnwright-aB3dE6-result.json", "half")
        .file("out/.burnwright-aB3dE6-plant.json", "half")
        .file("out/.burnwright-aB3dE6-gains.json", "another command's")
        .file("out/notes.txt", "mine");
    assert!(changed_run(&folder).wait().unwrap().success());
    let mut left = files_of(&folder.path("out"));
    assert!(left.remove(".burnwright-aB3dE6-gains.json").is_some());
    assert!(left.remove("notes.txt").is_some());
    assert_eq!(&left, new);
}

#[test]
fn a_plant_of_an_earlier_firing_does_not_stay_beside_results_without_one() {
    let (old, _) = old_and_new();
    let folder = demo();
    let text = folder.read(FIRING);
    let tables: Vec<&str> = text.split("\n[").collect();
    let kept: Vec<&str> = tables
        .into_iter()
        .filter(|table| !table.starts_with("axis"))
        .collect();
    let folder = folder.file("demo-data/twin-captive/no-axes.toml", &kept.join("\n["));
    let out = folder.path("out");
    lay(old, &out);
    let run = folder.run(&[
        "reduce",
        "demo-data/twin-captive/no-axes.toml",
        "--out",
        "out",
        "--quiet",
    ]);
    assert_eq!((run.code, run.stderr.as_str()), (0, ""));
    let names: Vec<String> = files_of(&out).into_keys().collect();
    assert_eq!(names, ["report.html", "result.json", "thrust.csv"]);
}

#[test]
fn two_runs_into_one_folder_leave_the_files_of_one_of_them() {
    let (old, new) = old_and_new();
    let folder = demo();
    let out = folder.path("out");
    for _ in 0..3 {
        let other = program(&folder, &["reduce", FIRING, "--out", "out", "--quiet"]).spawn();
        let ended = changed_run(&folder).wait().unwrap();
        assert!(ended.success() && other.unwrap().wait().unwrap().success());
        let left = files_of(&out);
        assert!(&left == old || &left == new, "{:?}", left.keys());
    }
}
