//! A first look at logs, and the firing file that it begins.

use serde_json::Value;

use crate::runner::{Folder, real_log};

const TWIN: &str = "demo-data/twin-captive";

fn column<'a>(log: &'a Value, name: &str) -> &'a Value {
    let columns = log["columns"].as_array().unwrap();
    columns.iter().find(|one| one["name"] == name).unwrap()
}

fn look_json(folder: &Folder, args: &[&str]) -> Value {
    let run = folder.run(&[&["look", "--json"], args].concat());
    assert_eq!(run.code, 0, "{}", run.stderr);
    serde_json::from_str(&run.stdout).unwrap()
}

#[test]
fn the_demo_burns_in_one_column_at_the_time_its_truth_states() {
    for demo in [TWIN, "demo-data/twin-one-dead"] {
        let folder = Folder::copy_of(demo);
        let (stand, computer) = (format!("{demo}/stand.csv"), format!("{demo}/computer.csv"));
        let look = look_json(&folder, &[&stand, &computer]);
        let kinds = |log: usize, kind: &str| -> Vec<String> {
            let columns = look["logs"][log]["columns"].as_array().unwrap();
            let names = columns.iter().filter(|one| one["kind"] == kind);
            names
                .map(|one| one["name"].as_str().unwrap().to_owned())
                .collect()
        };
        assert_eq!(kinds(0, "burns"), ["base_raw"], "{demo}");
        assert_eq!(kinds(1, "burns"), [""; 0], "{demo}");
        assert_eq!(kinds(0, "two-levels"), ["fire"]);
        assert_eq!(look["logs"][0]["clock"]["counter_bits"], 32);
        assert_eq!(look["ties"][0]["here"], "fire");

        // The truth of the rehearsal: thrust begins when the first motor lights. 5 % of peak is
        // reached within the 40 ms that this motor takes to half its peak, readings being 3 ms late.
        let truth = folder.json(&format!("{demo}/truth.json"));
        let burn = &column(&look["logs"][0], "base_raw")["burns"][0];
        let late_s =
            burn["onset_s"].as_f64().unwrap() - truth["burn"]["ignition_s"].as_f64().unwrap();
        assert!((-0.005..0.02).contains(&late_s), "{demo}: {late_s}");
        let off_s = burn["end_s"].as_f64().unwrap() - truth["burn"]["burnout_s"].as_f64().unwrap();
        assert!(off_s.abs() < 0.06, "{demo}: {off_s}");
    }
}

#[test]
fn the_terminal_says_first_what_burnt_and_no_line_is_too_wide() {
    let folder = Folder::copy_of(TWIN);
    let run = folder.run(&["look", "demo-data/twin-captive/stand.csv"]);
    let first = run.stdout.lines().next().unwrap();
    assert!(
        first.starts_with("base_raw of demo-data/twin-captive/stand.csv"),
        "{first}"
    );
    assert!(run.stdout.contains('█') && run.stdout.contains('^'));
    assert!(run.stdout.lines().all(|line| line.chars().count() <= 80));
    let quiet = folder.run(&["look", "demo-data/twin-captive/stand.csv", "--quiet"]);
    assert_eq!((quiet.stdout.as_str(), quiet.stderr.as_str()), ("", ""));
}

/// Begins a firing file beside the demo's own.
fn started() -> Folder {
    let folder = Folder::copy_of(TWIN);
    let run = folder.run(&[
        "look",
        "demo-data/twin-captive/stand.csv",
        "demo-data/twin-captive/computer.csv",
        "--start",
        "demo-data/twin-captive/begun.toml",
    ]);
    assert_eq!(run.code, 0, "{}", run.stderr);
    assert!(
        run.stderr.contains("complete the 2 values"),
        "{}",
        run.stderr
    );
    folder
}

const BEGUN: &str = "demo-data/twin-captive/begun.toml";

/// Lines of the file at which a run complained.
fn lines_complained_of(stderr: &str, file: &str) -> Vec<usize> {
    let places = stderr
        .lines()
        .filter_map(|line| line.trim().strip_prefix("at "));
    let inside = places.filter_map(|place| place.strip_prefix(file)?.strip_prefix(':'));
    inside
        .map(|place| place.split(':').next().unwrap().parse().unwrap())
        .collect()
}

