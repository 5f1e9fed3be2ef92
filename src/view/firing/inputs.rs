//! Files and clocks.

use crate::log::{InputReport, RowTally};
use crate::reduce::FiringResult;
use crate::view::at::{At, at};
use crate::view::text::{Text, text};
use crate::view::{Section, Table};

use super::{cell, plain_table};

pub(super) fn section(root: &At<'_, FiringResult>) -> Section {
    let clocks = at!(root.clocks);
    let clocks = clocks.entries().map(|(name, clock)| {
        vec![
            name,
            text![at!(clock.to).quote(), ", ", at!(clock.by).quote()],
            at!(clock.offset_s).measured(),
            at!(clock.drift_ppm).measured(),
        ]
    });
    Section::new("inputs", "Inputs and clocks")
        .folded()
        .read(
            "The hash tells whether a file is still the one that was reduced. A clock is tied to \
             another by an offset and a drift, each counted from the first row of its own log.",
        )
        .table(files(root))
        .table(plain_table(
            &["clock", "tied to, by", "offset", "drift"],
            clocks,
        ))
}

fn files(root: &At<'_, FiringResult>) -> Table {
    let inputs = at!(root.inputs);
    Table {
        heads: ["file", "rows used", "what was found in it"]
            .map(Text::from)
            .to_vec(),
        rows: inputs.each().map(|input| file(&input)).collect(),
    }
}

fn file(input: &At<'_, InputReport>) -> Vec<Vec<Text>> {
    // The account of the rows stands in the input itself, not in an object of its own.
    let tally = input.descendant(std::iter::empty(), &input.of.tally);
    let used = text![
        at!(tally.rows_used).count(),
        " of ",
        at!(tally.rows_read).count()
    ];
    let mut found: Vec<Text> = lost(&tally).into_iter().collect();
    found.extend(at!(input.notes).each().map(|note| note.quote()));
    found.push(text!["SHA-256 ", at!(input.sha256).quote()]);
    vec![cell(at!(input.file).quote()), cell(used), found]
}

/// What rows and readings were left out or are not there; `None` when nothing is the matter.
fn lost(tally: &At<'_, RowTally>) -> Option<Text> {
    let counts = [
        (at!(tally.duplicated), " duplicated"),
        (at!(tally.out_of_order), " out of order"),
        (at!(tally.without_time), " without a time"),
        (at!(tally.outliers as "wild"), " with an outlier"),
        (at!(tally.missing_rows), " missing"),
        (at!(tally.unreadable), " unreadable"),
    ];
    let said: Vec<Text> = counts
        .iter()
        .filter(|(count, _)| *count.of > 0)
        .map(|(count, what)| text![count.count(), *what])
        .collect();
    (!said.is_empty()).then(|| text!["rows: ", Text::joined(said, ", ")])
}
