//! Compiling the changed crate: which changes the compiler refuses, and the test programs.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use crate::change::Change;

fn cargo(folder: &Path, words: &[&str]) -> std::process::Output {
    Command::new("cargo")
        .args(words)
        .current_dir(folder)
        .env("CARGO_TARGET_DIR", "built")
        .stderr(Stdio::inherit())
        .output()
        .expect("cargo runs")
}

/// Numbers of the changes that the compiler refuses.
pub fn failing_to_compile(folder: &Path, changes: &[Change]) -> BTreeSet<u32> {
    let known: BTreeSet<u32> = changes.iter().map(|one| one.id).collect();
    let out = cargo(
        folder,
        &["check", "--lib", "--quiet", "--message-format=json"],
    );
    let mut wrong = BTreeSet::new();
    for line in String::from_utf8_lossy(&out.stdout).lines() {
        let Ok(said) = serde_json::from_str::<serde_json::Value>(line) else {
            continue;
        };
        let said = &said["message"];
        if said["level"] != "error" {
            continue;
        }
        for span in said["spans"]
            .as_array()
            .into_iter()
            .flatten()
            .filter(|span| span["is_primary"] == true)
        {
            let file = folder.join(span["file_name"].as_str().unwrap_or_default());
            let end = span["byte_end"].as_u64().unwrap_or_default() as usize;
            let text = fs::read(&file).unwrap_or_default();
            let before = String::from_utf8_lossy(&text[..end.min(text.len())]).into_owned();
            // The switch that stands last before the error.
            let id = before.rsplit("mutant::on(").next().map(|rest| {
                rest.chars()
                    .take_while(char::is_ascii_digit)
                    .collect::<String>()
            });
            match id
                .and_then(|id| id.parse().ok())
                .filter(|id| known.contains(id))
            {
                Some(id) => {
                    wrong.insert(id);
                }
                None => eprintln!(
                    "an error that no change explains: {}",
                    said["rendered"].as_str().unwrap_or_default()
                ),
            }
        }
    }
    wrong
}

/// The programs of the unit tests and of the suite.
pub fn test_programs(folder: &Path) -> Vec<PathBuf> {
    let out = cargo(
        folder,
        &[
            "test",
            "--lib",
            "--test",
            "suite",
            "--no-run",
            "--quiet",
            "--message-format=json",
        ],
    );
    let text = String::from_utf8_lossy(&out.stdout).into_owned();
    text.lines()
        .filter_map(|line| serde_json::from_str::<serde_json::Value>(line).ok())
        .filter(|said| said["profile"]["test"] == true)
        .filter_map(|said| said["executable"].as_str().map(PathBuf::from))
        .map(|program| folder.join(program).canonicalize().expect("a test program"))
        .collect()
}