#[test]
fn a_begun_firing_file_is_refused_at_the_marked_places_only() {
    let folder = started();
    let run = folder.run(&["reduce", BEGUN]);
    assert_eq!(run.code, 1);
    let marked: Vec<usize> = folder
        .read(BEGUN)
        .lines()
        .enumerate()
        .filter(|(_, line)| !line.starts_with('#') && line.contains("\"??\""))
        .map(|(at, _)| at + 1)
        .collect();
    assert_eq!(lines_complained_of(&run.stderr, BEGUN), marked);
    assert_eq!(
        run.stderr.matches("error:").count(),
        marked.len(),
        "{}",
        run.stderr
    );
    assert_eq!(run.stderr.matches("is still to be completed").count(), 2);
}

#[test]
fn a_begun_firing_file_once_completed_gives_the_impulse_of_the_demos_own() {
    // What the demo's own file says about the rig, put into the marked places; the rest was found.
    let uncommented: String = started()
        .read(BEGUN)
        .lines()
        .map(|line| {
            let known = [
                "latitude",
                "altitude",
                "capacity",
                "delay",
                "masses",
                "natural_",
                "damping_",
                "certified",
                "propellant",
                "[site]",
            ];
            let bare = line.strip_prefix("# ").unwrap_or(line);
            let wanted = known.iter().any(|key| bare.starts_with(key));
            let axes = [
                "[axis",
                "command",
                "nozzle =",
                "tilt =",
                "rate =",
                "travel",
                "arm =",
                "inertia =",
                "[vehicle]",
            ];
            let wanted = wanted || axes.iter().any(|key| bare.starts_with(key));
            format!("{}\n", if wanted { bare } else { line })
        })
        .collect();
    let folder = started().file(BEGUN, &uncommented);
    let mut folder = folder;
    let stiff = [
        ("latitude = \"??\"", "latitude = \"52.1 deg\""),
        ("altitude = \"??\"", "altitude = \"40 m\""),
        (
            "points = \"??\"",
            "points = \"cell-base-points.csv\"\ncarries = [\"left\", \"right\"]",
        ),
        ("capacity = \"??\"", "capacity = \"98 N\""),
        ("delay = \"??\"", "delay = \"3 ms u 0.5 ms\""),
        ("masses = \"??\"", "masses = \"0.02 %\""),
        ("mount = \"??\"", "mount = \"nozzle-down\""),
        (
            "natural_frequency = \"??\"",
            "natural_frequency = \"85 Hz u 1 Hz\"",
        ),
        ("damping_ratio = \"??\"", "damping_ratio = \"0.03\""),
        (
            "[motor.one]",
            "[motor.left]\noffset = { pitch = \"0 mm ± 0.3 mm\", yaw = \"14 mm ± 0.3 mm\" }",
        ),
        ("propellant = \"??\"", "propellant = \"20.1 g ± 0.1 g\""),
        ("certified = \"??\"", "certified = \"finch-24.toml\""),
        ("[axis.pitch]", RIGHT),
        ("travel = \"??\"", "travel = \"5 deg\""),
        ("arm = \"??\"", "arm = \"310 mm ± 1 mm\""),
        ("inertia = \"??\"", PITCH),
        ("travel = \"??\"", "travel = \"5 deg\""),
        ("arm = \"??\"", "arm = \"310 mm ± 1 mm\""),
        ("inertia = \"??\"", YAW),
        (
            "inertia = \"??\"",
            "inertia = \"0.0665 kg m2 u 0.001 kg m2\"\nmass = \"1.18 kg\"",
        ),
        ("arm = \"??\"", "arm = \"280 mm ± 2 mm\""),
    ];
    for (from, to) in stiff {
        folder = folder.edit(BEGUN, from, to);
    }
    let impulse = |file: &str, out: &str| {
        let run = folder.run(&["reduce", file, "--out", out]);
        assert_eq!(run.code, 0, "{}", run.stderr);
        let result = folder.json(&format!("{out}/result.json"));
        (
            result["impulse"]["total_ns"].clone(),
            result["motors"].clone(),
        )
    };
    let own = impulse("demo-data/twin-captive/firing.toml", "own");
    let begun = impulse(BEGUN, "begun");
    assert!(own.0["value"].as_f64().unwrap() > 50.0);
    assert_eq!(own, begun);
}

