//! The repository with all changes in it.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

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
            file.write_all(format!("{id}\n").as_bytes()).unwrap();
        }
    }
    chosen == id
}
"#;

/// Writes the crate with its tests, and gives its changes.
pub fn changed_crate(folder: &Path, modules: &[String], dropped: &BTreeSet<u32>) -> Vec<Change> {
    let mut changes = Vec::new();
    let mut next = 1;
    for path in tracked() {
        let to = folder.join(&path);
        if !modules.contains(&module(&path)) || holds_only_tests(&path) {
            write_if_new(&to, &fs::read(&path).expect("a tracked file"));
            continue;
        }
        let text = fs::read_to_string(&path).expect("a source file");
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
        write_if_new(&to, prettyplease::unparse(&tree).as_bytes());
    }
    let root = fs::read_to_string("src/lib.rs").expect("the library's root");
    let root = format!(
        "#![allow(warnings, arithmetic_overflow, unconditional_panic)]\n{root}\npub mod mutant;\n"
    );
    write_if_new(&folder.join("src/lib.rs"), root.as_bytes());
    write_if_new(&folder.join("src/mutant.rs"), SWITCH.as_bytes());
    write_if_new(&folder.join("Cargo.toml"), manifest().as_bytes());
    changes
}

/// All files that the repository keeps.
fn tracked() -> Vec<PathBuf> {
    let out = Command::new("git").arg("ls-files").output();
    let names = String::from_utf8(out.expect("git runs").stdout).expect("names in UTF-8");
    let own = ["src/lib.rs", "Cargo.toml"];
    let kept = |name: &&str| !own.contains(name) && !name.starts_with("mutants/");
    names.lines().filter(kept).map(PathBuf::from).collect()
}

/// The module that a source file belongs to, or nothing.
pub fn module(path: &Path) -> String {
    let Ok(rest) = path.strip_prefix("src") else {
        return String::new();
    };
    let name = rest.iter().next().unwrap_or_default().to_string_lossy();
    name.trim_end_matches(".rs").to_owned()
}

/// Files of tests and of what they simulate stay as they are.
fn holds_only_tests(path: &Path) -> bool {
    let name = path.file_stem().unwrap_or_default().to_string_lossy();
    path.extension().is_none_or(|end| end != "rs") || name.ends_with("tests") || name == "simulated"
}

/// What is written anew is compiled anew.
fn write_if_new(to: &Path, bytes: &[u8]) {
    if fs::read(to).is_ok_and(|old| old == bytes) {
        return;
    }
    fs::create_dir_all(to.parent().expect("a folder")).expect("a place to write");
    fs::write(to, bytes).expect("written");
}

/// The manifest with neither lints nor profiles: changed code pleases no lint.
fn manifest() -> String {
    let manifest = fs::read_to_string("Cargo.toml").expect("the manifest");
    let kept: Vec<&str> = manifest
        .split("\n[")
        .filter(|part| !part.starts_with("lints.") && !part.starts_with("profile."))
        .collect();
    kept.join("\n[") + "\n[workspace]\n\n[profile.dev]\nopt-level = 2\ndebug = false\n"
}
