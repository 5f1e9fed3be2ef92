//! The files a reduction writes: contracts, compilers, and one set of numbers.

use std::process::Command;

use crate::runner::{Folder, repository};

const FIRING: &str = "demo-data/twin-captive/firing.toml";
const REDUCED: &str = "demo-data/twin-captive/reduced";

fn demo(name: &str) -> Folder {
    let folder = Folder::copy_of(&format!("demo-data/{name}"));
    let run = folder.run(&[
        "reduce",
        &format!("demo-data/{name}/firing.toml"),
        "--quiet",
    ]);
    assert_eq!(
        (run.code, run.stdout.as_str(), run.stderr.as_str()),
        (0, "", "")
    );
    folder
}

#[test]
fn results_follow_the_published_schemas() {
    for name in ["twin-captive", "twin-one-dead"] {
        let folder = demo(name);
        for kind in ["result", "plant"] {
            let path = repository().join(format!("schemas/{kind}.schema.json"));
            let schema: serde_json::Value =
                serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap();
            let validator = jsonschema::validator_for(&schema).unwrap();
            let instance = folder.json(&format!("demo-data/{name}/reduced/{kind}.json"));
            let errors: Vec<String> = validator
                .iter_errors(&instance)
                .map(|error| format!("{}: {error}", error.instance_path()))
                .collect();
            assert!(errors.is_empty(), "{name} {kind}: {errors:#?}");
        }
    }
}

#[test]
fn the_header_compiles_alone_as_c99() {
    let folder = demo("twin-captive").file(
        "use.c",
        "#include \"demo-data/twin-captive/reduced/plant.h\"\nint main(void) { return 0; }\n",
    );
    let header = format!("{REDUCED}/plant.h");
    for source in [header.as_str(), "use.c"] {
        let output = Command::new("cc")
            .args([
                "-std=c99",
                "-Wall",
                "-Wextra",
                "-Werror",
                "-pedantic",
                "-fsyntax-only",
                "-x",
                "c",
            ])
            .arg(source)
            .current_dir(folder.folder.path())
            .output()
            .expect("a C compiler named cc");
        assert!(
            output.status.success(),
            "{}",
            String::from_utf8_lossy(&output.stderr)
        );
    }
}

#[test]
fn thrust_csv_starts_at_ignition_and_splits_the_motors() {
    let folder = demo("twin-captive");
    let text = folder.read(&format!("{REDUCED}/thrust.csv"));
    let mut lines = text.lines();
    assert_eq!(
        lines.next(),
        Some("time_s,thrust_n,u_n,thrust_left_n,thrust_right_n,read_n")
    );
    let rows: Vec<Vec<f64>> = lines
        .map(|line| {
            line.split(',')
                .map(|field| field.parse().unwrap())
                .collect()
        })
        .collect();
    let area: f64 = rows
        .windows(2)
        .map(|w| 0.5 * (w[0][1] + w[1][1]) * (w[1][0] - w[0][0]))
        .sum();
    let total = folder.json(&format!("{REDUCED}/result.json"))["impulse"]["total_ns"]["value"]
        .as_f64()
        .unwrap();
    // The file covers rest as well, where noise adds a little.
    assert!((area - total).abs() < 0.005 * total, "{area} {total}");
    for row in &rows {
        assert!(
            (row[5] - row[3] - row[4]).abs() < 1e-3,
            "the motors do not add up: {row:?}"
        );
    }
    let crossing = rows.windows(2).find(|w| w[1][0] > 0.0).unwrap();
    assert!(crossing[0][1] < 5.0, "thrust is not yet large at time zero");
}

#[test]
fn json_on_stdout_is_the_results_file() {
    let folder = demo("twin-captive");
    let run = folder.run(&["reduce", FIRING, "--json"]);
    assert_eq!(run.stderr, "");
    assert_eq!(run.stdout, folder.read(&format!("{REDUCED}/result.json")));
}

#[test]
fn the_first_line_is_the_verdict_and_fits_the_terminal() {
    let folder = demo("twin-captive");
    let run = folder.run(&["reduce", FIRING]);
    assert!(
        run.stdout.starts_with("Both motors lit. Total impulse 59."),
        "{}",
        run.stdout
    );
    let widest = run.widest();
    assert!(widest <= 80, "{widest} columns");
    assert!(!run.stdout.contains('\u{1b}'), "colour without a terminal");
    assert!(run.stderr.starts_with("written: "));
}

