//! The first screen: what happened, what was delivered, what needs attention.

use maud::{Markup, html};

use crate::finding::Outcome;
use crate::plant::AxisPlant;
use crate::quantity::Measured;
use crate::reduce::FiringResult;
use crate::render::number;
use crate::render::verdict::{judged, name_of, verdict, yes_or_no};
use crate::render::words::clean;

use super::front::{attention, plate};
use super::parts::{outcome, quantity, signed};

pub(super) fn opening(result: &FiringResult) -> Markup {
    let verdict = verdict(result);
    html! {
        div.opening {
            h1 { (clean(&result.title)) }
            p.faint.small {
                "Captive firing"
                @if let Some(date) = &result.date { ", " (clean(date)) }
            }
            p class={ "verdict " (verdict.outcome.word()) } { span { (verdict.lit) } }
            @if !super::is_dry_run(result) {
                dl.plates {
                    (impulse_plate(result))
                    (class_plate(result))
                    (ignition_plate(result))
                }
            }
            @if !result.plant.is_empty() {
                dl.plates.axes {
                    @for (name, axis) in &result.plant { (axis_plate(name, axis)) }
                }
                p.faint.small.sheet-note {
                    "Gain: how far the nozzle turns for each degree commanded. Lag and delay: how late \
                     it follows. Dead band: the play in which nothing moves. Effectiveness: how hard a \
                     turned nozzle turns the rocket, for each newton of thrust."
                }
            }
            (attention(
                &judged(result),
                &warnings(result),
                "Nothing: every finding holds and there is no warning.",
            ))
            p.faint.small style="margin-top:14px" { (number::NOTATION) }
        }
    }
}

/// A large value with its interval under it.
fn large(result: Option<&Measured>) -> Markup {
    let text = signed(&number::quantity(result));
    html! {
        @match text.split_once(" (") {
            Some((value, interval)) => {
                div.big.num { (value) }
                div.num { "(" (interval) }
            }
            None => div.big.num { (text) }
        }
    }
}

fn impulse_plate(result: &FiringResult) -> Markup {
    let total = result.impulse.as_ref().and_then(|of| of.total_ns.as_ref());
    plate("Total impulse", &large(total))
}

fn class_plate(result: &FiringResult) -> Markup {
    let letter = result.class.as_ref().and_then(|of| of.letter.as_deref());
    let findings = result.class.iter().flat_map(|of| &of.findings);
    let outcomes: Vec<Outcome> = findings.map(|finding| finding.outcome).collect();
    let against_label = if outcomes.contains(&Outcome::Fails) {
        Some((Outcome::Fails, "a comparison with the label"))
    } else if outcomes.contains(&Outcome::Undecided) {
        Some((Outcome::Undecided, "a comparison with the label"))
    } else if outcomes.is_empty() {
        None
    } else {
        Some((Outcome::Holds, "every comparison with the label"))
    };
    let content = html! {
        div.big.num { (letter.map_or_else(|| number::NOT_AVAILABLE.to_owned(), clean)) }
        @if let Some((word, says)) = against_label {
            div.small { (says) ": " (outcome(word)) }
        }
    };
    plate("Class, all motors together", &content)
}

fn ignition_plate(result: &FiringResult) -> Markup {
    let content = html! {
        @if let Some(ignition) = &result.ignition {
            div.big.num { (outcome_large(ignition.all_lit)) }
            ul {
                @if let Some(p) = ignition.probability {
                    li.num { "probability " (number::probability(p)) }
                }
                @if let Some(stagger) = &ignition.stagger_s {
                    li { "first to last: " (quantity(Some(stagger))) }
                }
            }
        } @else {
            div.big.num { (number::NOT_AVAILABLE) }
        }
    };
    plate("Every motor lit", &content)
}

/// The answer in the colour of its outcome.
fn outcome_large(of: Outcome) -> Markup {
    html! { span class=(of.word()) { (yes_or_no(of)) } }
}

fn axis_plate(name: &str, axis: &AxisPlant) -> Markup {
    let actuator = &axis.actuator;
    let mut shown = vec![
        ("gain", actuator.gain.as_ref()),
        ("lag", actuator.lag_s.as_ref()),
        ("delay", actuator.delay_s.as_ref()),
        ("dead band", actuator.dead_band.width_deg.as_ref()),
    ];
    if let Some(rig) = &axis.rig {
        shown.push(("effectiveness", rig.effectiveness_per_kg_m.as_ref()));
    }
    let content = html! {
        table {
            tbody {
                @for (label, value) in shown {
                    tr { th scope="row" { (label) } td { (quantity(value)) } }
                }
            }
        }
    };
    plate(&format!("Steering, {}", name_of(name)), &content)
}

fn warnings(result: &FiringResult) -> Markup {
    html! {
        @for warning in &result.warnings {
            li {
                span.word { "warning" } " "
                span { a href="#warnings" { (clean(&warning.text)) } }
            }
        }
    }
}
