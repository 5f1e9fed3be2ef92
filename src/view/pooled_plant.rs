//! One plant from several firings.

use super::at::{At, at};
use super::findings::{how_it_went, judged, worst};
use super::first_screen;
use super::text::{Text, text};
use super::{Page, Row, Section};
use crate::plant::pool::{PooledAxis, PooledFit, PooledParameter};

/// Everything shown of a plant from several firings; the paths are those of `fit.json`.
#[must_use]
pub(crate) fn page(of: &PooledFit) -> Page {
    let root = &At::root(of);
    let axes = at!(root.axes);
    let firings = at!(root.firings).each();
    let firings = firings.map(|file| Row::new(file.ordinal(), file.quote()));
    let mut sections = vec![Section::new("firings", "Firings").rows(firings.collect())];
    let mut all = Vec::new();
    for (nth, (name, axis)) in axes.entries().enumerate() {
        let plant = at!(axis.plant);
        let own = judged(text!["axis ", name.clone()], &at!(plant.findings));
        all.extend(own.clone());
        sections.push(section(nth, name, &axis).findings(own));
    }
    let done = text![
        "One plant from ",
        at!(root.firings).length::<String>(),
        " firings"
    ];
    let outcome = worst(of.axes.values().flat_map(|axis| &axis.plant.findings));
    let page = Page {
        intervals: true,
        sections,
        files: "fit.json",
        glance: first_screen::pooled_plant::glance(root),
        ..Page::new("Pooled plant", outcome, how_it_went(done, &all))
    };
    page.attended(|_| false)
}

fn section(nth: usize, name: Text, axis: &At<'_, PooledAxis>) -> Section {
    let title = text!["Axis ", name];
    let mut section = Section::new(format!("axis-{}", nth + 1), title);
    for one in at!(axis.parameters).each() {
        let label = one.of.name.label();
        section = section.heading(label).rows(rows(&one));
    }
    section
}

fn rows(one: &At<'_, PooledParameter>) -> Vec<Row> {
    let each = at!(one.of);
    let mut rows: Vec<Row> = each
        .each()
        .map(|value| Row::new(value.ordinal(), value.measured()))
        .collect();
    if one.of.shared {
        rows.push(Row::new("all", at!(one.value).measured()));
    }
    if let Some(p) = at!(one.agreement_p).some() {
        let says = text!["p-value that they are one ", p.probability()];
        rows.push(Row::new("agreement", says));
    }
    rows
}
