//! `simulation.html`: the flights, and the captive firing again.

use maud::{Markup, html};

use crate::flight::SimulationFile;
use crate::flight::result::AxisSimulation;
use crate::render::number::significant;
use crate::render::plot::simulation::{fan, replay, track};
use crate::render::text::simulation::{again, drawn, judged, one, says};
use crate::render::verdict::{name_of, worst_of};
use crate::render::words::clean;

use super::front::{Front, front};
use super::parts::{chart, findings, section};
use super::tuning::{document, told};

/// The text of `simulation.html`.
#[must_use]
pub fn page(of: &SimulationFile) -> String {
    let judged = judged(of);
    let top = Front {
        title: "Simulated flights",
        about: format!(
            "of the plant in {} with the gains in {}",
            of.plant, of.gains
        ),
        outcome: worst_of(&judged),
        says: &says(&judged),
        plates: of
            .axes
            .iter()
            .map(|(name, axis)| plate(name, axis))
            .collect(),
        judged,
    };
    let content = html! {
        (front(&top))
        @for (nth, (name, axis)) in of.axes.iter().enumerate() { (axis_section(nth, name, axis)) }
        (section("left-out", "Left out", "What this simulation says nothing about.", &html! {
            ul { @for what in &of.left_out { li { (clean(what)) } } }
        }))
        p { (clean(&of.caution)) }
    };
    document("Simulated flights", "simulation.json", &content)
}

fn plate(name: &str, axis: &AxisSimulation) -> (String, Vec<(String, String)>) {
    let s = |value: f64| significant(value, 3);
    let label = axis
        .nominal
        .run
        .map_or_else(|| "best estimate".to_owned(), |run| format!("run {run}"));
    let mut out = vec![(
        label,
        format!("tilts up to {} deg", s(axis.nominal.largest_tilt_deg)),
    )];
    if let Some(many) = &axis.many {
        let of = &many.largest_tilt_deg;
        out.push((
            "95 % of flights".to_owned(),
            format!("up to {} deg", s(of.p95)),
        ));
        out.push((
            "worst flight".to_owned(),
            format!("up to {} deg", s(of.largest)),
        ));
        let beyond = format!(
            "{} of {} flights ({} to {} %)",
            many.beyond,
            many.runs,
            s(100.0 * many.share_interval[0]),
            s(100.0 * many.share_interval[1])
        );
        out.push((format!("beyond {} deg", s(many.tilt_limit_deg)), beyond));
    }
    if let Some(replay) = &axis.replay {
        let text = format!(
            "{} % explained over {} s",
            s(replay.ahead_explains_percent),
            s(replay.horizon_s)
        );
        out.push(("the record".to_owned(), text));
    }
    (format!("Axis {}", name_of(name)), out)
}

fn axis_section(nth: usize, name: &str, axis: &AxisSimulation) -> Markup {
    let content = html! {
        (chart("Tilt and nozzle angle", track(&axis.nominal.track).as_ref()))
        (told(one(axis, &axis.nominal)))
        @if let Some(many) = &axis.many {
            h3 { "Everything drawn that is only known within a spread" }
            (chart("Tilt of the drawn flights", many.fan.as_ref().and_then(fan).as_ref()))
            (told(drawn(many)))
        }
        @if let Some(again_of) = &axis.replay {
            h3 { "The captive firing again" }
            (chart("Tilt, recorded and replayed", replay(again_of).as_ref()))
            (told(again(again_of)))
        }
        h3 id={ "findings-" (nth + 1) } { "Findings" }
        (findings(&axis.findings))
    };
    section(
        &format!("axis-{}", nth + 1),
        &format!("Axis {}", name_of(name)),
        "The share of flights beyond the limit has the interval of its counting; whether the spreads are \
         true it cannot tell. The band of the drawn flights leaves out five of a hundred on either side, at \
         each time by itself.",
        &content,
    )
}
