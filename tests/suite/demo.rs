//! The demo firings: what the program says of them against what really happened in them.

use serde_json::Value;

use crate::runner::Folder;

fn reduced(name: &str) -> (Folder, Value, Value) {
    let folder = Folder::copy_of(&format!("demo-data/{name}"));
    let firing = format!("demo-data/{name}/firing.toml");
    let run = folder.run(&["reduce", &firing, "--quiet"]);
    assert_eq!((run.code, run.stderr.as_str()), (0, ""));
    let result = folder.json(&format!("demo-data/{name}/reduced/result.json"));
    let truth = folder.json(&format!("demo-data/{name}/truth.json"));
    (folder, result, truth)
}

fn at<'a>(value: &'a Value, path: &str) -> &'a Value {
    path.split('.').fold(value, |value, key| &value[key])
}

/// The truth lies in the stated 95 % interval.
#[track_caller]
fn covers(result: &Value, truth: &Value, path: &str, truth_path: &str) {
    let quantity = at(result, path);
    let truth = at(truth, truth_path).as_f64().unwrap();
    let (low, high) = (
        quantity["low"].as_f64().unwrap(),
        quantity["high"].as_f64().unwrap(),
    );
    assert!(
        (low..=high).contains(&truth),
        "{path}: {low} to {high} misses {truth}"
    );
}

#[test]
fn both_motors_of_the_twin_lit_and_every_interval_holds_the_truth() {
    let (_, result, truth) = reduced("twin-captive");
    for path in [
        "impulse.total_ns",
        "impulse.burn_window_ns",
        "impulse.specific_s",
        "burn.ignition_s",
        "burn.burnout_s",
        "burn.burn_time_s",
        "burn.action_time_s",
        "thrust.peak_n",
        "thrust.average_n",
        "motors.left.ignition_s",
        "motors.left.delay_s",
        "motors.left.total_ns",
        "motors.right.ignition_s",
        "motors.right.delay_s",
        "motors.right.total_ns",
        "ignition.stagger_s",
        "clocks.computer.offset_s",
    ] {
        covers(&result, &truth, path, path);
    }
    for axis in ["pitch", "yaw"] {
        for key in ["gain", "bias_deg", "lag_s", "delay_s"] {
            let truth_path = format!("plant.{axis}.{key}");
            covers(
                &result,
                &truth,
                &format!("plant.{axis}.actuator.{key}"),
                &truth_path,
            );
        }
        let width = format!("plant.{axis}.actuator.dead_band.width_deg");
        covers(
            &result,
            &truth,
            &width,
            &format!("plant.{axis}.dead_band.width_deg"),
        );
        assert_eq!(
            at(&result, &format!("plant.{axis}.actuator.dead_band.kind")),
            "play"
        );
        // The result holds at ignition, when the motors are loaded.
        let effectiveness = format!("plant.{axis}.rig.effectiveness_per_kg_m");
        let loaded = format!("plant.{axis}.effectiveness_loaded_per_kg_m");
        covers(&result, &truth, &effectiveness, &loaded);
    }
    let total = at(&result, "impulse.total_ns");
    let width = total["high"].as_f64().unwrap() - total["low"].as_f64().unwrap();
    assert!(width < 0.02 * total["value"].as_f64().unwrap(), "{total}");
    assert_eq!(at(&result, "motors.left.lit"), "lit");
    assert_eq!(at(&result, "motors.right.lit"), "lit");
    assert_eq!(at(&result, "ignition.all_lit"), "holds");
}

#[test]
fn the_dead_motor_is_counted_named_and_fails_a_strict_run() {
    let (folder, result, truth) = reduced("twin-one-dead");
    assert_eq!(at(&result, "ignition.lit_count"), 1);
    assert_eq!(at(&result, "ignition.all_lit"), "fails");
    assert_eq!(at(&result, "motors.left.lit"), "lit");
    assert_eq!(at(&result, "motors.right.lit"), "not lit");
    assert_eq!(at(&result, "motors.right.ignition_s"), &Value::Null);
    covers(&result, &truth, "impulse.total_ns", "impulse.total_ns");
    covers(&result, &truth, "impulse.specific_s", "impulse.specific_s");
    let strict = folder.run(&["reduce", "demo-data/twin-one-dead/firing.toml", "--strict"]);
    assert_eq!(strict.code, 3);
    let first = strict.stdout.lines().next().unwrap();
    assert!(
        first.contains("Only 1 of 2 motors lit") && first.contains("right"),
        "{first}"
    );
}

#[test]
fn the_same_input_gives_the_same_bytes() {
    let folder = Folder::copy_of("demo-data/twin-captive");
    let firing = "demo-data/twin-captive/firing.toml";
    for out in ["one", "two"] {
        assert_eq!(
            folder
                .run(&["reduce", firing, "--out", out, "--quiet"])
                .code,
            0
        );
    }
    let names = folder.files_in("one");
    assert_eq!(
        names,
        [
            "plant.h",
            "plant.json",
            "report.html",
            "result.json",
            "thrust.csv"
        ]
    );
    for name in names {
        let read = |out: &str| std::fs::read(folder.path(out).join(&name)).unwrap();
        assert!(
            read("one") == read("two"),
            "{name} differs between two runs"
        );
    }
}
