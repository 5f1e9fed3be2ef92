//! Runs the program as a person would: in an empty folder, looking at stdout, stderr, exit code.

use std::path::{Path, PathBuf};
use std::process::Command;

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

/// A quantity of a results file as it has to be read: two digits of its standard uncertainty, the
/// interval to the same place, times under 0.1 s in milliseconds.
pub fn as_read(quantity: &serde_json::Value) -> String {
    let number = |key: &str| quantity[key].as_f64().unwrap();
    let unit = quantity["unit"].as_str().unwrap();
    let (factor, unit) = match unit {
        "s" if number("value").abs() < 0.1 => (1e3, "ms"),
        other => (1.0, other),
    };
    let u = factor * number("u");
    let two_digits = |decimals: &i32| (u * 10_f64.powi(*decimals + 1)).round() >= 100.0;
    let decimals = (0..9).find(two_digits).unwrap() as usize;
    let of = |key: &str| format!("{:.decimals$}", factor * number(key)).replace('-', "−");
    let unit = match unit {
        "" | "1" => String::new(),
        unit => format!(" {unit}"),
    };
    format!("{}{unit} ({} to {})", of("value"), of("low"), of("high"))
}

/// Holds the summary and the page against one quantity of `result.json`: both must print it.
pub fn printed_everywhere(stdout: &str, page: &str, quantity: &serde_json::Value) {
    let flat = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    let whole = as_read(quantity);
    assert!(
        flat(stdout).contains(&whole),
        "{whole} is not in:\n{stdout}"
    );
    let mut words = String::new();
    for part in page.split('<').skip(1) {
        words += part.split_once('>').map_or("", |(_, text)| text);
        words.push(' ');
    }
    assert!(flat(&words).contains(&whole), "{whole} is not on the page");
}

#[test]
fn a_quantity_is_read_as_the_guide_says() {
    let of = |value: f64, u: f64, unit: &str| {
        let (low, high) = (value - 1.96 * u, value + 1.96 * u);
        as_read(
            &serde_json::json!({"value": value, "u": u, "low": low, "high": high, "unit": unit}),
        )
    };
    assert_eq!(of(29.7183, 0.1122, "N s"), "29.72 N s (29.50 to 29.94)");
    assert_eq!(of(-0.0284, 0.0013, "s"), "−28.4 ms (−30.9 to −25.9)");
    assert_eq!(of(0.97, 0.0104, "1"), "0.970 (0.950 to 0.990)");
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
