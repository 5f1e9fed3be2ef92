//! JSON files: the data as it is, keys in a fixed order.
//!
//! A number that is not finite is written as `null` (RFC 8259 has no other way to say it).

use serde::Serialize;

/// The text of a file, such as `result.json`, or of what `--json` prints.
#[must_use]
pub(crate) fn text(data: &impl Serialize) -> String {
    // Cannot fail: every map key is a string and nothing is written to a stream.
    let mut text = serde_json::to_string_pretty(data).unwrap_or_default();
    text.push('\n');
    text
}

#[cfg(test)]
mod tests {
    use super::text as json;
    use crate::control::GainsFile;
    use crate::reduce::FiringResult;
    use crate::view::fabricated;
    use serde_json::Value;

    const RESULT_SCHEMA: &str = include_str!("../../schemas/result.schema.json");
    const PLANT_SCHEMA: &str = include_str!("../../schemas/plant.schema.json");

    fn faults(schema: &str, text: &str) -> Vec<String> {
        let schema: Value = serde_json::from_str(schema).unwrap();
        jsonschema::meta::validate(&schema).unwrap();
        let data: Value = serde_json::from_str(text).unwrap();
        let validator = jsonschema::validator_for(&schema).unwrap();
        let faults = validator.iter_errors(&data);
        faults
            .map(|fault| format!("{}: {fault}", fault.instance_path()))
            .collect()
    }

    #[test]
    fn what_is_written_fits_the_schemas() {
        for reduction in [
            fabricated::full(),
            fabricated::dry_run(),
            fabricated::nothing_lit(),
            fabricated::hostile(),
        ] {
            let text = json(&reduction.result);
            assert_eq!(faults(RESULT_SCHEMA, &text), [""; 0]);
            if let Some(plant) = &reduction.plant {
                assert_eq!(faults(PLANT_SCHEMA, &json(plant)), [""; 0]);
            }
        }
    }

    #[test]
    fn gains_and_flights_fit_their_schemas() {
        use crate::control::{Scheduling, Specification, tune};
        use crate::flight::{
            MonteCarlo, SimulationInputs, SimulationOptions, Spreads, Vehicle, simulate,
        };
        const GAINS_SCHEMA: &str = include_str!("../../schemas/gains.schema.json");
        const SIMULATION_SCHEMA: &str = include_str!("../../schemas/simulation.schema.json");
        let plant = fabricated::full().plant.unwrap();
        for scheduling in [Scheduling::Never, Scheduling::Always] {
            let specification = Specification {
                scheduling,
                draws: 20,
                ..Specification::default()
            };
            let gains = tune(&plant, "plant.json", &specification).unwrap();
            let text = json(&gains);
            assert_eq!(faults(GAINS_SCHEMA, &text), [""; 0]);
            let back: GainsFile = serde_json::from_str(&text).unwrap();
            assert_eq!(back, gains);
            let wrong = text.replacen("\"kp\"", "\"kpp\"", 1);
            assert!(!faults(GAINS_SCHEMA, &wrong).is_empty());
            for (mass_kg, only) in [(Some(1.2), None), (None, Some(3))] {
                let vehicle = Vehicle {
                    mass_kg,
                    ..Vehicle::default()
                };
                let options = SimulationOptions {
                    monte_carlo: MonteCarlo {
                        runs: 20,
                        seed: 1,
                        tilt_limit_deg: 30.0,
                        spreads: Spreads::default(),
                    },
                    only,
                    threads: 2,
                };
                let inputs = SimulationInputs {
                    plant: &plant,
                    plant_name: "plant.json",
                    gains: &gains,
                    gains_name: "gains.json",
                    vehicle: &vehicle,
                    recorded: &indexmap::IndexMap::new(),
                };
                let flown = simulate(&inputs, &options, &|_| {}).unwrap();
                let text = json(&flown);
                assert_eq!(faults(SIMULATION_SCHEMA, &text), [""; 0]);
            }
        }
    }

    #[test]
    fn the_schemas_notice_a_missing_key_and_a_wrong_word() {
        let text = json(&fabricated::full().result);
        let without = text.replacen("\"impulse\"", "\"impulses\"", 1);
        assert_eq!(faults(RESULT_SCHEMA, &without).len(), 1);
        let wrong = text.replacen("\"lit\": \"lit\"", "\"lit\": \"burning\"", 1);
        assert_eq!(faults(RESULT_SCHEMA, &wrong).len(), 1);
        let plant = json(&fabricated::full().plant.unwrap());
        let added = plant.replacen("\"schema\"", "\"extra\": 1, \"schema\"", 1);
        assert_eq!(faults(PLANT_SCHEMA, &added).len(), 1);
    }

    #[test]
    fn what_was_written_reads_back_the_same() {
        let result = fabricated::full().result;
        let back: FiringResult = serde_json::from_str(&json(&result)).unwrap();
        assert_eq!(back, result);
    }

    #[test]
    fn unknown_and_infinite_are_null_and_the_order_is_fixed() {
        let mut result = fabricated::nothing_lit().result;
        result.findings = vec![];
        let text = json(&result);
        assert!(text.contains("\n  \"burn\": null,\n  \"thrust\": null,\n"));
        assert!(text.ends_with("}\n"));
        result.cells["base"].residual_sd_n = Some(f64::NAN);
        assert!(json(&result).contains("\"residual_sd_n\": null"));
    }
}
