//! A log of a million readings: the page stays small and one stray reading is still seen.

use std::fmt::Write as _;

use crate::runner::Folder;

/// The firing of the demo without what steers it: one log, one cell, two motors.
const FIRING: &str = r#"title = "A million readings"
[log.stand]
file = "stand.csv"
time = { column = "t_us", unit = "us" }
[cell.base]
signal = { log = "stand", column = "base_raw" }
points = "demo-data/twin-captive/cell-base-points.csv"
carries = ["left", "right"]
[stand]
mount = "nozzle-down"
cells_on = "rocket"
[motor.left]
certified = "demo-data/twin-captive/finch-24.toml"
propellant = "20.1 g ± 0.1 g"
[motor.right]
certified = "demo-data/twin-captive/finch-24.toml"
propellant = "19.9 g ± 0.1 g"
"#;

/// Readings put between two of the demo's log.
const BETWEEN: u64 = 125;

/// Counts of the stray reading above its neighbours: a third of the peak.
const STRAY: i64 = 70_000;

/// The demo's load, read 125 times as often by a converter that flickers, with one stray reading.
fn log() -> String {
    let demo = crate::runner::repository().join("demo-data/twin-captive/stand.csv");
    let text = std::fs::read_to_string(demo).unwrap();
    let mut rows = text.lines().skip(1).map(|line| {
        let mut fields = line.split(',');
        let mut next = || fields.next().unwrap().parse::<i64>().unwrap();
        (next(), next())
    });
    let mut before = rows.next().unwrap();
    let (mut out, mut wraps) = ("t_us,base_raw\n".to_owned(), 0);
    let start = before.0;
    let mut flicker: u64 = 1;
    let mut count = 0;
    for (time, raw) in rows {
        // The demo's counter of microseconds runs over once.
        if time + (wraps << 32) < before.0 {
            wraps += 1;
        }
        let here = (time + (wraps << 32), raw);
        for nth in 0..BETWEEN as i64 {
            let share = |from: i64, to: i64| from + (to - from) * nth / BETWEEN as i64;
            flicker = flicker
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1);
            let noise = (flicker >> 60) as i64 - 8;
            let stray = if count == 900_000 { STRAY } else { 0 };
            let value = share(before.1, here.1) + noise + stray;
            writeln!(out, "{},{value}", share(before.0, here.0) - start).unwrap();
            count += 1;
        }
        before = here;
    }
    assert!(count > 999_000);
    out
}

#[test]
fn a_million_readings_make_a_small_page_that_hides_no_spike() {
    let folder = Folder::copy_of("demo-data/twin-captive")
        .file("firing.toml", FIRING)
        .file("stand.csv", &log());
    let run = folder.run(&["reduce", "firing.toml", "--out", "out", "--quiet"]);
    assert_eq!(run.code, 0, "{}", run.stderr);
    let page = folder.read("out/report.html");
    assert!(page.len() < 3_000_000, "{} bytes", page.len());
    let picture = page.split("<title>Load on all cells").nth(1).unwrap();
    // The stray reading lies at 7.2 s of 8; there the curve leaps up in the wide picture.
    let curve = picture
        .split("<polyline ")
        .filter(|part| part.contains("var(--measured"));
    let points = curve
        .flat_map(|part| part.split("points=\"").nth(1))
        .next()
        .unwrap();
    let late: Vec<i64> = points
        .split('"')
        .next()
        .unwrap()
        .split_whitespace()
        .filter_map(|pair| {
            let (x, y) = pair.split_once(',')?;
            (x.parse::<i64>().ok()? > 5000).then(|| y.parse().unwrap())
        })
        .collect();
    let (highest, lowest) = (late.iter().min().unwrap(), late.iter().max().unwrap());
    // A third of the peak of a frame 2016 units high, against the flicker.
    assert!(lowest - highest > 400, "{highest} {lowest}");
    // And it is in what the script reads out.
    let data = page
        .split("data-curves=\"")
        .skip(1)
        .map(|part| part.split('"').next().unwrap().replace("&quot;", "\""))
        .map(|text| serde_json::from_str::<serde_json::Value>(&text).unwrap())
        .find(|data| data["words"][1] == "load, N")
        .unwrap();
    let curve = &data["curves"][0];
    let steps = |name: &str| -> Vec<i64> {
        let moved = curve[name].as_array().unwrap().iter();
        moved
            .scan(0, |at, step| {
                *at += step.as_i64().unwrap();
                Some(*at)
            })
            .collect()
    };
    let end = *steps("t").last().unwrap();
    let late: Vec<i64> = steps("t")
        .iter()
        .zip(steps("v"))
        .filter(|(time, _)| **time * 10 > end * 8)
        .map(|(_, value)| value)
        .collect();
    let spread = late.iter().max().unwrap() - late.iter().min().unwrap();
    assert!(spread > 4000, "{spread} of 20000 steps");
}
