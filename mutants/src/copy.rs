//! The crate with all changes in it.

use std::collections::{BTreeSet, VecDeque};
use std::fs;
use std::path::{Path, PathBuf};

use syn::visit_mut::VisitMut;

use crate::change::{Change, Changer};

/// The switch: which change is on, and which were reached.
const SWITCH: &str = r#"
use std::sync::OnceLock;
use std::sync::atomic::{AtomicBool, Ordering};
static CHOSEN: OnceLock<u32> = OnceLock::new();
static REACHED: [AtomicBool; 20_000] = [const { AtomicBool::new(false) }; 20_000];
pub fn on(id: u32) -> bool {
    let chosen = *CHOSEN.get_or_init(|| std::env::var("MUTANT").map_or(0, |id| id.parse().unwrap()));
    if chosen == 0 && !REACHED[id as usize].swap(true, Ordering::Relaxed) {
        if let Ok(path) = std::env::var("REACHED") {
            use std::io::Write;
            let mut file = std::fs::OpenOptions::new().append(true).create(true).open(path).unwrap();
            writeln!(file, "{id}").unwrap();
        }
    }
    chosen == id
}
"#;

/// Writes the crate and gives its changes.
pub fn changed_crate(folder: &Path, modules: &[String], dropped: &BTreeSet<u32>) -> Vec<Change> {
    let source = folder.join("src");
    let _ = fs::remove_dir_all(&source);
    let all = with_what_they_use(modules);
    let mut changes = Vec::new();
    let mut next = 1;
    for module in &all {
        for path in files(module) {
            let to = folder.join(&path);
            fs::create_dir_all(to.parent().expect("a folder")).expect("a place to write");
            let text = fs::read_to_string(&path).expect("a source file");
            let name = path.file_stem().unwrap_or_default().to_string_lossy();
            // Files that hold nothing but tests and what they simulate stay as they are.
            let of_tests = name.ends_with("tests") || name == "simulated";
            if !modules.contains(module) || of_tests {
                fs::write(to, text).expect("written");
                continue;
            }
            let mut tree = syn::parse_file(&text).expect("Rust");
            let mut changer = Changer {
                file: path.display().to_string(),
                dropped,
                changes: Vec::new(),
                next,
            };
            changer.visit_file_mut(&mut tree);
            next = changer.next;
            changes.append(&mut changer.changes);
            fs::write(to, prettyplease::unparse(&tree)).expect("written");
        }
    }
    let mut root = "#![allow(warnings, arithmetic_overflow, unconditional_panic)]\npub mod mutant;\n".to_owned();
    for module in &all {
        root += &format!("pub mod {module};\n");
    }
    fs::write(source.join("lib.rs"), root).expect("written");
    fs::write(source.join("mutant.rs"), SWITCH).expect("written");
    surroundings(folder);
    changes
}

/// The modules and, in turn, all that their code names.
fn with_what_they_use(modules: &[String]) -> BTreeSet<String> {
    let mut all = BTreeSet::new();
    let mut open: VecDeque<String> = modules.iter().cloned().collect();
    while let Some(module) = open.pop_front() {
        let files = files(&module);
        if files.is_empty() || !all.insert(module) {
            continue;
        }
        for file in files {
            let text = fs::read_to_string(file).expect("a source file");
            for part in text.split("crate::").skip(1) {
                let name: String = part
                    .chars()
                    .take_while(|c| c.is_alphanumeric() || *c == '_')
                    .collect();
                open.push_back(name);
            }
        }
    }
    all
}

/// The files of a module.
fn files(module: &str) -> Vec<PathBuf> {
    let single = PathBuf::from(format!("src/{module}.rs"));
    if single.exists() {
        return vec![single];
    }
    let mut out = Vec::new();
    let mut open = vec![PathBuf::from(format!("src/{module}"))];
    while let Some(folder) = open.pop() {
        for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
            let path = entry.path();
            if path.is_dir() {
                open.push(path);
            } else if path.extension().is_some_and(|end| end == "rs") {
                out.push(path);
            }
        }
    }
    out.sort();
    out
}

/// Parts of the manifest that a library alone does not have, and libraries only the suite uses.
const NOT_KEPT: [&str; 4] = ["[test]]", "[bench]]", "lints.", "profile."];
const ONLY_THE_SUITE: [&str; 4] = ["headless_chrome", "jsonschema", "lopdf", "readme"];

/// The manifest and what the tests read.
fn surroundings(folder: &Path) {
    let manifest = fs::read_to_string("Cargo.toml").expect("the manifest");
    let kept: Vec<&str> = manifest
        .split("\n[")
        .filter(|part| !NOT_KEPT.iter().any(|start| part.starts_with(start)))
        .collect();
    let mut manifest: String = kept
        .join("\n[")
        .lines()
        .filter(|line| !ONLY_THE_SUITE.iter().any(|start| line.starts_with(start)))
        .map(|line| format!("{line}\n"))
        .collect();
    manifest += "\n[workspace]\n\n[profile.dev]\nopt-level = 1\ndebug = false\n";
    fs::write(folder.join("Cargo.toml"), manifest).expect("written");
    fs::copy("Cargo.lock", folder.join("Cargo.lock")).expect("copied");
    for data in ["motor-curves", "demo-data", "tests/data"] {
        copy_all(Path::new(data), &folder.join(data));
    }
}

fn copy_all(from: &Path, to: &Path) {
    fs::create_dir_all(to).expect("a folder");
    for entry in fs::read_dir(from).expect("a folder").flatten() {
        let (path, target) = (entry.path(), to.join(entry.file_name()));
        if path.is_dir() {
            copy_all(&path, &target);
        } else {
            fs::copy(path, target).expect("copied");
        }
    }
}
