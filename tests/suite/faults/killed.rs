//! Ended before its time, by the kernel or by a signal, and two runs at once.
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

/// Interrupt, kill, request to end.
const SIGNALS: [i32; 3] = [2, 9, 15];

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

fn is_temporary(name: &str) -> bool {
    name.starts_with(TEMPORARY)
}

/// Waits until the first temporary file is there.
fn writing_begun(out: &Path, child: &mut Child) {
    waited(out, child, |names| {
        names.iter().any(|name| is_temporary(name))
    });
}

/// Waits until a temporary file was there and another is renamed: there are fewer than files to be.
fn renaming_begun(out: &Path, child: &mut Child) {
    let count = |names: &[String]| names.iter().filter(|name| is_temporary(name)).count();
    waited(out, child, |names| count(names) == 5);
    waited(out, child, |names| count(names) < 5);
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

/// Holds what a kill left against the old and the new files: each is the one or the other, whole.
fn judged(left: &Files, old: &Files, new: &Files) -> Came {
    let mut is_new = Vec::new();
    for (name, bytes) in left.iter().filter(|(name, _)| !is_temporary(name)) {
        assert!(
            bytes == &old[name] || bytes == &new[name],
            "{name} is neither"
        );
        if old[name] != new[name] {
            is_new.push(bytes == &new[name]);
        }
    }
    let names = left.keys().filter(|name| !is_temporary(name));
    assert!(names.eq(old.keys()), "{:?}", left.keys());
    if is_new.iter().all(|new| *new) {
        Came::After
    } else if is_new.iter().any(|new| *new) {
        Came::Renaming
    } else if temporaries(left) > 0 {
        Came::Preparing
    } else {
        Came::Before
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
    let count = |came: &[Came], what: Came| came.iter().filter(|one| **one == what).count();
    let midway = |came: &[Came]| count(came, Came::Preparing) + count(came, Came::Renaming);
    // On a busy machine the few of a newcomer's run may all come early or late: then some more.
    for nth in 0..8 * kills {
        if nth >= kills && midway(&came) > 0 {
            break;
        }
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
        let signal = SIGNALS[usize::try_from(nth).unwrap() % SIGNALS.len()];
        signalled(&child, signal);
        let ended = child.wait().unwrap();
        assert!(ended.signal() == Some(signal) || ended.success(), "{ended}");
        let left = files_of(&out);
        came.push(judged(&left, old, new));
        // The next run is not disturbed by what is left.
        if nth % 8 == 1 {
            assert!(changed_run(&folder).wait().unwrap().success());
            let mut left = files_of(&out);
            left.retain(|name, _| !is_temporary(name));
            assert_eq!(&left, new);
        }
    }
    println!(
        "{} kills: {} before writing, {} while the new files were prepared, {} between two renames, {} after; a run \
         takes {} ms, its writing {} ms",
        came.len(),
        count(&came, Came::Before),
        count(&came, Came::Preparing),
        count(&came, Came::Renaming),
        count(&came, Came::After),
        whole.as_millis(),
        writing.as_millis()
    );
    assert!(midway(&came) > 0, "no kill came while files were written");
}

fn signalled(child: &Child, signal: i32) {
    let line = format!("kill -{signal} {} 2>/dev/null", child.id());
    // It may have ended by itself.
    Command::new("sh").args(["-c", &line]).status().unwrap();
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
fn two_runs_into_one_folder_leave_every_file_whole() {
    let (old, new) = old_and_new();
    let folder = demo();
    let out = folder.path("out");
    for _ in 0..3 {
        let other = program(&folder, &["reduce", FIRING, "--out", "out", "--quiet"]).spawn();
        let ended = changed_run(&folder).wait().unwrap();
        assert!(ended.success() && other.unwrap().wait().unwrap().success());
        let left = files_of(&out);
        assert_eq!(temporaries(&left), 0, "{:?}", left.keys());
        judged(&left, old, new);
    }
}
