//! Every command of `docs/guide.md` runs, and every file that it has the reader write is written.
//!
//! The words behind a fence say what its block is: `sh` commands, with the exit code unless it is 0; `console` what a
//! shell does besides, `$ cp` and `$ rm` done here; `text` what only a stand can do;
//! `toml in=FILE` values to complete in a file that `look --start` began; `toml end=FILE` lines to add
//! at its end; `toml copy=FILE to=FILE` values to change in a copy; `c with=FOLDER` a program.

use std::fs;
use std::process::Command;

use burnwright::Measured;

use crate::readme::{Block, blocks};
use crate::runner::{Folder, Run, repository};

/// The commands of a shell that stand outside of the program.
const OUTSIDE: [&str; 3] = [
    "$ cargo install --path .",
    "$ mkdir -p ~/trial && cp -r demo-data motor-curves ~/trial && cd ~/trial",
    "$ cc -std=c99 -Idesigned/reduced rig.c -o rig -lm && ./rig",
];

/// The words of a command; those in double quotes stay together.
fn words(line: &str) -> Vec<String> {
    let mut out = Vec::new();
    for (nth, part) in line.split('"').enumerate() {
        if nth % 2 == 1 {
            out.push(part.to_owned());
        } else {
            out.extend(part.split_whitespace().map(str::to_owned));
        }
    }
    out
}

fn table_of(line: &str) -> Option<&str> {
    let bare = line.strip_prefix("# ").unwrap_or(line);
    bare.starts_with('[')
        .then(|| bare.split(']').next())
        .flatten()
}

fn key_of(line: &str) -> Option<&str> {
    let bare = line.strip_prefix("# ").unwrap_or(line);
    let (key, _) = bare.split_once('=')?;
    let key = key.trim();
    (!key.is_empty() && !key.contains(' ')).then_some(key)
}

/// Does to a file what its reader is told to do in an editor: takes the `#` from a table that is
/// named, and puts each value in the place of its key; one that is not there goes below the table's name where the file
/// is the reader's `own`.
fn completed(text: &str, told: &str, own: bool) -> String {
    let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
    let mut from = 0;
    for line in told.lines() {
        if let Some(table) = table_of(line) {
            from = lines
                .iter()
                .position(|one| table_of(one) == Some(table))
                .unwrap_or_else(|| panic!("there is no {table}]"));
            let end = end_of(&lines, from);
            if lines[from].starts_with('#') {
                for one in &mut lines[from..end] {
                    if !one.contains("??") && key_of(one).is_some() || table_of(one).is_some() {
                        *one = one.trim_start_matches("# ").to_owned();
                    }
                }
            }
            continue;
        }
        let key = key_of(line).unwrap_or_else(|| panic!("not a key: {line}"));
        let end = end_of(&lines, from);
        let at = lines[from..end]
            .iter()
            .position(|one| key_of(one) == Some(key));
        match at {
            Some(at) => line.clone_into(&mut lines[from + at]),
            None if own => lines.insert(from + 1, line.to_owned()),
            None => panic!("there is no {key} below {}", lines[from]),
        }
    }
    lines.join("\n") + "\n"
}

/// Where the table that begins at a line ends.
fn end_of(lines: &[String], from: usize) -> usize {
    let next = lines[from + 1..]
        .iter()
        .position(|one| table_of(one).is_some());
    next.map_or(lines.len(), |at| from + 1 + at)
}

fn named<'a>(kind: &'a str, word: &str) -> Option<&'a str> {
    kind.split(' ').find_map(|one| one.strip_prefix(word))
}

/// Compiles a program with the headers of a folder, runs it, and gives what it prints.
fn compiled(folder: &Folder, text: &str, headers: &str) -> String {
    fs::write(folder.path("guide.c"), text).unwrap();
    let include = format!("-I{headers}");
    let strict = ["-std=c99", "-Wall", "-Wextra", "-Werror", "-pedantic"];
    let built = Command::new("cc")
        .args(strict)
        .args([&include, "guide.c", "-o", "guide", "-lm"])
        .current_dir(folder.path(""))
        .output()
        .expect("a C compiler named cc");
    let said = String::from_utf8_lossy(&built.stderr).into_owned();
    assert!(built.status.success(), "{said}");
    let run = Command::new(folder.path("guide")).output().unwrap();
    String::from_utf8(run.stdout).unwrap()
}

