//! What every result can be turned into: text for a terminal, JSON, and the files that keep it.
//!
//! Without the feature `report` the files are the same but for the pages (`.html`).

// Units are those of pages.
#![cfg_attr(not(feature = "report"), allow(unused_variables))]

use std::panic::resume_unwind;

#[cfg(feature = "report")]
use super::page;
use super::text::Screen;
use super::{c_header, csv, json, json_lines, parquet, text};
use crate::archive::Archive;
use crate::calibration::Calibration;
use crate::compare::Comparison;
use crate::control::GainsFile;
use crate::flight::SimulationFile;
use crate::look::Look;
use crate::plan::rehearsal::OutputFile;
use crate::plan::{Design, Prediction};
use crate::plant::{CommonPlant, PlantFile};
use crate::quantity::Units;
use crate::ready::Readiness;
use crate::reduce::Reduction;

/// A result that can be shown and kept.
pub trait Report {
    /// Names of all files it may be kept in.
    const FILES: &'static [&'static str] = &[];

    /// What a terminal shows, the answer first.
    fn text(&self, screen: Screen) -> String;

    /// Every number of it as JSON, keys in a fixed order.
    fn json(&self) -> String;

    /// The files that keep it, in the order they are to be written; data and pages in SI units.
    fn files(&self) -> Vec<OutputFile> {
        self.files_in(Units::Si)
    }

    /// The same with other units beside those of the SI on its pages.
    fn files_in(&self, _units: Units) -> Vec<OutputFile> {
        Vec::new()
    }
}

fn file(path: &str, text: String) -> OutputFile {
    OutputFile {
        path: path.to_owned(),
        bytes: text.into_bytes(),
    }
}

impl Report for Reduction {
    const FILES: &'static [&'static str] = &[
        "report.html",
        "result.json",
        "thrust.csv",
        "plant.json",
        "plant.h",
    ];

    fn text(&self, screen: Screen) -> String {
        text::firing(self, screen)
    }

    fn json(&self) -> String {
        json::text(&self.result)
    }

    /// `thrust.csv` is there when there was thrust, `plant.json` and `plant.h` when an axis could be
    /// fitted.
    fn files_in(&self, units: Units) -> Vec<OutputFile> {
        let burn = self.result.burn.as_ref();
        let ignition = burn.and_then(|burn| burn.ignition_s.as_ref());
        let ignition = ignition.filter(|_| !self.traces.thrust_n.is_empty());
        // Of a fast recorder these two take longest, and about as long.
        let (mut out, thrust) = std::thread::scope(|scope| {
            let thrust = ignition
                .map(|ignition| scope.spawn(move || csv::thrust_csv(&self.traces, ignition.value)));
            let out = Vec::from([
                #[cfg(feature = "report")]
                file("report.html", page::firing(self, units)),
                file("result.json", self.json()),
            ]);
            let thrust = thrust.map(|text| text.join().unwrap_or_else(|why| resume_unwind(why)));
            (out, thrust)
        });
        out.extend(thrust.map(|text| file("thrust.csv", text)));
        if let Some(plant) = &self.plant {
            out.extend(plant_files(plant));
        }
        out
    }
}

fn plant_files(plant: &PlantFile) -> [OutputFile; 2] {
    [
        file("plant.json", json::text(plant)),
        file("plant.h", c_header::plant_header(plant)),
    ]
}

impl Report for Look {
    fn text(&self, screen: Screen) -> String {
        text::look(self, screen)
    }

    fn json(&self) -> String {
        json::text(self)
    }
}

impl Report for Calibration {
    fn text(&self, screen: Screen) -> String {
        text::calibration(&self.judgement, screen)
    }

    fn json(&self) -> String {
        json::text(&self.judgement)
    }
}

impl Report for Comparison {
    const FILES: &'static [&'static str] = &["compare.html", "compare.json"];

    fn text(&self, screen: Screen) -> String {
        text::comparison(self, screen)
    }

    fn json(&self) -> String {
        json::text(self)
    }

    fn files_in(&self, units: Units) -> Vec<OutputFile> {
        Vec::from([
            #[cfg(feature = "report")]
            file("compare.html", page::comparison(self, units)),
            file("compare.json", self.json()),
        ])
    }
}

