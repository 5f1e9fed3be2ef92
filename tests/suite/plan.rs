//! Before the firing: what `plan` and `ready` leave, and that it can be used.

use crate::runner::{Folder, repository};

const TWIN: &str = "demo-data/twin-captive";

/// The demo before its firing: no logs.
fn before() -> Folder {
    let folder = Folder::copy_of(TWIN);
    for log in ["stand.csv", "computer.csv"] {
        std::fs::remove_file(folder.path(&format!("{TWIN}/{log}"))).unwrap();
    }
    folder
}

fn run(folder: &Folder, words: &str) {
    let words: Vec<&str> = words.split(' ').collect();
    let run = folder.run(&words);
    assert_eq!((run.code, run.stderr.as_str()), (0, ""), "{words:?}");
}

fn follows(folder: &Folder, file: &str, kind: &str) -> serde_json::Value {
    let path = repository().join(format!("schemas/{kind}.schema.json"));
    let schema = std::fs::read_to_string(path).unwrap();
    let schema: serde_json::Value = serde_json::from_str(&schema).unwrap();
    let instance = folder.json(file);
    let validator = jsonschema::validator_for(&schema).unwrap();
    let errors: Vec<String> = validator
        .iter_errors(&instance)
        .map(|one| one.to_string())
        .collect();
    assert!(errors.is_empty(), "{kind}: {errors:#?}");
    instance
}

#[test]
fn a_designed_pattern_is_planned_with_rehearsed_and_reduced() {
    let folder = before();
    let firing = format!("{TWIN}/firing.toml");
    run(
        &folder,
        &format!("plan {firing} --pattern --moves 30 --out {TWIN}/planned --quiet"),
    );
    let design = follows(&folder, &format!("{TWIN}/planned/pattern.json"), "pattern");
    for axis in ["pitch", "yaw"] {
        let of = &design["axes"][axis];
        assert!(of["within_tilt_limit"].as_f64().unwrap() >= 0.99);
        // Of six those that keep the tilt limit.
        assert!(of["candidates"].as_array().unwrap().len() >= 4);
    }
    let header = format!(
        "#include \"{TWIN}/planned/pattern.h\"\nint main(void) {{ return pattern_command_deg(PATTERN_PITCH, PATTERN_PITCH_STEPS, 0.5f) > 9.0f; }}\n"
    );
    let folder = folder.file("use.c", &header);
    let cc = std::process::Command::new("cc")
        .args([
            "-std=c99",
            "-Wall",
            "-Werror",
            "-pedantic",
            "-fsyntax-only",
            "use.c",
        ])
        .current_dir(folder.path(""))
        .output()
        .expect("a C compiler named cc");
    assert!(
        cc.status.success(),
        "{}",
        String::from_utf8_lossy(&cc.stderr)
    );
    // As the file itself says: it and the pattern beside the firing file.
    for name in ["pattern.csv", "firing.toml"] {
        let (from, to) = (format!("{TWIN}/planned/{name}"), format!("{TWIN}/{name}"));
        std::fs::copy(folder.path(&from), folder.path(&to)).unwrap();
    }
    run(
        &folder,
        &format!("plan {firing} --draws 2 --out {TWIN}/planned --quiet"),
    );
    let plan = follows(&folder, &format!("{TWIN}/planned/plan.json"), "plan");
    let premises = plan["premises"].as_array().unwrap();
    assert!(
        premises
            .iter()
            .any(|one| one["says"] == "commands of the pattern file")
    );
    assert_eq!(plan["cases"].as_array().unwrap().len(), 2);
    run(
        &folder,
        &format!("rehearse {TWIN}/REHEARSAL.toml --seed 5 --out trial --quiet"),
    );
    run(&folder, "reduce trial/firing.toml --quiet");
    // A stated width and the one that came of it, by the same factor either way that two draws allow.
    let got = folder.json("trial/reduced/result.json");
    let of_plan = &plan["cases"][0]["axes"]["pitch"][0];
    let gain = &got["plant"]["pitch"]["actuator"]["gain"];
    let got = 0.5 * (gain["high"].as_f64().unwrap() - gain["low"].as_f64().unwrap());
    let ratio = of_plan["median"].as_f64().unwrap() / got;
    assert!(
        of_plan["name"] == "gain" && (0.5..2.0).contains(&ratio),
        "{ratio}"
    );
}

#[test]
fn what_ready_finds_follows_its_schema_and_is_no_permission() {
    let folder = Folder::copy_of(TWIN);
    run(
        &folder,
        &format!("ready {TWIN}/firing.toml --out {TWIN}/readied --quiet"),
    );
    let found = follows(&folder, &format!("{TWIN}/readied/ready.json"), "ready");
    assert!(!found["cautions"].as_array().unwrap().is_empty());
}
