//! A controller design: the gains, their margins, the limit cycle and the start-up transient.

use super::at::{At, at};
use super::findings::{Judged, judged, open, what_it_means, worst};
use super::first_screen;
use super::text::{Text, text};
use super::{Page, Picture, Row, Section, Table};
use crate::control::GainsFile;
use crate::control::gains::{AxisGains, Robustness, RuleResult};
use crate::control::margins::Margins;
use crate::control::start_up::{Start, StartUpTransient};
use crate::quantity::Unit;

/// Everything shown of a design; the paths are those of `gains.json`.
#[must_use]
pub(crate) fn page(of: &GainsFile) -> Page {
    let root = &At::root(of);
    let axes = at!(root.axes);
    let sections: Vec<Section> = of
        .axes
        .keys()
        .zip(axes.entries())
        .enumerate()
        .map(|(nth, (key, (name, axis)))| section(nth, key, name, &axis))
        .collect();
    let all = axes
        .entries()
        .flat_map(|(name, axis)| judged(text!["axis ", name], &at!(axis.findings)));
    let all: Vec<Judged> = all.collect();
    let outcome = worst(of.axes.values().flat_map(|axis| &axis.findings));
    let page = Page {
        about: text!["for the plant in ", at!(root.plant).quote()],
        sections,
        closing: vec![Section::new("caution", "Caution").note(at!(root.caution).quote())],
        files: "gains.json",
        glance: first_screen::gains::glance(root),
        ..Page::new("Gains", outcome, what_it_means("Gains found", &all))
    };
    // The first is what the verdict says; of the others, too, it counts what they mean.
    let told = open(&all).first().copied();
    let mut page = page.attended(|one| told == Some(one));
    for one in &mut page.attention {
        one.brief
            .clone_from(one.advice.as_ref().unwrap_or(&one.says));
    }
    page
}

fn section(nth: usize, key: &str, name: Text, axis: &At<'_, AxisGains>) -> Section {
    let title = text!["Axis ", name.clone()];
    let mut section = Section::new(format!("axis-{}", nth + 1), title)
        .read(
            "Margins are of the sampled loop with its delay, each at the worst thrust of the range: of \
             the best estimate, of 95 % of plants sampled from the covariance (Monte Carlo), and the \
             worst of all. In the picture of gain against phase the loop has to pass around the \
             diamond.",
        )
        .heading("Gains")
        .rows(controller(axis))
        .picture(
            Picture::OpenLoop(key.to_owned()),
            "Gain of the open loop against its phase",
        )
        .picture(
            Picture::Disturbance(key.to_owned()),
            "Disturbance response: tilt after a step as large as one degree of nozzle",
        );
    for one in at!(axis.compared).each() {
        let handed = if one.of.chosen { ", handed over" } else { "" };
        section = section
            .heading(text!["Gains ", at!(one.gains).quote(), handed])
            .rows(robustness(&one))
            .table(margins(&one));
    }
    section
        .heading("Limit cycle: the dead band keeps it swinging")
        .rows(limit_cycles(axis))
        .heading("Start-up transient")
        .picture(
            Picture::FirstCommands(key.to_owned()),
            "The first commands in the closed loop",
        )
        .rows(start_up(axis))
        .heading("Published rules")
        .rows(at!(axis.rules).each().map(|one| rule(&one)).collect())
        .findings(judged(text!["axis ", name], &at!(axis.findings)))
}

