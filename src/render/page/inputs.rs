//! Files and clocks.

use maud::{Markup, html};

use crate::log::RowTally;
use crate::reduce::FiringResult;
use crate::render::words::clean;

use super::parts::{quantity, section};

pub(super) fn inputs(result: &FiringResult) -> Markup {
    let content = html! {
        div.scroll {
            table.columns {
                thead { tr { th { "file" } th { "rows used" } th { "what was found in it" } } }
                tbody {
                    @for input in &result.inputs {
                        tr {
                            td.file { (clean(&input.file)) }
                            td.num { (input.tally.rows_used) " of " (input.tally.rows_read) }
                            td.text {
                                @if let Some(lost) = lost(&input.tally) { div { (lost) } }
                                @for note in &input.notes { div { (clean(note)) } }
                                span.hash { "SHA-256 " (clean(&input.sha256)) }
                            }
                        }
                    }
                }
            }
        }
        @if !result.clocks.is_empty() { (clocks(result)) }
    };
    section(
        "inputs",
        "Inputs and clocks",
        "The hash tells whether a file is still the one that was reduced. A clock is tied to \
         another by an offset and a drift, each counted from the first row of its own log.",
        &content,
    )
}

/// What rows and readings were left out or are not there; `None` when nothing is the matter.
fn lost(tally: &RowTally) -> Option<String> {
    let counts = [
        (tally.duplicated, "duplicated"),
        (tally.out_of_order, "out of order"),
        (tally.without_time, "without a time"),
        (tally.outliers, "outliers"),
        (tally.missing_rows, "missing"),
        (tally.unreadable, "unreadable"),
    ];
    let said: Vec<String> = counts
        .iter()
        .filter(|(number, _)| *number > 0)
        .map(|(number, what)| format!("{number} {what}"))
        .collect();
    (!said.is_empty()).then(|| format!("rows: {}", said.join(", ")))
}

fn clocks(result: &FiringResult) -> Markup {
    html! {
        div.scroll {
            table.columns {
                thead { tr { th { "clock" } th { "tied to, by" } th { "offset" } th { "drift" } } }
                tbody {
                    @for (name, clock) in &result.clocks {
                        tr {
                            td { (clean(name)) }
                            td { (clean(&clock.to)) ", " (clean(&clock.by)) }
                            td { (quantity(clock.offset_s.as_ref())) }
                            td { (quantity(clock.drift_ppm.as_ref())) }
                        }
                    }
                }
            }
        }
    }
}