#[test]
fn an_output_path_that_is_a_file_is_refused_and_left_alone() {
    let folder = Folder::copy_of("demo-data/twin-captive").file("out", "mine");
    let run = folder.run(&["reduce", FIRING, "--out", "out"]);
    assert_eq!(run.code, 1);
    assert!(
        run.stderr
            .contains("results need a folder, and this is a file"),
        "{}",
        run.stderr
    );
    assert_eq!(folder.read("out"), "mine");
}

#[test]
fn without_a_name_the_firing_file_of_the_folder_is_reduced() {
    let folder = Folder::copy_of("demo-data/twin-captive");
    let alone = |inside: &str| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_burnwright"));
        command.arg("reduce").current_dir(folder.path(inside));
        command.output().unwrap()
    };
    let done = alone("demo-data/twin-captive");
    let says = String::from_utf8(done.stdout).unwrap();
    assert!(
        done.status.success() && says.starts_with("Both motors lit."),
        "{says}"
    );
    assert!(
        folder
            .path("demo-data/twin-captive/reduced/result.json")
            .exists()
    );
    let none = alone("demo-data");
    let says = String::from_utf8(none.stderr).unwrap();
    assert_eq!(none.status.code(), Some(2));
    assert!(
        says.contains("there is no firing.toml in this folder"),
        "{says}"
    );
}

#[test]
fn several_firings_are_reduced_in_one_go_and_a_bad_one_stops_no_other() {
    let folder = Folder::copy_of("demo-data/twin-captive")
        .and("demo-data/twin-one-dead")
        .file("bad/firing.toml", "[log.stand]\nfile = \"none.csv\"\n");
    let (first, last) = (
        "demo-data/twin-captive/firing.toml",
        "demo-data/twin-one-dead/firing.toml",
    );
    let run = folder.run(&["reduce", first, "bad/firing.toml", last]);
    assert_eq!(run.code, 1, "{}", run.stderr);
    // A line for each, in the order they were named.
    let lines: Vec<&str> = run.stdout.lines().collect();
    let line = |begins: &str| {
        lines
            .iter()
            .position(|line| line.starts_with(begins))
            .unwrap()
    };
    assert!(line("  Twin captive firing 2  2 of 2") < line("  Twin captive firing 3  1 of 2"));
    assert!(run.stderr.contains("bad/firing.toml"), "{}", run.stderr);
    assert!(
        folder
            .path("demo-data/twin-captive/reduced/plant.json")
            .exists()
    );
    assert!(
        folder
            .path("demo-data/twin-one-dead/reduced/plant.json")
            .exists()
    );
    assert!(!folder.path("bad/reduced").exists());
    let twice = folder.run(&["reduce", first, first]);
    assert_eq!(twice.code, 1);
    assert!(
        twice
            .stderr
            .contains("two firings would write to one folder"),
        "{}",
        twice.stderr
    );
}

#[test]
fn a_firing_is_one_picture_to_share() {
    let folder = Folder::copy_of("demo-data/twin-one-dead");
    let firing = "demo-data/twin-one-dead/firing.toml";
    for (file, begins) in [("a.png", &b"\x89PNG"[..]), ("a.svg", b"<svg")] {
        let run = folder.run(&["reduce", firing, "--picture", file]);
        assert_eq!(run.code, 0, "{}", run.stderr);
        assert!(
            run.stderr.contains(&format!("written: {file}")),
            "{}",
            run.stdout
        );
        assert!(
            std::fs::read(folder.path(file))
                .unwrap()
                .starts_with(begins)
        );
    }
    let drawn = folder.read("a.svg");
    assert!(
        drawn.contains("Danger: motor right is still loaded."),
        "{drawn}"
    );
    for (args, says) in [
        (
            vec!["--picture", "a.jpg"],
            "a picture is a .png or an .svg file",
        ),
        (
            vec!["elsewhere/firing.toml", "--picture", "a.png"],
            "--picture shows one firing",
        ),
    ] {
        let run = folder.run(&[&["reduce", firing], args.as_slice()].concat());
        assert_eq!(run.code, 2, "{}", run.stderr);
        assert!(run.stderr.contains(says), "{}", run.stderr);
    }
}
