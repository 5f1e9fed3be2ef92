//! Long logs: the page stays small and one stray reading is still seen; of a very long log the part around
//! the burn says what the whole says; packed logs are read as they are, and `look` sees the burn as they go by.

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
            // Not one reading, which would be an outlier, nor so short that means of 0.1 ms hide it: 0.4 ms.
            let stray = if (900_000..900_050).contains(&count) {
                STRAY
            } else {
                0
            };
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
    let picture = page.split("aria-label=\"Load on all cells").nth(1).unwrap();
    let line = picture.split("<path class=\"line\"").nth(1).unwrap();
    assert!(line.contains("var(--measured)"));
    let path = line.split(" d=\"M").nth(1).unwrap();
    let path = path.split('"').next().unwrap();
    // Whole steps, each from the one before; the script reads out the same path.
    let steps = path.replace('l', " ").replace('-', " -");
    let steps: Vec<i64> = steps
        .split_whitespace()
        .map(|step| step.parse().unwrap())
        .collect();
    let mut at = (0, 0);
    let corners = steps.chunks(2).map(|step| {
        at = (at.0 + step[0], at.1 + step[1]);
        at
    });
    // The stray reading lies at 7.2 s of 8: 27 000 of 30 000 steps.
    let late: Vec<i64> = corners.filter(|at| at.0 > 26_000).map(|at| at.1).collect();
    let (highest, lowest) = (late.iter().min().unwrap(), late.iter().max().unwrap());
    // A third of the peak of a frame 8000 steps high, against the flicker.
    assert!(lowest - highest > 1600, "{highest} {lowest}");
}

/// Rows of rest put before and behind the demo's log.
const REST: i64 = 200_000;

/// What `look` says of the one log that it is shown.
fn looked(folder: &Folder, log: &str) -> serde_json::Value {
    let run = folder.run(&["look", "--json", log]);
    assert_eq!(run.code, 0, "{}", run.stderr);
    let mut looks: serde_json::Value = serde_json::from_str(&run.stdout).unwrap();
    looks["logs"][0].take()
}

// Of a million rows means are looked at, each over 0.03 ms; the demo's own log has a reading every millisecond. Every row is counted,
// and what the flicker of the converter, 16 counts, adds at the ends of the range is seen.
#[test]
fn a_look_at_a_million_rows_sees_the_burn_of_the_short_log() {
    let text = log();
    let rows = text.lines().count() - 1;
    let folder = Folder::copy_of("demo-data/twin-captive").file("long.csv", &text);
    let [long, short] = ["long.csv", "demo-data/twin-captive/stand.csv"].map(|log| {
        let look = looked(&folder, log);
        let columns = look["columns"].as_array().unwrap();
        let load = columns.iter().find(|one| one["name"] == "base_raw");
        (load.unwrap().clone(), look)
    });
    let number = |of: &serde_json::Value, key: &str| of[key].as_f64().unwrap();
    assert_eq!(long.1["tally"]["rows_read"], rows);
    assert_eq!(long.0["readings"], rows);
    assert_eq!(long.0["kind"], "burns");
    let off = number(&long.1, "length_s") - number(&short.1, "length_s");
    assert!(off.abs() < 1.1e-3, "{off}");
    for (end, flicker) in [("least", -8.0), ("greatest", 7.0)] {
        let off = number(&long.0, end) - number(&short.0, end) - flicker;
        assert!(off.abs() <= 8.0, "{end}: {off}");
    }
    let [seen, known] = [&long.0, &short.0].map(|load| &load["burns"]);
    assert_eq!(seen.as_array().unwrap().len(), 1);
    // Means scatter less, so the foot of the burn is seen a little longer.
    for (key, most_s) in [("onset_s", 2e-3), ("peak_s", 2e-3), ("end_s", 6e-3)] {
        let off = number(&seen[0], key) - number(&known[0], key);
        assert!(off.abs() < most_s, "{key}: {off}");
    }
    for (key, most) in [("peak_raw", 1e-3), ("area_raw_s", 0.01)] {
        let ratio = number(&seen[0], key) / number(&known[0], key);
        assert!((ratio - 1.0).abs() < most, "{key}: {ratio}");
    }
}