const RIGHT: &str = r#"[motor.right]
certified = "finch-24.toml"
propellant = "19.9 g ± 0.1 g"
fire = { log = "stand", column = "fire" }
offset = { pitch = "0 mm ± 0.3 mm", yaw = "-14 mm ± 0.3 mm" }

[axis.pitch]"#;

const PITCH: &str = r#"inertia = "0.0806 kg m2 u 0.0008 kg m2"
inertia_spent = "0.0771 kg m2 u 0.0008 kg m2"
frame_inertia = "0.012 kg m2"
pivot_to_cg = "-30 mm"
swinging_mass = "1.31 kg""#;

const YAW: &str = r#"inertia = "0.0829 kg m2 u 0.0008 kg m2"
inertia_spent = "0.0794 kg m2 u 0.0008 kg m2"
frame_inertia = "0.013 kg m2"
pivot_to_cg = "-30 mm"
swinging_mass = "1.31 kg""#;

#[test]
fn a_firing_file_that_is_there_stays_as_it_is() {
    let folder = Folder::copy_of(TWIN);
    let own = "demo-data/twin-captive/firing.toml";
    let before = folder.read(own);
    let run = folder.run(&["look", "demo-data/twin-captive/stand.csv", "--start", own]);
    assert_eq!((run.code, run.stdout.as_str()), (1, ""));
    assert!(run.stderr.contains("stays as it is"), "{}", run.stderr);
    assert_eq!(folder.read(own), before);
}

#[test]
fn hostile_names_reach_neither_terminal_nor_file_as_more_than_text() {
    let name = "<script>\"' \u{202e}x\u{1b}[31m".to_owned() + &"long ".repeat(60);
    let mut text = format!("t_ms,\"{}\",gyro\\n\n", name.replace('"', "\"\""));
    for row in 0..600 {
        let burn = if (200..350).contains(&row) {
            5000 - 20 * (row - 200)
        } else {
            0
        };
        text += &format!(
            "{},{},{}\n",
            row * 10,
            burn + row * 7919 % 13,
            row * 7919 % 101
        );
    }
    let folder = Folder::new().file("a \"b\".csv", &text);
    let run = folder.run(&["look", "a \"b\".csv", "--full", "--start", "firing.toml"]);
    assert_eq!(run.code, 0, "{}", run.stderr);
    assert!(!run.stdout.contains('\u{1b}') && !run.stdout.contains('\u{202e}'));
    assert!(
        run.stdout.contains("burns from 2.000 s to 3.490 s"),
        "{}",
        run.stdout
    );
    let marked = folder.read("firing.toml").matches("= \"??\"\n").count();
    assert!(marked >= 1);
    let reduced = folder.run(&["reduce", "firing.toml"]);
    let complaints = reduced.stderr.matches("error:").count();
    assert_eq!(
        reduced.stderr.matches("is still to be completed").count(),
        complaints
    );
}

#[test]
fn a_log_without_a_clock_says_so_and_takes_a_rate() {
    let mut text = "load\n".to_owned();
    for row in 0..800 {
        let burn = if (240..400).contains(&row) {
            5000 - 20 * (row - 240)
        } else {
            0
        };
        text += &format!("{}\n", 8000 + burn + row * 7919 % 13);
    }
    let folder = Folder::new().file("stand.csv", &text);
    let run = folder.run(&["look", "stand.csv", "--full", "--start", "firing.toml"]);
    assert!(
        run.stdout.contains("no column rises like a clock"),
        "{}",
        run.stdout
    );
    assert!(folder.read("firing.toml").contains("time = \"??\""));
    let told = look_json(&folder, &["stand.csv", "--rate", "40 Hz"]);
    assert_eq!(told["logs"][0]["clock"]["told"], true);
    assert_eq!(column(&told["logs"][0], "load")["burns"][0]["onset_s"], 6.0);
}

