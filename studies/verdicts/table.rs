//! How often the verdicts are right, by cause, and how often the stated probability is.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use super::case::{Case, Judged};
use super::firings::Kind;
use burnwright::result::Lit;

/// Ends of the bins of stated probability.
const BINS: [f64; 10] = [0.0, 0.001, 0.01, 0.05, 0.2, 0.5, 0.8, 0.95, 0.99, 1.0];

/// All tables of some firings.
pub fn table(cases: &[Case]) -> String {
    let mut out = totals(cases);
    out += &reliability(cases);
    out += &by_cause(cases);
    out += &ignitions(cases);
    out += &together(cases);
    out += &times(cases);
    out += &wrong(cases);
    out
}

/// How often intervals hold the truth where nothing odd happened.
fn together(cases: &[Case]) -> String {
    let mut rows: BTreeMap<&str, Vec<(f64, bool)>> = BTreeMap::new();
    for (name, error, held) in cases.iter().flat_map(|case| &case.together) {
        rows.entry(name).or_default().push((*error, *held));
    }
    let mut out =
        "\n| where nothing odd happened | firings | covered | mean error / u | rms error / u |\n\
                   |---|---|---|---|---|\n"
            .to_owned();
    for (name, each) in rows {
        let count = each.len() as f64;
        let held = each.iter().filter(|one| one.1).count() as f64;
        let mean = each.iter().map(|one| one.0).sum::<f64>() / count;
        let rms = (each.iter().map(|one| one.0 * one.0).sum::<f64>() / count).sqrt();
        let _ = writeln!(
            out,
            "| {name} | {count} | {:.0} % | {mean:.2} | {rms:.2} |",
            100.0 * held / count
        );
    }
    out
}

fn judged(cases: &[Case]) -> impl Iterator<Item = (&Case, &Judged)> {
    cases
        .iter()
        .flat_map(|case| case.motors.iter().flatten().map(move |motor| (case, motor)))
}

/// Right, undecided, false lit, false not lit, confidently wrong.
#[derive(Default)]
struct Counts([usize; 5]);

impl Counts {
    fn add(&mut self, motor: &Judged) {
        let at = match (motor.wrong(), motor.said) {
            (Some(false), _) => 0,
            (None, _) => 1,
            (Some(true), Lit::Lit) => 2,
            (Some(true), _) => 3,
        };
        self.0[at] += 1;
        self.0[4] += usize::from(motor.confidently_wrong());
    }

    fn row(&self) -> String {
        let [right, undecided, lit, not_lit, sure] = self.0;
        format!("{right} | {undecided} | {lit} | {not_lit} | {sure}")
    }
}

const COUNTED: &str = "right | undecided | false lit | false not lit | confidently wrong";

fn totals(cases: &[Case]) -> String {
    let mut rows: BTreeMap<&str, Counts> = BTreeMap::new();
    for (_, motor) in judged(cases) {
        let row = match (motor.truth.lit, motor.in_cell) {
            (true, 1) => "lit, own cell",
            (true, _) => "lit, shared cell",
            (false, 1) => "dead, own cell",
            (false, _) => "dead, shared cell",
        };
        rows.entry(row).or_default().add(motor);
        rows.entry("all").or_default().add(motor);
    }
    let refused: usize = cases
        .iter()
        .filter(|case| case.motors.is_err())
        .map(|case| case.count)
        .sum();
    let mut out = format!(
        "{} firings, {} motors, of them {refused} in firings that were refused\n\n",
        cases.len(),
        cases.iter().map(|case| case.count).sum::<usize>()
    );
    let _ = writeln!(out, "| motors | {COUNTED} |\n|---|---|---|---|---|---|");
    for (row, counts) in rows {
        let _ = writeln!(out, "| {row} | {} |", counts.row());
    }
    out
}

fn reliability(cases: &[Case]) -> String {
    let mut out =
        "\n| stated probability | motors | mean stated | share lit |\n|---|---|---|---|\n"
            .to_owned();
    for ends in BINS.windows(2) {
        let last = ends[1] >= 1.0;
        let within = |p: f64| p >= ends[0] && (p < ends[1] || last);
        let bin: Vec<&Judged> = judged(cases)
            .map(|one| one.1)
            .filter(|motor| within(motor.probability))
            .collect();
        let count = bin.len().max(1) as f64;
        let mean = bin.iter().map(|motor| motor.probability).sum::<f64>() / count;
        let lit = bin.iter().filter(|motor| motor.truth.lit).count() as f64 / count;
        let _ = writeln!(
            out,
            "| {} to {} | {} | {mean:.4} | {lit:.4} |",
            ends[0],
            ends[1],
            bin.len()
        );
    }
    out
}

