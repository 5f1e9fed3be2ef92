//! Every command on a terminal: how wide, what comes first, what `--quiet` and `--json` print.

use std::process::Command;

use unicode_width::UnicodeWidthStr;

use crate::runner::Folder;
use crate::studies::study;

const TWIN: &str = "demo-data/twin-captive/firing.toml";
const DEAD: &str = "demo-data/twin-one-dead/firing.toml";
const STAND: &str = "demo-data/twin-captive/stand.csv";
const COMPUTER: &str = "demo-data/twin-captive/computer.csv";

/// Each command with how its first line begins. Later ones use what earlier ones wrote.
const COMMANDS: [(&[&str], &str); 12] = [
    (&["reduce", TWIN, "--out", "out"], "Both motors lit."),
    (
        &["reduce", DEAD, "--out", "dead"],
        "Only 1 of 2 motors lit;",
    ),
    (&["look", STAND, COMPUTER], "base_raw of"),
    (
        &["calibrate", "demo-data/twin-captive/cell-base-points.csv"],
        "Curve of force, degree 2,",
    ),
    (&["compare", TWIN, DEAD], "2 firings reduced. Not met:"),
    (&["fit", TWIN, DEAD], ""),
    (
        &[
            "rehearse",
            "demo-data/twin-captive/REHEARSAL.toml",
            "--out",
            "trial",
        ],
        "",
    ),
    (
        &["plan", TWIN, "--draws", "2"],
        "Rehearsed and reduced 2 times a case",
    ),
    (
        &["ready", TWIN],
        "Looked at the stand; this is no permission.",
    ),
    (&["tune", "out/plant.json"], "Gains found. On axis pitch,"),
    (
        &[
            "simulate",
            "out/plant.json",
            "--firing",
            TWIN,
            "--runs",
            "50",
        ],
        "Simulated",
    ),
    (&["archive", "out", "dead"], "2 firings found"),
];

fn demo() -> Folder {
    Folder::copy_of("demo-data/twin-captive").and("demo-data/twin-one-dead")
}

fn at_width(folder: &Folder, args: &[&str], columns: &str) -> (i32, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_burnwright"))
        .args(args)
        .current_dir(folder.path(""))
        .env("COLUMNS", columns)
        .env("NO_COLOR", "1")
        .output()
        .unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (
        output.status.code().unwrap(),
        text(output.stdout),
        text(output.stderr),
    )
}

/// Lines of a terminal as it opens.
const SCREEN: usize = 24;

#[test]
fn no_line_is_wider_than_the_terminal_and_the_verdict_comes_first() {
    let folder = demo();
    let terminals = [
        ("80", 80, false),
        ("40", 40, true),
        ("120", 120, false),
        ("50", 50, false),
        ("57", 57, true),
        ("nonsense", 80, true),
    ];
    let (tried, _) = study(2, terminals.len() as u64);
    for (columns, wide, full) in terminals.into_iter().take(tried as usize) {
        for (args, first) in COMMANDS {
            let more: &[&str] = if full { &["--full"] } else { &[] };
            let (code, stdout, stderr) = at_width(&folder, &[args, more].concat(), columns);
            assert_eq!(code, 0, "{args:?}\n{stderr}");
            let lines = stdout.lines().count() + stderr.lines().count();
            // Below 80 columns some lines more are needed, below 50 two screens.
            let most = match wide {
                ..50 => 2 * SCREEN,
                50..80 => SCREEN + 6,
                _ => SCREEN,
            };
            assert!(
                full || lines <= most,
                "{args:?} at {columns}: {lines}\n{stdout}{stderr}"
            );
            // At 40 columns a verdict may go on in the second line.
            let start = stdout.lines().next().unwrap();
            assert!(
                start.starts_with(first) || first.starts_with(start),
                "{args:?}: {start}"
            );
            for line in stdout.lines() {
                // A path of the user's own is not torn, so that it can be copied.
                let path = line.split_whitespace().any(|word| word.contains('/'));
                assert!(
                    line.width() <= wide || path && args[0] == "rehearse",
                    "{args:?} at {columns}: {line}"
                );
                assert_eq!(line, line.trim_end(), "{args:?}");
            }
            assert!(!stdout.contains('\u{1b}') && !stderr.contains('\u{1b}'));
        }
        for command in [
            "",
            "reduce",
            "look",
            "calibrate",
            "compare",
            "fit",
            "rehearse",
            "archive",
            "tune",
            "simulate",
            "shell",
            "man",
            "help",
        ] {
            let help: Vec<&str> = [command, "--help"]
                .into_iter()
                .filter(|word| !word.is_empty())
                .collect();
            let (code, stdout, _) = at_width(&folder, &help, columns);
            assert_eq!(code, 0);
            if columns == "80" {
                let widest = stdout.lines().map(UnicodeWidthStr::width).max();
                assert!(widest <= Some(80), "{help:?}: {widest:?}");
            }
        }
    }
}

// The demo's second firing left a loaded motor on the stand: nobody shall have to look for that.
#[test]
fn a_motor_that_is_loaded_still_is_said_right_behind_the_verdict() {
    let folder = demo();
    let danger = "Danger: motor right is still loaded. Interlock out, keep away at least 60 s.";
    for more in [&[][..], &["--full"]] {
        let (_, dead, _) = at_width(&folder, &[&["reduce", DEAD], more].concat(), "120");
        assert_eq!(dead.lines().nth(1), Some(danger), "{dead}");
        let (_, twin, _) = at_width(&folder, &[&["reduce", TWIN], more].concat(), "120");
        assert!(!twin.contains("Danger"), "{twin}");
    }
    let (_, both, _) = at_width(&folder, &["reduce", TWIN, DEAD], "120");
    let of = "Danger: motors of Twin captive firing 3 may be loaded still.";
    assert!(both.lines().nth(1).unwrap().starts_with(of), "{both}");
}

