//! Every command that computes, on the demo data, and all that it prints and writes.

use std::collections::BTreeMap;
use std::io;
use std::path::{Path, PathBuf};
use std::process::Command;

/// A program and how it is run.
#[derive(Debug, Clone)]
pub struct Way {
    pub program: PathBuf,
    /// Whether it has one core, and so one thread, to itself (by `taskset`, which Linux has).
    pub one_core: bool,
}

/// What a command printed and wrote: names and bytes.
pub type Left = BTreeMap<String, Vec<u8>>;

/// Runs every command in an empty folder; `seeds` is how many firings are rehearsed and reduced.
pub fn all(way: &Way, repository: &Path, seeds: u64) -> io::Result<Vec<(String, Left)>> {
    let folder = tempfile::tempdir()?;
    let folder = folder.path();
    for name in [
        "motor-curves",
        "demo-data/twin-captive",
        "demo-data/twin-one-dead",
    ] {
        std::fs::create_dir_all(folder.join(name))?;
        for entry in std::fs::read_dir(repository.join(name))?.flatten() {
            if entry.path().is_file() {
                std::fs::copy(entry.path(), folder.join(name).join(entry.file_name()))?;
            }
        }
    }
    let twin = "demo-data/twin-captive/firing.toml";
    let dead = "demo-data/twin-one-dead/firing.toml";
    let rehearsal = "demo-data/twin-captive/REHEARSAL.toml";
    let mut lines = vec![
        format!("reduce {twin} --out twin"),
        format!("reduce {dead} --out dead"),
        "look demo-data/twin-captive/stand.csv demo-data/twin-captive/computer.csv --start begun.toml".to_owned(),
        "calibrate demo-data/twin-captive/cell-base-points.csv --out cell.toml".to_owned(),
        format!("compare {twin} {dead} --out compared"),
        format!("fit {twin} {dead} --out fitted"),
        "tune twin/plant.json".to_owned(),
        "tune twin/plant.json --schedule always --out by-thrust".to_owned(),
        format!("simulate twin/plant.json --firing {twin} --runs 300"),
    ];
    for seed in 1..=seeds {
        lines.push(format!(
            "rehearse {rehearsal} --seed {seed} --out trial-{seed}"
        ));
        lines.push(format!(
            "reduce trial-{seed}/firing.toml --out trial-{seed}-reduced"
        ));
        lines.push(format!("tune trial-{seed}-reduced/plant.json"));
    }
    let mut before = BTreeMap::new();
    files(folder, "", &mut before)?;
    let mut out = Vec::new();
    for line in lines {
        let mut command = if way.one_core {
            let mut command = Command::new("taskset");
            command.args(["-c", "0"]).arg(&way.program);
            command
        } else {
            Command::new(&way.program)
        };
        let done = command
            .args(line.split(' '))
            .current_dir(folder)
            .env("COLUMNS", "80")
            .output()?;
        let mut after = BTreeMap::new();
        files(folder, "", &mut after)?;
        let mut left: Left = after.clone();
        left.retain(|name, bytes| before.get(name) != Some(bytes));
        left.insert("exit code".to_owned(), done.status.to_string().into_bytes());
        left.insert("stdout".to_owned(), done.stdout);
        left.insert("stderr".to_owned(), done.stderr);
        out.push((line, left));
        before = after;
    }
    Ok(out)
}

fn files(folder: &Path, under: &str, out: &mut Left) -> io::Result<()> {
    for entry in std::fs::read_dir(folder.join(under))?.flatten() {
        let name = format!("{under}{}", entry.file_name().to_string_lossy());
        if entry.path().is_dir() {
            files(folder, &format!("{name}/"), out)?;
        } else {
            out.insert(name, std::fs::read(entry.path())?);
        }
    }
    Ok(())
}

/// The names in which two ways differ.
pub fn differing(one: &Left, other: &Left) -> Vec<String> {
    let names = one
        .keys()
        .chain(other.keys().filter(|name| !one.contains_key(*name)));
    names
        .filter(|name| one.get(*name) != other.get(*name))
        .cloned()
        .collect()
}