/// What a script prints; nothing where there is no Python that draws.
fn scripted(folder: &Folder, text: &str) -> Option<String> {
    let mut python = Command::new("python3");
    python.env("MPLBACKEND", "Agg").current_dir(folder.path(""));
    let draws = python.args(["-c", "import matplotlib"]).output().ok()?;
    fs::write(folder.path("guide.py"), text).unwrap();
    let mut python = Command::new("python3");
    python.env("MPLBACKEND", "Agg").current_dir(folder.path(""));
    let run = draws
        .status
        .success()
        .then(|| python.arg("guide.py").output().unwrap())?;
    assert!(
        run.status.success(),
        "{}",
        String::from_utf8_lossy(&run.stderr)
    );
    Some(String::from_utf8(run.stdout).unwrap())
}

/// What was walked through.
struct Walk {
    folder: Folder,
    runs: Vec<(String, Run)>,
    printed: Vec<String>,
}

impl Walk {
    /// Copies or throws away files as a shell does.
    fn by_shell(&self, line: &str) {
        let words: Vec<&str> = line.split(' ').collect();
        let at = |name: &str| self.folder.path(name);
        match &words[..] {
            ["$", "rm", names @ ..] => {
                for name in names {
                    fs::remove_file(at(name)).unwrap();
                }
            }
            ["$", "cp", names @ .., to] => {
                for name in names {
                    let from = at(name);
                    let inside = at(to).join(from.file_name().unwrap());
                    let to = if at(to).is_dir() { inside } else { at(to) };
                    fs::copy(from, to).unwrap();
                }
            }
            _ => panic!("no test runs: {line}"),
        }
    }

    fn step(&mut self, block: &Block) {
        let kind = block.kind.as_str();
        if kind.starts_with("sh") {
            let wanted = named(kind, "exit=").map_or(0, |code| code.parse().unwrap());
            for line in block.text.lines() {
                let args = line
                    .strip_prefix("burnwright ")
                    .unwrap_or_else(|| panic!("the guide has a command that no test runs: {line}"));
                let args = words(args);
                let run = self
                    .folder
                    .run(&args.iter().map(String::as_str).collect::<Vec<_>>());
                assert_eq!(run.code, wanted, "{line}\n{}", run.stderr);
                self.runs.push((line.to_owned(), run));
            }
        } else if let Some(file) = named(kind, "in=") {
            let text = completed(&self.folder.read(file), &block.text, false);
            fs::write(self.folder.path(file), text).unwrap();
        } else if let Some(file) = named(kind, "end=") {
            let text = self.folder.read(file) + &block.text;
            fs::write(self.folder.path(file), text).unwrap();
        } else if let Some(file) = named(kind, "copy=") {
            let text = completed(&self.folder.read(file), &block.text, true);
            fs::write(self.folder.path(named(kind, "to=").unwrap()), text).unwrap();
        } else if let Some(headers) = named(kind, "with=") {
            self.printed
                .push(compiled(&self.folder, &block.text, headers));
        } else if kind == "python" {
            self.printed.extend(scripted(&self.folder, &block.text));
        } else if kind == "text" {
            assert!(block.text.contains("--rest"), "a command that no test runs");
        } else if kind == "python module" {
            // Needs the installed package: python/tests/test_package.py runs it.
        } else {
            assert_eq!(kind, "console", "what is to be done with this block?");
            let inner = block.text.lines().filter(|line| !OUTSIDE.contains(line));
            inner.for_each(|line| self.by_shell(line));
        }
    }
}

