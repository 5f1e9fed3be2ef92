//! For tests: does every value on a page stand in the data, at the place it names?

use serde_json::Value;

use super::Page;
use super::fabricated;
use super::text::{Part, Shown};
use super::units::each_text;

/// The values that are not what the data holds at their path: none, on a sound page.
pub(crate) fn strangers(page: &Page, data: &impl serde::Serialize) -> Vec<String> {
    let data = serde_json::to_value(data).unwrap();
    let mut out = Vec::new();
    each_text(&mut page.clone(), &mut |text| {
        for part in &text.parts {
            if let Part::Value { path, shown } = part
                && !stands_at(&data, path, shown)
            {
                out.push(format!("{path}: {shown:?}"));
            }
        }
    });
    out
}

fn stands_at(data: &Value, path: &str, shown: &Shown) -> bool {
    let found = data.pointer(path);
    let last = path.rsplit('/').next().unwrap_or_default();
    match shown {
        Shown::Missing(_) => found.is_none_or(Value::is_null),
        Shown::Name(name) => {
            let key = last.replace("~1", "/").replace("~0", "~");
            found.is_some_and(|found| found == name.as_str() || !found.is_string() && key == *name)
        }
        Shown::Customary(of) => stands_at(data, path, of),
        Shown::Quote(text) => found.is_some_and(|found| found == text.as_str()),
        Shown::Measured(measured) | Shown::Compact(measured) => {
            found.is_some_and(|found| *found == serde_json::to_value(measured).unwrap())
        }
        Shown::Number(value, ..)
        | Shown::Term(value, _)
        | Shown::Typed(value, _)
        | Shown::Share(value, _)
        | Shown::Probability(value)
        | Shown::ClockTime(value) => found.is_some_and(|found| {
            found.as_f64() == Some(*value) || found.is_null() && !value.is_finite()
        }),
        Shown::Count(count) => found.is_some_and(|found| found.as_u64() == Some(*count)),
        Shown::Length(length) => {
            let array = found.and_then(Value::as_array).map(Vec::len);
            let object = found.and_then(Value::as_object).map(serde_json::Map::len);
            array.or(object) == Some(*length)
        }
        Shown::Ordinal(nth) => found.is_some() && last.parse() == Ok(nth - 1),
    }
}

#[test]
fn every_value_shown_of_a_firing_stands_where_it_says() {
    for reduction in [
        fabricated::full(),
        fabricated::dry_run(),
        fabricated::nothing_lit(),
        fabricated::hostile(),
    ] {
        let page = super::firing::page(&reduction.result);
        assert_eq!(strangers(&page, &reduction.result), [""; 0]);
    }
}

#[test]
fn the_audit_finds_a_stranger() {
    let mut result = fabricated::full().result;
    let page = super::firing::page(&result);
    result.impulse.as_mut().unwrap().budget[1].share += 1e-9;
    result.motors.as_mut().unwrap().shift_remove("left");
    let found = strangers(&page, &result);
    assert!(
        found
            .iter()
            .any(|one| one.starts_with("/impulse/budget/1/share: "))
    );
    assert!(found.iter().any(|one| one.starts_with("/motors/left: ")));
    result = fabricated::full().result;
    assert_eq!(strangers(&page, &result), [""; 0]);
}

/// The demo firing, reduced.
fn demo(name: &str) -> crate::reduce::Reduction {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data");
    let firing = crate::config::read_firing(&folder.join(name).join("firing.toml")).unwrap();
    crate::reduce::reduce(&firing).unwrap()
}

#[test]
fn every_value_shown_of_the_demo_firings_stands_where_it_says() {
    for name in ["twin-captive", "twin-one-dead"] {
        let result = demo(name).result;
        let page = super::firing::page(&result);
        assert_eq!(strangers(&page, &result), [""; 0], "{name}");
    }
}

