//! The table of `docs/coverage.md`.

use std::collections::BTreeMap;

use super::study::{Case, Kind};

/// What the cases of one quantity say together.
#[derive(Debug, Clone, Copy)]
pub struct Tally {
    /// How many times it was stated.
    pub count: usize,
    /// Share of intervals that hold the truth.
    pub covered: f64,
    /// Median half width of the interval.
    pub half_width: f64,
    /// Mean of error over standard uncertainty.
    pub bias: f64,
    /// Standard deviation of error over standard uncertainty.
    pub spread: f64,
}

impl Tally {
    /// Of some cases; `None` for none.
    #[must_use]
    pub fn of<'a>(cases: impl Iterator<Item = &'a Case>) -> Option<Self> {
        let cases: Vec<&Case> = cases.collect();
        let count = cases.len() as f64;
        let ratios: Vec<f64> = cases.iter().map(|case| case.error / case.u).collect();
        let bias = ratios.iter().sum::<f64>() / count;
        let square = ratios.iter().map(|r| (r - bias).powi(2)).sum::<f64>();
        let mut half_widths: Vec<f64> = cases.iter().map(|case| case.half_width).collect();
        half_widths.sort_by(f64::total_cmp);
        Some(Self {
            count: cases.len(),
            covered: cases.iter().filter(|case| case.covered).count() as f64 / count,
            half_width: *half_widths.get(cases.len() / 2)?,
            bias,
            spread: (square / count).sqrt(),
        })
    }
}

/// Quantities in the order in which they first turned up.
#[must_use]
pub fn quantities(cases: &[Case]) -> Vec<&str> {
    let mut first: BTreeMap<&str, usize> = BTreeMap::new();
    for (at, case) in cases.iter().enumerate() {
        first.entry(&case.quantity).or_insert(at);
    }
    let mut out: Vec<&str> = first.keys().copied().collect();
    out.sort();
    out
}

/// All kinds together, then each kind.
#[must_use]
pub fn table(kinds: &[Kind], cases: &[Case], seeds: u64) -> String {
    let mut out = format!(
        "All kinds together, {} firings\n\n",
        seeds * kinds.len() as u64
    );
    out += HEAD;
    for quantity in quantities(cases) {
        let of = cases.iter().filter(|case| case.quantity == quantity);
        out += &row(quantity, Tally::of(of));
    }
    if kinds.len() > 1 {
        for (at, kind) in kinds.iter().enumerate() {
            let of_kind: Vec<Case> = cases
                .iter()
                .filter(|case| case.kind == at)
                .cloned()
                .collect();
            out += &format!("\n`{}`, {seeds} firings\n\n{HEAD}", kind.name);
            for quantity in quantities(&of_kind) {
                let of = of_kind.iter().filter(|case| case.quantity == quantity);
                out += &row(quantity, Tally::of(of));
            }
        }
    }
    out
}

const HEAD: &str = "| quantity | stated in | covered | median half width | mean error / u | sd of error / u |\n\
     |---|---|---|---|---|---|\n";

fn row(quantity: &str, tally: Option<Tally>) -> String {
    tally.map_or_else(String::new, |tally| {
        format!(
            "| {quantity} | {} | {:.1} % | {:.2e} | {:.2} | {:.2} |\n",
            tally.count,
            100.0 * tally.covered,
            tally.half_width,
            tally.bias,
            tally.spread
        )
    })
}
