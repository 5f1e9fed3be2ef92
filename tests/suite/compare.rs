//! Several firings side by side: known spread comes back, what fails is told last.
//!
//! The truth is the rehearsal's: impulses are set by hand, so mean and standard deviation are known.

use approx::assert_abs_diff_eq;

use crate::runner::{Folder, repository};

/// Impulse of each firing as a share of the certified 29.8 N s. Their sample standard deviation, by
/// hand: deviations -4 -1 0 1 4 from 100, squares 34, /4 = 8.5, so 2.915 %.
const SHARES: [f64; 5] = [96.0, 101.0, 100.0, 99.0, 104.0];

fn rehearsal(nth: usize, share: f64) -> String {
    let path = repository().join("examples/coverage/kinds/slow.toml");
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
    let number = |key: &str| total[key].as_f64().unwrap();
    // The certified file states 29.8 N s; its curve holds 29.795. Weights are good to 0.05 %.
    assert_abs_diff_eq!(
        total["mean"]["value"].as_f64().unwrap(),
        29.8,
        epsilon = 0.06
    );
    assert_abs_diff_eq!(number("sample_sd_percent_of_mean"), 2.915, epsilon = 0.06);
    assert_abs_diff_eq!(number("between_sd"), 0.02915 * 29.8, epsilon = 0.02);
    assert!(number("measuring_sd") < 0.05);
    assert_eq!(total["drift_over"], "day");
    // Least squares through 96 101 100 99 104: slope 1.4 % of 29.8 N s a day.
    assert_abs_diff_eq!(
        total["drift"]["value"].as_f64().unwrap(),
        0.014 * 29.8,
        epsilon = 0.02
    );
    let widest = run.stdout.lines().map(|line| line.chars().count()).max();
    assert!(widest <= Some(80), "{widest:?}");
    let page = folder.read("compared/compare.html");
    for words in ["Firing 1", "Total impulse", "between firings", "Mean curve"] {
        assert!(page.contains(words), "{words}");
    }
    assert!(run.stdout.contains("between firings"));
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
    assert!(run.stderr.contains("no-log"), "{}", run.stderr);
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
