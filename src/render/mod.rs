//! The writers: from a [`Reduction`] to the files and words a person sees.
//!
//! They format and never compute: every number in the text of the page and of the summary is a
//! field of `result.json` or `plant.json`, rounded by [`number`]. They give text back; reading and
//! writing files is the command line's business.

#[cfg(test)]
mod audit;
pub mod c_header;
mod class_words;
pub mod csv;
pub mod decimate;
#[cfg(test)]
mod fabricated;
pub mod json;
pub mod number;
pub mod page;
pub mod plot;
pub mod text;
pub mod verdict;
pub mod words;

use std::panic::resume_unwind;

use crate::control::GainsFile;
use crate::plant::AxisPlant;
use crate::quantity::Measured;
use crate::reduce::Reduction;

/// The numbers of an axis in the order they act: label, the word a finding about it would hold, and
/// the value. Used by the page and the summary alike.
fn plant_rows(axis: &AxisPlant) -> Vec<(&'static str, &'static str, Option<&Measured>)> {
    let (actuator, rig, flight) = (&axis.actuator, axis.rig.as_ref(), axis.flight.as_ref());
    let mut rows = vec![
        ("gain", "gain", actuator.gain.as_ref()),
        ("bias", "bias", actuator.bias_deg.as_ref()),
        ("lag", "lag", actuator.lag_s.as_ref()),
        ("delay", "delay", actuator.delay_s.as_ref()),
        (
            "dead band",
            "dead band",
            actuator.dead_band.width_deg.as_ref(),
        ),
    ];
    if actuator.slew_deg_s.is_some() {
        rows.push(("slew limit", "slew", actuator.slew_deg_s.as_ref()));
    }
    if let Some(rig) = rig {
        rows.extend([
            (
                "effectiveness in the rig",
                "effectiveness",
                rig.effectiveness_per_kg_m.as_ref(),
            ),
            (
                "thrust bias",
                "thrust bias",
                rig.thrust_bias_per_kg_m.as_ref(),
            ),
            ("damping", "damping", rig.damping_per_s.as_ref()),
            ("stiffness", "stiffness", rig.stiffness_per_s2.as_ref()),
            (
                "dry friction",
                "dry friction",
                rig.coulomb_rad_per_s2.as_ref(),
            ),
        ]);
    }
    if let Some(flight) = flight {
        rows.extend([
            (
                "effectiveness in flight",
                "flight",
                flight.effectiveness_per_kg_m.as_ref(),
            ),
            (
                "effectiveness in flight, all burnt",
                "flight",
                flight.effectiveness_spent_per_kg_m.as_ref(),
            ),
            (
                "inertia in flight",
                "inertia",
                flight.inertia_kg_m2.as_ref(),
            ),
            ("arm in flight", "arm", flight.arm_m.as_ref()),
        ]);
    }
    rows
}

/// The names of all files that a reduction may write.
pub const FILES: [&str; 5] = [
    "report.html",
    "result.json",
    "thrust.csv",
    "plant.json",
    "plant.h",
];

/// The files of a reduction: name and content, in the order they are written.
///
/// `thrust.csv` is there when there was thrust, `plant.json` and `plant.h` when an axis could be
/// fitted.
#[must_use]
pub fn files(reduction: &Reduction) -> Vec<(String, Vec<u8>)> {
    let result = &reduction.result;
    let burn = result.burn.as_ref();
    let ignition = burn.and_then(|burn| burn.ignition_s.as_ref());
    let ignition = ignition.filter(|_| !reduction.traces.thrust_n.is_empty());
    // Of a fast recorder these two take longest, and about as long.
    let (page, thrust) = std::thread::scope(|scope| {
        let page = scope.spawn(|| page::page(reduction));
        let thrust = ignition.map(|ignition| csv::thrust_csv(&reduction.traces, ignition.value));
        (page.join().unwrap_or_else(|why| resume_unwind(why)), thrust)
    });
    let mut out = vec![
        ("report.html".to_owned(), page),
        ("result.json".to_owned(), json::result_json(result)),
    ];
    out.extend(thrust.map(|text| ("thrust.csv".to_owned(), text)));
    if let Some(plant) = &reduction.plant {
        out.push(("plant.json".to_owned(), json::plant_json(plant)));
        let header = c_header::plant_header(plant, &result.title);
        out.push(("plant.h".to_owned(), header));
    }
    out.into_iter()
        .map(|(name, text)| (name, text.into_bytes()))
        .collect()
}

/// The controller in C99, as it is handed over.
pub const CONTROLLER_HEADER: &str = include_str!("controller.h");

