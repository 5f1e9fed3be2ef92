//! Several firings side by side: mean, spread, drift, the odd one.

use super::at::{At, at};
use super::attention::{Attention, Grade, Place, WHOLE, sorted};
use super::findings::{how_it_went, judged, noticed, worst};
use super::first_screen;
use super::text::text;
use super::{Page, Row, Section};
use crate::compare::{Compared, Comparison, Failed, Fired, Scatter};
use crate::diagnostic::Warning;
use crate::finding::Outcome;
use crate::quantity::Unit;

/// Everything shown of a comparison; the paths are those of `compare.json`.
#[must_use]
pub(crate) fn page(of: &Comparison) -> Page {
    let root = &At::root(of);
    let mut sections = vec![firings(root)];
    for (nth, one) in at!(root.quantities).each().enumerate() {
        if one.of.of.iter().any(Option::is_some) {
            sections.push(quantity(nth, root, &one));
        }
    }
    let all = judged("", &at!(root.findings));
    let failed = at!(root.failed);
    let not = text![", ", failed.length::<Failed>(), " could not be"];
    let done = text![
        at!(root.firings).length::<Fired>(),
        " firings reduced",
        (!failed.of.is_empty()).then_some(not)
    ];
    let says = if of.firings.len() < 2 {
        text![done, ": nothing to compare."]
    } else {
        how_it_went(done, &all)
    };
    let findings = Section::new(WHOLE, "Findings");
    let findings = findings.read("Each claim with its rule and source.");
    sections.push(findings.findings(all));
    let outcome = match worst(&of.findings) {
        Outcome::Holds if !of.failed.is_empty() => Outcome::Undecided,
        worst => worst,
    };
    let page = Page {
        intervals: true,
        sections,
        closing: vec![left_out(
            &at!(root.failed),
            "Firings that could not be reduced",
        )],
        files: "compare.json",
        glance: first_screen::comparison::glance(root),
        ..Page::new("Firings compared", outcome, says)
    };
    let mut page = page.attended(|_| false);
    let failures = failures(&at!(root.failed), "could not be reduced");
    page.attention = sorted(failures.chain(page.attention));
    page
}

/// Where what could not be reduced is told.
const NOT_REDUCED: &str = "not-reduced";

/// What could not be reduced, each with what is wrong first.
pub(super) fn failures<'a>(
    failed: &At<'a, Vec<Failed>>,
    how: &'static str,
) -> impl Iterator<Item = Attention> + use<'a> {
    failed.each().map(move |one: At<'_, Failed>| {
        let errors = at!(one.errors);
        let why = errors
            .each()
            .next()
            .map(|why: At<'_, Warning>| at!(why.text).quote());
        let says = text![how, why.map(|why| text![": ", why])];
        Attention {
            grade: Grade::Failed,
            brief: says.clone(),
            says,
            told: false,
            advice: None,
            places: vec![Place {
                about: at!(one.file).quote(),
                numbers: None,
                section: NOT_REDUCED.to_owned(),
            }],
        }
    })
}

pub(super) fn left_out(failed: &At<'_, Vec<Failed>>, title: &'static str) -> Section {
    let rows = failed.each().map(|one: At<'_, Failed>| {
        let errors = noticed(&at!(one.errors)).into_iter().map(|error| {
            let place = error.place.map(|place| text![place, ": "]);
            let hint = error.hint.map(|hint| text!["; ", hint]);
            text![place, error.says, hint]
        });
        Row::of_lines(at!(one.file).quote(), errors.collect())
    });
    Section::new(NOT_REDUCED, title).rows(rows.collect())
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

fn quantity(nth: usize, root: &At<'_, Comparison>, one: &At<'_, Compared>) -> Section {
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
        rows.extend(scatter(&spread));
    }
    Section::new(format!("quantity-{}", nth + 1), at!(one.name).quote())
        .read("Between firings is the spread that measuring does not explain.")
        .rows(rows)
}

/// What all firings share.
fn scatter(spread: &At<'_, Scatter>) -> Vec<Row> {
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
        Row::new("mean", at!(spread.mean).measured()),
        Row::new("standard deviation", deviation),
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
