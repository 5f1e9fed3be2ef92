//! The plant of each axis: numbers, pictures, how the fit went.

use crate::plant::findings::why_unknown;
use crate::plant::parameter::{Home, Parameter};
use crate::plant::{AxisPlant, DeadBandKind, FitReport};
use crate::quantity::{Measured, Unit};
use crate::reduce::FiringResult;
use crate::view::at::{At, at};
use crate::view::findings::{judged, word};
use crate::view::text::{Text, text};
use crate::view::{Picture, Row, Section, Table};

use super::plain_table;

pub(super) fn sections(root: &At<'_, FiringResult>) -> Vec<Section> {
    if root.of.plant.is_empty() {
        let section = Section::new("plant", "Steering")
            .read("The plant needs commands and a nozzle or a tilt that moved.")
            .note("No axis was fitted: the plant is not available.");
        return vec![section];
    }
    let keys = root.of.plant.keys();
    let plant = at!(root.plant);
    keys.zip(plant.entries())
        .enumerate()
        .map(|(nth, (key, (name, axis)))| {
            let section = Section::new(
                format!("plant-{}", nth + 1),
                text!["Steering, axis ", name.clone()],
            );
            one(section, key, name, &axis, nth == 0)
        })
        .collect()
}

/// Of the first axis the pictures are open; of the others, whose strips stand on the first screen, they fold.
fn one(section: Section, key: &str, name: Text, axis: &At<'_, AxisPlant>, first: bool) -> Section {
    let of = || key.to_owned();
    let (main, rest): (Vec<_>, Vec<_>) = listed(axis).into_iter().partition(|one| one.key);
    let rows = |of: &[Shown<'_>]| of.iter().map(|one| row(axis, one)).collect::<Vec<_>>();
    let mut others = rows(&rest);
    others.extend(assumptions(axis));
    let (nozzle, tilt) = (Picture::Nozzle(of()), Picture::Tilt(of()));
    let main = rows(&main);
    let mut section = if first {
        section
            .read(
                "The model should lie on what was measured; a pattern in the residuals is something that it \
                 does not know. The narrower the valley of the dead band, the surer its width. Gain: how far the \
                 nozzle turns for each degree commanded. Lag and delay: how late it follows. Effectiveness: how \
                 hard a turned nozzle turns the rocket, for each newton of thrust.",
            )
            .picture(nozzle.clone(), "Nozzle angle")
            .rows(main)
            .picture(tilt.clone(), "Tilt")
    } else {
        section.rows(main)
    };
    if axis.of.rig.is_none() {
        section = section.note(
            "How the nozzle tilts the rocket is not available: no thrust, or no tilt was seen.",
        );
    }
    if axis.of.flight.is_none() {
        section = section.note(
            "The free rocket is not available: it is neither described nor carried over from the rig.",
        );
    }
    let fit = at!(axis.fit);
    let structures = at!(fit.structures);
    let tried = structures.each().map(|tried| {
        let chosen = if tried.of.chosen { "yes" } else { "no" };
        vec![
            kind_words(tried.of.dead_band).into(),
            if tried.of.second_order {
                "second"
            } else {
                "first"
            }
            .into(),
            at!(tried.score).number(5, Unit::One),
            chosen.into(),
        ]
    });
    if !first {
        section = section
            .fold("Nozzle and tilt against their models")
            .picture(nozzle, "Nozzle angle")
            .picture(tilt, "Tilt");
    }
    section
        .fold("Every other parameter, and what is assumed")
        .rows(others)
        .fold("Is it the right model?")
        .picture(
            Picture::DeadBand(of()),
            "Dead band: how much worse each width fits",
        )
        .picture(
            Picture::Autocorrelation(of()),
            "Autocorrelation of the residuals",
        )
        .fold("How the fit went")
        .rows(fit_rows(&fit))
        .table(plain_table(
            &[
                "dead band tried",
                "order",
                "score (lower is better)",
                "taken",
            ],
            tried,
        ))
        .table(bounds(axis))
        .findings(judged(text!["axis ", name], &at!(axis.findings)))
}

/// A number of the plant as it is shown.
struct Shown<'a> {
    label: &'static str,
    /// What it is among the fitted parameters, when it is one.
    parameter: Option<Parameter>,
    /// Whether every loop rests on it.
    key: bool,
    value: At<'a, Option<Measured>>,
}

fn listed<'a>(axis: &At<'a, AxisPlant>) -> Vec<Shown<'a>> {
    let mut out = Vec::new();
    for parameter in Parameter::ALL {
        let (block, value) = match parameter.definition().home {
            Home::Actuator((read, _)) => ("actuator", read(&axis.of.actuator)),
            Home::Rig((read, _)) => match &axis.of.rig {
                Some(rig) => ("rig", read(rig)),
                None => continue,
            },
            Home::Nuisance => continue,
        };
        let seldom = matches!(parameter, Parameter::Slew | Parameter::DampingRatio);
        if seldom && value.is_none() {
            continue;
        }
        let path = [block].into_iter().chain(parameter.key().split('.'));
        out.push(Shown {
            label: parameter.label(),
            parameter: Some(*parameter),
            key: is_key(*parameter),
            value: axis.descendant(path, value),
        });
    }
    let actuator = at!(axis.actuator);
    if axis.of.actuator.lag_plus_delay_s.is_some() {
        out.push(Shown {
            label: "lag and delay together",
            parameter: None,
            key: axis.of.actuator.lag_s.is_none(),
            value: at!(actuator.lag_plus_delay_s),
        });
    }
    if let Some(flight) = at!(axis.flight).some() {
        for (label, value) in [
            (
                "effectiveness in flight",
                at!(flight.effectiveness_per_kg_m),
            ),
            (
                "effectiveness in flight at burnout",
                at!(flight.effectiveness_spent_per_kg_m),
            ),
        ] {
            out.push(Shown {
                label,
                parameter: None,
                key: false,
                value,
            });
        }
    }
    out
}