fn controller(axis: &At<'_, AxisGains>) -> Vec<Row> {
    let of = at!(axis.controller);
    let thrust = at!(axis.thrust_n);
    let range = text![
        thrust.nth::<f64>(0).number(4, Unit::One),
        " to ",
        thrust.nth::<f64>(1).number(4, Unit::Newton)
    ];
    let limit = text![at!(of.limit_deg).number(4, Unit::Degree), " either side"];
    let mut rows = vec![
        Row::new("for the", axis.of.body.word()),
        Row::new("kp", text![at!(of.kp).number(4, Unit::One), " deg per deg"]),
        Row::new("ki", at!(of.ki_per_s).number(4, Unit::PerSecond)),
        Row::new("kd", text![at!(of.kd_s).number(4, Unit::One), " s"]),
        Row::new("derivative from", of.of.derivative.word()),
        Row::new(
            "derivative filter",
            at!(of.filter_s).number(4, Unit::Second),
        ),
        Row::new("sampling period", at!(of.period_s).number(4, Unit::Second)),
        Row::new("command limit", limit),
        Row::new(
            "anti-windup tracking time",
            at!(of.tracking_s).number(4, Unit::Second),
        ),
        Row::new(
            "fade time of the bumpless start",
            at!(of.fade_s as "glide_s").number(4, Unit::Second),
        ),
        Row::new("thrust range", range),
    ];
    if let Some(slew) = at!(of.slew_deg_s).some() {
        rows.push(Row::new(
            "slew limit of the command",
            slew.number(4, Unit::DegreePerSecond),
        ));
    }
    if let Some(schedule) = at!(axis.schedule).some() {
        let reference = at!(schedule.reference_n).number(4, Unit::Newton);
        rows.push(Row::new(
            "gain schedule",
            text!["inversely with thrust, factor 1 at ", reference],
        ));
    }
    for what in at!(axis.left_out).each() {
        rows.push(Row::new("left out, not identifiable", what.quote()));
    }
    for push in at!(axis.disturbance_response as "push").each() {
        let size = |one: &At<'_, f64>| one.of.abs();
        let tilts = at!(push.tilt_deg);
        let peak = tilts
            .each::<f64>()
            .max_by(|a, b| size(a).total_cmp(&size(b)));
        if let Some(peak) = peak {
            let label = text![
                "disturbance response at ",
                at!(push.thrust_n).number(3, Unit::Newton)
            ];
            let peak = peak.number(3, Unit::Degree);
            rows.push(Row::new(
                label,
                text![
                    "peak tilt ",
                    peak,
                    " after a step as large as one degree of nozzle"
                ],
            ));
        }
    }
    if let Some(chosen) = at!(axis.compared).each().find(|one| one.of.chosen) {
        let margins = at!(chosen.fifth_percentile);
        let phase = if margins.of.stable {
            at!(margins.phase_deg).number(3, Unit::Degree)
        } else {
            unstable()
        };
        let phase = text![phase, " or more for 95 % of sampled plants"];
        rows.push(Row::new("phase margin", phase));
    }
    let own = at!(axis.start_up as "first_tick")
        .each()
        .find(|one| one.of.start == axis.of.start);
    if let Some(own) = own {
        let command = at!(own.command_deg).number(3, Unit::Degree);
        let kick = at!(own.kick_share as "initialisation_share").share(3);
        rows.push(Row::new(
            "first command",
            text![command, ", ", kick, " derivative kick"],
        ));
    }
    rows
}

fn unstable() -> Text {
    "unstable".into()
}

fn robustness(of: &At<'_, Robustness>) -> Vec<Row> {
    let c = at!(of.controller);
    let gains = text![
        at!(c.kp).number(4, Unit::One),
        ", ",
        at!(c.ki_per_s).number(4, Unit::PerSecond),
        ", ",
        at!(c.kd_s).number(4, Unit::One),
        " s"
    ];
    let sampled = text![
        at!(of.draws).count(),
        ", ",
        at!(of.stable_share).share(4),
        " of them stable"
    ];
    let area = text![
        at!(of.disturbance).number(3, Unit::One),
        " deg √s: root of the squared area of tilt after a step of one degree of nozzle"
    ];
    let mut rows = vec![
        Row::new("kp, ki, kd", gains),
        Row::new("sampled plants (Monte Carlo)", sampled),
        Row::new("disturbance rejection", area),
    ];
    if let Some(corner) = at!(of.unstable_corner).some() {
        rows.push(Row::new("unstable", corner.quote()));
    }
    rows
}

