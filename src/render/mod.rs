//! The writers: from a result to the files and words a person sees.
//!
//! They format and never compute. Terminal text and page are made from one [`view`](crate::view), whose
//! values know their place in the data; [`number`] rounds them. The writers give text back; reading
//! and writing files is the command line's business.

pub mod c_header;
pub mod csv;
pub mod decimate;
pub mod json;
pub mod number;
pub mod page;
pub mod plot;
pub mod text;
pub mod words;

use std::panic::resume_unwind;

use crate::control::GainsFile;
use crate::reduce::Reduction;

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
        let page = scope.spawn(|| page::firing(reduction));
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
        ("gains.html".to_owned(), page::gains(gains)),
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
    use crate::view::fabricated;

    fn names(reduction: &Reduction) -> Vec<String> {
        files(reduction).into_iter().map(|(name, _)| name).collect()
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
