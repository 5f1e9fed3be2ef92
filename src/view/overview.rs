//! Several reduced firings: a line for each, then what needs attention.

use super::at::{At, at};
use super::findings::worst_of;
use super::first_screen::{cell, firing, tell_once};
use super::text::{Text, text};
use super::{Attention, Content, FirstScreen, Page, Table};
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
        text![
            "Danger: motors of ",
            at,
            " may be loaded still.",
            firing::KEEP_AWAY
        ]
    });
    let heads = ["firing", "lit", "impulse", "class", "burn time", "peak"];
    let rows = root.each::<FiringResult>().map(|one| line(&one));
    Page {
        title: "Firings reduced".into(),
        about: Text::default(),
        outcome: worst_of(of.iter().map(all_lit)),
        says: text![root.length::<FiringResult>(), " firings reduced", lit],
        delivered: None,
        intervals: true,
        sections: Vec::new(),
        closing: Vec::new(),
        files: "",
        first: FirstScreen {
            danger,
            attention: attention(root.each()),
            contents: vec![Content::Table(Table::plain(heads, rows))],
        },
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

/// What needs attention in any of them, what reads alike told once with the firings it is of.
fn attention<'a>(firings: impl Iterator<Item = At<'a, FiringResult>>) -> Vec<Attention> {
    let mut out: Vec<Attention> = Vec::new();
    for one in firings {
        let title = at!(one.title).name();
        for found in firing::first(&one).attention {
            let about = vec![title.clone()];
            tell_once(&mut out, Attention { about, ..found });
        }
    }
    let rank = |one: &Attention| one.outcome.map_or(u8::MAX, super::findings::worst_first);
    out.sort_by_key(rank);
    out
}