#[test]
fn us_units_stand_beside_on_screen_page_and_picture_and_data_stay() {
    let folder = demo();
    let us = ["--units", "us"];
    let si = ["reduce", TWIN, "--out", "si", "--picture", "si.svg"];
    let both = [
        &["reduce", TWIN, "--out", "us", "--picture", "us.svg"],
        &us[..],
    ]
    .concat();
    at_width(&folder, &si, "80");
    let (_, screen, stderr) = at_width(&folder, &both, "80");
    assert!(
        screen.lines().count() + stderr.lines().count() <= SCREEN,
        "{screen}"
    );
    let read = |name: &str| std::fs::read_to_string(folder.path(name)).unwrap();
    for text in [&screen, &read("us/report.html"), &read("us.svg")] {
        // 59.477 N s by 4.448 221 615 260 5 N for each lbf: 13.371.
        assert!(text.contains("13.371 lbf s"), "{text}");
    }
    for text in [&read("si/report.html"), &read("si.svg")] {
        assert!(!text.contains("lbf"));
    }
    for data in ["result.json", "thrust.csv", "plant.json", "plant.h"] {
        assert_eq!(
            read(&format!("si/{data}")),
            read(&format!("us/{data}")),
            "{data}"
        );
    }
    // A line in the firing file says the same; the command line has the last word.
    let firing = format!("units = \"us\"\n{}", read(TWIN));
    std::fs::write(folder.path("demo-data/twin-captive/us.toml"), firing).unwrap();
    let stated = ["reduce", "demo-data/twin-captive/us.toml"];
    assert_eq!(at_width(&folder, &stated, "80").1, screen);
    let (_, plain, _) = at_width(&folder, &[&stated[..], &["--units", "si"]].concat(), "80");
    assert!(!plain.contains("lbf"), "{plain}");
}

#[test]
fn all_files_that_are_written_are_named() {
    let folder = demo();
    let (_, _, stderr) = at_width(&folder, &["reduce", TWIN, "--out", "out"], "80");
    assert_eq!(
        stderr,
        "written: out/report.html; beside it result.json, thrust.csv, plant.json, plant.h\n"
    );
    let (_, _, stderr) = at_width(&folder, &["tune", "out/plant.json"], "120");
    let tuned =
        "written: out/gains.html; beside it gains.json, gains.h, controller.h, check-vectors.csv\n";
    assert_eq!(stderr, tuned);
}

#[test]
fn labels_and_values_stand_under_one_another() {
    let folder = demo();
    for (args, _) in COMMANDS {
        let (_, stdout, _) = at_width(&folder, &[args, &["--full"]].concat(), "80");
        // In a table every value begins in the column of the one above it.
        for section in stdout.split("\n\n").skip(1) {
            let rows = section.lines().skip(1).filter(|line| {
                let inner = line.trim_start();
                line.starts_with("  ") && !line.starts_with("   ") && inner.contains("  ")
            });
            let plain = rows.filter(|line| !line.contains(['▁', '█', '|']));
            let starts: std::collections::BTreeSet<usize> = plain
                .filter(|line| !line.starts_with("  raw ") && !line.starts_with("  - "))
                .map(|line| {
                    let label = line[2..].find("  ").unwrap() + 2;
                    let gap = line[label..].len() - line[label..].trim_start().len();
                    line[..label].width() + gap
                })
                .collect();
            let table = !section.starts_with("Degrees") && args[0] != "look";
            assert!(
                !table || starts.len() <= 1,
                "{args:?}\n{section}\n{starts:?}"
            );
        }
    }
}

#[test]
fn quiet_prints_nothing_and_json_prints_data() {
    let folder = demo();
    for (args, _) in COMMANDS {
        let (code, stdout, stderr) = at_width(&folder, &[args, &["--quiet"]].concat(), "80");
        assert_eq!(
            (code, stdout.as_str(), stderr.as_str()),
            (0, "", ""),
            "{args:?}"
        );
    }
    for (args, _) in COMMANDS {
        let (code, stdout, stderr) = at_width(&folder, &[args, &["--json"]].concat(), "80");
        assert_eq!(code, 0, "{args:?}");
        let data: serde_json::Value = serde_json::from_str(&stdout)
            .unwrap_or_else(|error| panic!("{args:?}: {error}\n{stdout}"));
        assert!(data.is_object(), "{args:?}");
        assert!(!stderr.contains("error"), "{args:?}: {stderr}");
    }
}

#[test]
fn what_look_prints_as_data_follows_its_schema() {
    let path = crate::runner::repository().join("schemas/look.schema.json");
    let schema = serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    let mut load = "load\n".to_owned();
    for row in 0..800 {
        let burn = if (240..400).contains(&row) {
            5000 - 20 * (row - 240)
        } else {
            0
        };
        load += &format!("{}\n", 8000 + burn + row * 7919 % 13);
    }
    let text = "time,load,state\n12:00:00.0,1,up\n12:00:00.5,2,up\nhello\n12:00:01.0,3,up\n";
    let folder = demo().file("bare.csv", &load).file("text.csv", text);
    for logs in [&[STAND, COMPUTER][..], &["bare.csv"], &["text.csv"]] {
        let run = folder.run(&[&["look", "--json"], logs].concat());
        assert_eq!(run.code, 0, "{}", run.stderr);
        let seen = serde_json::from_str(&run.stdout).unwrap();
        let errors: Vec<String> = validator
            .iter_errors(&seen)
            .map(|error| format!("{}: {error}", error.instance_path()))
            .collect();
        assert!(errors.is_empty(), "{logs:?}: {errors:#?}");
    }
}
