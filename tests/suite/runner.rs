//! Runs the program as a person would: in an empty folder, looking at stdout, stderr, exit code.

use std::path::{Path, PathBuf};
use std::process::Command;

use burnwright::quantity::Measured;
use burnwright::render::number;
use tempfile::TempDir;

/// The repository.
pub fn repository() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// A log that nobody here wrote; `tests/data/real-firings/README.md` says which there are.
pub fn real_log(name: &str) -> PathBuf {
    let path = repository().join("tests/data/real-firings").join(name);
    assert!(path.is_file(), "{} is missing", path.display());
    path
}

/// What a run left behind.
pub struct Run {
    pub code: i32,
    pub stdout: String,
    pub stderr: String,
}

impl Run {
    /// Columns of the widest line of stdout.
    pub fn widest(&self) -> usize {
        let lines = self.stdout.lines().map(|line| line.chars().count());
        lines.max().unwrap_or(0)
    }
}

/// An empty folder to run in.
pub struct Folder {
    pub folder: TempDir,
}

impl Folder {
    pub fn new() -> Self {
        Self {
            folder: TempDir::new().unwrap(),
        }
    }

    /// A copy of one of the repository's folders, without results of earlier runs.
    pub fn copy_of(name: &str) -> Self {
        let out = Self::new();
        copy(
            &repository().join("motor-curves"),
            &out.path("motor-curves"),
        );
        copy(&repository().join(name), &out.path(name));
        out
    }

    /// Another of the repository's folders beside it.
    pub fn and(self, name: &str) -> Self {
        copy(&repository().join(name), &self.path(name));
        self
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn file(self, name: &str, text: &str) -> Self {
        let path = self.path(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, text).unwrap();
        self
    }

    /// Changes a file in place.
    pub fn edit(self, name: &str, from: &str, to: &str) -> Self {
        let text = std::fs::read_to_string(self.path(name)).unwrap();
        assert!(text.contains(from), "{name} has no `{from}` to change");
        std::fs::write(self.path(name), text.replacen(from, to, 1)).unwrap();
        self
    }

    pub fn read(&self, name: &str) -> String {
        std::fs::read_to_string(self.path(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
    }

    pub fn json(&self, name: &str) -> serde_json::Value {
        serde_json::from_str(&self.read(name)).unwrap()
    }

    /// Names of the files in a folder; empty when there is no such folder.
    pub fn files_in(&self, name: &str) -> Vec<String> {
        let Ok(entries) = std::fs::read_dir(self.path(name)) else {
            return Vec::new();
        };
        let mut names: Vec<String> = entries
            .flatten()
            .map(|e| e.file_name().to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    }

    #[must_use]
    pub fn run(&self, args: &[&str]) -> Run {
        let output = Command::new(env!("CARGO_BIN_EXE_burnwright"))
            .args(args)
            .current_dir(self.folder.path())
            .env_remove("NO_COLOR")
            .env_remove("COLUMNS")
            .output()
            .unwrap();
        Run {
            code: output.status.code().unwrap_or(-1),
            stdout: String::from_utf8(output.stdout).unwrap(),
            stderr: String::from_utf8(output.stderr).unwrap(),
        }
    }
}

/// Holds the summary and the page against one quantity of `result.json`: both must print it.
pub fn printed_everywhere(stdout: &str, page: &str, quantity: &serde_json::Value) {
    let measured: Measured = serde_json::from_value(quantity.clone()).unwrap();
    let whole = number::measured(&measured);
    let flat = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        flat(stdout).contains(&whole),
        "{whole} is not in:\n{stdout}"
    );
    let mut words = String::new();
    for part in page.split('<').skip(1) {
        words += part.split_once('>').map_or("", |(_, text)| text);
        words.push(' ');
    }
    let words = flat(&words.replace('−', "-"));
    let value = number::value_only(&measured);
    assert!(words.contains(&value), "{value} is not on the page");
}

fn copy(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap().flatten() {
        let (path, name) = (entry.path(), entry.file_name());
        if path.is_file() {
            std::fs::copy(&path, to.join(name)).unwrap();
        }
    }
}
