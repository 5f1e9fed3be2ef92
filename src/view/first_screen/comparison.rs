//! Several firings in a glance: a line for each, mean and spread under them.

use crate::compare::{Compared, Comparison, Fired, MeanCurve};
use crate::quantity::Unit;
use crate::view::at::{At, at};
use crate::view::text::{Text, text};
use crate::view::{Content, Picture, Table};

/// Quantities for which a line of 80 columns has room.
const MOST_QUANTITIES: usize = 4;

pub(in crate::view) fn glance(root: &At<'_, Comparison>) -> Vec<Content> {
    let known = |one: &At<'_, Compared>| one.of.of.iter().any(Option::is_some);
    let quantities = at!(root.quantities).each().filter(known);
    let quantities: Vec<At<'_, Compared>> = quantities.take(MOST_QUANTITIES).collect();
    let names = quantities.iter().map(|one| at!(one.name).quote());
    let heads = std::iter::once("firing".into()).chain(names);
    let mut rows: Vec<Vec<Text>> = at!(root.firings)
        .each::<Fired>()
        .enumerate()
        .map(|(nth, firing)| {
            let title = text![firing.ordinal(), " ", at!(firing.title).name()];
            let values = quantities.iter().map(|one| of_one(one, nth));
            std::iter::once(title).chain(values).collect()
        })
        .collect();
    if root.of.firings.len() > 1 {
        for (label, of) in [
            ("mean", mean as fn(&_) -> _),
            ("standard deviation", deviation),
        ] {
            let values = quantities.iter().map(of);
            rows.push(std::iter::once(label.into()).chain(values).collect());
        }
    }
    let caption = if root.of.curve.as_ref().is_some_and(MeanCurve::has_spread) {
        "Mean curve and spread of all firings, each from its own ignition"
    } else {
        "Thrust of each firing from its own ignition"
    };
    vec![
        Content::Picture(Picture::MeanThrust, caption.into()),
        Content::Table(Table::plain(heads, rows)),
    ]
}

fn of_one(of: &At<'_, Compared>, firing: usize) -> Text {
    let values = at!(of.of);
    let value = values.nth(firing);
    match value.some() {
        Some(value) => at!(value.value).number(4, value.of.unit),
        None => value.missing("-"),
    }
}

fn mean(of: &At<'_, Compared>) -> Text {
    let Some(spread) = at!(of.spread).some() else {
        return at!(of.spread).missing("-");
    };
    let mean = at!(spread.mean);
    at!(mean.value).number(4, mean.of.unit)
}

fn deviation(of: &At<'_, Compared>) -> Text {
    let Some(spread) = at!(of.spread).some() else {
        return at!(of.spread).missing("-");
    };
    at!(spread.sample_sd_percent_of_mean).number(2, Unit::Percent)
}
