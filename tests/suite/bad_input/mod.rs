//! The table of bad inputs: `tests/suite/bad_input/*.toml`, one mistake and its whole answer a case.
//!
//! A case starts from a copy of the demo (or of the demo with what was made from it), changes it, runs
//! one command, and holds the exit code and every byte of stderr against what stands there. Stdout must
//! be empty, and no file may have come, gone or changed. `BURNWRIGHT_UPDATE=1` writes the answers anew.

mod change;
mod in_part;
mod run;

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::OnceLock;
use std::sync::atomic::{AtomicUsize, Ordering};

use serde::Deserialize;

use crate::runner::{Folder, repository};
use change::Change;

/// One mistake.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Case {
    /// What is wrong, in a few words.
    name: String,
    /// What it starts from.
    #[serde(default)]
    from: From,
    /// What is done to it, in order.
    #[serde(default)]
    change: Vec<Change>,
    /// The command, its words parted by blanks.
    run: String,
    /// Its exit code.
    code: i32,
    /// The whole of stderr.
    answer: String,
}

#[derive(Deserialize, Default, Clone, Copy, PartialEq, Eq)]
#[serde(rename_all = "lowercase")]
enum From {
    /// `demo-data/twin-captive`.
    #[default]
    Firing,
    /// The same with `plant.json`, `gains.json` and a `vehicle.toml`, in the folder itself.
    Plant,
    /// An empty folder.
    Nothing,
}

#[derive(Deserialize)]
struct Table {
    case: Vec<Case>,
}

const DEMO: &str = "demo-data/twin-captive";

fn file_of(group: &str) -> PathBuf {
    repository().join(format!("tests/suite/bad_input/{group}.toml"))
}

fn updating() -> bool {
    std::env::var_os("BURNWRIGHT_UPDATE").is_some()
}

fn cases(group: &str) -> Vec<Case> {
    let text = std::fs::read_to_string(file_of(group)).unwrap();
    let table: Table = toml::from_str(&text).unwrap_or_else(|why| panic!("{group}: {why}"));
    table.case
}

fn start(from: From) -> Folder {
    match from {
        From::Firing => Folder::copy_of(DEMO),
        From::Nothing => Folder::new(),
        From::Plant => {
            static MADE: OnceLock<BTreeMap<String, String>> = OnceLock::new();
            let made = MADE.get_or_init(plant_files);
            made.iter().fold(Folder::new(), |folder, (name, text)| {
                folder.file(&format!("{DEMO}/{name}"), text)
            })
        }
    }
}

/// What `reduce` and `tune` make of the demo, and a vehicle to fly.
fn plant_files() -> BTreeMap<String, String> {
    let folder = Folder::copy_of(DEMO);
    for words in [
        "reduce firing.toml --quiet",
        "tune reduced/plant.json --quiet",
    ] {
        let words: Vec<&str> = words.split(' ').collect();
        let file = format!("{DEMO}/{}", words[1]);
        let made = folder.run(&[words[0], &file, words[2]]);
        assert_eq!(made.code, 0, "{}", made.stderr);
    }
    let mut out = BTreeMap::new();
    for name in ["plant.json", "gains.json"] {
        let text = folder.read(&format!("{DEMO}/reduced/{name}"));
        out.insert(name.to_owned(), text);
    }
    let vehicle = "[vehicle]\nmass = \"1.18 kg\"\npropellant = \"40 g\"\n\n[release]\ntilt = \"3 deg\"\n\n\
                   [wind]\ngust_force = \"1 N\"\n\n[air]\ndrag_area_m2 = 0.003\n\n[spread]\nthrust = \"2 %\"\n";
    out.insert("vehicle.toml".to_owned(), vehicle.to_owned());
    out
}

/// Runs every case of a group on two threads; what does not agree is told together.
fn hold(group: &str) {
    let cases = cases(group);
    let next = AtomicUsize::new(0);
    let mut answers: Vec<(usize, run::Answer)> = std::thread::scope(|scope| {
        let work = || {
            let mut mine = Vec::new();
            while let Some((at, case)) = taken(&cases, &next) {
                mine.push((at, run::one(case)));
            }
            mine
        };
        let threads = [scope.spawn(work), scope.spawn(work)];
        threads
            .into_iter()
            .flat_map(|thread| thread.join().unwrap())
            .collect()
    });
    answers.sort_by_key(|(at, _)| *at);
    if updating() {
        update(group, &answers);
    }
    let mut wrong = String::new();
    for (case, (_, answer)) in cases.iter().zip(&answers) {
        for complaint in &answer.complaints {
            wrong += &format!("--- {}: {complaint}\n", case.name);
        }
        let as_held = answer.code == case.code && answer.stderr == case.answer;
        if !updating() && !as_held {
            wrong += &format!(
                "--- {}\nshould end with {} and say\n{}but ends with {} and says\n{}",
                case.name, case.code, case.answer, answer.code, answer.stderr
            );
        }
    }
    assert!(wrong.is_empty(), "{group}:\n{wrong}");
}

fn taken<'a>(cases: &'a [Case], next: &AtomicUsize) -> Option<(usize, &'a Case)> {
    let at = next.fetch_add(1, Ordering::Relaxed);
    cases.get(at).map(|case| (at, case))
}

/// Writes codes and answers anew; the rest of the file stays as it is.
fn update(group: &str, answers: &[(usize, run::Answer)]) {
    let text = std::fs::read_to_string(file_of(group)).unwrap();
    let mut parts = text.split("\ncode = ");
    let mut out = parts.next().unwrap().to_owned();
    for (part, (_, answer)) in parts.zip(answers) {
        let (_, rest) = part.split_once("answer = '''\n").unwrap();
        let (_, rest) = rest.split_once("'''").unwrap();
        assert!(!answer.stderr.contains("'''"));
        out += &format!(
            "\ncode = {}\nanswer = '''\n{}'''{rest}",
            answer.code, answer.stderr
        );
    }
    std::fs::write(file_of(group), out).unwrap();
}

macro_rules! groups {
    ($($group:ident)*) => {
        $(#[test]
        fn $group() {
            hold(stringify!($group));
        })*

        /// A file of cases each.
        const GROUPS: &[&str] = &[$(stringify!($group)),*];
    };
}

groups! { command_line firing_file logs packed calibration motors plan plant rehearsal bombs }

#[test]
fn names_of_cases_are_different() {
    let mut names: Vec<String> = GROUPS
        .iter()
        .flat_map(|group| cases(group))
        .map(|case| case.name)
        .collect();
    let all = names.len();
    names.sort();
    names.dedup();
    assert_eq!(names.len(), all);
    assert!(all >= 100, "{all}");
}