/// The demo's log of the stand as its recorder would have written it if it had been left running: rows of rest
/// that flicker, once a millisecond, before and behind. The counter was `ahead_us` further on: at 0 it runs over
/// shortly before the burn, as the demo's does.
fn left_running(ahead_us: i64) -> String {
    let demo = crate::runner::repository().join("demo-data/twin-captive/stand.csv");
    let text = std::fs::read_to_string(demo).unwrap();
    let (header, rows) = text.split_once('\n').unwrap();
    let time = |row: &str| row.split(',').next().unwrap().parse::<i64>().unwrap();
    let rows: Vec<&str> = rows.lines().collect();
    let (first, last) = (rows[0], rows[rows.len() - 1]);
    let mut out = format!("{header}\n");
    let mut flicker: u64 = 7;
    let mut rest = |like: &str, time: i64, out: &mut String| {
        flicker = flicker
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1);
        let cells: Vec<&str> = like.split(',').collect();
        let raw = cells[1].parse::<i64>().unwrap() + (flicker >> 57) as i64 - 64;
        let time = (time + ahead_us).rem_euclid(1 << 32);
        writeln!(out, "{time},{raw},{}", cells[2..].join(",")).unwrap();
    };
    for before in (1..=REST).rev() {
        rest(first, time(first) - 1000 * before, &mut out);
    }
    for row in &rows {
        let (at, cells) = row.split_once(',').unwrap();
        let time = (at.parse::<i64>().unwrap() + ahead_us).rem_euclid(1 << 32);
        writeln!(out, "{time},{cells}").unwrap();
    }
    for behind in 1..=REST {
        rest(last, time(last) + 1000 * behind, &mut out);
    }
    out
}

fn reduced(folder: &Folder, firing: &str) -> serde_json::Value {
    let run = folder.run(&["reduce", firing, "--out", "out", "--quiet"]);
    assert_eq!(run.code, 0, "{}", run.stderr);
    serde_json::from_str(&folder.read("out/result.json")).unwrap()
}

#[test]
fn of_a_very_long_log_the_part_around_the_burn_says_what_the_whole_says() {
    the_part_says_what_the_whole_says(&left_running(0));
}

// The counter runs over 100 s before the burn, in rows that are left out: times go on from there.
#[test]
fn a_counter_that_runs_over_in_what_is_left_out_is_followed() {
    the_part_says_what_the_whole_says(&left_running(100_000_000));
}

fn the_part_says_what_the_whole_says(text: &str) {
    assert!(text.len() > 8 << 20, "no long log");
    let firing = FIRING.replace("unit = \"us\" }", "unit = \"us\", counter_bits = 32 }");
    let whole = format!("{firing}[reduce]\nwindow = [\"0 s\", \"5000 s\"]\n");
    let folder = Folder::copy_of("demo-data/twin-captive")
        .file("firing.toml", &firing)
        .file("whole.toml", &whole)
        .file("stand.csv", text);
    let (part, whole) = (
        reduced(&folder, "firing.toml"),
        reduced(&folder, "whole.toml"),
    );
    let rows = |result: &serde_json::Value, key: &str| result["inputs"][0][key].as_u64().unwrap();
    assert_eq!(rows(&whole, "lines_left_out"), 0);
    assert!(rows(&part, "rows_read") < 40_000);
    let lines = text.lines().count() as u64 - 1;
    assert_eq!(
        rows(&part, "rows_read") + rows(&part, "lines_left_out"),
        lines
    );
    // Both see the same burn and the same rest beside it; what is estimated from all of the log, such as how
    // its readings scatter, is not the same to the last digit.
    for (section, number) in [
        ("impulse", "total_ns"),
        ("impulse", "specific_s"),
        ("thrust", "average_n"),
        ("thrust", "peak_n"),
        ("burn", "ignition_s"),
        ("burn", "burnout_s"),
    ] {
        let of = |result: &serde_json::Value, what: &str| {
            let number = &result[section][number];
            number[what].as_f64().unwrap()
        };
        let apart = (of(&part, "value") - of(&whole, "value")).abs();
        let u = of(&whole, "u");
        assert!(apart < 0.02 * u, "{section}.{number}: {apart} against {u}");
        assert!((of(&part, "u") - u).abs() < 0.05 * u, "u of {number}");
    }
    for verdict in ["motors", "class"] {
        let lit = |result: &serde_json::Value| result[verdict].get("letter").cloned();
        assert_eq!(lit(&part), lit(&whole));
    }
}

