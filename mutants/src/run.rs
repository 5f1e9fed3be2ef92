//! Compiling the changed crate and running its tests, once for each change.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

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

/// What became of a change.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Fate {
    Noticed,
    /// The tests did not end in time, which somebody would notice.
    Endless,
    Survived,
    NotReached,
}

/// The test program.
fn built(folder: &Path) -> PathBuf {
    let out = cargo(
        folder,
        &[
            "test",
            "--lib",
            "--no-run",
            "--quiet",
            "--message-format=json",
        ],
    );
    let text = String::from_utf8_lossy(&out.stdout).into_owned();
    text.lines()
        .filter_map(|line| serde_json::from_str::<serde_json::Value>(line).ok())
        .filter_map(|said| said["executable"].as_str().map(PathBuf::from))
        .next_back()
        .expect("a test program")
}

fn tests(program: &Path, folder: &Path, module: &str) -> Command {
    let mut out = Command::new(program);
    out.current_dir(folder)
        .args([&format!("{module}::"), "--test-threads=1", "--quiet"])
        .env("CARGO_MANIFEST_DIR", folder)
        .stdout(Stdio::null())
        .stderr(Stdio::null());
    out
}

/// How the tests go with one change on, stopped at the first that fails.
fn fate(program: &Path, folder: &Path, module: &str, id: u32, limit: Duration) -> Fate {
    let mut child = tests(program, folder, module)
        .env("MUTANT", id.to_string())
        .spawn()
        .expect("the tests start");
    let began = Instant::now();
    loop {
        if let Some(status) = child.try_wait().expect("a child") {
            return if status.success() {
                Fate::Survived
            } else {
                Fate::Noticed
            };
        }
        if began.elapsed() > limit {
            let _ = child.kill();
            let _ = child.wait();
            return Fate::Endless;
        }
        std::thread::sleep(Duration::from_millis(5));
    }
}

/// Runs all, and lists what nobody noticed.
pub fn table(folder: &Path, modules: &[String], changes: &[Change]) -> String {
    let program = built(folder);
    let program = if program.is_absolute() {
        program
    } else {
        folder.join(program)
    };
    let program = program.canonicalize().expect("a test program");
    let folder = &folder.canonicalize().expect("a folder");
    let module_of = |one: &Change| {
        let rest = one.file.trim_start_matches("src/");
        rest.split(['/', '.']).next().unwrap_or_default().to_owned()
    };
    let mut reached = BTreeMap::new();
    let mut limits = BTreeMap::new();
    for module in modules {
        let log = folder.join(format!("reached-{module}"));
        let _ = fs::remove_file(&log);
        let began = Instant::now();
        let status = tests(&program, folder, module)
            .env("REACHED", &log)
            .status()
            .expect("the tests run");
        assert!(
            status.success(),
            "the tests of {module} fail without any change"
        );
        limits.insert(module.clone(), 5 * began.elapsed() + Duration::from_secs(5));
        let text = fs::read_to_string(&log).unwrap_or_default();
        let ids: BTreeSet<u32> = text.lines().filter_map(|line| line.parse().ok()).collect();
        eprintln!(
            "{module}: {:.1} s, {} changes reached",
            began.elapsed().as_secs_f64(),
            ids.len()
        );
        reached.insert(module.clone(), ids);
    }
    let (next, fates) = (AtomicUsize::new(0), Mutex::new(BTreeMap::new()));
    let work = || loop {
        let at = next.fetch_add(1, Ordering::Relaxed);
        let Some(one) = changes.get(at) else { return };
        let module = module_of(one);
        let fate = if reached[&module].contains(&one.id) {
            fate(&program, folder, &module, one.id, limits[&module])
        } else {
            Fate::NotReached
        };
        fates.lock().expect("no panic").insert(one.id, fate);
        if at % 100 == 0 {
            eprintln!("{at} of {}", changes.len());
        }
    };
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        for _ in 0..threads {
            scope.spawn(work);
        }
    });
    let fates = fates.into_inner().expect("no panic");
    written(modules, changes, &fates, module_of)
}

fn written(
    modules: &[String],
    changes: &[Change],
    fates: &BTreeMap<u32, Fate>,
    module_of: impl Fn(&Change) -> String,
) -> String {
    let mut out = "| module | changes | noticed | endless | survived | not reached |\n|---|---|---|---|---|---|\n".to_owned();
    for module in modules {
        let own: Vec<&Change> = changes
            .iter()
            .filter(|one| module_of(one) == *module)
            .collect();
        let count = |fate| own.iter().filter(|one| fates[&one.id] == fate).count();
        out += &format!(
            "| {module} | {} | {} | {} | {} | {} |\n",
            own.len(),
            count(Fate::Noticed),
            count(Fate::Endless),
            count(Fate::Survived),
            count(Fate::NotReached),
        );
    }
    out += "\n";
    for one in changes {
        if matches!(fates[&one.id], Fate::Survived | Fate::NotReached) {
            let how = if fates[&one.id] == Fate::Survived {
                "survived"
            } else {
                "not reached"
            };
            out += &format!("{}:{}: {} ({how})\n", one.file, one.line, one.what);
        }
    }
    out
}
