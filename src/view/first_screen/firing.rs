//! One firing in a glance: danger, what does not hold, the curve, the numbers, each motor, each axis.

use crate::finding::Outcome;
use crate::motors::lit::{Lit, MotorReport};
use crate::reduce::FiringResult;
use crate::view::at::{At, at};
use crate::view::text::{Part, Text, text};
use crate::view::{Content, Picture, Table};

use super::cell;

/// What to do about a motor that may be loaded still, in short: the first of the cautions has it whole.
pub(in crate::view) const KEEP_AWAY: &str = " Interlock out, keep away at least 60 s.";

pub(in crate::view) fn glance(root: &At<'_, FiringResult>) -> Vec<Content> {
    let mut contents = Vec::new();
    if root.of.burn.is_some() {
        contents.push(Content::Picture(Picture::Thrust, Text::default()));
        contents.push(Content::Table(numbers(root)));
    }
    contents.extend(motors(root).map(Content::Table));
    contents.extend(axes(root).map(Content::Table));
    contents
}

/// Motors that did not light, or may not have: they are loaded still.
pub(in crate::view) fn danger(root: &At<'_, FiringResult>) -> Option<Text> {
    let motors = at!(root.motors).some()?;
    if root.of.ignition.as_ref()?.all_lit == Outcome::Holds {
        return None;
    }
    let named = |lit: Lit| -> Vec<Text> {
        let of = motors.entries().filter(|(_, motor)| motor.of.lit == lit);
        of.map(|(name, _)| name).collect()
    };
    let (dead, open) = (named(Lit::NotLit), named(Lit::Undecided));
    let loaded = match (dead.len(), open.len()) {
        (0, _) => text![Text::listed(open), " may be loaded still."],
        (1, 0) => text!["motor ", Text::listed(dead), " is still loaded."],
        (_, 0) => text!["motors ", Text::listed(dead), " are still loaded."],
        _ => text![
            Text::listed(dead),
            " still loaded, ",
            Text::listed(open),
            " perhaps."
        ],
    };
    Some(text!["Danger: ", loaded, KEEP_AWAY])
}

fn numbers(root: &At<'_, FiringResult>) -> Table {
    let impulse = at!(root.impulse).some();
    let unknown = || at!(root.impulse).missing("not available");
    let (total, specific) = impulse.map_or_else(
        || (unknown(), unknown()),
        |of| (at!(of.total_ns).compact(), at!(of.specific_s).compact()),
    );
    let (burn, thrust) = (at!(root.burn).some(), at!(root.thrust).some());
    let lasts = burn.map(|burn| at!(burn.burn_time_s).compact());
    let peak = thrust.map(|thrust| at!(thrust.peak_n).compact());
    let heads = ["impulse", "specific impulse", "burn time", "peak thrust"];
    let cells = [Some(total), Some(specific), lasts, peak];
    Table::plain(
        heads,
        [cells.into_iter().map(Option::unwrap_or_default).collect()],
    )
}

/// A line for each motor.
fn motors(root: &At<'_, FiringResult>) -> Option<Table> {
    let motors = at!(root.motors).some()?;
    let commanded = motors.of.values().any(|motor| motor.delay_s.is_some());
    let when = if commanded {
        "after fire command"
    } else {
        "ignition"
    };
    let heads = ["motor", "lit", when, "impulse", "class"];
    let rows = motors
        .of
        .keys()
        .zip(motors.entries())
        .map(|(key, (name, motor))| {
            let time = if commanded {
                at!(motor.delay_s)
            } else {
                at!(motor.ignition_s)
            };
            let impulse = cell(&at!(motor.total_ns));
            vec![name, lit(motor.of), cell(&time), impulse, class(root, key)]
        });
    Some(Table::plain(heads, rows))
}

fn lit(motor: &MotorReport) -> Text {
    let outcome = match motor.lit {
        Lit::Lit => Outcome::Holds,
        Lit::NotLit => Outcome::Fails,
        Lit::Undecided => Outcome::Undecided,
    };
    Part::Judged(outcome, motor.lit.word()).into()
}

/// Letter of a motor, and what its label says.
fn class(root: &At<'_, FiringResult>, motor: &str) -> Text {
    let none = || Text::from("-");
    let Some(class) = at!(root.class).some() else {
        return none();
    };
    let Some(own) = at!(class.per_motor)
        .each()
        .find(|one| one.of.motor == motor)
    else {
        return none();
    };
    let letter = at!(own.letter).some().map(|letter| letter.name());
    let label = at!(own.designation).some();
    let label = label.map(|label| text!["label ", label.name()]);
    let parts: Vec<Text> = [letter, label].into_iter().flatten().collect();
    if parts.is_empty() {
        return none();
    }
    Text::joined(parts, ", ")
}

/// A line for each axis.
fn axes(root: &At<'_, FiringResult>) -> Option<Table> {
    let plant = at!(root.plant);
    let rows = plant.entries().map(|(name, axis)| {
        let actuator = at!(axis.actuator);
        let dead_band = at!(actuator.dead_band);
        let width = cell(&at!(dead_band.width_deg));
        let gain = cell(&at!(actuator.gain));
        let together = at!(actuator.lag_plus_delay_s).some();
        let (lag, delay) = match together.filter(|_| actuator.of.lag_s.is_none()) {
            Some(sum) => (text![sum.compact(), ", delay included"], Text::from("-")),
            None => (cell(&at!(actuator.lag_s)), cell(&at!(actuator.delay_s))),
        };
        vec![name, gain, lag, delay, width]
    });
    let heads = ["axis", "gain", "lag", "delay", "dead band"];
    (!plant.of.is_empty()).then(|| Table::plain(heads, rows))
}
