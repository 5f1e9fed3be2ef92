//! Simulated flights in a glance: the best estimate, the sampled flights, the captive firing again.

use crate::flight::SimulationFile;
use crate::flight::result::AxisSimulation;
use crate::quantity::Unit;
use crate::view::at::{At, at};
use crate::view::text::{Text, text};
use crate::view::{Content, Picture, Table};

use super::NO_CLEARANCE;

pub(in crate::view) fn glance(root: &At<'_, SimulationFile>) -> Vec<Content> {
    let axes = at!(root.axes);
    let (mut flown, mut sampled, mut replayed) = (Vec::new(), Vec::new(), Vec::new());
    for (name, axis) in axes.entries() {
        flown.push(one_flight(name.clone(), &axis));
        sampled.extend(many_flights(name.clone(), &axis));
        replayed.extend(replay(name, &axis));
    }
    let one = [
        "axis",
        "largest tilt",
        "tilt at the end",
        "largest command",
        "command at its limit",
    ];
    let limit = axes.entries().find_map(|(_, axis)| {
        let many = at!(axis.monte_carlo as "many").some()?;
        Some(at!(many.tilt_limit_deg).number(3, Unit::Degree))
    });
    let many = [
        "axis".into(),
        text!["flights beyond ", limit],
        "95 % of them within".into(),
        "worst flight".into(),
    ];
    let again = [
        "axis",
        "captive firing: recorded tilt",
        "with these gains",
        "prediction explains",
    ];
    let tables = [
        Table::plain(one, flown),
        Table::plain(many, sampled),
        Table::plain(again, replayed),
    ];
    let tables = tables.into_iter().filter(|table| !table.rows.is_empty());
    let keys = root.of.axes.keys().zip(axes.entries());
    let pictures = keys.map(|(key, (name, axis))| {
        let sampled = axis
            .of
            .monte_carlo
            .as_ref()
            .and_then(|many| many.band.as_ref());
        if sampled.is_some() {
            let caption = text!["Axis ", name, ": tilt of the sampled flights"];
            Content::Picture(Picture::Percentiles(key.clone()), caption)
        } else {
            let caption = text!["Axis ", name, ": tilt and nozzle angle"];
            Content::Picture(Picture::Track(key.clone()), caption)
        }
    });
    let mut contents: Vec<Content> = pictures.collect();
    contents.extend(tables.map(Content::Table));
    contents.push(Content::Note(NO_CLEARANCE.into()));
    contents
}

fn one_flight(name: Text, axis: &At<'_, AxisSimulation>) -> Vec<Text> {
    let of = at!(axis.nominal);
    vec![
        name,
        at!(of.largest_tilt_deg).number(3, Unit::Degree),
        at!(of.last_tilt_deg).number(3, Unit::Degree),
        at!(of.largest_command_deg).number(3, Unit::Degree),
        text![at!(of.at_limit).share(3), " of samples"],
    ]
}

fn many_flights(name: Text, axis: &At<'_, AxisSimulation>) -> Option<Vec<Text>> {
    let of = at!(axis.monte_carlo as "many").some()?;
    let (tilt, interval) = (at!(of.largest_tilt_deg), at!(of.share_interval));
    let beyond = text![
        at!(of.beyond).count(),
        " of ",
        at!(of.runs).count(),
        " (",
        interval.nth::<f64>(0).share(2),
        " to ",
        interval.nth::<f64>(1).share(2),
        ")"
    ];
    let worst = text![
        "--seed ",
        at!(of.seed).count(),
        " --run ",
        at!(of.worst_run).count()
    ];
    Some(vec![
        name,
        beyond,
        at!(tilt.p95).number(3, Unit::Degree),
        worst,
    ])
}

fn replay(name: Text, axis: &At<'_, AxisSimulation>) -> Option<Vec<Text>> {
    let of = at!(axis.replay).some()?;
    Some(vec![
        name,
        at!(of.recorded_largest_deg).number(3, Unit::Degree),
        at!(of.closed_largest_deg).number(3, Unit::Degree),
        at!(of.prediction_explains_percent as "ahead_explains_percent").number(3, Unit::Percent),
    ])
}
