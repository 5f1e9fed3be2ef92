//! The plant of each axis: numbers, pictures, how the fit went.

use maud::{Markup, html};

use crate::plant::{AxisPlant, AxisTrace, FitReport};
use crate::reduce::Reduction;
use crate::render::number::{NOT_AVAILABLE, probability, significant, unit};
use crate::render::plant_rows;
use crate::render::plot::answer::answer;
use crate::render::plot::autocorrelation::autocorrelation;
use crate::render::plot::dead_band::dead_band;
use crate::render::plot::nozzle::nozzle;
use crate::render::plot::tilt::tilt;
use crate::render::verdict::{name_of, why_missing};
use crate::render::words::{clean, listed};

use super::parts::{chart, findings, missing, quantity, rows, section, signed};

const HOW_TO_READ: &str = "The model should lie on what was measured. Residuals that stay inside \
the dotted lines are noise; a pattern in them is something the model does not know. The narrower \
the valley of the dead band, the surer its width.";

pub(super) fn plant(reduction: &Reduction) -> Markup {
    let axes = &reduction.result.plant;
    html! {
        @if axes.is_empty() {
            (section(
                "plant",
                "Steering",
                "The plant needs commands and a nozzle or a tilt that moved.",
                &missing("No axis was fitted: the plant is not available."),
            ))
        }
        @for (nth, (name, axis)) in axes.iter().enumerate() {
            @let trace = reduction.traces.axes.get(name);
            (section(
                &format!("plant-{}", nth + 1),
                &format!("Steering, {}", name_of(name)),
                HOW_TO_READ,
                &one(axis, trace),
            ))
        }
    }
}

fn one(axis: &AxisPlant, trace: Option<&AxisTrace>) -> Markup {
    html! {
        @if let Some(trace) = trace {
            (chart("Nozzle angle", nozzle(trace).as_ref()))
            (chart("Tilt", tilt(trace).as_ref()))
        }
        (parameters(axis))
        @if let Some(trace) = trace {
            (chart("Nozzle against command, delay taken off: the loop of lag and dead band", answer(axis, trace).as_ref()))
            (chart("Dead band: how much worse each width fits", dead_band(axis, trace).as_ref()))
            (chart("What the model leaves over, against itself some readings later", autocorrelation(axis, trace).as_ref()))
        }
        h3 { "How the fit went" }
        (fit(&axis.fit))
        (structures(&axis.fit))
        (findings(&axis.findings))
    }
}

fn parameters(axis: &AxisPlant) -> Markup {
    let mut table: Vec<(String, Markup)> = plant_rows(axis)
        .into_iter()
        .map(|(label, word, value)| {
            let bound = bound_name(label).filter(|_| value.is_some());
            let bound = bound.and_then(|name| axis.fit.information_bound.get(name));
            let reason = why_missing(&axis.findings, word).filter(|_| value.is_none());
            let content = html! {
                (quantity(value))
                @if let Some(((bound, u), value)) = bound.zip(value.map(|value| value.u)).zip(value) {
                    div.faint.small {
                        "standard uncertainty " (significant(u, 2)) "; no estimate from these readings \
                         can have less than " (significant(*bound, 2)) " " (unit(&value.unit))
                    }
                }
                @if let Some(finding) = reason {
                    div.faint.small {
                        (finding.outcome.word()) ": " (clean(&finding.claim))
                        @if let Some(advice) = &finding.advice { "; " (clean(advice)) }
                    }
                }
            };
            (label.to_owned(), content)
        })
        .collect();
    let kind = axis.actuator.dead_band.kind;
    let kind = kind.map_or(NOT_AVAILABLE, |kind| kind.word());
    table.push(("kind of dead band".to_owned(), html! { (kind) }));
    let travel = match axis.actuator.travel_deg {
        Some(travel) => format!("{} deg either side", significant(travel, 4)),
        None => NOT_AVAILABLE.to_owned(),
    };
    table.push(("travel".to_owned(), html! { span.num { (travel) } }));
    html! {
        (rows(&table))
        @if axis.rig.is_none() {
            (missing("How the nozzle tilts the rocket is not available: no thrust, or no tilt was seen."))
        }
        @if axis.flight.is_none() {
            (missing("The free rocket is not available: it is neither described nor carried over from the rig."))
        }
    }
}

/// The name under which a row's information bound stands.
fn bound_name(label: &str) -> Option<&'static str> {
    Some(match label {
        "gain" => "gain",
        "bias" => "bias_deg",
        "lag" => "lag_s",
        "delay" => "delay_s",
        "dead band" => "dead_band.width_deg",
        "slew limit" => "slew_deg_s",
        "effectiveness in the rig" => "effectiveness_per_kg_m",
        "thrust bias" => "thrust_bias_per_kg_m",
        "damping" => "damping_per_s",
        "stiffness" => "stiffness_per_s2",
        "dry friction" => "coulomb_rad_per_s2",
        _ => return None,
    })
}

fn fit(fit: &FitReport) -> Markup {
    let seen: Vec<String> = fit.seen_from.iter().map(|signal| clean(signal)).collect();
    let text = |label: &str, text: String| (label.to_owned(), html! { (text) });
    let mut table = vec![
        text("seen from", listed(&seen)),
        text("readings", fit.samples.to_string()),
        text("search", clean(&fit.ended)),
    ];
    for (signal, sd) in &fit.residual_sd {
        let (name, unit) = signal.split_once('_').unwrap_or((signal, ""));
        let label = format!("standard deviation left in {name}");
        let unit = unit.replace("deg_s", "deg/s");
        table.push(text(
            &label,
            format!("{} {}", significant(*sd, 3), clean(&unit)),
        ));
    }
    let held_out = fit.held_out_fit_percent.map_or_else(
        || NOT_AVAILABLE.to_owned(),
        |percent| format!("{} %", signed(&significant(percent, 3))),
    );
    table.push(text("movement explained, on a part kept out", held_out));
    let white = fit
        .whiteness_p
        .map_or_else(|| NOT_AVAILABLE.to_owned(), probability);
    table.push(text(
        "probability of such residuals if only noise is left",
        white,
    ));
    let command = fit
        .command_p
        .map_or_else(|| NOT_AVAILABLE.to_owned(), probability);
    table.push(text(
        "probability of residuals that follow the command so, by chance",
        command,
    ));
    for assumed in &fit.assumed {
        table.push(text("assumed, not measured", clean(assumed)));
    }
    rows(&table)
}

fn structures(fit: &FitReport) -> Markup {
    html! {
        @if !fit.structures.is_empty() {
            div.scroll {
                table.columns {
                    thead {
                        tr { th { "dead band tried" } th { "score (lower is better)" } th { "taken" } }
                    }
                    tbody {
                        @for tried in &fit.structures {
                            tr {
                                td { (tried.dead_band.word()) }
                                td.num { (signed(&significant(tried.score, 5))) }
                                td { @if tried.chosen { "yes" } @else { "no" } }
                            }
                        }
                    }
                }
            }
        }
    }
}
