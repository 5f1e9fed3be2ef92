//! Simulated flights, and the captive firing again.

use super::at::{At, at};
use super::findings::{how_it_went, judged, worst};
use super::first_screen;
use super::text::{Text, text};
use super::{Page, Picture, Row, Section};
use crate::flight::monte_carlo::Percentiles;
use crate::flight::result::{AxisSimulation, FlightResult};
use crate::flight::{MonteCarloResult, Replay, SimulationFile};
use crate::quantity::Unit;

/// Everything shown of a simulation; the paths are those of `simulation.json`.
#[must_use]
pub(crate) fn page(of: &SimulationFile) -> Page {
    let root = &At::root(of);
    let axes = at!(root.axes);
    let sections = of
        .axes
        .keys()
        .zip(axes.entries())
        .enumerate()
        .map(|(nth, (key, (name, axis)))| section(nth, key, name, &axis));
    let all = axes
        .entries()
        .flat_map(|(name, axis)| judged(text!["axis ", name], &at!(axis.findings)));
    let left_out = at!(root.left_out).each().map(|what| what.quote());
    let outcome = worst(of.axes.values().flat_map(|axis| &axis.findings));
    let says = how_it_went("Simulated", &all.collect::<Vec<_>>());
    let page = Page {
        about: text![
            "of the plant in ",
            at!(root.plant).quote(),
            " with the gains in ",
            at!(root.gains).quote()
        ],
        sections: sections.collect(),
        closing: vec![
            Section::new("left-out", "Left out")
                .read("What this simulation says nothing about.")
                .list(left_out.collect()),
            Section::new("caution", "Caution").note(at!(root.caution).quote()),
        ],
        files: "simulation.json",
        glance: first_screen::simulation::glance(root),
        ..Page::new("Simulated flights", outcome, says)
    };
    page.attended(|_| false)
}

fn section(nth: usize, key: &str, name: Text, axis: &At<'_, AxisSimulation>) -> Section {
    let nominal = at!(axis.nominal);
    let which = match at!(nominal.run).some() {
        Some(run) => text!["Run ", run.count()],
        None => "Best estimate of everything".into(),
    };
    let title = text!["Axis ", name.clone()];
    let mut section = Section::new(format!("axis-{}", nth + 1), title)
        .read(
            "The share of flights beyond the limit has the interval of its counting; whether the \
             spreads are true it cannot tell. The percentile band leaves out five of a hundred flights \
             on either side, at each time by itself.",
        )
        .heading(which)
        .picture(Picture::Track(key.to_owned()), "Tilt and nozzle angle")
        .rows(flight(&at!(axis.release_s), &nominal));
    if let Some(many) = at!(axis.monte_carlo as "many").some() {
        section = section
            .heading("Sampled flights (Monte Carlo)")
            .picture(
                Picture::Percentiles(key.to_owned()),
                "Tilt of the sampled flights",
            )
            .rows(monte_carlo(&many));
    }
    if let Some(replay) = at!(axis.replay).some() {
        section = section
            .heading("The captive firing again")
            .picture(
                Picture::Replay(key.to_owned()),
                "Tilt, recorded and replayed",
            )
            .rows(replayed(&replay));
    }
    section.findings(judged(text!["axis ", name], &at!(axis.findings)))
}

fn flight(release_s: &At<'_, f64>, of: &At<'_, FlightResult>) -> Vec<Row> {
    let mut rows = vec![
        Row::new(
            "released",
            text![release_s.number(3, Unit::Second), " after ignition"],
        ),
        Row::new(
            "largest tilt",
            at!(of.largest_tilt_deg).number(3, Unit::Degree),
        ),
        Row::new(
            "tilt at the end of thrust",
            at!(of.last_tilt_deg).number(3, Unit::Degree),
        ),
        Row::new(
            "largest command",
            at!(of.largest_command_deg).number(3, Unit::Degree),
        ),
        Row::new(
            "command at its limit",
            text![at!(of.at_limit).share(3), " of samples"],
        ),
    ];
    if let Some(altitude) = at!(of.altitude_m).some() {
        let value = altitude.number(3, Unit::Metre);
        rows.push(Row::new("altitude at the end of thrust", value));
    }
    if let Some(drift) = at!(of.drift_m).some() {
        rows.push(Row::new(
            "drift at the end of thrust",
            drift.number(3, Unit::Metre),
        ));
    }
    rows
}

