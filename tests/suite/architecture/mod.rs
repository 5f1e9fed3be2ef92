//! Rules of the house that a machine can keep.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

mod imports;

use crate::runner::repository;

/// Modules from the top of the data flow to its foundation; imports run downwards only.
const LAYERS: [&[&str]; 20] = [
    &["cli"],
    // Beside each other: the one serves pages of files, the other of what is being recorded.
    &["desk", "watch"],
    &["render"],
    &["view"],
    &["ready"],
    &["archive"],
    &["plan"],
    &["flight"],
    &["control"],
    &["compare"],
    &["reduce"],
    // Uses the log and the search for a burn, and is used by nothing but the writers.
    &["look"],
    &["plant"],
    &["motors"],
    &["burn"],
    &["calibration"],
    &["log"],
    &["config"],
    &["numeric"],
    &[
        "quantity",
        "diagnostic",
        "finding",
        "series",
        "uncertainty",
        "cautions",
        "plausible",
    ],
];

/// Most lines of a source file, with its tests.
const LONGEST_FILE: usize = 600;

fn sources() -> Vec<(PathBuf, String)> {
    let mut out = Vec::new();
    let mut folders = vec![repository().join("src")];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap().flatten() {
            let path = entry.path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|ending| ending == "rs") {
                out.push((path.clone(), std::fs::read_to_string(&path).unwrap()));
            }
        }
    }
    out.sort();
    assert!(out.len() > 50, "the sources were not found");
    out
}

fn module_of(path: &Path) -> String {
    let inside = path.strip_prefix(repository().join("src")).unwrap();
    let first = inside
        .components()
        .next()
        .unwrap()
        .as_os_str()
        .to_string_lossy()
        .into_owned();
    first.trim_end_matches(".rs").to_owned()
}

fn layer(module: &str) -> Option<usize> {
    LAYERS.iter().position(|layer| layer.contains(&module))
}

#[test]
fn imports_run_downwards_only() {
    let mut wrong = Vec::new();
    // Files of tests may use whatever they test.
    let of_code = |(path, _): &(PathBuf, String)| !path.to_string_lossy().ends_with("tests.rs");
    for (path, text) in sources().into_iter().filter(of_code) {
        let module = module_of(&path);
        let Some(own) = layer(&module) else {
            assert!(
                ["lib", "main"].contains(&module.as_str()),
                "`{module}` has no layer"
            );
            continue;
        };
        for (number, line) in text.lines().enumerate() {
            let code = line.split("//").next().unwrap();
            for part in code.split("crate::").skip(1) {
                let name: String = part
                    .chars()
                    .take_while(|c| c.is_alphanumeric() || *c == '_')
                    .collect();
                if layer(&name).is_some_and(|other| other < own) {
                    wrong.push(format!("{}:{}: {line}", path.display(), number + 1));
                }
            }
        }
    }
    assert!(
        wrong.is_empty(),
        "imports that run upwards:\n{}",
        wrong.join("\n")
    );
}

/// Sources by their path inside `src`, without those of tests, which may use whatever they test.
fn library() -> Vec<imports::Source> {
    let root = repository().join("src");
    sources()
        .into_iter()
        // `main.rs` is a crate of its own.
        .filter(|(path, _)| !path.ends_with("main.rs"))
        .map(|(path, text)| {
            let inside = path.strip_prefix(&root).unwrap();
            (inside.to_string_lossy().replace('\\', "/"), text)
        })
        .filter(|(file, _)| !file.ends_with("tests.rs") && !file.ends_with("test_firing.rs"))
        .collect()
}

#[test]
fn no_files_import_from_one_another_in_a_circle() {
    let circles = imports::circles(&library());
    assert!(
        circles.is_empty(),
        "files that import from one another: {circles:#?}"
    );
}

/// What a simulator may know of the plant: its numbers as data, their names, and what was recorded.
const PLANT_AS_DATA: [&str; 3] = ["plant/parameter.rs", "plant/result.rs", "plant/trace.rs"];

/// A fit that shared its equations with the simulator that tests it would be tested against itself.
#[test]
fn the_fit_and_the_simulator_share_no_code() {
    // The rest of `plan` asks the fit itself what it would tell.
    let simulates = |file: &str| {
        let quick = ["plan/motion.rs", "plan/rehearsed.rs"];
        file.starts_with("flight/") || file.starts_with("plan/rehearsal/") || quick.contains(&file)
    };
    let of_plant = |file: &str| file.starts_with("plant/");
    let graph = imports::graph(&library());
    let mut wrong = Vec::new();
    for (file, imported) in &graph {
        for other in imported {
            let towards_fit = simulates(file) && of_plant(other);
            let known = PLANT_AS_DATA.contains(&other.as_str());
            if (towards_fit && !known) || (of_plant(file) && simulates(other)) {
                wrong.push(format!("{file} imports {other}"));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
    // The test would prove nothing if it did not see these imports.
    assert!(graph["plant/fit.rs"].contains("plant/axis_plant.rs"));
    let plain = |file: &&String| simulates(file) && graph[*file].contains("plant/parameter.rs");
    assert!(graph.keys().any(|file| plain(&file)));
}

#[test]
fn no_file_outgrows_its_idea() {
    let long: BTreeMap<_, _> = sources()
        .into_iter()
        .map(|(path, text)| (path, text.lines().count()))
        .filter(|(_, lines)| *lines > LONGEST_FILE)
        .collect();
    assert!(long.is_empty(), "{long:?}");
}

#[test]
fn every_source_file_says_what_it_is_for() {
    for (path, text) in sources() {
        let head = text.lines().next().unwrap_or("");
        assert!(head.starts_with("//! "), "{} has no head", path.display());
    }
}
