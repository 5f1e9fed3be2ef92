//! `simulation.html`: the flights, and the captive firing again.

use maud::{Markup, html};

use crate::flight::SimulationFile;
use crate::flight::result::AxisSimulation;
use crate::report::plot::flown::{replay, track};
use crate::report::text::flown::{again, drawn, one};
use crate::report::verdict::name_of;
use crate::report::words::clean;

use super::parts::{chart, findings, section};
use super::tuned::{document, told};

/// The text of `simulation.html`.
#[must_use]
pub fn page(of: &SimulationFile) -> String {
    let content = html! {
        @for (nth, (name, axis)) in of.axes.iter().enumerate() { (axis_section(nth, name, axis)) }
        (section("left-out", "Left out", "What this simulation says nothing about.", &html! {
            ul { @for what in &of.left_out { li { (clean(what)) } } }
        }))
        p { (clean(&of.caution)) }
    };
    document("Simulated flights", "simulation.json", &content)
}

fn axis_section(nth: usize, name: &str, axis: &AxisSimulation) -> Markup {
    let content = html! {
        (chart("Tilt and nozzle angle", track(&axis.nominal.track).as_ref()))
        (told(one(axis, &axis.nominal)))
        @if let Some(many) = &axis.many {
            h3 { "Everything drawn that is only known within a spread" }
            (told(drawn(many)))
        }
        @if let Some(again_of) = &axis.replay {
            h3 { "The captive firing again" }
            (chart("Tilt, recorded and replayed", replay(again_of).as_ref()))
            (told(again(again_of)))
        }
        (findings(&axis.findings))
    };
    section(
        &format!("axis-{}", nth + 1),
        &format!("Axis {}", name_of(name)),
        "The share of flights beyond the limit has the interval of its counting; whether the spreads are \
         true it cannot tell.",
        &content,
    )
}
