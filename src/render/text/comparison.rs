//! Several firings side by side for a terminal.

use crate::compare::{Compared, Comparison, Spread};
use crate::finding::Outcome;
use crate::render::number::{self, significant};
use crate::render::verdict::{Judged, judged_together, name_of, worst_of};
use crate::render::words::clean;

use super::findings::{Told, finding};
use super::layout::{Ink, hanging, table, wrapped};
use super::{NARROWEST, Rows};

/// The comparison as text, at most `width` columns wide. The first line says how it went.
#[must_use]
pub fn compared(of: &Comparison, width: usize, colour: bool) -> String {
    let width = width.max(NARROWEST);
    let ink = Ink { colour };
    let judged = judged(of);
    let mut out = String::new();
    for line in wrapped(&says(of, &judged), width) {
        out += &format!("{}\n", ink.outcome(worst_of(&judged), &line));
    }
    out += &hanging("", number::NOTATION, width);
    let rows: Rows = of
        .firings
        .iter()
        .enumerate()
        .map(|(nth, firing)| {
            let date = firing
                .date
                .as_deref()
                .map_or(String::new(), |d| format!(", {}", clean(d)));
            (
                format!("{}", nth + 1),
                format!("{}{date}", name_of(&firing.title)),
            )
        })
        .collect();
    let mut section = |heading: &str, body: &str| {
        if !body.is_empty() {
            out += &format!("\n{}\n{body}", ink.heading(heading));
        }
    };
    section("Firings", &table(&rows, width));
    for one in &of.quantities {
        section(&capital(&one.name), &quantity(one, width));
    }
    let judged: String = of
        .findings
        .iter()
        .map(|one| finding("", one, Told::Whole, width, ink))
        .collect();
    section("Findings", &judged);
    let failed: Rows = of
        .failed
        .iter()
        .map(|one| (clean(&one.file), "not reduced, see its errors".to_owned()))
        .collect();
    section("Left out", &table(&failed, width));
    out
}

/// Everything judged, worst first; used by the page as well.
pub(in crate::render) fn judged(of: &Comparison) -> Vec<Judged<'_>> {
    judged_together("all firings", "#findings", &of.findings)
}

/// How it went, as a sentence; used by the page as well.
pub(in crate::render) fn says(of: &Comparison, judged: &[Judged<'_>]) -> String {
    let says = match worst_of(judged) {
        _ if of.firings.len() < 2 => "nothing to compare.",
        Outcome::Holds => "every finding holds.",
        Outcome::Fails => "a finding fails.",
        Outcome::Undecided => "a finding is undecided.",
    };
    format!("{} firings reduced: {says}", of.firings.len())
}

fn capital(name: &str) -> String {
    let mut letters = name.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(letters).collect()
    })
}

fn quantity(one: &Compared, width: usize) -> String {
    if one.of.iter().all(Option::is_none) {
        return String::new();
    }
    let mut rows: Rows = one
        .of
        .iter()
        .enumerate()
        .map(|(nth, value)| ((nth + 1).to_string(), number::quantity(value.as_ref())))
        .collect();
    if let Some(spread) = &one.spread {
        rows.extend(scatter(spread));
    }
    table(&rows, width)
}

/// The rows on what all firings share; used by the page as well.
pub(in crate::render) fn scatter(spread: &Spread) -> Rows {
    let unit = number::unit(&spread.mean.unit);
    let mut rows: Rows = vec![
        ("mean".to_owned(), number::measured(&spread.mean)),
        (
            "standard deviation".to_owned(),
            format!(
                "{}, {} % of the mean",
                number::measured(&spread.sample_sd),
                significant(spread.sample_sd_percent_of_mean, 2)
            ),
        ),
        (
            "between firings".to_owned(),
            format!(
                "{} {unit}; measuring adds {} {unit} to each; chance of such a spread by measuring \
                 alone {}",
                significant(spread.between_sd, 2),
                significant(spread.measuring_sd, 2),
                number::probability(spread.p)
            ),
        ),
    ];
    if let (Some(drift), Some(p)) = (&spread.drift, spread.drift_p) {
        let chance = number::probability(p);
        let text = format!(
            "{}; chance of one as steep {chance}",
            number::measured(drift)
        );
        rows.push(("drift".to_owned(), text));
    }
    rows
}