// Gains and flights of the demo with every kind of output there is: fixed and by thrust, a start that
// fails, sampled flights, one of them again, and the captive firing.
#[test]
fn every_value_shown_of_gains_and_flights_stands_where_it_says() {
    use crate::control::start_up::Start;
    use crate::control::{Scheduling, Specification, tune};
    use crate::flight::{
        MonteCarlo, SimulationInputs, SimulationOptions, Spreads, Vehicle, simulate,
    };
    let reduced = demo("twin-captive");
    let plant = reduced.plant.as_ref().unwrap();
    let recorded = crate::flight::axis_records(&reduced).unwrap();
    for (scheduling, start, only) in [
        (Scheduling::Never, Start::ZeroError, Some(17)),
        (Scheduling::Always, Start::Shipped, None),
    ] {
        let specification = Specification {
            scheduling,
            start,
            draws: 40,
            ..Specification::default()
        };
        let gains = tune(plant, "plant.json", &specification).unwrap();
        let page = super::gains::page(&gains);
        assert_eq!(strangers(&page, &gains), [""; 0], "gains");
        let vehicle = Vehicle {
            mass_kg: Some(1.18),
            ..Vehicle::default()
        };
        let options = SimulationOptions {
            monte_carlo: MonteCarlo {
                runs: 60,
                seed: 1,
                tilt_limit_deg: 4.0,
                spreads: Spreads::default(),
            },
            only,
            threads: 2,
        };
        let inputs = SimulationInputs {
            plant,
            plant_name: "plant.json",
            gains: &gains,
            gains_name: "gains.json",
            vehicle: &vehicle,
            recorded: &recorded,
        };
        let flown = simulate(&inputs, &options, &|_| {}).unwrap();
        let page = super::simulation::page(&flown);
        assert_eq!(strangers(&page, &flown), [""; 0], "flights");
    }
}

#[test]
fn every_value_shown_of_a_calibration_stands_where_it_says() {
    use crate::calibration::points::LoadKind;
    for kind in [LoadKind::Force, LoadKind::Angle] {
        let judgement = fabricated::calibration::judgement(kind);
        assert_eq!(judgement.sweep.is_some(), kind == LoadKind::Angle);
        let page = super::calibration::page(&judgement);
        assert_eq!(strangers(&page, &judgement), [""; 0]);
    }
}

#[test]
fn every_value_shown_of_several_firings_stands_where_it_says() {
    let all = ["twin-captive", "twin-one-dead"].map(|name| (name.to_owned(), demo(name)));
    let compared = crate::compare::compare(&all, vec![]);
    let page = super::comparison::page(&compared);
    assert_eq!(strangers(&page, &compared), [""; 0], "compared");
    let results: Vec<_> = all.iter().map(|(_, of)| of.result.clone()).collect();
    let page = super::overview::page(&results);
    assert_eq!(strangers(&page, &results), [""; 0], "overview");
    let plants: Vec<_> = all
        .iter()
        .map(|(_, reduced)| reduced.plant.as_ref().unwrap().axes["pitch"].clone())
        .collect();
    let axis = crate::plant::pool::pool(&plants.iter().map(Some).collect::<Vec<_>>(), &[]).unwrap();
    let pooled = crate::plant::pool::PooledFit {
        schema: 1,
        firings: all.map(|(file, _)| file).to_vec(),
        axes: [("pitch".to_owned(), axis)].into_iter().collect(),
    };
    let page = super::pooled_plant::page(&pooled);
    assert_eq!(strangers(&page, &pooled), [""; 0], "pooled");
}

#[test]
fn every_value_shown_of_a_first_look_stands_where_it_says() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/twin-captive");
    let seen = ["stand.csv", "computer.csv"]
        .map(|log| crate::look::look_at(&folder.join(log), None).unwrap());
    let look = crate::look::look(seen.to_vec());
    let page = super::look::page(&look);
    assert_eq!(strangers(&page, &look), [""; 0]);
}
