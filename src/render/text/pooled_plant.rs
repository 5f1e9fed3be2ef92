//! One plant from several firings, for a terminal.

use crate::finding::{self, Outcome};
use crate::plant::pool::{Pooled, PooledFit};
use crate::render::number;
use crate::render::words::clean;

use super::findings::{Told, finding};
use super::layout::{Ink, hanging, headed, table};
use super::{NARROWEST, Rows};

/// The fit as text, at most `width` columns wide. The first line says whether the firings agree.
#[must_use]
pub fn pooled(of: &PooledFit, width: usize, colour: bool) -> String {
    let width = width.max(NARROWEST);
    let ink = Ink { colour };
    let agree = finding::all_hold(of.axes.values().flat_map(|axis| &axis.plant.findings));
    let (outcome, says) = if agree {
        (Outcome::Holds, "they agree.")
    } else {
        (Outcome::Fails, "they do not agree, see below.")
    };
    let head = format!("One plant from {} firings: {says}", of.firings.len());
    let mut out = format!("{}\n", ink.outcome(outcome, &head));
    out += &hanging("", number::NOTATION, width);
    let firings: Rows = of
        .firings
        .iter()
        .enumerate()
        .map(|(nth, file)| ((nth + 1).to_string(), clean(file)))
        .collect();
    out += &format!("\n{}\n{}", ink.heading("Firings"), table(&firings, width));
    for (name, axis) in &of.axes {
        for one in &axis.parameters {
            let heading = format!("{}, {}", clean(name), label(&one.name));
            out += &format!(
                "\n{}{}",
                headed(&heading, width, ink),
                table(&rows(one), width)
            );
        }
        let judged: String = axis
            .plant
            .findings
            .iter()
            .map(|one| finding("", one, Told::Whole, width, ink))
            .collect();
        if !judged.is_empty() {
            out += &format!("\n{}\n{judged}", ink.heading("Agreement"));
        }
    }
    out
}

fn label(name: &str) -> &str {
    match name {
        "gain" => "gain",
        "bias_deg" => "bias",
        "lag_s" => "lag",
        "delay_s" => "delay",
        "dead_band.width_deg" => "dead band",
        "slew_deg_s" => "slew limit",
        "effectiveness_per_kg_m" => "effectiveness",
        "thrust_bias_per_kg_m" => "thrust bias",
        "damping_per_s" => "damping",
        "stiffness_per_s2" => "stiffness",
        "coulomb_rad_per_s2" => "dry friction",
        other => other,
    }
}

fn rows(one: &Pooled) -> Rows {
    let mut rows: Rows = one
        .of
        .iter()
        .enumerate()
        .map(|(nth, value)| ((nth + 1).to_string(), number::quantity(value.as_ref())))
        .collect();
    if one.shared {
        rows.push(("all".to_owned(), number::quantity(one.value.as_ref())));
    }
    if let Some(p) = one.agreement_p {
        let text = format!("chance of values as far apart {}", number::probability(p));
        rows.push((String::new(), text));
    }
    rows
}
