//! Impulse and where its uncertainty comes from.

use maud::{Markup, html};

use crate::burn::impulse::{BudgetLine, ImpulseReport};
use crate::reduce::Reduction;
use crate::render::number::{percent, significant};
use crate::render::plot::{budget::budget, cumulated::cumulated};
use crate::render::words::clean;

use super::parts::{bars, chart, missing, quantities, rows, section};

pub(super) fn impulse(reduction: &Reduction) -> Markup {
    let content = match &reduction.result.impulse {
        Some(impulse) => html! {
            (chart("Impulse delivered so far", cumulated(reduction).as_ref()))
            (table(impulse))
            (bars("Where the uncertainty of the total comes from", budget(impulse).as_ref()))
            (lines(&impulse.budget))
        },
        None => missing("No thrust was found: impulse is not available."),
    };
    section(
        "impulse",
        "Impulse and its budget",
        "The longest bar is the source to work on first. Random sources shrink when firings are \
         averaged; systematic ones stay.",
        &content,
    )
}

fn table(impulse: &ImpulseReport) -> Markup {
    rows(&quantities(&[
        ("total impulse", impulse.total_ns.as_ref()),
        ("impulse within the burn", impulse.burn_window_ns.as_ref()),
        ("specific impulse", impulse.specific_s.as_ref()),
        (
            "effective exhaust velocity",
            impulse.exhaust_velocity_m_s.as_ref(),
        ),
    ]))
}

fn lines(budget: &[BudgetLine]) -> Markup {
    html! {
        @if !budget.is_empty() {
            div.scroll {
                table.columns {
                    thead {
                        tr { th { "source" } th { "kind" } th { "u, N s" } th { "share of variance" } }
                    }
                    tbody {
                        @for line in budget {
                            tr {
                                td { (clean(&line.source)) }
                                td { (clean(&line.kind)) }
                                td.num { (significant(line.u_ns, 2)) }
                                td.num { (percent(line.share)) }
                            }
                        }
                    }
                }
            }
        }
    }
}
