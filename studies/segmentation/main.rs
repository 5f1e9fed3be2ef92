//! How often the burn of a record is found, missed, or taken for something else, over records drawn by a program that
//! knows nothing of the finder.
//!
//! `cargo run --release --features internals --example segmentation -- FIRST COUNT` prints the table of
//! docs/segmentation.md for the records of these seeds.

#![allow(
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "a study prints its table"
)]

mod records;

use std::collections::BTreeMap;

use burnwright::internal::record_report;
use burnwright::result::RecordReport;
use records::{Category, Record, Verdict};

/// What was said of a record.
#[derive(Clone, Copy, Default)]
struct Counts {
    records: usize,
    right: usize,
    edges: usize,
    undecided: usize,
    wrong: usize,
}

fn main() {
    let mut arguments = std::env::args()
        .skip(1)
        .filter_map(|word| word.parse::<u64>().ok());
    let (first, count) = (
        arguments.next().unwrap_or(0),
        arguments.next().unwrap_or(300),
    );
    let mut table: BTreeMap<&str, Counts> = BTreeMap::new();
    let mut errors = Vec::new();
    for seed in first..first + count {
        let record = records::draw(seed);
        let (row, said) = (row(&record), said(&record));
        let counts = table.entry(row).or_default();
        counts.records += 1;
        match said {
            Said::Right(error) => {
                counts.right += 1;
                errors.extend(error);
            }
            Said::Edges => counts.edges += 1,
            Said::Undecided => counts.undecided += 1,
            Said::Wrong => {
                counts.wrong += 1;
                eprintln!("wrong: seed {seed}");
            }
        }
    }
    println!("| records | number | right | right burn, other edges | undecided or none | wrong |");
    println!("|---|---|---|---|---|---|");
    for (row, of) in &table {
        let Counts {
            records,
            right,
            edges,
            undecided,
            wrong,
        } = of;
        println!("| {row} | {records} | {right} | {edges} | {undecided} | {wrong} |");
    }
    errors.sort_by(f64::total_cmp);
    let at = |share: f64| {
        errors
            .get((share * errors.len() as f64) as usize)
            .copied()
            .unwrap_or(f64::NAN)
    };
    let shares = [0.05, 0.25, 0.5, 0.75, 0.95].map(|share| format!("{:.2} %", 100.0 * at(share)));
    println!(
        "\nRough area against the truth, 5th to 95th hundredth: {}",
        shares.join(", ")
    );
}

fn row(record: &Record) -> &'static str {
    match (record.truth.verdict, record.truth.category) {
        (Verdict::NoBurn, _) => "d: no burn",
        (Verdict::CannotTell, _) => "e: a burn that nobody could mark",
        (_, Category::Few) => "a: a burn, one or two disturbances",
        (_, Category::Several) => "b: a burn, three to seven disturbances",
        (_, Category::Trimmed | Category::WithoutBurn) => "c: a burn, next to no rest on a side",
    }
}

/// What the finder says, held against the truth.
enum Said {
    /// The error of the area, as a share, where the readings hold it.
    Right(Option<f64>),
    Edges,
    Undecided,
    Wrong,
}

fn said(record: &Record) -> Said {
    let truth = &record.truth;
    let readings: Vec<f64> = record.readings.iter().map(|one| one * truth.sign).collect();
    let found = record_report(&record.times, &readings)
        .as_ref()
        .and_then(chosen);
    let Some((from_s, to_s, area_ns)) = found else {
        return match truth.verdict {
            Verdict::NoBurn => Said::Right(None),
            Verdict::Burn | Verdict::CannotTell => Said::Undecided,
        };
    };
    if let Some(firing) = truth.firings().find(|firing| firing.accepts(from_s, to_s)) {
        let error = firing
            .holds_impulse()
            .then(|| area_ns / firing.impulse_in_window - 1.0);
        return Said::Right(error);
    }
    let alike = truth.firings().any(|firing| {
        let common_s = to_s.min(firing.end) - from_s.max(firing.start);
        common_s > 0.5 * (to_s - from_s).max(firing.end - firing.start)
    });
    if alike { Said::Edges } else { Said::Wrong }
}

/// From, to, and area of what would be reduced.
fn chosen(report: &RecordReport) -> Option<(f64, f64, f64)> {
    let parts: Vec<_> = report.segments.iter().filter(|one| one.reduced).collect();
    let (first, last) = (parts.first()?, parts.last()?);
    Some((
        first.from_s,
        last.to_s,
        parts.iter().map(|one| one.area_ns).sum(),
    ))
}
