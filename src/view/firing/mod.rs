//! A reduced firing: the answers first, what they rest on last.

mod burn;
mod cells;
mod chamber;
mod class;
mod impulse;
mod inputs;
mod motors;
mod plant;
mod verdict;

use super::at::{At, at};
use super::attention::WHOLE;
use super::findings::{judged, noticed};
use super::first_screen;
use super::text::{Text, text};
use super::{Page, Row, Section, Table};
use crate::finding::Outcome;
use crate::quantity::Measured;
use crate::reduce::FiringResult;

/// Everything shown of a firing; the paths are those of `result.json`.
#[must_use]
pub(crate) fn page(result: &FiringResult) -> Page {
    of(&At::root(result))
}

/// The same of a firing in a list.
pub(super) fn of(root: &At<'_, FiringResult>) -> Page {
    let dry = is_dry_run(root.of);
    let mut sections = Vec::new();
    if !dry {
        sections.push(motors::section(root));
        sections.push(burn::section(root));
        sections.push(impulse::section(root));
        sections.push(class::section(root));
        sections.extend(chamber::section(root));
    }
    sections.extend(plant::sections(root));
    sections.push(findings(root));
    let (outcome, says) = verdict::verdict(root);
    let mut closing = vec![warnings(root), cautions(root)];
    closing.extend((!dry).then(|| cells::section(root)));
    closing.push(inputs::section(root));
    let date = at!(root.date).some();
    let date = date.map(|date| text![", ", date.quote()]);
    let page = Page {
        about: text!["captive firing", date],
        delivered: verdict::delivered(root),
        intervals: true,
        sections,
        closing,
        files: "report.html and result.json",
        danger: first_screen::firing::danger(root),
        glance: first_screen::firing::glance(root),
        ..Page::new(at!(root.title).quote(), outcome, says)
    };
    let told = verdict::finding(root);
    page.attended(|one| told.as_ref() == Some(one))
}

/// A dry run has neither cells nor motors: only what the gimbal shows.
fn is_dry_run(result: &FiringResult) -> bool {
    result.motors.is_none() && result.burn.is_none()
}

fn findings(root: &At<'_, FiringResult>) -> Section {
    let all = judged("", &at!(root.findings));
    let hold = all.iter().all(|one| one.outcome == Outcome::Holds);
    let section = Section::new(WHOLE, "Findings")
        .read(
            "A claim holds when it is true with at least 95 % probability and fails when it is false \
             with at least 95 %. In between the record cannot tell.",
        )
        .findings(all);
    if hold { section.folded() } else { section }
}

fn warnings(root: &At<'_, FiringResult>) -> Section {
    Section::new("warnings", "Warnings")
        .read(
            "What was noticed on the way. The numbers stand, but look at these before you trust them.",
        )
        .warnings(noticed(&at!(root.warnings)))
}

fn cautions(root: &At<'_, FiringResult>) -> Section {
    let lines = at!(root.cautions)
        .each()
        .map(|one| text![at!(one.text).quote(), " [", at!(one.source).quote(), "]"])
        .collect();
    Section::new("cautions", "Cautions")
        .read("Quoted practice, never permission.")
        .folded()
        .list(lines)
}

/// Results under their names.
fn results<const N: usize>(of: [(&'static str, At<'_, Option<Measured>>); N]) -> Vec<Row> {
    of.into_iter()
        .map(|(label, value)| Row::new(label, value.measured()))
        .collect()
}

/// A cell of a table.
fn cell(of: Text) -> Vec<Text> {
    vec![of]
}

/// A table of single lines.
fn plain_table(heads: &[&'static str], rows: impl Iterator<Item = Vec<Text>>) -> Table {
    Table::plain(heads, rows)
}
