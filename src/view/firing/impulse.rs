//! Impulse and where its uncertainty comes from.

use crate::burn::impulse::ImpulseReport;
use crate::quantity::Unit;
use crate::reduce::FiringResult;
use crate::view::at::{At, at};
use crate::view::text::text;
use crate::view::{Picture, Row, Section};

use super::{plain_table, results};

pub(super) fn section(root: &At<'_, FiringResult>) -> Section {
    let section = Section::new("impulse", "Impulse and its budget").read(
        "The longest bar is the source to work on first. Random sources shrink when firings are \
         averaged; systematic ones stay.",
    );
    let Some(impulse) = at!(root.impulse).some() else {
        let missing = at!(root.impulse).missing("not available");
        return section
            .rows(vec![Row::new("total impulse", missing)])
            .note("No thrust was found: impulse is not available.");
    };
    let budget = at!(impulse.budget);
    let lines = budget.each().map(|line| {
        vec![
            at!(line.source).quote(),
            at!(line.kind).quote(),
            at!(line.u_ns).number(2, Unit::NewtonSecond),
            at!(line.share).share(2),
        ]
    });
    section
        .picture(Picture::Impulse, "Impulse delivered so far")
        .rows(rows(&impulse))
        .picture(
            Picture::Budget,
            "Where the uncertainty of the total comes from",
        )
        .fold("Every source of uncertainty")
        .table(plain_table(
            &["source", "kind", "u", "share of variance"],
            lines,
        ))
}

fn rows(impulse: &At<'_, ImpulseReport>) -> Vec<Row> {
    let total = at!(impulse.total_ns).measured();
    let mut all = vec![Row::new("total impulse", total)];
    all.extend(results([
        ("impulse within the burn", at!(impulse.burn_window_ns)),
        ("specific impulse", at!(impulse.specific_s)),
        (
            "effective exhaust velocity",
            at!(impulse.exhaust_velocity_m_s),
        ),
    ]));
    let largest = at!(impulse.budget)
        .each()
        .max_by(|a, b| a.of.share.total_cmp(&b.of.share));
    if let Some(line) = largest {
        let share = at!(line.share).share(2);
        let says = text![at!(line.source).quote(), " (", share, " of the variance)"];
        all.push(Row::new("largest uncertainty from", says));
    }
    all
}
