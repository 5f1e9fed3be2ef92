//! The answer to "did it work?".

use indexmap::IndexMap;

use crate::finding::Outcome;
use crate::motors::lit::{IgnitionReport, Lit, MotorReport};
use crate::reduce::FiringResult;
use crate::view::at::{At, at};
use crate::view::findings::{Judged, judged};
use crate::view::text::{Text, text};

type Motors = IndexMap<String, MotorReport>;

/// How it went, and which motors lit, in a sentence or two.
pub(super) fn verdict(root: &At<'_, FiringResult>) -> (Outcome, Text) {
    match (at!(root.ignition).some(), at!(root.motors).some()) {
        (Some(ignition), Some(motors)) => (ignition.of.all_lit, lit(&ignition, &motors)),
        _ if root.of.burn.is_some() => (
            Outcome::Undecided,
            "It burnt; no motor is described in the firing file.".into(),
        ),
        _ => dry_run(root),
    }
}

fn dry_run(root: &At<'_, FiringResult>) -> (Outcome, Text) {
    let plant = at!(root.plant);
    let names: Vec<Text> = plant.entries().map(|(name, _)| name).collect();
    let axes = match names.len() {
        0 => {
            let says = "Dry run: no thrust, and no steering axis could be fitted.";
            return (Outcome::Fails, says.into());
        }
        1 => "axis ",
        _ => "axes ",
    };
    let says = text![
        "Dry run: no thrust; the steering of ",
        axes,
        Text::listed(names),
        " was fitted."
    ];
    (Outcome::Holds, says)
}

fn lit(ignition: &At<'_, IgnitionReport>, motors: &At<'_, Motors>) -> Text {
    let named = |lit: Lit| -> Vec<Text> {
        let of = motors.entries().filter(|(_, motor)| motor.of.lit == lit);
        of.map(|(name, _)| name).collect()
    };
    let (dead, open) = (named(Lit::NotLit), named(Lit::Undecided));
    match (ignition.of.all_lit, ignition.of.lit_count, motors.of.len()) {
        (Outcome::Holds, _, 1) => "The motor lit.".into(),
        (Outcome::Holds, _, 2) => "Both motors lit.".into(),
        (Outcome::Holds, ..) => text!["All ", motors.size(), " motors lit."],
        (Outcome::Fails, 0, 1) => "The motor did not light.".into(),
        (Outcome::Fails, 0, _) => "No motor lit.".into(),
        (Outcome::Fails, ..) => {
            let count = at!(ignition.lit_count).count();
            let only = text!["Only ", count, " of ", motors.size(), " motors lit; "];
            if dead.is_empty() {
                only.and("the record cannot tell which.")
            } else {
                text![only, "not lit: ", Text::listed(dead), "."]
            }
        }
        (Outcome::Undecided, ..) => {
            let mut out: Text = "It is undecided whether every motor lit".into();
            if !open.is_empty() {
                out = text![out, "; undecided: ", Text::listed(open)];
            }
            if !dead.is_empty() {
                out = text![out, "; not lit: ", Text::listed(dead)];
            }
            out.and(".")
        }
    }
}

/// The finding that the verdict tells already.
pub(super) fn finding(root: &At<'_, FiringResult>) -> Option<Judged> {
    let ignition = root.of.ignition.as_ref()?;
    let findings = at!(root.findings);
    let told = (ignition.all_lit, Some(ignition.probability?));
    let mut all = findings.of.iter();
    let place = all.position(|one| (one.outcome, one.probability) == told);
    judged("", &findings).into_iter().nth(place?)
}

/// What was delivered; `None` for a dry run or when nothing lit.
pub(super) fn delivered(root: &At<'_, FiringResult>) -> Option<Text> {
    root.of.burn.as_ref()?;
    let impulse = at!(root.impulse).some();
    let total = impulse.map_or_else(
        || at!(root.impulse).missing("not available"),
        |of| at!(of.total_ns).measured(),
    );
    let class = at!(root.class).some();
    let letter = class.and_then(|of| at!(of.letter).some());
    let class = letter.map(|letter| text![", class ", letter.name()]);
    Some(text!["Total impulse ", total, class, "."])
}