#[test]
fn one_log_that_cannot_be_read_does_not_hide_the_other() {
    let folder = Folder::copy_of(TWIN);
    let logs = [
        "look",
        "demo-data/twin-captive/stand.csv",
        "demo-data/twin-captive/standd.csv",
    ];
    let run = folder.run(&logs);
    assert_eq!(run.code, 1);
    assert!(run.stdout.starts_with("base_raw"));
    assert!(
        run.stderr
            .contains("a file named `stand.csv` lies in that folder")
    );
    // A firing file with a log left out would be half a firing.
    let begun = folder.run(&[&logs[..], &["--start", "firing.toml"]].concat());
    assert_eq!(
        (begun.code, folder.path("firing.toml").exists()),
        (1, false)
    );
}

/// Logs nobody here wrote: which columns look like a burn.
#[test]
fn of_real_logs_the_two_static_tests_burn_and_nothing_else() {
    let burning: [(&str, &[&str]); 11] = [
        ("sugar-reboot-log/test4_31-10-24.txt", &["2"]),
        // A record that is all burn: it has no rest to see a zero by.
        ("sugar-reboot-log/test2_26-07-24.csv", &[]),
        ("sugar-reboot-log/test5_31-01-25.txt", &[]),
        // Weights laid on for twelve seconds and taken away again.
        ("two-cells-updown/LoadCellCalibrationData.txt", &[]),
        ("hx711-mass-ladder/load_cell_calibration_00_subset.csv", &[]),
        ("thrust-arm/14_drone_seq_20260529_195254.csv", &[]),
        ("thrust-arm/dados_14_drone.csv", &[]),
        ("thrust-arm/sinal2_degraus_malha_fechada.csv", &[]),
        ("thrust-arm/sinal3_swept_sine_malha_fechada.csv", &[]),
        ("tvc-rail-servo/prbs_2026-05-13_first5s_subset.csv", &[]),
        ("tvc-rail-servo/static_sweep_2026-05-24_subset.csv", &[]),
    ];
    for (name, wanted) in burning {
        let path = real_log(name);
        let look = look_json(&Folder::new(), &[path.to_str().unwrap()]);
        let columns = look["logs"][0]["columns"].as_array().unwrap();
        let found: Vec<&str> = columns
            .iter()
            .filter(|one| one["kind"] == "burns")
            .map(|one| one["name"].as_str().unwrap())
            .collect();
        assert_eq!(found, wanted, "{name}");
        if name.contains("test4") {
            // SOURCE.md: third segment, 5 % window of 3.22 s, peak 151 893 g over a tare of 152 g.
            let burn = &column(&look["logs"][0], "2")["burns"][0];
            let of = |key: &str| burn[key].as_f64().unwrap();
            assert_eq!(burn["stretch"], 3);
            approx::assert_abs_diff_eq!(of("end_s") - of("onset_s"), 3.22, epsilon = 0.02);
            approx::assert_relative_eq!(of("peak_raw"), 151_893.0 - 152.0, max_relative = 2e-3);
        }
    }
}

/// Five rows caught of a burst, half a second apart: no clock counts them in microseconds, and a file
/// that names no cell yet is about nothing.
#[test]
fn a_handful_of_rows_is_in_milliseconds_and_its_begun_file_asks_for_a_cell() {
    let rows = "441746,39.46\n442293,-28.94\n442840,213049\n443387,325881\n443934,-6222\n";
    let folder = Folder::new().file("burst.txt", rows);
    let seen = look_json(&folder, &["burst.txt"]);
    assert_eq!(seen["logs"][0]["clock"]["unit"], "ms");
    let run = folder.run(&["look", "burst.txt", "--start", "firing.toml"]);
    assert!(
        run.stderr
            .contains("write in which column is the load cell's, complete the value"),
        "{}",
        run.stderr
    );
    let folder = folder.edit("firing.toml", "mount = \"??\"", "mount = \"level\"");
    let reduced = folder.run(&["reduce", "firing.toml"]);
    assert_eq!((reduced.code, reduced.stdout.as_str()), (1, ""));
    assert!(
        reduced.stderr.contains("no load cell to feel its thrust"),
        "{}",
        reduced.stderr
    );
}