/// Margin, least, best estimate, 95 % of plants, worst.
fn margins(of: &At<'_, Robustness>) -> Table {
    let sides = [at!(of.nominal), at!(of.fifth_percentile), at!(of.worst)];
    let row = |label: &'static str, least: &'static str, get: &dyn Fn(&At<'_, Margins>) -> Text| {
        let mut cells: Vec<Text> = vec![label.into(), least.into()];
        for side in &sides {
            cells.push(if side.of.stable {
                get(side)
            } else {
                unstable()
            });
        }
        cells
    };
    let any = |value: At<'_, Option<f64>>, unit: Unit| match value.some() {
        Some(value) => value.number(3, unit),
        None => value.missing("any"),
    };
    Table::plain(
        [
            "margin",
            "wanted",
            "best estimate",
            "95 % of plants",
            "worst",
        ],
        [
            row("phase", "at least 30 deg", &|of| {
                any(at!(of.phase_deg), Unit::Degree)
            }),
            row("upper gain", "at least 2", &|of| {
                any(at!(of.upper_gain as "gain_up"), Unit::One)
            }),
            row("lower gain", "at most 2/3", &|of| {
                any(at!(of.lower_gain as "gain_down"), Unit::One)
            }),
            row("delay", "one period", &|of| {
                any(at!(of.delay_s), Unit::Second)
            }),
            row("sensitivity peak", "at most 2", &|of| {
                at!(of.sensitivity_peak).number(3, Unit::One)
            }),
        ],
    )
}

fn limit_cycles(axis: &At<'_, AxisGains>) -> Vec<Row> {
    let all = at!(axis.limit_cycles);
    all.each()
        .map(|one| {
            let label = text!["at ", at!(one.thrust_n).number(3, Unit::Newton)];
            let cycle = at!(one.cycle).some();
            let says = match cycle.zip(at!(one.tilt_deg).some()) {
                Some((cycle, tilt)) => text![
                    "tilt ±",
                    tilt.number(3, Unit::Degree),
                    ", command ±",
                    at!(cycle.command_deg).number(3, Unit::Degree),
                    ", ",
                    at!(cycle.rad_s).number(3, Unit::RadianPerSecond)
                ],
                None => "none".into(),
            };
            Row::new(label, says)
        })
        .collect()
}

fn start_up(axis: &At<'_, AxisGains>) -> Vec<Row> {
    let all = at!(axis.start_up as "first_tick");
    all.each()
        .map(|one| {
            let chosen = if one.of.start == axis.of.start {
                ", judged"
            } else {
                ""
            };
            Row::new(text![started(one.of.start), chosen], first_command(&one))
        })
        .collect()
}

/// How a controller is started, in words.
const fn started(start: Start) -> &'static str {
    match start {
        Start::ZeroError => "derivative of the error, started from zero",
        Start::Seeded => "derivative of the error, seeded with the first one",
        Start::Measurement => "derivative on measurement, no fade",
        Start::Shipped => "as shipped: bumpless start",
    }
}

fn first_command(of: &At<'_, StartUpTransient>) -> Text {
    text![
        at!(of.command_deg).number(3, Unit::Degree),
        " at a tilt of ",
        at!(of.tilt_deg).number(3, Unit::Degree),
        " (",
        at!(of.share_of_limit).share(3),
        " of the limit), ",
        at!(of.kick_share as "initialisation_share").share(3),
        " of it derivative kick, which tilts by ",
        at!(of.kick_tilt_deg).number(2, Unit::Degree)
    ]
}

fn rule(of: &At<'_, RuleResult>) -> Row {
    let time = |value: At<'_, Option<f64>>| match value.some() {
        Some(value) => value.number(4, Unit::Second),
        None => value.missing("none"),
    };
    let settings = at!(of.settings).some().zip(at!(of.margins).some());
    let says = match (settings, at!(of.refused).some()) {
        (Some((ideal, found)), _) => text![
            "K ",
            at!(ideal.kp).number(4, Unit::One),
            ", Ti ",
            time(at!(ideal.ti_s)),
            ", Td ",
            time(at!(ideal.td_s)),
            "; ",
            in_a_line(&found)
        ],
        (None, Some(why)) => text!["does not apply: ", why.quote()],
        (None, None) => at!(of.settings).missing("not available"),
    };
    Row::new(at!(of.rule).quote(), says)
}

fn in_a_line(of: &At<'_, Margins>) -> Text {
    if !of.of.stable {
        return unstable();
    }
    text![
        "phase margin ",
        at!(of.phase_deg).number(3, Unit::Degree),
        ", gain margins ",
        at!(of.lower_gain as "gain_down").number(3, Unit::One),
        " and ",
        at!(of.upper_gain as "gain_up").number(3, Unit::One),
        ", delay margin ",
        at!(of.delay_s).number(3, Unit::Second),
        ", sensitivity peak ",
        at!(of.sensitivity_peak).number(3, Unit::One)
    ]
}
