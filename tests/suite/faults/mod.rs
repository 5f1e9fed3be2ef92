//! What goes wrong around the program: it is killed, the disk is full, a log changes while it is read, a pipe
//! is closed. Real processes and real files; `docs/faults.md` is the table of it.

mod disk;
mod killed;
mod logs;
mod surroundings;
mod threads;

use std::collections::BTreeMap;
use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::sync::OnceLock;

use crate::runner::Folder;

const FIRING: &str = "demo-data/twin-captive/firing.toml";
const STAND: &str = "demo-data/twin-captive/stand.csv";

/// What every temporary file begins with.
const TEMPORARY: &str = ".burnwright-";

/// Names and bytes of the files of a folder.
type Files = BTreeMap<String, Vec<u8>>;

/// The demo, and the same firing under another title.
fn demo() -> Folder {
    let folder = Folder::copy_of("demo-data/twin-captive");
    let text = folder.read(FIRING);
    let changed = text.replacen(
        "title = \"Twin captive firing 2\"",
        "title = \"Another\"",
        1,
    );
    assert_ne!(text, changed);
    folder.file("demo-data/twin-captive/changed.toml", &changed)
}

const CHANGED: &str = "demo-data/twin-captive/changed.toml";

fn program(folder: &Folder, args: &[&str]) -> Command {
    let mut out = Command::new(env!("CARGO_BIN_EXE_burnwright"));
    out.args(args)
        .current_dir(folder.path(""))
        .env("NO_COLOR", "1")
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null());
    out
}

/// The program begun by a line of the shell, in which `"$@"` calls it.
fn by_shell(folder: &Folder, line: &str, args: &[&str]) -> Output {
    Command::new("sh")
        .args(["-c", line, "sh", env!("CARGO_BIN_EXE_burnwright")])
        .args(args)
        .current_dir(folder.path(""))
        .output()
        .unwrap()
}

fn files_of(folder: &Path) -> Files {
    let entries = std::fs::read_dir(folder).unwrap().flatten();
    entries
        .filter(|entry| entry.path().is_file())
        .map(|entry| {
            let name = entry.file_name().to_string_lossy().into_owned();
            (name, std::fs::read(entry.path()).unwrap())
        })
        .collect()
}

/// The results of the demo, and those of the changed firing.
fn old_and_new() -> &'static (Files, Files) {
    static BOTH: OnceLock<(Files, Files)> = OnceLock::new();
    BOTH.get_or_init(|| {
        let folder = demo();
        for (firing, out) in [(FIRING, "old"), (CHANGED, "new")] {
            let run = folder.run(&["reduce", firing, "--out", out, "--quiet"]);
            assert_eq!((run.code, run.stderr.as_str()), (0, ""));
        }
        let (old, new) = (files_of(&folder.path("old")), files_of(&folder.path("new")));
        assert_eq!((old.len(), new.len()), (5, 5));
        (old, new)
    })
}

/// Puts files, and nothing else, into a folder.
fn lay(files: &Files, folder: &Path) {
    let _ = std::fs::remove_dir_all(folder);
    std::fs::create_dir_all(folder).unwrap();
    for (name, bytes) in files {
        std::fs::write(folder.join(name), bytes).unwrap();
    }
}

fn temporaries(files: &Files) -> usize {
    files
        .keys()
        .filter(|name| name.starts_with(TEMPORARY))
        .count()
}

/// A failure as it should be: exit code 1, an error, no word of a panic.
fn failed_well(code: Option<i32>, stderr: &[u8]) -> String {
    let stderr = String::from_utf8_lossy(stderr).into_owned();
    assert_eq!(code, Some(1), "{stderr}");
    assert!(
        stderr.contains("error: ") && !stderr.contains("panicked"),
        "{stderr}"
    );
    stderr
}
