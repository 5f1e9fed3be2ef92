//! What a firing to come will tell.

use super::at::{At, at};
use super::attention::WHOLE;
use super::findings::{how_it_went, judged, worst};
use super::first_screen;
use super::first_screen::plan::{right, way, when};
use super::text::{Text, text};
use super::{Page, Row, Section, Table};
use crate::plan::expected::Premise;
use crate::plan::prediction::{Prediction, WAYS_AGREE};
use crate::plan::widths::{Case, HalfWidth};

/// Everything shown of a prediction; the paths are those of `plan.json`.
#[must_use]
pub(crate) fn page(of: &Prediction) -> Page {
    let root = &At::root(of);
    let all = judged("", &at!(root.findings));
    let done = text![
        "Rehearsed and reduced ",
        at!(root.draws).count(),
        " times a case"
    ];
    let cases = at!(root.cases).each().enumerate();
    let mut sections: Vec<Section> = cases.map(|(nth, one)| case(nth, &one)).collect();
    let ways = at!(root.narrower).each().map(|one| way(&one)).collect();
    sections.push(
        Section::new("narrower", "What would narrow it")
            .read("Each with the result that gains most by it, over the same few draws.")
            .list(ways),
    );
    sections.push(
        Section::new(WHOLE, "Findings")
            .read("Each claim with its rule and source.")
            .findings(all.clone()),
    );
    sections.push(premises(&at!(root.premises)));
    let page = Page {
        about: at!(root.title).quote(),
        sections,
        files: "plan.json",
        glance: first_screen::plan::glance(root),
        ..Page::new("Plan", worst(&of.findings), how_it_went(done, &all))
    };
    page.attended(|_| false)
}

/// What a plan rests on.
pub(super) fn premises(all: &At<'_, Vec<Premise>>) -> Section {
    let rows = all.each().map(|one| {
        let from = at!(one.from);
        let says = text![at!(one.says).quote(), ", ", from.quote()];
        Row::new(at!(one.of).quote(), says)
    });
    Section::new("premises", "What it rests on")
        .read("Stated in the firing file under [plan], learned from files that are there, or assumed.")
        .rows(rows.collect())
}

fn case(nth: usize, one: &At<'_, Case>) -> Section {
    let title = text!["Half widths of 95 % intervals, ", when(one)];
    let mut section = Section::new(format!("case-{}", nth + 1), title)
        .read("Median over the draws, and from the 5 % to the 95 % percentile.")
        .table(widths(&at!(one.results)));
    for (name, axis) in at!(one.axes).entries() {
        section = section.heading(text!["Axis ", name]).table(widths(&axis));
    }
    let motors = at!(one.motors).entries().map(|(name, motor)| {
        let undecided = at!(motor.undecided).count();
        Row::new(
            name,
            text![
                "right in ",
                right(&motor, one),
                ", undecided in ",
                undecided
            ],
        )
    });
    let section = section.rows(motors.collect());
    if one.of.refused == 0 {
        return section;
    }
    let refused = at!(one.refused).count();
    section.note(text![refused, " draws could not be reduced"])
}

fn widths(all: &At<'_, Vec<HalfWidth>>) -> Table {
    let heads = [
        "",
        "value",
        "half width",
        "5 % to 95 %",
        "told in",
        "by the fit's derivatives",
    ];
    let rows = all.each().map(|one| {
        let unit = one.of.unit;
        let differs = one.of.information.is_some_and(|other| {
            let ratio = one.of.median / other;
            !(1.0 / WAYS_AGREE..=WAYS_AGREE).contains(&ratio)
        });
        let information = at!(one.information);
        let other = if differs {
            information.number(2, unit)
        } else if one.of.information.is_some() {
            "the same".into()
        } else {
            information.missing("-")
        };
        vec![
            at!(one.name).quote(),
            at!(one.value).number(4, unit),
            at!(one.median).number(2, unit),
            text![
                at!(one.low).number(2, unit),
                " to ",
                at!(one.high).number(2, unit)
            ],
            at!(one.told).count(),
            other,
        ]
    });
    Table::plain(heads.map(Text::from), rows)
}
