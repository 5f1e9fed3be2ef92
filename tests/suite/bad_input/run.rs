//! Running one case: what it says, what it leaves, within how much time and memory.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use sha2::{Digest, Sha256};

use super::{Case, start};

/// Longest a case may run.
const LONGEST: Duration = Duration::from_secs(120);

/// Address space a case may use, KiB: what a small computer has.
const MOST_KIB: usize = 3 << 20;

/// What a run said, and what else was wrong with it.
pub struct Answer {
    pub code: i32,
    pub stderr: String,
    pub complaints: Vec<String>,
}

pub fn one(case: &Case) -> Answer {
    let mut folder = start(case.from);
    for change in &case.change {
        folder = change.apply(folder);
    }
    let root = folder.path("");
    let before = files(&root);
    let out = tempfile::TempDir::new().unwrap();
    let said = |name: &str| out.path().join(name);
    let mut run = limited(&case.run)
        .current_dir(&root)
        .env_remove("NO_COLOR")
        .env_remove("COLUMNS")
        .stdin(Stdio::null())
        .stdout(std::fs::File::create(said("stdout")).unwrap())
        .stderr(std::fs::File::create(said("stderr")).unwrap())
        .spawn()
        .unwrap();
    let began = Instant::now();
    let mut complaints = Vec::new();
    let status = loop {
        if let Some(status) = run.try_wait().unwrap() {
            break status;
        }
        if began.elapsed() > LONGEST {
            run.kill().unwrap();
            complaints.push(format!("still runs after {} s", LONGEST.as_secs()));
        }
        std::thread::sleep(Duration::from_millis(5));
    };
    let read = |name: &str| String::from_utf8(std::fs::read(said(name)).unwrap()).unwrap();
    let stdout = read("stdout");
    if !stdout.is_empty() {
        complaints.push(format!("stdout is not empty:\n{stdout}"));
    }
    let after = files(&root);
    let mut moved: Vec<&PathBuf> = before
        .keys()
        .filter(|name| !after.contains_key(*name))
        .collect();
    moved.extend(
        after
            .iter()
            .filter(|(name, bytes)| before.get(*name) != Some(*bytes))
            .map(|(name, _)| name),
    );
    if !moved.is_empty() {
        complaints.push(format!("files came, went or changed: {moved:?}"));
    }
    let stderr = read("stderr");
    if stderr.contains("panicked") {
        complaints.push("panic".to_owned());
    }
    Answer {
        code: status.code().unwrap_or(-1),
        stderr,
        complaints,
    }
}

/// The program, with a limit on its memory where the shell can set one.
fn limited(words: &str) -> Command {
    let program = env!("CARGO_BIN_EXE_burnwright");
    let words: Vec<&str> = words.split(' ').filter(|word| !word.is_empty()).collect();
    if cfg!(target_os = "linux") {
        let mut out = Command::new("sh");
        out.arg("-c")
            .arg(format!("ulimit -v {MOST_KIB} && exec \"$0\" \"$@\""));
        out.arg(program).args(words);
        return out;
    }
    let mut out = Command::new(program);
    out.args(words);
    out
}

/// Every file under a folder, and a fingerprint of its bytes.
fn files(root: &Path) -> BTreeMap<PathBuf, String> {
    let mut out = BTreeMap::new();
    let mut folders = vec![root.to_owned()];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap().flatten() {
            let path = entry.path();
            if path.is_dir() {
                out.insert(path.clone(), "folder".to_owned());
                folders.push(path);
            } else {
                let bytes = std::fs::read(&path).unwrap_or_default();
                out.insert(path, format!("{:?}", Sha256::digest(&bytes)));
            }
        }
    }
    out
}
