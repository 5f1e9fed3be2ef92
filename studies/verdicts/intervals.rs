//! Do the intervals hold where one thing at a time makes the record worse? Firings whose motors all light, by trouble.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use super::case::reduced;
use super::firings::{self, Together, Trouble, Truth};
use burnwright::{FiringResult, Measured};

/// One quantity of one firing against its truth.
pub struct Held {
    quantity: &'static str,
    error: f64,
    u: f64,
    half_width: f64,
    covered: bool,
    seed: u64,
}

/// Draws and reduces one firing; empty where it was refused or a load was beyond the converter.
pub fn of(seed: u64, trouble: Trouble) -> Vec<Held> {
    let firing = firings::with(seed, trouble);
    let (Ok(result), true) = (reduced(&firing).0, firing.truth.causes.is_empty()) else {
        return Vec::new();
    };
    held(seed, &result, &firing.truth)
}

fn held(seed: u64, result: &FiringResult, truth: &Truth) -> Vec<Held> {
    let mut out = Vec::new();
    let mut add = |quantity, said: Option<&Measured>, truth: Option<f64>| {
        if let Some((said, truth)) = said.zip(truth) {
            out.push(Held {
                quantity,
                error: said.value - truth,
                u: said.u,
                half_width: 0.5 * (said.high - said.low),
                covered: said.covers(truth),
                seed,
            });
        }
    };
    let burn = result.burn.as_ref();
    let all = truth.together;
    let of_all = |what: fn(&Together) -> f64| all.as_ref().map(what);
    add(
        "burn begins, s",
        burn.and_then(|one| one.ignition_s.as_ref()),
        of_all(|one| one.burn_s.0),
    );
    add(
        "burn ends, s",
        burn.and_then(|one| one.burnout_s.as_ref()),
        of_all(|one| one.burn_s.1),
    );
    let time = of_all(|one| one.burn_s.1 - one.burn_s.0);
    add(
        "burn time, s",
        burn.and_then(|one| one.burn_time_s.as_ref()),
        time,
    );
    let thrust = result.thrust.as_ref();
    add(
        "peak thrust, N",
        thrust.and_then(|one| one.peak_n.as_ref()),
        of_all(|one| one.peak_n),
    );
    let impulse = result.impulse.as_ref();
    add(
        "total impulse, N s",
        impulse.and_then(|one| one.total_ns.as_ref()),
        of_all(|one| one.impulse_ns),
    );
    for motor in &truth.motors {
        let Some(said) = result.motors.as_ref().and_then(|all| all.get(&motor.name)) else {
            continue;
        };
        let alone = truth
            .motors
            .iter()
            .filter(|other| other.cell == motor.cell)
            .count()
            == 1;
        if alone && truth.motors.len() > 1 {
            add(
                "impulse of a motor in an own cell, N s",
                said.total_ns.as_ref(),
                Some(motor.impulse_ns),
            );
            add(
                "ignition in an own cell, s",
                said.ignition_s.as_ref(),
                motor.ignition_s,
            );
        } else if !alone {
            add(
                "ignition in a shared cell, s",
                said.ignition_s.as_ref(),
                motor.ignition_s,
            );
        }
    }
    out
}

/// The table of one trouble.
pub fn table(trouble: Trouble, firings: u64, all: &[Held]) -> String {
    let mut rows: BTreeMap<&str, Vec<&Held>> = BTreeMap::new();
    for one in all {
        rows.entry(one.quantity).or_default().push(one);
    }
    let mut out = format!(
        "\n`{}`, {firings} firings\n\n| quantity | stated | covered | mean error / u | rms error / u | median half width | worst (seed) |\n\
         |---|---|---|---|---|---|---|\n",
        trouble.name()
    );
    for (quantity, each) in rows {
        let count = each.len() as f64;
        let over = |one: &&Held| one.error / one.u;
        let mean = each.iter().map(over).sum::<f64>() / count;
        let rms = (each.iter().map(|one| over(one).powi(2)).sum::<f64>() / count).sqrt();
        let covered = each.iter().filter(|one| one.covered).count() as f64 / count;
        let mut widths: Vec<f64> = each.iter().map(|one| one.half_width).collect();
        widths.sort_by(f64::total_cmp);
        let worst = each
            .iter()
            .max_by(|a, b| over(a).abs().total_cmp(&over(b).abs()));
        let worst = worst.map_or_else(String::new, |one| {
            format!("{:.1} u ({})", over(one), one.seed)
        });
        let _ = writeln!(
            out,
            "| {quantity} | {count} | {:.1} % | {mean:.2} | {rms:.2} | {:.2e} | {worst} |",
            100.0 * covered,
            widths.get(each.len() / 2).copied().unwrap_or(f64::NAN),
        );
    }
    out
}
