//! Logs that change while they are read: they grow, shrink, vanish, end in the middle of a number.
#![cfg(unix)]

use std::fs::OpenOptions;
use std::io::Write;
use std::process::Stdio;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use sha2::{Digest, Sha256};

use super::{FIRING, STAND, demo, failed_well, files_of, lay, old_and_new, program};
use crate::runner::Folder;

fn hexadecimal(bytes: &[u8]) -> String {
    Sha256::digest(bytes)
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect()
}

fn digest_in(folder: &Folder, result: &str) -> String {
    let json = folder.json(result);
    let inputs = json["inputs"].as_array().unwrap().iter();
    let mut stand = inputs.filter(|input| input["file"] == "stand.csv");
    stand.next().unwrap()["sha256"].as_str().unwrap().to_owned()
}

/// Rows that go on where the log ends, at rest.
fn more_rows(log: &str, count: u64) -> Vec<u8> {
    let last = log.lines().last().unwrap();
    let (time, rest) = last.split_once(',').unwrap();
    let time: u64 = time.parse().unwrap();
    let rows = (1..=count).map(|nth| format!("{},{rest}\n", time + 1000 * nth));
    rows.collect::<String>().into_bytes()
}

#[test]
fn of_a_log_that_grows_while_it_is_read_some_beginning_is_taken() {
    let folder = demo();
    let start = std::fs::read(folder.path(STAND)).unwrap();
    let more = more_rows(&folder.read(STAND), 20_000);
    let (stop, written) = (AtomicBool::new(false), std::sync::Mutex::new(0));
    std::thread::scope(|scope| {
        scope.spawn(|| {
            let mut log = OpenOptions::new()
                .append(true)
                .open(folder.path(STAND))
                .unwrap();
            // Eleven bytes at a time: most beginnings end in the middle of a row.
            for part in more.chunks(11) {
                if stop.load(Ordering::Relaxed) {
                    break;
                }
                log.write_all(part).unwrap();
                *written.lock().unwrap() += part.len();
                std::thread::sleep(Duration::from_micros(100));
            }
        });
        for nth in 0..3 {
            let out = format!("out-{nth}");
            let run = program(&folder, &["reduce", FIRING, "--out", &out, "--quiet"]).status();
            assert_eq!(run.unwrap().code(), Some(0));
        }
        stop.store(true, Ordering::Relaxed);
    });
    let all: Vec<u8> = [start.as_slice(), &more[..*written.lock().unwrap()]].concat();
    for nth in 0..3 {
        let out = format!("out-{nth}");
        let digest = digest_in(&folder, &format!("{out}/result.json"));
        let mut lengths =
            (start.len()..=all.len()).filter(|length| (length - start.len()).is_multiple_of(11));
        let beginning = lengths
            .find(|length| hexadecimal(&all[..*length]) == digest)
            .unwrap();
        // The same beginning at rest gives the same results.
        std::fs::write(folder.path(STAND), &all[..beginning]).unwrap();
        let run = folder.run(&["reduce", FIRING, "--out", "again", "--quiet"]);
        assert_eq!(run.code, 0);
        assert_eq!(
            files_of(&folder.path("again")),
            files_of(&folder.path(&out))
        );
    }
}

#[test]
fn a_log_that_shrinks_or_vanishes_is_read_as_it_was_or_not_at_all() {
    let (old, _) = old_and_new();
    let folder = demo();
    let out = folder.path("out");
    let log = std::fs::read(folder.path(STAND)).unwrap();
    // A log of some megabytes, so that reading takes a while.
    let long = [log.as_slice(), &more_rows(&folder.read(STAND), 150_000)].concat();
    let mut codes = Vec::new();
    for (nth, delay_ms) in [0, 1, 2, 3, 4, 6, 8, 12].into_iter().enumerate() {
        std::fs::write(folder.path(STAND), &long).unwrap();
        lay(old, &out);
        let run = program(&folder, &["reduce", FIRING, "--out", "out", "--quiet"])
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        std::thread::sleep(Duration::from_millis(delay_ms));
        if nth % 2 == 0 {
            std::fs::remove_file(folder.path(STAND)).unwrap();
        } else {
            let file = OpenOptions::new()
                .write(true)
                .open(folder.path(STAND))
                .unwrap();
            file.set_len(log.len() as u64).unwrap();
        }
        let done = run.wait_with_output().unwrap();
        codes.push(done.status.code());
        if done.status.success() {
            let digest = digest_in(&folder, "out/result.json");
            assert!([hexadecimal(&long), hexadecimal(&log)].contains(&digest));
        } else {
            failed_well(done.status.code(), &done.stderr);
            assert_eq!(&files_of(&out), old);
        }
    }
    println!("exit codes: {codes:?}");
}

#[test]
fn a_number_that_is_cut_off_at_the_end_of_a_log_is_not_taken() {
    let rows: String = (0..400)
        .map(|row| format!("{},{}\n", row * 1000, 100_000 + row * 7919 % 13))
        .collect();
    let whole = format!("t_us,load\n{rows}");
    let least = |text: &str| {
        let folder = Folder::new().file("log.csv", text);
        let run = folder.run(&["look", "log.csv", "--json"]);
        assert_eq!(run.code, 0, "{}", run.stderr);
        let look: serde_json::Value = serde_json::from_str(&run.stdout).unwrap();
        let columns = look["logs"][0]["columns"].as_array().unwrap().clone();
        columns
            .into_iter()
            .find(|column| column["name"] == "load")
            .unwrap()["least"]
            .as_f64()
    };
    assert_eq!(least(&whole), Some(100_000.0));
    for cut in 1..=8 {
        assert_eq!(least(&whole[..whole.len() - cut]), Some(100_000.0), "{cut}");
    }
}

#[test]
fn a_pipe_in_place_of_a_log_is_refused_at_once() {
    let folder = demo();
    let made = std::process::Command::new("mkfifo")
        .arg(folder.path("pipe"))
        .status();
    assert!(made.unwrap().success());
    for log in ["pipe", "/dev/null"] {
        let run = folder.run(&["look", log]);
        let said = failed_well(Some(run.code), run.stderr.as_bytes());
        assert!(said.contains("a log has to be a file"), "{said}");
    }
}