/// The files of a design: name and content, in the order they are written.
#[must_use]
pub fn gains_files(gains: &GainsFile) -> Vec<(String, Vec<u8>)> {
    let mut out = vec![
        ("gains.html".to_owned(), page::tuning::page(gains)),
        ("gains.json".to_owned(), json::gains_json(gains)),
        ("gains.h".to_owned(), c_header::gains::gains_header(gains)),
        ("controller.h".to_owned(), CONTROLLER_HEADER.to_owned()),
    ];
    out.push(("check-vectors.csv".to_owned(), csv::check_vectors(gains)));
    out.into_iter()
        .map(|(name, text)| (name, text.into_bytes()))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(reduction: &Reduction) -> Vec<String> {
        files(reduction).into_iter().map(|(name, _)| name).collect()
    }

    #[test]
    fn every_number_shown_of_the_demo_firings_is_in_their_results() {
        for name in ["twin-captive", "twin-one-dead"] {
            let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data");
            let path = folder.join(name).join("firing.toml");
            let firing = crate::config::read_firing(&path).unwrap();
            let reduced = crate::reduce::reduce(&firing).unwrap();
            let shown = audit::visible(&page::page(&reduced));
            assert_eq!(audit::strangers(&shown, &reduced), [""; 0], "{name}, page");
            let summary = text::summary_with_trace(&reduced, 80, false);
            assert_eq!(
                audit::strangers(&summary, &reduced),
                [""; 0],
                "{name}, summary"
            );
        }
    }

    // Gains and flights of the demo with every kind of output there is: fixed and by thrust, a start that
    // fails, drawn flights, one of them again, and the captive firing.
    #[test]
    fn every_number_shown_of_gains_and_flights_is_in_their_files() {
        use crate::control::start_up::Start;
        use crate::control::{Scheduling, Wishes, tune};
        use crate::flight::{Campaign, Named, Orders, Spreads, Vehicle, simulate};
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data");
        let path = folder.join("twin-captive/firing.toml");
        let reduced = crate::reduce::reduce(&crate::config::read_firing(&path).unwrap()).unwrap();
        let plant = reduced.plant.as_ref().unwrap();
        let recorded = crate::flight::recorded(&reduced).unwrap();
        for (scheduling, start, only) in [
            (Scheduling::Never, Start::ZeroError, Some(17)),
            (Scheduling::Always, Start::Shipped, None),
        ] {
            let wishes = Wishes {
                scheduling,
                start,
                draws: 40,
                ..Wishes::default()
            };
            let gains = tune(plant, "plant.json", &wishes).unwrap();
            let json = json::gains_json(&gains);
            let page = page::tuning::page(&gains);
            assert!(page.contains("href=\"#findings-1\"") && page.contains("id=\"findings-1\""));
            let page = audit::visible(&page);
            assert_eq!(audit::strangers_to(&page, &json), [""; 0], "gains, page");
            let text = text::tuning::tuned(&gains, 80, false);
            assert_eq!(audit::strangers_to(&text, &json), [""; 0], "gains, text");
            let open = "fails the first command is not mostly initialisation (axis pitch)";
            assert_eq!(page.contains(open), start == Start::ZeroError, "{page}");
            let vehicle = Vehicle {
                mass_kg: Some(1.18),
                ..Vehicle::default()
            };
            let orders = Orders {
                campaign: Campaign {
                    runs: 60,
                    seed: 1,
                    tilt_limit_deg: 4.0,
                    spreads: Spreads::default(),
                },
                only,
                threads: 2,
            };
            let named = Named {
                plant: "plant.json",
                gains: "gains.json",
            };
            let flown =
                simulate(plant, &gains, &vehicle, &orders, &recorded, named, &|_| {}).unwrap();
            let json = json::simulation_json(&flown);
            let page = audit::visible(&page::simulation::page(&flown));
            assert_eq!(audit::strangers_to(&page, &json), [""; 0], "flights, page");
            let text = text::simulation::flown(&flown, 80, false);
            assert_eq!(audit::strangers_to(&text, &json), [""; 0], "flights, text");
        }
    }

    #[test]
    fn files_without_content_are_not_written() {
        assert_eq!(names(&fabricated::full()), FILES);
        assert!(!names(&fabricated::dry_run()).contains(&"thrust.csv".to_owned()));
        assert!(!names(&fabricated::nothing_lit()).contains(&"plant.h".to_owned()));
    }

    #[test]
    fn the_same_reduction_gives_the_same_bytes() {
        assert_eq!(files(&fabricated::full()), files(&fabricated::full()));
    }
}