fn by_cause(cases: &[Case]) -> String {
    let mut rows: BTreeMap<Option<Kind>, (Counts, usize)> = BTreeMap::new();
    let each = |kinds: &[Kind]| -> Vec<Option<Kind>> {
        if kinds.is_empty() {
            vec![None]
        } else {
            kinds.iter().copied().map(Some).collect()
        }
    };
    for case in cases {
        for motor in case.motors.iter().flatten() {
            for kind in each(&motor.kinds) {
                rows.entry(kind).or_default().0.add(motor);
            }
        }
        if case.motors.is_err() {
            for kind in each(&case.kinds) {
                rows.entry(kind).or_default().1 += case.count;
            }
        }
    }
    let mut out = format!(
        "\n| at the motor, its cell or the firing | {COUNTED} | in refused firings |\n|---|---|---|---|---|---|---|\n"
    );
    for (kind, (counts, refused)) in rows {
        let name = kind.map_or("nothing", Kind::name);
        let _ = writeln!(out, "| {name} | {} | {refused} |", counts.row());
    }
    out
}

fn ignitions(cases: &[Case]) -> String {
    ["own", "shared"]
        .map(|cells| ignitions_in(cases, cells))
        .concat()
}

fn ignitions_in(cases: &[Case], cells: &str) -> String {
    let mut errors: Vec<(f64, bool)> = judged(cases)
        .filter(|(_, motor)| (motor.in_cell == 1) == (cells == "own"))
        .filter_map(|(_, motor)| motor.ignition.filter(|_| motor.truth.lit))
        .collect();
    errors.sort_by(|a, b| a.0.abs().total_cmp(&b.0.abs()));
    let count = errors.len().max(1);
    let held = errors.iter().filter(|one| one.1).count() as f64 / count as f64;
    let at = |share: f64| {
        errors
            .get((share * count as f64) as usize)
            .map_or(f64::NAN, |one| 1e3 * one.0.abs())
    };
    format!(
        "\nIgnition of {} motors in {cells} cells: {:.1} % of intervals hold it; off by {:.1} ms (median), {:.1} ms (nine of ten), {:.0} ms (99 of 100)\n",
        errors.len(),
        100.0 * held,
        at(0.5),
        at(0.9),
        at(0.99)
    )
}

fn times(cases: &[Case]) -> String {
    let mut out =
        "\n| motors | firings | median | 95 % | longest |\n|---|---|---|---|---|\n".to_owned();
    for count in 1..=4 {
        let mut took: Vec<f64> = cases
            .iter()
            .filter(|case| case.count == count)
            .map(|case| case.took.as_secs_f64())
            .collect();
        took.sort_by(f64::total_cmp);
        let at = |share: f64| {
            took.get((share * took.len() as f64) as usize)
                .copied()
                .unwrap_or(f64::NAN)
        };
        let _ = writeln!(
            out,
            "| {count} | {} | {:.2} s | {:.2} s | {:.2} s |",
            took.len(),
            at(0.5),
            at(0.95),
            took.last().copied().unwrap_or(f64::NAN)
        );
    }
    out
}

/// Every false verdict, every refusal, and the slowest, one a line.
fn wrong(cases: &[Case]) -> String {
    let mut out = String::from("\n");
    let names = |kinds: &[Kind]| {
        kinds
            .iter()
            .map(|kind| kind.name())
            .collect::<Vec<_>>()
            .join(", ")
    };
    for (case, motor) in
        judged(cases).filter(|(_, motor)| motor.wrong() == Some(true) || motor.confidently_wrong())
    {
        let truth = &motor.truth;
        let _ = writeln!(
            out,
            "seed {} motor {}: {} {:.4}, {:.2} N s and a pop of {:.3} of {:.1} certified, said {:.2?}, {} in its cell: {}",
            case.seed,
            truth.name,
            motor.said.word(),
            motor.probability,
            truth.impulse_ns,
            truth.pop_ns,
            truth.certified_ns,
            motor.total_ns,
            motor.in_cell,
            names(&motor.kinds)
        );
        for (from, weight) in &motor.evidence {
            let _ = writeln!(out, "    {from}: {weight:.2}");
        }
    }
    for (case, motor) in judged(cases).filter(|(_, motor)| {
        motor.truth.lit && motor.ignition.is_some_and(|one| one.0.abs() > 0.02)
    }) {
        let _ = writeln!(
            out,
            "seed {} motor {}: ignition off by {:.3?} s, {} in its cell: {}",
            case.seed,
            motor.truth.name,
            motor.ignition,
            motor.in_cell,
            names(&motor.kinds)
        );
    }
    for case in cases {
        if let Err(why) = &case.motors {
            let _ = writeln!(
                out,
                "seed {} refused, {}: {why}",
                case.seed,
                names(&case.kinds)
            );
        }
    }
    let mut slow: Vec<&Case> = cases.iter().collect();
    slow.sort_by_key(|case| std::cmp::Reverse(case.took));
    for case in slow.iter().take(10) {
        let _ = writeln!(
            out,
            "seed {} took {:.2} s",
            case.seed,
            case.took.as_secs_f64()
        );
    }
    out
}
