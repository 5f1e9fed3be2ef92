//! Ignition: which motors lit, when, and what says so.

use maud::{Markup, html};

use crate::finding::Outcome;
use crate::motors::lit::{IgnitionReport, Lit, MotorReport};
use crate::reduce::Reduction;
use crate::render::number::{NOT_AVAILABLE, probability, significant};
use crate::render::plot::motors::motors as picture;
use crate::render::verdict::name_of;
use crate::render::words::clean;

use super::parts::{chart, missing, quantity, rows, section, signed};

pub(super) fn motors(reduction: &Reduction) -> Markup {
    let content = html! {
        (chart("Thrust of each motor around ignition", picture(reduction).as_ref()))
        @match &reduction.result.motors {
            Some(motors) => {
                @for (name, motor) in motors { (one(name, motor)) }
                @if let Some(ignition) = &reduction.result.ignition { (stagger(ignition)) }
            }
            None => (missing("The firing file describes no motor.")),
        }
    };
    section(
        "motors",
        "Ignition and motors",
        "Each piece of evidence has a weight: above zero it speaks for a motor that lit, below \
         zero for one that did not. The sum decides, together with what is usual.",
        &content,
    )
}

/// What the stagger did to the rocket.
fn stagger(ignition: &IgnitionReport) -> Markup {
    let mut table = Vec::new();
    for of in &ignition.stagger_torque {
        let axis = name_of(&of.axis);
        let angular = quantity(Some(&of.angular_impulse_n_m_s));
        table.push((format!("angular impulse about {axis}"), angular));
        let rate = quantity(of.tilt_rate_rad_s.as_ref());
        table.push((format!("tilt rate it gives about {axis}"), rate));
    }
    html! {
        @if !table.is_empty() {
            h3 { "What the stagger did" }
            p.read {
                "A motor beside the axis that pushes before its partner turns the rocket. The largest \
                 angular impulse until all pushed, and the tilt rate it leaves in this rig."
            }
            (rows(&table))
        }
    }
}

fn one(name: &str, motor: &MotorReport) -> Markup {
    let colour = match motor.lit {
        Lit::Lit => Outcome::Holds,
        Lit::NotLit => Outcome::Fails,
        Lit::Undecided => Outcome::Undecided,
    };
    let lit = html! {
        span class={ "word " (colour.word()) } { (motor.lit.word()) } " "
        span.num {
            "(probability that it lit " (motor.probability.map_or_else(
                || NOT_AVAILABLE.to_owned(),
                probability,
            )) ")"
        }
    };
    let mut table = vec![("verdict".to_owned(), lit)];
    let times = [
        ("ignition", motor.ignition_s.as_ref()),
        ("after its fire command", motor.delay_s.as_ref()),
        ("its own impulse", motor.total_ns.as_ref()),
    ];
    for (label, value) in times {
        table.push((label.to_owned(), quantity(value)));
    }
    html! {
        h3 { "Motor " (name_of(name)) }
        (rows(&table))
        (evidence(motor))
    }
}

fn evidence(motor: &MotorReport) -> Markup {
    html! {
        @if !motor.evidence.is_empty() {
            div.scroll {
                table.columns {
                    thead { tr { th { "evidence from" } th { "what it says" } th { "weight" } } }
                    tbody {
                        @for piece in &motor.evidence {
                            tr {
                                td { (clean(&piece.from)) }
                                td.text { (clean(&piece.says)) }
                                td.num.keep { (signed(&significant(piece.weight, 2))) }
                            }
                        }
                    }
                }
            }
        }
    }
}
