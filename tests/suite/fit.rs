//! `burnwright fit`: one plant from several firings.

use serde_json::Value;

use crate::runner::{Folder, repository};

/// Two rehearsals of one rig, by seed.
fn two_firings() -> Folder {
    let folder = Folder::new();
    let plan = repository().join("demo-data/twin-captive/REHEARSAL.toml");
    for (seed, out) in [("11", "one"), ("12", "two")] {
        let run = folder.run(&[
            "rehearse",
            plan.to_str().unwrap(),
            "--seed",
            seed,
            "--out",
            out,
        ]);
        assert_eq!(run.code, 0, "{}", run.stderr);
    }
    folder
}

#[test]
fn two_firings_of_one_rig_give_one_surer_plant() {
    let folder = two_firings();
    let run = folder.run(&["fit", "one/firing.toml", "two/firing.toml"]);
    assert_eq!(run.code, 0, "{}", run.stderr);
    let fit: Value = serde_json::from_str(&folder.read("fitted/fit.json")).unwrap();
    let plant: Value = serde_json::from_str(&folder.read("fitted/plant.json")).unwrap();
    let schema: Value =
        serde_json::from_str(include_str!("../../schemas/plant.schema.json")).unwrap();
    assert!(jsonschema::is_valid(&schema, &plant));
    for axis in ["pitch", "yaw"] {
        let all = fit["axes"][axis]["parameters"].as_array().unwrap();
        let lag = all.iter().find(|one| one["name"] == "lag_s").unwrap();
        let u = |of: &Value| of["u"].as_f64().unwrap();
        for of in lag["of"].as_array().unwrap() {
            assert!(u(&lag["value"]) < u(of));
        }
        assert_eq!(plant["axes"][axis]["actuator"]["lag_s"], lag["value"]);
        // Motors are put in anew for each firing.
        let bias = all.iter().find(|one| one["name"] == "thrust_bias_per_kg_m");
        assert_eq!(bias.unwrap()["shared"], false);
        assert!(plant["axes"][axis]["rig"]["thrust_bias_per_kg_m"].is_null());
    }
    assert!(folder.read("fitted/plant.h").contains("LAG_S"));
    assert!(run.stdout.starts_with("One plant from 2 firings"));
}

#[test]
fn a_parameter_that_is_not_there_is_named_with_those_that_are() {
    let folder = two_firings();
    let both = [
        "fit",
        "one/firing.toml",
        "two/firing.toml",
        "--differ",
        "lug",
    ];
    let run = folder.run(&both);
    assert_eq!(run.code, 1);
    assert!(
        run.stderr.contains("`lug`") && run.stderr.contains("lag_s"),
        "{}",
        run.stderr
    );
}

#[test]
fn a_firing_named_twice_is_no_second_firing() {
    let folder = two_firings();
    let run = folder.run(&["fit", "one/firing.toml", "one/firing.toml"]);
    assert_eq!(run.code, 1);
    assert!(run.stderr.contains("named twice"));
}