/// A burn of 1 s at 80 rows a second, drawn by a hump that falls.
fn burn(row: u32, from: u32) -> f64 {
    let since = f64::from(row) - f64::from(from);
    if (0.0..80.0).contains(&since) {
        900.0 - 3.0 * since + f64::from(row * 7919 % 13)
    } else {
        f64::from(row * 7919 % 13) * 0.1
    }
}

/// What a maker knows and the log does not: here how the motor stands.
#[test]
fn a_begun_file_has_unit_rate_and_sum_from_the_lines_above_and_needs_one_more_word() {
    let mut text = "%Cell 1 (gf)\tCell 2 (gf)\tSum (gf)\tSampling Frequency 0.080 kHz\n".to_owned();
    for row in 0..800 {
        let (a, b) = (
            burn(row, 300),
            0.3 * burn(row, 300) + f64::from(row * 31 % 7),
        );
        let (a, b) = (format!("{a:.2}"), format!("{b:.2}"));
        let sum: f64 = a.parse::<f64>().unwrap() + b.parse::<f64>().unwrap();
        text += &format!("{a}\t{b}\t{sum:.2}\n");
    }
    let folder = Folder::new().file("stand.txt", &text);
    let run = folder.run(&["look", "stand.txt", "--start", "firing.toml"]);
    assert!(
        run.stderr.contains("complete the value that reads"),
        "{}",
        run.stderr
    );
    assert!(
        run.stdout.contains("the sum of two others"),
        "{}",
        run.stdout
    );
    let begun = folder.read("firing.toml");
    assert!(
        begun.contains("time = { rate = \"80 Hz\" }  # line 1 states it"),
        "{begun}"
    );
    assert_eq!(begun.matches("\n[cell.").count(), 1);
    assert!(begun.contains("scale = \"1 gf\""), "{begun}");
    let folder = folder.edit("firing.toml", "mount = \"??\"", "mount = \"level\"");
    let reduced = folder.run(&["reduce", "firing.toml"]);
    assert_eq!(reduced.code, 0, "{}", reduced.stderr);
}

#[test]
fn what_may_be_a_burn_is_listed_with_its_reasons_and_other_tables_are_no_logs() {
    let mut text = "t_ms,load\n".to_owned();
    for row in 0..1600 {
        let load = burn(row, 300) + burn(row, 900);
        text += &format!("{},{load:.2}\n", f64::from(row) * 12.5);
    }
    let points = "raw,mass_g\n8000,0\n9000,100\n10010,200\n";
    let folder = Folder::new()
        .file("two.csv", &text)
        .file("points.csv", points)
        .file("list.csv", "7.1\n7.2\n6.9\n7.0\n");
    let seen = look_json(&folder, &["two.csv"]);
    assert_eq!(
        column(&seen["logs"][0], "load")["unclear"]
            .as_array()
            .unwrap()
            .len(),
        2
    );
    assert_eq!(seen["cells"][0]["why"], "named");
    let run = folder.run(&["look", "two.csv", "--start", "firing.toml"]);
    assert!(run.stdout.contains("has no sure burn"), "{}", run.stdout);
    let begun = folder.read("firing.toml");
    assert!(
        begun.contains("# not surely a burn") && begun.contains("# window = ["),
        "{begun}"
    );
    for (name, says) in [
        ("points.csv", "burnwright calibrate"),
        ("list.csv", "short table"),
    ] {
        let run = folder.run(&["look", name]);
        assert!(
            run.stdout
                .lines()
                .next()
                .unwrap()
                .contains("is no log of a firing")
        );
        assert!(run.stdout.contains(says), "{}", run.stdout);
    }
}

#[test]
fn a_rehearsal_without_its_motor_file_complains_of_that_alone() {
    let folder = Folder::copy_of(TWIN);
    std::fs::remove_dir_all(folder.path("motor-curves")).unwrap();
    let rehearsal = "demo-data/twin-captive/REHEARSAL.toml";
    let run = folder.run(&["rehearse", rehearsal, "--out", "trial"]);
    assert_eq!(run.code, 1);
    // One for each motor.
    assert_eq!(run.stderr.matches("error:").count(), 2, "{}", run.stderr);
    assert_eq!(run.stderr.matches("there is no such file").count(), 2);
}
