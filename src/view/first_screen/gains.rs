//! Gains in a glance: the numbers for the firmware, their margins, and what the dead band does.

use crate::control::GainsFile;
use crate::control::gains::AxisGains;
use crate::quantity::Unit;
use crate::view::at::{At, at};
use crate::view::text::{Text, text};
use crate::view::{Content, Picture, Table};

use super::NO_CLEARANCE;

pub(in crate::view) fn glance(root: &At<'_, GainsFile>) -> Vec<Content> {
    let axes = at!(root.axes);
    let gains = axes.entries().map(|(name, axis)| controller(name, &axis));
    let gains = Table::plain(
        ["axis", "kp", "ki", "kd", "limit", "gains", "first command"],
        gains,
    );
    let margins = axes.entries().map(|(name, axis)| margins(name, &axis));
    let margins = Table::plain(
        [
            "axis",
            "phase",
            "lower gain",
            "upper gain",
            "delay",
            "sensitivity",
            "limit cycle",
        ],
        margins,
    );
    let body = root
        .of
        .axes
        .values()
        .next()
        .map(|axis| Text::from(axis.body.word()));
    let names = root.of.axes.keys().zip(axes.entries());
    let pictures = names.map(|(key, (name, _))| {
        let caption = text![
            "Axis ",
            name,
            ": tilt after a disturbance as large as one degree of nozzle"
        ];
        Content::Picture(Picture::Disturbance(key.clone()), caption)
    });
    let mut contents: Vec<Content> = pictures.collect();
    contents.extend([
            Content::Table(gains),
            Content::Table(margins),
            Content::Note(text![
                "Gains for ",
                body,
                ". Margins: met by 95 % of sampled plants at the worst thrust; wanted are 30 deg, 2/3, 2, one \
                 period, 2. Limit cycle: amplitude of tilt at the worse end of the range of thrust.",
            ]),
            Content::Note(NO_CLEARANCE.into()),
    ]);
    contents
}

fn controller(name: Text, axis: &At<'_, AxisGains>) -> Vec<Text> {
    let of = at!(axis.controller);
    let first = at!(axis.start_up as "first_tick")
        .each()
        .find(|one| one.of.start == axis.of.start);
    let first = first.map(|own| at!(own.command_deg).number(3, Unit::Degree));
    let schedule = if axis.of.schedule.is_some() {
        "by thrust"
    } else {
        "fixed"
    };
    vec![
        name,
        at!(of.kp).number(4, Unit::One),
        at!(of.ki_per_s).number(4, Unit::PerSecond),
        text![at!(of.kd_s).number(4, Unit::One), " s"],
        at!(of.limit_deg).number(3, Unit::Degree),
        schedule.into(),
        first.unwrap_or_default(),
    ]
}

fn margins(name: Text, axis: &At<'_, AxisGains>) -> Vec<Text> {
    let mut out = vec![name];
    let chosen = at!(axis.compared).each().find(|one| one.of.chosen);
    let margins = chosen.map(|chosen| at!(chosen.fifth_percentile));
    match margins {
        Some(of) if of.of.stable => out.extend([
            at!(of.phase_deg).number(3, Unit::Degree),
            at!(of.lower_gain as "gain_down").number(3, Unit::One),
            at!(of.upper_gain as "gain_up").number(3, Unit::One),
            at!(of.delay_s).number(3, Unit::Second),
            at!(of.sensitivity_peak).number(3, Unit::One),
        ]),
        _ => out.extend(["unstable", "-", "-", "-", "-"].map(Text::from)),
    }
    let cycles = at!(axis.limit_cycles);
    let tilts = cycles.each().filter_map(|one| at!(one.tilt_deg).some());
    let largest = tilts.max_by(|a, b| a.of.total_cmp(b.of));
    out.push(largest.map_or_else(|| "none".into(), |tilt| tilt.number(3, Unit::Degree)));
    out
}
