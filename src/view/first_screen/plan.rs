//! What a firing to come will tell, in a glance: half widths with all motors lit and with one dead.

use crate::plan::prediction::Prediction;
use crate::plan::widths::{Bettered, Case, Decided, HalfWidth};
use crate::quantity::Unit;
use crate::view::at::{At, at};
use crate::view::text::{Text, text};
use crate::view::{Content, Table};

/// Ways to narrow it for which there is room.
const MOST_WAYS: usize = 2;

pub(in crate::view) fn glance(root: &At<'_, Prediction>) -> Vec<Content> {
    let cases: Vec<At<'_, Case>> = at!(root.cases).each().collect();
    let mut contents = vec![Content::Table(Table::plain(
        heads(&cases),
        firing_rows(&cases),
    ))];
    contents.extend(axes_table(&cases));
    let ways = at!(root.narrower)
        .each()
        .take(MOST_WAYS)
        .map(|one| way(&one));
    contents.push(Content::List(ways.collect()));
    contents
}

/// How a case is called.
pub(in crate::view) fn when(case: &At<'_, Case>) -> Text {
    let dead = at!(case.dead);
    dead.some()
        .map_or_else(|| "all lit".into(), |dead| text![dead.name(), " dead"])
}

fn heads(cases: &[At<'_, Case>]) -> Vec<Text> {
    let first = std::iter::once("half width of 95 %".into());
    first.chain(cases.iter().map(when)).collect()
}

/// Results and verdicts of the firing, those that each case has.
fn firing_rows(cases: &[At<'_, Case>]) -> Vec<Vec<Text>> {
    let Some(first) = cases.first() else {
        return Vec::new();
    };
    let widths = at!(first.results).each().map(|one: At<'_, HalfWidth>| {
        let each = cases.iter().map(|case| {
            let mut all = at!(case.results).each();
            let found = all.find(|other: &At<'_, HalfWidth>| other.of.name == one.of.name);
            found.map_or_else(|| "-".into(), |one| and_range(&one))
        });
        std::iter::once(at!(one.name).quote()).chain(each).collect()
    });
    let motors = at!(first.motors).entries().enumerate();
    let motors = motors.map(|(nth, (name, _))| {
        let each = cases.iter().map(|case| {
            let found = at!(case.motors).entries().nth(nth);
            found.map_or_else(|| "-".into(), |(_, motor)| right(&motor, case))
        });
        let label = text!["verdict on ", name.clone(), " right"];
        std::iter::once(label).chain(each).collect()
    });
    widths.chain(motors).collect()
}

/// In how many draws a verdict is right.
pub(in crate::view) fn right(motor: &At<'_, Decided>, case: &At<'_, Case>) -> Text {
    let wrong = (motor.of.wrong > 0).then(|| text![", wrong in ", at!(motor.wrong).count()]);
    text![
        at!(motor.right).count(),
        " of ",
        at!(case.draws).count(),
        wrong
    ]
}

fn axes_table(cases: &[At<'_, Case>]) -> Option<Content> {
    let first = cases.first()?;
    let axes: Vec<Text> = at!(first.axes).entries().map(|(name, _)| name).collect();
    let longest = at!(first.axes)
        .entries()
        .max_by_key(|(_, all)| all.of.len())?
        .1;
    let columns: Vec<(usize, usize)> = (0..axes.len())
        .flat_map(|axis| (0..cases.len()).map(move |case| (axis, case)))
        .collect();
    let heads = columns
        .iter()
        .map(|(axis, case)| text![axes[*axis].clone(), ", ", when(&cases[*case])]);
    let heads = std::iter::once(Text::default()).chain(heads);
    let rows = longest.each().map(|one: At<'_, HalfWidth>| {
        let each = columns.iter().map(|(axis, case)| {
            let case = &cases[*case];
            let found = at!(case.axes).entries().nth(*axis);
            cell(found.and_then(|(_, all)| {
                all.each()
                    .find(|other: &At<'_, HalfWidth>| other.of.name == one.of.name)
            }))
        });
        std::iter::once(at!(one.name).quote()).chain(each).collect()
    });
    Some(Content::Table(Table::plain(heads, rows)))
}

fn cell(width: Option<At<'_, HalfWidth>>) -> Text {
    width.map_or_else(|| "-".into(), |one| at!(one.median).number(2, one.of.unit))
}

/// Where the wide ones are so many times as wide as the narrow ones, one number does not tell what to expect.
const SCATTERS: f64 = 2.5;

/// A half width, and between which it lies where draws differ much.
fn and_range(width: &At<'_, HalfWidth>) -> Text {
    let unit = width.of.unit;
    let range = (width.of.high > SCATTERS * width.of.low).then(|| {
        let (low, high) = (at!(width.low), at!(width.high));
        text![" (", low.number(2, unit), " to ", high.number(2, unit), ")"]
    });
    text![at!(width.median).number(2, unit), range]
}

/// One input bettered, in a sentence.
pub(in crate::view) fn way(one: &At<'_, Bettered>) -> Text {
    // A specific impulse is no time: both widths in one unit.
    let bettered = if one.of.unit == Unit::Second && one.of.was >= 0.1 {
        text![at!(one.half_width).typed(2), " s"]
    } else {
        at!(one.half_width).number(2, one.of.unit)
    };
    text![
        "Narrower with ",
        at!(one.change).name(),
        ": ",
        at!(one.result).name(),
        " ",
        bettered,
        ", not ",
        at!(one.was).number(2, one.of.unit)
    ]
}
