//! Several firings side by side: mean, spread, drift, the odd one.

use super::at::{At, at};
use super::findings::{how_it_went, judged, worst};
use super::first_screen;
use super::text::{Text, text};
use super::{Depth, Page, Row, Section};
use crate::compare::{Compared, Comparison, Fired, Scatter};
use crate::quantity::Unit;

/// Quantities that stand on the first screen: the first are those that a maker asks for first.
const KEY_QUANTITIES: usize = 3;

/// Everything shown of a comparison; the paths are those of `compare.json`.
#[must_use]
pub(crate) fn page(of: &Comparison) -> Page {
    let root = &At::root(of);
    let mut sections = vec![firings(root)];
    let mut key = KEY_QUANTITIES;
    for (nth, one) in at!(root.quantities).each().enumerate() {
        if one.of.of.iter().any(Option::is_some) {
            let depth = if key > 0 { Depth::Key } else { Depth::Summary };
            key = key.saturating_sub(usize::from(one.of.spread.is_some()));
            sections.push(quantity(nth, root, &one, depth));
        }
    }
    let all = judged("", &at!(root.findings));
    let done = text![at!(root.firings).length::<Fired>(), " firings reduced"];
    let says = if of.firings.len() < 2 {
        text![done, ": nothing to compare."]
    } else {
        how_it_went(done, &all)
    };
    let findings = Section::new("findings", "Findings");
    let findings = findings.read("Each claim with its rule and source.");
    sections.push(findings.findings(all));
    Page {
        title: "Firings compared".into(),
        about: Text::default(),
        outcome: worst(&of.findings),
        says,
        delivered: None,
        intervals: true,
        sections,
        closing: vec![left_out(root)],
        files: "compare.json",
        first: first_screen::comparison::first(root),
    }
}

fn firings(root: &At<'_, Comparison>) -> Section {
    let rows = at!(root.firings)
        .each()
        .map(|firing| {
            let date = at!(firing.date).some();
            let date = date.map(|date| text![", ", date.quote()]);
            Row::new(firing.ordinal(), text![at!(firing.title).name(), date])
        })
        .collect();
    Section::new("firings", "Firings")
        .read("In the order they were named.")
        .rows(rows)
}

fn left_out(root: &At<'_, Comparison>) -> Section {
    let failed = at!(root.failed);
    let rows = failed.each().map(|one| {
        let file = at!(one.file).quote();
        Row::new(file, "could not be reduced, see its errors")
    });
    Section::new("left-out", "Left out").rows(rows.collect())
}

fn quantity(
    nth: usize,
    root: &At<'_, Comparison>,
    one: &At<'_, Compared>,
    depth: Depth,
) -> Section {
    let firings = at!(root.firings);
    let mut rows: Vec<Row> = firings
        .each::<Fired>()
        .zip(at!(one.of).each())
        .map(|(firing, value)| {
            let label = text![firing.ordinal(), " ", at!(firing.title).name()];
            Row::new(label, value.measured())
        })
        .collect();
    if let Some(spread) = at!(one.spread).some() {
        rows.extend(scatter(&spread, depth));
    }
    Section::new(format!("quantity-{}", nth + 1), at!(one.name).quote())
        .read("Between firings is the spread that measuring does not explain.")
        .rows(rows)
}

/// What all firings share.
fn scatter(spread: &At<'_, Scatter>, depth: Depth) -> Vec<Row> {
    let unit = spread.of.mean.unit;
    let deviation = text![
        at!(spread.sample_sd).measured(),
        ", ",
        at!(spread.sample_sd_percent_of_mean).number(2, Unit::Percent),
        " of the mean"
    ];
    let between = text![
        at!(spread.between_sd).number(2, unit),
        "; measuring adds ",
        at!(spread.measuring_sd).number(2, unit),
        " to each; p-value of such a spread by measuring alone ",
        at!(spread.p).probability()
    ];
    let mut rows = vec![
        Row::new("mean", at!(spread.mean).measured()).at(depth),
        Row::new("standard deviation", deviation).at(depth),
        Row::new("between firings", between),
        Row::new("the next motor", at!(spread.next).measured()),
        Row::new(
            "90 % of motors, said with 95 % confidence",
            at!(spread.tolerance).measured(),
        ),
    ];
    if let Some((drift, p)) = at!(spread.drift).some().zip(at!(spread.drift_p).some()) {
        let says = text![drift.measured(), "; p-value ", p.probability()];
        rows.push(Row::new("drift", says));
    }
    rows
}