fn monte_carlo(of: &At<'_, MonteCarloResult>) -> Vec<Row> {
    let interval = at!(of.share_interval);
    let beyond = text![
        at!(of.beyond).count(),
        " of ",
        at!(of.runs).count(),
        " flights beyond ",
        at!(of.tilt_limit_deg).number(3, Unit::Degree),
        ": ",
        at!(of.share_beyond).share(3),
        " (",
        interval.nth::<f64>(0).share(3),
        " to ",
        interval.nth::<f64>(1).share(3),
        ")"
    ];
    let tilt = at!(of.largest_tilt_deg);
    let mut rows = vec![
        Row::new("beyond the limit", beyond),
        Row::new(
            "95 % of flights",
            text!["tilt up to ", at!(tilt.p95).number(3, Unit::Degree)],
        ),
        Row::new("largest tilt", percentiles(&tilt, Unit::Degree)),
    ];
    if let Some(drift) = at!(of.drift_m).some() {
        rows.push(Row::new("drift", percentiles(&drift, Unit::Metre)));
    }
    let worst = text![
        "--seed ",
        at!(of.seed).count(),
        " --run ",
        at!(of.worst_run).count()
    ];
    rows.push(Row::new("worst flight", worst));
    rows
}

fn percentiles(of: &At<'_, Percentiles>, unit: Unit) -> Text {
    text![
        "median ",
        at!(of.p50).number(3, unit),
        ", 95 % below ",
        at!(of.p95).number(3, unit),
        ", 99 % below ",
        at!(of.p99).number(3, unit),
        ", largest ",
        at!(of.largest).number(3, unit)
    ]
}

fn replayed(of: &At<'_, Replay>) -> Vec<Row> {
    let prediction = text![
        at!(of.prediction_rms_deg as "ahead_rms_deg").number(3, Unit::Degree),
        " RMS error over ",
        at!(of.horizon_s).number(3, Unit::Second),
        ", ",
        at!(of.keeps_rate_rms_deg).number(3, Unit::Degree),
        " if the rate is kept: ",
        at!(of.prediction_explains_percent as "ahead_explains_percent").number(3, Unit::Percent),
        " explained"
    ];
    let free_run = text![
        at!(of.free_run_rms_deg as "open_rms_deg").number(3, Unit::Degree),
        " RMS error, ",
        at!(of.free_run_explains_percent as "open_explains_percent").number(3, Unit::Percent),
        " of the movement explained; ",
        at!(of.free_run_without_drift_rms_deg as "open_without_drift_rms_deg")
            .number(3, Unit::Degree),
        " of it is left when a wrong first rate and a constant disturbance are taken out"
    ];
    let disturbed = text![
        at!(of.with_disturbance_rms_deg as "with_push_rms_deg").number(3, Unit::Degree),
        " RMS error; the disturbance is ",
        at!(of.disturbance_mean_rad_s2 as "push_mean_rad_s2")
            .number(3, Unit::RadianPerSecondSquared),
        " in the mean, with a standard deviation of ",
        at!(of.disturbance_sd_rad_s2 as "push_sd_rad_s2").number(3, Unit::RadianPerSecondSquared)
    ];
    let recorded = at!(of.recorded_largest_deg).number(3, Unit::Degree);
    let closed = at!(of.closed_largest_deg).number(3, Unit::Degree);
    vec![
        Row::new("recorded", text!["up to ", recorded, " of tilt"]),
        Row::new("k-step prediction, recorded commands", prediction),
        Row::new("free-run simulation, recorded commands", free_run),
        Row::new("with the estimated disturbance", disturbed),
        Row::new(
            "new gains under that disturbance",
            text!["up to ", closed, " of tilt"],
        ),
    ]
}
