//! Which tests reach a change, and whether one of them notices it.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use crate::change::Change;
use crate::copy::module;

/// Tests that take longer are not asked.
const LONGEST_TEST: Duration = Duration::from_secs(10);
/// Nor are more of them than fit into this time, for one change.
const EACH_CHANGE: Duration = Duration::from_secs(5);

/// A test that passes when nothing is changed.
#[derive(Debug)]
struct Test {
    program: PathBuf,
    name: String,
    takes: Duration,
    reaches: BTreeSet<u32>,
    asked: AtomicUsize,
    noticed: AtomicUsize,
}

impl Test {
    /// Seconds of this test for each change that it notices, as far as it has been asked.
    fn price(&self) -> f64 {
        let asked = self.asked.load(Ordering::Relaxed) + 1;
        let noticed = self.noticed.load(Ordering::Relaxed) + 1;
        self.takes.as_secs_f64() * asked as f64 / noticed as f64
    }
}

/// What became of a change.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Fate {
    Noticed,
    /// A test did not end in time, which somebody would notice.
    Endless,
    Survived,
    NotReached,
}

/// Does work for each number below `count` on all cores.
fn on_all_cores<T: Send>(count: usize, work: impl Fn(usize) -> T + Sync) -> Vec<T> {
    let (next, done) = (AtomicUsize::new(0), Mutex::new(BTreeMap::new()));
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        for _ in 0..threads {
            scope.spawn(|| {
                loop {
                    let at = next.fetch_add(1, Ordering::Relaxed);
                    if at >= count {
                        return;
                    }
                    let out = work(at);
                    done.lock().expect("no panic").insert(at, out);
                    if at % 100 == 0 {
                        eprintln!("{at} of {count}");
                    }
                }
            });
        }
    });
    done.into_inner().expect("no panic").into_values().collect()
}

/// Runs one test; `None` when it did not end in time.
fn passes(folder: &Path, test: (&Path, &str), set: (&str, &str), limit: Duration) -> Option<bool> {
    let (program, name) = test;
    let mut child = Command::new(program)
        .current_dir(folder)
        .args([name, "--exact", "--quiet"])
        .env("CARGO_MANIFEST_DIR", folder)
        .env(set.0, set.1)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .expect("the test starts");
    let began = Instant::now();
    loop {
        if let Some(status) = child.try_wait().expect("a child") {
            return Some(status.success());
        }
        if began.elapsed() > limit {
            let _ = child.kill();
            let _ = child.wait();
            return None;
        }
        std::thread::sleep(Duration::from_millis(2));
    }
}

/// All tests that pass in time, each with the changes that it reaches.
fn all_tests(folder: &Path, programs: &[PathBuf]) -> Vec<Test> {
    let mut names = Vec::new();
    for program in programs {
        let out = Command::new(program)
            .args(["--list", "--format", "terse"])
            .output()
            .expect("a test program");
        let text = String::from_utf8_lossy(&out.stdout).into_owned();
        let of_tests = text.lines().filter_map(|line| line.strip_suffix(": test"));
        names.extend(of_tests.map(|name| (program.clone(), name.to_owned())));
    }
    let logs = folder.join("reached");
    let _ = fs::remove_dir_all(&logs);
    fs::create_dir_all(&logs).expect("a folder");
    let run = |at: usize| {
        let (program, name) = &names[at];
        let log = logs.join(at.to_string());
        let began = Instant::now();
        let set = ("REACHED", log.to_str().expect("a path in UTF-8"));
        let passed = passes(folder, (program, name), set, LONGEST_TEST);
        let takes = began.elapsed();
        if passed != Some(true) {
            eprintln!("not asked: {name}");
            return None;
        }
        let text = fs::read_to_string(&log).unwrap_or_default();
        Some(Test {
            program: program.clone(),
            name: name.clone(),
            takes,
            reaches: text.lines().filter_map(|line| line.parse().ok()).collect(),
            asked: AtomicUsize::new(0),
            noticed: AtomicUsize::new(0),
        })
    };
    on_all_cores(names.len(), run)
        .into_iter()
        .flatten()
        .filter(|test| !test.reaches.is_empty())
        .collect()
}

/// How the tests go with one change on, the cheapest first, up to the first that fails.
fn fate(folder: &Path, tests: &[Test], id: u32) -> Fate {
    let chosen = id.to_string();
    let began = Instant::now();
    let mut fate = Fate::NotReached;
    let mut reaching: Vec<(f64, &Test)> = tests
        .iter()
        .filter(|test| test.reaches.contains(&id))
        .map(|test| (test.price(), test))
        .collect();
    reaching.sort_by(|a, b| a.0.total_cmp(&b.0));
    for (_, test) in reaching {
        if began.elapsed() + test.takes > EACH_CHANGE {
            continue;
        }
        let limit = 5 * test.takes + Duration::from_secs(5);
        test.asked.fetch_add(1, Ordering::Relaxed);
        let of = (test.program.as_path(), test.name.as_str());
        fate = match passes(folder, of, ("MUTANT", &chosen), limit) {
            Some(false) => Fate::Noticed,
            None => Fate::Endless,
            Some(true) => Fate::Survived,
        };
        if fate != Fate::Survived {
            test.noticed.fetch_add(1, Ordering::Relaxed);
            break;
        }
    }
    fate
}

/// Asks the tests about each change, and lists what nobody noticed.
pub fn table(folder: &Path, programs: &[PathBuf], changes: &[Change]) -> String {
    let folder = &folder.canonicalize().expect("a folder");
    let tests = all_tests(folder, programs);
    eprintln!("{} tests reach a change", tests.len());
    let fates = on_all_cores(changes.len(), |at| fate(folder, &tests, changes[at].id));
    written(changes, &fates)
}

fn written(changes: &[Change], fates: &[Fate]) -> String {
    let mut counts: BTreeMap<String, [usize; 4]> = BTreeMap::new();
    let mut left = String::new();
    for (one, fate) in changes.iter().zip(fates) {
        counts.entry(module(Path::new(&one.file))).or_default()[*fate as usize] += 1;
        let how = match fate {
            Fate::Noticed | Fate::Endless => continue,
            Fate::Survived => "survived",
            Fate::NotReached => "not reached",
        };
        left += &format!("{one} ({how})\n");
    }
    let mut out = "| module | changes | noticed | endless | survived | not reached |\n".to_owned();
    out += "|---|---|---|---|---|---|\n";
    for (module, [noticed, endless, survived, not_reached]) in counts {
        let all = noticed + endless + survived + not_reached;
        out +=
            &format!("| {module} | {all} | {noticed} | {endless} | {survived} | {not_reached} |\n");
    }
    out + "\n" + &left
}
