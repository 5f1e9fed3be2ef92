//! Several reduced firings: a line for each, then what needs attention.

use super::at::{At, at};
use super::attention::{Attention, sorted};
use super::findings::worst_of;
use super::firing;
use super::first_screen::{cell, firing::KEEP_AWAY};
use super::text::{Text, text};
use super::{Content, Page, Table};
use crate::finding::Outcome;
use crate::quantity::Measured;
use crate::reduce::FiringResult;

/// Everything shown of several firings; the paths are those of the list that is printed as data.
#[must_use]
pub(crate) fn page(of: &[FiringResult]) -> Page {
    let root = &At::root(&of);
    let all_lit = |one: &FiringResult| {
        let ignition = one.ignition.as_ref();
        ignition.map_or(Outcome::Holds, |ignition| ignition.all_lit)
    };
    let loaded: Vec<Text> = root
        .each::<FiringResult>()
        .filter(|one| all_lit(one.of) != Outcome::Holds)
        .map(|one| at!(one.title).name())
        .collect();
    let lit = if loaded.is_empty() {
        "; every motor lit.".into()
    } else {
        text![
            "; not every motor lit in ",
            Text::listed(loaded.clone()),
            "."
        ]
    };
    let danger = (!loaded.is_empty()).then(|| {
        let at = Text::listed(loaded);
        text!["Danger: motors of ", at, " may be loaded still.", KEEP_AWAY]
    });
    let heads = ["firing", "lit", "impulse", "class", "burn time", "peak"];
    let rows = root.each::<FiringResult>().map(|one| line(&one));
    let says = text![root.length::<FiringResult>(), " firings reduced", lit];
    let outcome = worst_of(of.iter().map(all_lit));
    Page {
        intervals: true,
        danger,
        attention: sorted(root.each().flat_map(|one| attention(&one))),
        glance: vec![Content::Table(Table::plain(heads, rows))],
        ..Page::new("Firings reduced", outcome, says)
    }
}

fn line(one: &At<'_, FiringResult>) -> Vec<Text> {
    let none = || Text::from("-");
    let lit = at!(one.ignition).some().zip(at!(one.motors).some());
    let lit = lit.map(|(of, motors)| text![at!(of.lit_count).count(), " of ", motors.size()]);
    let impulse = at!(one.impulse).some();
    let class = at!(one.class).some();
    let letter = class.and_then(|of| Some(at!(of.letter).some()?.name()));
    let (burn, thrust) = (at!(one.burn).some(), at!(one.thrust).some());
    vec![
        at!(one.title).name(),
        lit.unwrap_or_else(none),
        impulse.map_or_else(none, |of| cell(&at!(of.total_ns))),
        letter.unwrap_or_else(none),
        burn.and_then(|of| best(&at!(of.burn_time_s)))
            .unwrap_or_else(none),
        thrust
            .and_then(|of| best(&at!(of.peak_n)))
            .unwrap_or_else(none),
    ]
}

/// The best estimate alone.
fn best(of: &At<'_, Option<Measured>>) -> Option<Text> {
    let value = of.some()?;
    Some(at!(value.value).number(4, value.of.unit))
}

/// What needs attention in one of them, said of the firing.
fn attention(one: &At<'_, FiringResult>) -> Vec<Attention> {
    let mut all = firing::of(one).attention;
    for place in all.iter_mut().flat_map(|one| &mut one.places) {
        place.about = at!(one.title).name();
    }
    all
}
