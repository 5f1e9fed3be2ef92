//! A season: the same firings give the same bytes in whatever order they come, and none counts twice.

use std::collections::BTreeMap;

use crate::runner::Folder;

const TWIN: &str = "demo-data/twin-captive/firing.toml";
const DEAD: &str = "demo-data/twin-one-dead/firing.toml";

fn season() -> Folder {
    let folder = Folder::copy_of("demo-data/twin-captive").and("demo-data/twin-one-dead");
    for (firing, out) in [(TWIN, "days/1/one"), (DEAD, "days/2/two")] {
        done(&folder, &["reduce", firing, "--out", out]);
    }
    folder
}

/// Runs a command that must go well, and gives its first line.
fn done(folder: &Folder, args: &[&str]) -> String {
    let run = folder.run(args);
    assert_eq!(run.code, 0, "{}", run.stderr);
    run.stdout.lines().next().unwrap_or_default().to_owned()
}

fn bytes(folder: &Folder, archive: &str) -> BTreeMap<String, Vec<u8>> {
    let names = folder.files_in(archive);
    let read = |name: &String| std::fs::read(folder.path(archive).join(name)).unwrap();
    names
        .iter()
        .map(|name| (name.clone(), read(name)))
        .collect()
}

fn lines(folder: &Folder, file: &str) -> Vec<serde_json::Value> {
    let text = folder.read(file);
    text.lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect()
}

#[test]
fn an_archive_grows_by_rewriting_and_its_bytes_do_not_depend_on_the_order() {
    let folder = season();
    let whole = folder.run(&["archive", "days", "--out", "whole"]);
    assert_eq!(
        (whole.code, whole.stderr.contains("written: ")),
        (0, true),
        "{}",
        whole.stderr
    );
    assert!(
        whole.stdout.starts_with("2 firings found."),
        "{}",
        whole.stdout
    );
    for day in ["days/2", "days/1", "days/2"] {
        done(&folder, &["archive", day, "--out", "grown"]);
    }
    // Folders begin with the name of the one that was searched, and nothing else may differ.
    let named = |archive: &str| {
        let mut files = bytes(&folder, archive);
        files.retain(|name, _| !name.starts_with("firings"));
        files
    };
    assert_eq!(named("whole"), named("grown"));
    let again = done(&folder, &["archive", "days", "--out", "whole"]);
    assert_eq!(
        again,
        "2 firings found; 0 kept from before, 2 written anew."
    );
    done(&folder, &["archive", "days", "--out", "anew"]);
    assert_eq!(bytes(&folder, "whole"), bytes(&folder, "anew"));
}

#[test]
fn rows_hold_what_the_results_say() {
    let folder = season();
    done(&folder, &["tune", "days/1/one/plant.json"]);
    done(&folder, &["archive", "days", "--out", "season"]);
    let result = folder.json("days/1/one/result.json");
    let firings = lines(&folder, "season/firings.jsonl");
    let one = firings
        .iter()
        .find(|row| row["folder"] == "days/1/one")
        .unwrap();
    let total = &result["impulse"]["total_ns"];
    for (column, key) in [
        ("total_ns", "value"),
        ("total_ns_u", "u"),
        ("total_ns_low", "low"),
        ("total_ns_high", "high"),
    ] {
        assert_eq!(one[column], total[key], "{column}");
    }
    assert_eq!(
        (&one["lit_count"], &one["all_lit"]),
        (&2.into(), &"holds".into())
    );
    assert_eq!(one["logs_sha256"].as_str().unwrap().split(' ').count(), 2);
    let axes = lines(&folder, "season/axes.jsonl");
    let pitch = axes
        .iter()
        .find(|row| row["axis"] == "pitch" && row["firing"] == one["firing"])
        .unwrap();
    let actuator = &result["plant"]["pitch"]["actuator"];
    assert_eq!(
        pitch["dead_band_width_deg_u"],
        actuator["dead_band"]["width_deg"]["u"]
    );
    let gains = folder.json("days/1/one/gains.json");
    assert_eq!(pitch["kp"], gains["axes"]["pitch"]["controller"]["kp"]);
    let untuned = axes
        .iter()
        .find(|row| row["firing"] != one["firing"])
        .unwrap();
    assert!(untuned["kp"].is_null() && untuned["gain"].is_number());
    let motors = lines(&folder, "season/motors.jsonl");
    let lit: Vec<&str> = motors
        .iter()
        .map(|row| row["lit"].as_str().unwrap())
        .collect();
    assert_eq!(
        lit.iter().filter(|lit| **lit == "lit").count(),
        3,
        "{lit:?}"
    );
    let thrust = lines(&folder, "season/thrust.jsonl");
    let peak = |curve: &str| {
        let own = thrust
            .iter()
            .filter(|row| row["firing"] == one["firing"] && row["curve"] == curve);
        own.filter_map(|row| row["thrust_n"].as_f64())
            .fold(0.0, f64::max)
    };
    assert!((50.0..54.0).contains(&peak("total")) && peak("motor") < peak("total"));
}

#[test]
fn a_firing_in_two_folders_counts_once_and_a_broken_result_stops_nothing() {
    let folder = season();
    done(&folder, &["reduce", TWIN, "--out", "days/3/once-more"]);
    let folder = folder.file("days/4/result.json", "{\"schema\": 1}");
    let run = folder.run(&["archive", "days", "--out", "season"]);
    assert_eq!(run.code, 1);
    assert!(
        run.stdout.starts_with("2 firings found; 2 left out."),
        "{}",
        run.stdout
    );
    assert!(
        run.stderr
            .contains("its logs are those of days/1/one/result.json, byte for byte"),
        "{}",
        run.stderr
    );
    assert!(
        run.stderr.contains("this is no result: missing field"),
        "{}",
        run.stderr
    );
    assert_eq!(lines(&folder, "season/firings.jsonl").len(), 2);
}

#[test]
fn folders_without_results_and_foreign_archives_are_refused() {
    let folder = season()
        .file("foreign/firings.jsonl", "{\"a\": 1}\n")
        .file("empty/x", "");
    for (args, says) in [
        (
            ["empty", "season"],
            "there is no result.json in these folders",
        ),
        (["nowhere", "season"], "there is no such folder"),
        (
            ["days/1/one/result.json", "season"],
            "this is a file, and results lie in folders",
        ),
        (["days", "foreign"], "line 1 is no row of an archive"),
    ] {
        let run = folder.run(&["archive", args[0], "--out", args[1]]);
        assert!(
            run.code == 1 && run.stderr.contains(says),
            "{args:?}: {}",
            run.stderr
        );
    }
    assert_eq!(folder.read("foreign/firings.jsonl"), "{\"a\": 1}\n");
}