/// What every loop rests on.
const fn is_key(parameter: Parameter) -> bool {
    matches!(
        parameter,
        Parameter::Gain
            | Parameter::Lag
            | Parameter::Delay
            | Parameter::DeadBandWidth
            | Parameter::Effectiveness
    )
}

fn assumptions(axis: &At<'_, AxisPlant>) -> Vec<Row> {
    let mut out = Vec::new();
    if let Some(flight) = at!(axis.flight).some() {
        let rests_on = text![
            "inertia ",
            at!(flight.inertia_kg_m2).measured(),
            ", arm ",
            at!(flight.arm_m).measured()
        ];
        out.push(Row::new("effectiveness in flight rests on", rests_on));
    }
    let kind = axis.of.actuator.dead_band.kind;
    let kind = kind.map_or("not identifiable from this record", kind_words);
    out.push(Row::new("kind of dead band", kind));
    let actuator = at!(axis.actuator);
    let travel = match at!(actuator.travel_deg).some() {
        Some(travel) => text![travel.number(4, Unit::Degree), " either side"],
        None => at!(actuator.travel_deg).missing("not available"),
    };
    out.push(Row::new("travel", travel));
    let fit = at!(axis.fit);
    let validation = text![
        at!(fit.validation_fit_percent).number(3, Unit::Percent),
        " (NRMSE on data not fitted)"
    ];
    out.push(Row::new("validation fit", validation));
    for assumed in at!(fit.assumed).each() {
        out.push(Row::new("assumed, not measured", assumed.quote()));
    }
    out
}

fn kind_words(kind: DeadBandKind) -> &'static str {
    match kind {
        DeadBandKind::None => "none",
        DeadBandKind::DeadZone => "dead zone",
        DeadBandKind::Play => "backlash",
    }
}

fn row(axis: &At<'_, AxisPlant>, one: &Shown<'_>) -> Row {
    match one.value.some() {
        Some(value) => Row::new(one.label, value.measured()),
        None => missing(axis, one),
    }
}

/// The standard uncertainty of each parameter beside the least that any estimate could have.
fn bounds(axis: &At<'_, AxisPlant>) -> Table {
    let fit = at!(axis.fit);
    let bounds = at!(fit.information_bound);
    let row = |one: &Shown<'_>| {
        let (value, parameter) = (one.value.some()?, one.parameter?);
        let bound = bounds.child(parameter.key(), bounds.of.get(&parameter)?);
        let unit = value.of.unit;
        let label = Text::from(one.label);
        Some(vec![
            label,
            at!(value.u).number(2, unit),
            bound.number(2, unit),
        ])
    };
    let listed = listed(axis);
    let heads = [
        "parameter",
        "standard uncertainty",
        "least that any estimate can have",
    ];
    plain_table(&heads, listed.iter().filter_map(row))
}

/// A row for what the record does not tell, with the reason where a finding has it.
fn missing(axis: &At<'_, AxisPlant>, one: &Shown<'_>) -> Row {
    let findings = at!(axis.findings);
    let why = one
        .parameter
        .and_then(|parameter| why_unknown(parameter, findings.of));
    let reason = findings
        .each()
        .find(|finding| why.is_some_and(|why| std::ptr::eq(why, finding.of)));
    let Some(reason) = reason else {
        return Row::new(one.label, one.value.missing("not available"));
    };
    let advice = at!(reason.advice).some();
    let advice = advice.map(|advice| text!["; ", advice.quote()]);
    let says = one.value.missing("not identifiable from this record");
    Row::new(one.label, says).note(text![
        word(reason.of.outcome),
        ": ",
        at!(reason.claim).quote(),
        advice
    ])
}

fn fit_rows(fit: &At<'_, FitReport>) -> Vec<Row> {
    let seen = at!(fit.seen_from).each().map(|signal| signal.quote());
    let mut out = vec![
        Row::new("seen from", Text::listed(seen.collect())),
        Row::new("readings", at!(fit.samples).count()),
        Row::new("search", at!(fit.ended).quote()),
    ];
    let residuals = at!(fit.residual_sd);
    for (key, (name, sd)) in fit.of.residual_sd.keys().zip(residuals.entries()) {
        let (signal, unit) = match key.as_str() {
            "nozzle_deg" => ("nozzle angle".into(), Unit::Degree),
            "tilt_deg" => ("tilt".into(), Unit::Degree),
            "rate_deg_s" => ("tilt rate".into(), Unit::DegreePerSecond),
            _ => (name, Unit::One),
        };
        let label = text!["standard deviation of the residuals, ", signal];
        out.push(Row::new(label, sd.number(3, unit)));
    }
    out.push(Row::new(
        "p-value of the whiteness test of the residuals",
        at!(fit.whiteness_p).probability(),
    ));
    out.push(Row::new(
        "p-value of the residual-input cross-correlation",
        at!(fit.command_p).probability(),
    ));
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::view::fabricated;

    #[test]
    fn a_missing_value_finds_its_reason() {
        let plant = fabricated::full().plant.unwrap();
        let findings = &plant.axes["pitch"].findings;
        let friction = why_unknown(Parameter::DryFriction, findings).unwrap();
        assert!(friction.claim.contains("dry friction"));
        assert!(why_unknown(Parameter::Gain, findings).is_none());
    }
}