impl Report for Archive {
    const FILES: &'static [&'static str] = &[
        "firings.parquet",
        "firings.jsonl",
        "motors.parquet",
        "motors.jsonl",
        "axes.parquet",
        "axes.jsonl",
        "cells.parquet",
        "cells.jsonl",
        "thrust.parquet",
        "thrust.jsonl",
    ];

    fn text(&self, screen: Screen) -> String {
        text::archive(self, screen)
    }

    fn json(&self) -> String {
        json::text(self)
    }

    fn files_in(&self, _: Units) -> Vec<OutputFile> {
        let tables = self.contents.iter().flat_map(|table| {
            [
                OutputFile {
                    path: format!("{}.parquet", table.name),
                    bytes: parquet::bytes(table),
                },
                file(&format!("{}.jsonl", table.name), json_lines::text(table)),
            ]
        });
        tables.collect()
    }
}

impl Report for CommonPlant {
    const FILES: &'static [&'static str] = &["plant.json", "plant.h", "fit.json"];

    fn text(&self, screen: Screen) -> String {
        text::pooled_plant(&self.fit, screen)
    }

    fn json(&self) -> String {
        json::text(&self.fit)
    }

    fn files_in(&self, _: Units) -> Vec<OutputFile> {
        let mut out = Vec::from(plant_files(&self.plant));
        out.push(file("fit.json", self.json()));
        out
    }
}

impl Report for Prediction {
    const FILES: &'static [&'static str] = &["plan.json"];

    fn text(&self, screen: Screen) -> String {
        text::plan(self, screen)
    }

    fn json(&self) -> String {
        json::text(self)
    }

    fn files_in(&self, _: Units) -> Vec<OutputFile> {
        vec![file("plan.json", self.json())]
    }
}

impl Report for Design {
    const FILES: &'static [&'static str] = &[
        "pattern.csv",
        "pattern.h",
        "pattern.html",
        "pattern.json",
        "firing.toml",
    ];

    fn text(&self, screen: Screen) -> String {
        text::pattern(self, screen)
    }

    fn json(&self) -> String {
        json::text(self)
    }

    fn files_in(&self, units: Units) -> Vec<OutputFile> {
        vec![
            file("pattern.csv", csv::pattern_csv(self)),
            file("pattern.h", c_header::pattern::pattern_header(self)),
            #[cfg(feature = "report")]
            file("pattern.html", page::pattern(self, units)),
            file("pattern.json", self.json()),
            file("firing.toml", self.firing_file.clone()),
        ]
    }
}

impl Report for Readiness {
    const FILES: &'static [&'static str] = &["ready.json"];

    fn text(&self, screen: Screen) -> String {
        text::ready(self, screen)
    }

    fn json(&self) -> String {
        json::text(self)
    }

    fn files_in(&self, _: Units) -> Vec<OutputFile> {
        vec![file("ready.json", self.json())]
    }
}

impl Report for GainsFile {
    const FILES: &'static [&'static str] = &[
        "gains.html",
        "gains.json",
        "gains.h",
        "controller.h",
        "check-vectors.csv",
    ];

    fn text(&self, screen: Screen) -> String {
        text::gains(self, screen)
    }

    fn json(&self) -> String {
        json::text(self)
    }

    fn files_in(&self, units: Units) -> Vec<OutputFile> {
        Vec::from([
            #[cfg(feature = "report")]
            file("gains.html", page::gains(self, units)),
            file("gains.json", self.json()),
            file("gains.h", c_header::gains::gains_header(self)),
            file("controller.h", super::CONTROLLER_HEADER.to_owned()),
            file("check-vectors.csv", csv::check_vectors(self)),
        ])
    }
}

impl Report for SimulationFile {
    const FILES: &'static [&'static str] = &["simulation.html", "simulation.json"];

    fn text(&self, screen: Screen) -> String {
        text::simulation(self, screen)
    }

    fn json(&self) -> String {
        json::text(self)
    }

    fn files_in(&self, units: Units) -> Vec<OutputFile> {
        Vec::from([
            #[cfg(feature = "report")]
            file("simulation.html", page::simulation(self, units)),
            file("simulation.json", self.json()),
        ])
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::view::fabricated;

    fn names(reduction: &Reduction) -> Vec<String> {
        let files = reduction.files().into_iter();
        files.map(|file| file.path).collect()
    }

    #[test]
    fn files_without_content_are_not_written() {
        let pages = usize::from(!cfg!(feature = "report"));
        assert_eq!(names(&fabricated::full()), Reduction::FILES[pages..]);
        assert!(!names(&fabricated::dry_run()).contains(&"thrust.csv".to_owned()));
        assert!(!names(&fabricated::nothing_lit()).contains(&"plant.h".to_owned()));
    }

    #[test]
    fn the_same_reduction_gives_the_same_bytes() {
        assert_eq!(fabricated::full().files(), fabricated::full().files());
    }
}
