//! What is tested on the bench before a firing: free swing, inertia by a swing test, sweep of the nozzle.

use std::fmt::Write;

use serde_json::Value;

use crate::runner::Folder;

const DEMO: &str = "demo-data/twin-captive";

fn plant(folder: &Folder) -> Value {
    let run = folder.run(&[
        "reduce",
        "demo-data/twin-captive/firing.toml",
        "--out",
        "out",
    ]);
    assert_eq!(run.code, 0, "{}", run.stderr);
    folder.json("out/plant.json")["axes"]["pitch"].clone()
}

fn u(plant: &Value, key: &str) -> f64 {
    plant["rig"][key]["u"].as_f64().unwrap()
}

/// A free swing of the demo's rig: stiffness -1.31 9.81 0.03/0.081 = -4.76, damping 0.25, read at 100 Hz
/// with a resolution of 0.02 deg.
fn swing() -> String {
    let (c, w2) = (0.25_f64, 4.76_f64);
    let w = (w2 - 0.25 * c * c).sqrt();
    let mut out = "ms,tilt\n".to_owned();
    for row in 0..1500 {
        let t = f64::from(row) * 0.01;
        let tilt = 8.0 * (-0.5 * c * t).exp() * (w * t).cos();
        writeln!(out, "{},{:.2}", row * 10, (tilt * 50.0).round() / 50.0).unwrap();
    }
    out
}

#[test]
fn a_free_swing_makes_damping_and_stiffness_surer_than_the_burn_alone() {
    let plain = plant(&Folder::copy_of(DEMO));
    let folder = Folder::copy_of(DEMO)
        .file("demo-data/twin-captive/swing.csv", &swing())
        .edit(
            "demo-data/twin-captive/firing.toml",
            "[axis.pitch]\n",
            "[log.swing]\nfile = \"swing.csv\"\ntime = { column = \"ms\", unit = \"ms\" }\n\n[axis.pitch]\n\
             swing = { log = \"swing\", column = \"tilt\", unit = \"deg\" }\n",
        );
    let swung = plant(&folder);
    for (key, truth) in [("stiffness_per_s2", -4.76), ("damping_per_s", 0.25)] {
        assert!(u(&swung, key) < 0.5 * u(&plain, key), "{key}");
        let of = |end: &str| swung["rig"][key][end].as_f64().unwrap();
        assert!(
            of("low") <= truth && truth <= of("high"),
            "{key}: {}",
            swung["rig"][key]
        );
    }
}

// 1.31 kg on wires 0.5 m apart and 1 m long: 0.0806 = 1.31 9.80665 0.25 T^2/(16 pi^2) gives T = 1.9906 s;
// the wires' limits and gravity make it sure to about 0.3 %.
#[test]
fn an_inertia_may_come_from_a_bifilar_pendulum() {
    let folder = Folder::copy_of(DEMO).edit(
        "demo-data/twin-captive/firing.toml",
        "\"0.0806 kg m2 u 0.0008 kg m2\"",
        "{ bifilar = { mass = \"1.31 kg\", spacing = \"500 mm u 0.5 mm\", length = \"1 m u 1 mm\", period = \"1.9906 s u 1 ms\" } }",
    );
    let found = plant(&folder);
    assert!(found["rig"]["effectiveness_per_kg_m"]["value"].is_number());
    let wrong = Folder::copy_of(DEMO).edit(
        "demo-data/twin-captive/firing.toml",
        "\"0.0806 kg m2 u 0.0008 kg m2\"",
        "{ added_mass = { mass = \"0.2 kg\", distance = \"0.3 m\", period = \"2 s\", period_with = \"1 s\" } }",
    );
    let run = wrong.run(&["reduce", "demo-data/twin-captive/firing.toml"]);
    assert_eq!(run.code, 1);
    assert!(run.stderr.contains("period_with"), "{}", run.stderr);
}

// The demo's pitch: gain 0.93, play 0.35 deg. A sweep that shows them agrees with the burn; one with a
// gain of 1.1 does not.
#[test]
fn a_sweep_of_the_nozzle_is_held_against_the_burn() {
    let outcome = |gain: f64| {
        let mut points = "raw,angle_deg,direction\n".to_owned();
        for step in -8..=8 {
            let command = 0.5 * f64::from(step);
            writeln!(points, "{command},{:.4},up", gain * (command - 0.175)).unwrap();
        }
        for step in (-8..=8).rev() {
            let command = 0.5 * f64::from(step);
            writeln!(points, "{command},{:.4},down", gain * (command + 0.175)).unwrap();
        }
        let folder = Folder::copy_of(DEMO)
            .file("demo-data/twin-captive/sweep.csv", &points)
            .edit(
                "demo-data/twin-captive/firing.toml",
                "[axis.pitch]\n",
                "[axis.pitch]\nsweep = \"sweep.csv\"\n",
            );
        let plant = plant(&folder);
        let of = |claim: &str| {
            let findings = plant["findings"].as_array().unwrap();
            let found = findings
                .iter()
                .find(|one| one["claim"].as_str().unwrap().starts_with(claim));
            found.unwrap()["outcome"].as_str().unwrap().to_owned()
        };
        (of("the gain of the burn"), of("the dead band of the burn"))
    };
    assert_eq!(outcome(0.93), ("holds".to_owned(), "holds".to_owned()));
    assert_eq!(outcome(1.1).0, "fails");
}
