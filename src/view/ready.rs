//! What the stand at rest shows.

use super::at::{At, at};
use super::findings::{Judged, how_it_went, judged, worst};
use super::text::{Text, text};
use super::{Content, Page, Row, Section};
use crate::finding::{Finding, Outcome};
use crate::ready::Readiness;

/// Everything shown of the stand; the paths are those of `ready.json`.
#[must_use]
pub(crate) fn page(of: &Readiness) -> Page {
    let root = &At::root(of);
    let mut all: Vec<Judged> = Vec::new();
    let (mut sections, mut rows) = (Vec::new(), Vec::new());
    for (nth, (name, findings)) in at!(root.findings).entries().enumerate() {
        let own = judged(name.clone(), &findings);
        rows.push(Row::new(name.clone(), tally(&findings)));
        sections.push(Section::new(format!("part-{}", nth + 1), name).findings(own.clone()));
        all.extend(own);
    }
    let cautions = at!(root.cautions).each();
    let cautions =
        cautions.map(|one| text![at!(one.text).quote(), " (", at!(one.source).quote(), ")"]);
    let cautions = Section::new("cautions", "Cautions").list(cautions.collect());
    let says = how_it_went("Looked at the stand; this is no permission", &all);
    let page = Page {
        about: at!(root.title).quote(),
        intervals: true,
        sections,
        closing: vec![cautions],
        files: "ready.json",
        glance: vec![Content::Rows(rows)],
        ..Page::new("Stand at rest", worst(of.findings.values().flatten()), says)
    };
    page.attended(|_| false)
}

fn tally(findings: &At<'_, Vec<Finding>>) -> Text {
    let any = |outcome: Outcome| findings.of.iter().any(|one| one.outcome == outcome);
    match (any(Outcome::Fails), any(Outcome::Undecided)) {
        (true, true) => "some fail, some are undecided".into(),
        (true, false) => "some fail, the rest hold".into(),
        (false, true) => "none fails, some are undecided".into(),
        (false, false) => "all hold".into(),
    }
}
