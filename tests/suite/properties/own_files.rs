//! Readers of what the program writes: `plant.json`, `gains.json`, and flights of them.

use burnwright::{GainsFile, PlantFile, Report, Screen, Vehicle, tune};
use proptest::prelude::*;

use crate::fuzzed::targets;

use super::odd::{mistakes, values, with};
use super::small::{few_draws, made};
use super::{cases, finite, in_time, shown, told};

const NAMES: &[&str] = &[
    "schema",
    "axes",
    "pitch",
    "actuator",
    "gain",
    "value",
    "u",
    "low",
    "high",
    "unit",
    "lag_s",
    "delay_s",
    "dead_band",
    "kind",
    "width_deg",
    "travel_deg",
    "rig",
    "flight",
    "covariance",
    "names",
    "matrix",
    "fit",
    "findings",
    "thrust",
    "time_s",
    "thrust_n",
    "caution",
    "controller",
    "period_s",
    "kp",
    "schedule",
    "body",
];

/// Reads a plant, finds gains, and says so if either cannot be.
pub fn tuned(bytes: &[u8]) {
    let Ok(plant) = serde_json::from_slice::<PlantFile>(bytes) else {
        return;
    };
    match in_time(|| tune(&plant, "plant.json", &few_draws())) {
        Ok(gains) => {
            finite(&gains);
            assert!(!gains.files().is_empty());
            shown(&gains.text(Screen::default()));
        }
        Err(problems) => told(&problems),
    }
}

/// Flies a plant with gains.
pub fn flown(plant: &[u8], gains: &[u8], vehicle: &Vehicle) {
    let (Ok(plant), Ok(gains)) = (
        serde_json::from_slice::<PlantFile>(plant),
        serde_json::from_slice::<GainsFile>(gains),
    ) else {
        return;
    };
    match in_time(|| targets::flown(&plant, &gains, vehicle)) {
        Ok(flown) => {
            finite(&flown);
            shown(&String::from_utf8_lossy(&flown.files()[0].bytes));
            shown(&flown.text(Screen::default()));
        }
        Err(problems) => told(&problems),
    }
}

proptest! {
    #![proptest_config(cases(1.0))]

    #[test]
    fn plants_of_any_values(input in values(NAMES)) {
        tuned(input.to_string().as_bytes());
        flown(input.to_string().as_bytes(), made()["gains.json"].as_bytes(), &Vehicle::default());
    }

    #[test]
    fn gains_with_mistakes(mistakes in mistakes()) {
        let (plant, gains) = (&made()["plant.json"], &made()["gains.json"]);
        flown(plant.as_bytes(), &with(&mistakes, gains), &Vehicle::default());
    }

    #[test]
    fn plants_with_mistakes_flown(mistakes in mistakes()) {
        let (plant, gains) = (&made()["plant.json"], &made()["gains.json"]);
        flown(&with(&mistakes, plant), gains.as_bytes(), &Vehicle::default());
    }
}

proptest! {
    #![proptest_config(cases(0.25))]

    #[test]
    fn plants_with_mistakes_tuned(mistakes in mistakes()) {
        tuned(&with(&mistakes, &made()["plant.json"]));
    }
}