#[test]
fn a_reader_of_the_guide_gets_what_it_promises() {
    let text = fs::read_to_string(repository().join("docs/guide.md")).unwrap();
    let folder = Folder::copy_of("demo-data/twin-captive").and("demo-data/twin-one-dead");
    let mut walk = Walk {
        folder,
        runs: Vec::new(),
        printed: Vec::new(),
    };
    for block in blocks(&text) {
        walk.step(&block);
    }
    assert!(walk.runs.len() >= 15, "{} commands", walk.runs.len());
    // The same firing file reduced twice: what it did not know at first, and what it knew then.
    let own: Vec<&str> = walk
        .runs
        .iter()
        .filter(|(line, _)| line == "burnwright reduce mine/own.toml")
        .map(|(_, run)| run.stdout.as_str())
        .collect();
    assert_eq!(own.len(), 2);
    assert!(own[0].starts_with("It is undecided whether every motor lit"));
    // Nor is the specific impulse known while it is not known what burnt.
    let words: Vec<&str> = own[0].split_whitespace().collect();
    let flat = words.join(" ");
    assert!(
        flat.contains("specific impulse") && flat.contains(" not available "),
        "{flat}"
    );
    assert!(own[1].starts_with("Both motors lit."), "{}", own[1]);
    let truth = walk.folder.json("mine/truth.json");
    let found = walk.folder.json("mine/reduced/result.json");
    for axis in ["pitch", "yaw"] {
        for name in ["gain", "lag_s", "delay_s"] {
            let one = &found["plant"][axis]["actuator"][name];
            let one: Measured = serde_json::from_value(one.clone()).unwrap();
            let real = truth["plant"][axis][name].as_f64().unwrap();
            // Three intervals of 95 % each: the truth may lie outside of one, not far outside.
            assert!((one.value - real).abs() < 4.0 * one.u, "{axis} {name}");
        }
    }
    // The program in C: 0.2 s less delay and lag of steady turning, by hand.
    let plant = walk.folder.json("designed/reduced/plant.json");
    let of = |part: &str, name: &str| {
        plant["axes"]["pitch"][part][name]["value"]
            .as_f64()
            .unwrap()
    };
    let width = plant["axes"]["pitch"]["actuator"]["dead_band"]["width_deg"]["value"]
        .as_f64()
        .unwrap();
    let nozzle_deg = of("actuator", "gain") * (2.0 - width / 2.0 + of("actuator", "bias_deg"));
    let turning = of("rig", "effectiveness_per_kg_m") * 28.0 * nozzle_deg.to_radians().sin();
    let lag = of("actuator", "lag_s");
    let left = 0.2 - of("actuator", "delay_s");
    // Twice integrated: a step through a first-order lag, exactly.
    let tilt = turning * (left * left / 2.0 - lag * left + lag * lag);
    let told: f64 = walk.printed[0]
        .trim()
        .trim_end_matches(" deg")
        .parse()
        .unwrap();
    // The steps of 0.1 ms and the bias that acts during the delay are left out by hand.
    approx::assert_relative_eq!(told, tilt.to_degrees(), max_relative = 0.03);
    // The guide tells what they print.
    let printed = format!("It prints `{}`", walk.printed[0].trim());
    assert!(text.contains(&printed), "{printed}");
    for script in &walk.printed[1..] {
        assert!(script.ends_with(&walk.printed[0]), "{script}");
    }
    patterns_differ_as_told(&walk.folder, &text);
}

/// What the guide says about the three patterns is what came out.
fn patterns_differ_as_told(folder: &Folder, text: &str) {
    let plant =
        |name: &str| folder.json(&format!("{name}/reduced/plant.json"))["axes"]["pitch"].clone();
    let designed = plant("designed");
    let u = |of: &serde_json::Value, name: &str| of["actuator"][name]["u"].as_f64().unwrap();
    let wider = |name: &str, of: &serde_json::Value| u(of, name) / u(&designed, name);
    let (steps, doublets) = (plant("steps"), plant("doublets"));
    assert!(text.contains("with the random steps those of lag and delay are about twice as wide"));
    for (name, times) in ["lag_s", "delay_s"].map(|name| (name, wider(name, &steps))) {
        assert!((1.6..2.6).contains(&times), "{name}: {times}");
    }
    let times = wider("gain", &doublets).round();
    assert!(
        text.contains(&format!(
            "the interval of the gain is {times} times as wide as with the designed pattern"
        )),
        "{times}"
    );
    for name in ["damping_per_s", "stiffness_per_s2"] {
        assert!(designed["rig"][name].is_object(), "{name}");
        assert!(doublets["rig"][name].is_null(), "{name}");
    }
    // What was planned for the next firing is what it then gave, as far as four rehearsals can tell.
    let planned = folder.json("next/planned/plan.json");
    let planned = planned["cases"][0]["axes"]["pitch"].as_array().unwrap();
    let lag = planned.iter().find(|one| one["name"] == "lag").unwrap();
    let got = 1.96 * u(&plant("fired"), "lag_s");
    let ratio = lag["median"].as_f64().unwrap() / got;
    assert!((0.5..2.0).contains(&ratio), "{ratio}");
}