#[test]
fn a_packed_log_is_read_as_it_is() {
    use std::io::Write as _;
    let plain = Folder::copy_of("demo-data/twin-captive");
    let log = std::fs::read(plain.path("demo-data/twin-captive/stand.csv")).unwrap();
    let mut gzip = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    gzip.write_all(&log).unwrap();
    let zstandard = ruzstd::encoding::compress_to_vec(
        log.as_slice(),
        ruzstd::encoding::CompressionLevel::Fastest,
    );
    let firing = "demo-data/twin-captive/firing.toml";
    let expected = reduced(&plain, firing);
    for packed in [gzip.finish().unwrap(), zstandard] {
        let folder = Folder::copy_of("demo-data/twin-captive");
        std::fs::write(folder.path("demo-data/twin-captive/stand.csv"), &packed).unwrap();
        assert_eq!(reduced(&folder, firing)["impulse"], expected["impulse"]);
        // A copy that broke off is no shorter log.
        let half = &packed[..packed.len() / 2];
        std::fs::write(folder.path("demo-data/twin-captive/stand.csv"), half).unwrap();
        let run = folder.run(&["reduce", firing, "--out", "none"]);
        assert_eq!(run.code, 1, "{}", run.stderr);
        assert!(
            run.stderr.contains("the packed file is damaged"),
            "{}",
            run.stderr
        );
        assert!(!folder.path("none").exists());
    }
}

/// Thrust of the firing below, N: up in 30 ms, 50 N for 0.97 s, down in 60 ms.
fn trapezoid(at_s: f64) -> f64 {
    let up = (at_s - 1.5) / 0.03;
    let down = (2.56 - at_s) / 0.06;
    50.0 * up.min(down).clamp(0.0, 1.0)
}

// By hand: 2.5 N are passed 1.5 ms after the ramp begins and 3 ms before the other ends; 50 x (0.97 + 0.045) N s. Noise of
// 0.5 N on each of 100 000 readings a second.
#[test]
fn a_recorder_of_100_khz_finds_the_edges_where_they_are() {
    let firing = "title = \"Fast\"\n[log.stand]\nfile = \"fast.csv\"\ntime = { column = \"t_us\", unit = \"us\" }\n\
                  [cell.base]\nsignal = { log = \"stand\", column = \"base\" }\nscale = \"0.01 N\"\nzero = 1000\n\
                  [stand]\nmount = \"level\"\n[motor.left]\n\
                  certified = \"demo-data/twin-captive/finch-24.toml\"\npropellant = \"20 g\"\n\
                  [reduce]\nwindow = [\"1.2 s\", \"2.9 s\"]\n";
    let mut state: u64 = 3;
    let mut uniform = || {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1);
        (state >> 11) as f64 / (1_u64 << 53) as f64 - 0.5
    };
    let mut log = "t_us,base\n".to_owned();
    for row in 0..400_000 {
        // The sum of three has a variance of a quarter.
        let noise_n = uniform() + uniform() + uniform();
        let counts = 1000.0 + 100.0 * (trapezoid(1e-5 * f64::from(row)) + noise_n);
        writeln!(log, "{},{counts:.0}", 10 * row).unwrap();
    }
    let folder = Folder::copy_of("demo-data/twin-captive")
        .file("firing.toml", firing)
        .file("fast.csv", &log);
    let result = reduced(&folder, "firing.toml");
    for (pointer, truth, widest) in [
        ("/burn/ignition_s", 1.5015, 5e-4),
        ("/burn/burnout_s", 2.557, 5e-4),
        ("/burn/burn_time_s", 1.0555, 5e-4),
        // A scale without a spread is taken to be known to 0.1 %.
        ("/impulse/total_ns", 50.75, 0.06),
    ] {
        let of = |part: &str| result.pointer(pointer).unwrap()[part].as_f64().unwrap();
        let (value, u) = (of("value"), of("u"));
        assert!(
            (value - truth).abs() < 2.5 * u && u < widest,
            "{pointer}: {value} u {u}"
        );
    }
}
