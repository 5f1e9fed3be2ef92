//! Files and clocks.

use maud::{Markup, html};

use crate::reduction::FiringResult;
use crate::report::words::clean;

use super::parts::{quantity, section};

pub(super) fn inputs(result: &FiringResult) -> Markup {
    let content = html! {
        div.scroll {
            table.columns {
                thead { tr { th { "file" } th { "rows" } th { "what was found in it" } } }
                tbody {
                    @for input in &result.inputs {
                        tr {
                            td { (clean(&input.file)) }
                            td.num { (input.rows) }
                            td.text {
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

fn clocks(result: &FiringResult) -> Markup {
    html! {
        div.scroll {
            table.columns {
                thead { tr { th { "clock" } th { "tied to" } th { "by" } th { "offset" } th { "drift" } } }
                tbody {
                    @for (name, clock) in &result.clocks {
                        tr {
                            td { (clean(name)) }
                            td { (clean(&clock.to)) }
                            td { (clean(&clock.by)) }
                            td { (quantity(clock.offset_s.as_ref())) }
                            td { (quantity(clock.drift_ppm.as_ref())) }
                        }
                    }
                }
            }
        }
    }
}
