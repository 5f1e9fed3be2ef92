//! Several firings side by side: known spread comes back, what fails is told last.
//!
//! The truth is the rehearsal's: impulses are set by hand, so mean and standard deviation are known.

use approx::assert_abs_diff_eq;

use crate::runner::{Folder, repository};

/// Impulse of each firing as a share of the certified 29.8 N s. Their sample standard deviation, by
/// hand: deviations -4 -1 0 1 4 from 100, squares 34, /4 = 8.5, so 2.915 %.
const SHARES: [f64; 5] = [96.0, 101.0, 100.0, 99.0, 104.0];

fn rehearsal(nth: usize, share: f64) -> String {
    let path = repository().join("studies/coverage/kinds/slow.toml");
    let text = std::fs::read_to_string(path).unwrap();
    text.replace("Slow recorder", &format!("Firing {}", nth + 1))
        .replace(
            "seed  = 1",
            &format!("seed = {}\ndate = 2026-04-{:02}", nth + 7, nth + 1),
        )
        .replace("../../../motor-curves", "motor-curves")
        .replace(
            "delay      = \"120 ms\"",
            &format!("delay = \"120 ms\"\nimpulse_scale = \"{share} %\""),
        )
}

fn fired() -> (Folder, Vec<String>) {
    let mut folder = Folder::new().and("motor-curves");
    let mut names = Vec::new();
    for (nth, share) in SHARES.into_iter().enumerate() {
        let plan = format!("plan{nth}.toml");
        folder = folder.file(&plan, &rehearsal(nth, share));
        let out = format!("f{nth}");
        let run = folder.run(&["rehearse", &plan, "--out", &out]);
        assert_eq!(run.code, 0, "{}", run.stderr);
        names.push(format!("{out}/firing.toml"));
    }
    (folder, names)
}

#[test]
fn known_spread_comes_back_and_every_output_says_it() {
    let (folder, names) = fired();
    let mut args = vec!["compare"];
    args.extend(names.iter().map(String::as_str));
    let run = folder.run(&args);
    assert_eq!(run.code, 0, "{}", run.stderr);
    let json = folder.json("compared/compare.json");
    let total = &json["quantities"][0]["spread"];
    // Rough burning adds its own to the impulse that was asked for: truth.json holds what was burnt.
    let burnt: Vec<f64> = (0..SHARES.len())
        .map(|nth| {
            folder.json(&format!("f{nth}/truth.json"))["impulse"]["total_ns"]
                .as_f64()
                .unwrap()
        })
        .collect();
    let mean = burnt.iter().sum::<f64>() / 5.0;
    let deviations = || burnt.iter().map(|one| one - mean);
    let sd = (deviations().map(|d| d * d).sum::<f64>() / 4.0).sqrt();
    assert_abs_diff_eq!(100.0 * sd / mean, 2.915, epsilon = 0.2);
    let slope = deviations()
        .zip(-2..=2)
        .map(|(d, day)| d * f64::from(day))
        .sum::<f64>()
        / 10.0;
    let number = |key: &str| total[key].as_f64().unwrap();
    // A standard deviation differs from the truth's by no more than that of the errors; two for luck.
    let measuring = number("measuring_sd");
    assert!(measuring < 0.1, "{measuring}");
    let value = |key: &str| total[key]["value"].as_f64().unwrap();
    assert_abs_diff_eq!(value("mean"), mean, epsilon = 2.0 * measuring);
    assert_abs_diff_eq!(value("sample_sd"), sd, epsilon = 2.0 * measuring);
    assert_abs_diff_eq!(number("between_sd"), sd, epsilon = 2.0 * measuring);
    assert_eq!(total["drift_over"], "day");
    assert_abs_diff_eq!(value("drift"), slope, epsilon = 2.0 * measuring);
    let widest = run.widest();
    assert!(widest <= 80, "{widest}");
    let page = folder.read("compared/compare.html");
    for words in ["Firing 1", "total impulse", "between firings", "Mean curve"] {
        assert!(page.contains(words), "{words}");
    }
    assert!(run.stdout.contains("standard deviation"));
    let curve = &json["curve"];
    assert_eq!(curve["count"], 5);
    let area: f64 = (1..201)
        .map(|i| {
            let at = |key: &str, i: usize| curve[key][i].as_f64().unwrap();
            0.5 * (at("mean_n", i) + at("mean_n", i - 1))
                * (at("after_s", i) - at("after_s", i - 1))
        })
        .sum();
    // 80 readings a second draw the curve with straight lines.
    assert_abs_diff_eq!(area, 29.8, epsilon = 0.2);
}

#[test]
fn a_firing_that_fails_does_not_stop_the_others() {
    let (folder, names) = fired();
    let folder = folder.file("bad/firing.toml", "title = \"Bad\"\n");
    let args = [
        "compare",
        &names[0],
        "bad/firing.toml",
        &names[1],
        "--out",
        "cmp",
    ];
    let run = folder.run(&args);
    assert_eq!(run.code, 1);
    assert!(run.stdout.contains("2 firings reduced"), "{}", run.stdout);
    assert!(run.stdout.contains("bad/firing.toml"));
    assert!(run.stderr.contains("names no log"), "{}", run.stderr);
    assert_eq!(
        folder.json("cmp/compare.json")["failed"][0]["file"],
        "bad/firing.toml"
    );
    let twice = folder.run(&["compare", &names[0], &names[0]]);
    assert_eq!(twice.code, 1);
    assert!(twice.stderr.contains("named twice"));
    assert_eq!(folder.run(&["compare", &names[0]]).code, 2);
    let quiet = folder.run(&["compare", &names[0], &names[1], "--quiet", "--out", "q"]);
    assert_eq!((quiet.code, quiet.stdout.as_str()), (0, ""));
    let json = folder.run(&["compare", &names[0], &names[1], "--json", "--out", "q"]);
    assert_eq!(json.stdout, folder.read("q/compare.json"));
}

// The demo's second firing has a dead igniter: the two are not alike, and --strict says so.
#[test]
fn firings_of_different_motors_are_not_taken_for_alike() {
    let folder = Folder::copy_of("demo-data/twin-captive").and("demo-data/twin-one-dead");
    let run = folder.run(&[
        "compare",
        "demo-data/twin-captive/firing.toml",
        "demo-data/twin-one-dead/firing.toml",
        "--strict",
    ]);
    assert_eq!(run.code, 3, "{}", run.stderr);
    assert!(run.stdout.contains("every firing burnt the same motors"));
}

// The same log under another name is no second motor.
#[test]
fn one_log_under_two_names_counts_once() {
    let (one, other) = (
        "demo-data/twin-captive/firing.toml",
        "demo-data/twin-captive/other.toml",
    );
    let folder = Folder::copy_of("demo-data/twin-captive");
    let text = folder.read(one);
    let folder = folder.file(other, &text);
    let run = folder.run(&["compare", one, other, "--out", "compared"]);
    assert_eq!(run.code, 1, "{}", run.stdout);
    let told = folder.read("compared/compare.json");
    assert!(told.contains("byte for byte"), "{told}");
    let run = folder.run(&["fit", one, other, "--out", "fitted"]);
    assert_eq!((run.code, run.stdout.as_str()), (1, ""));
    assert!(run.stderr.contains("byte for byte"), "{}", run.stderr);
}
