//! Chamber pressure, characteristic velocity and thrust coefficient.

use maud::{Markup, html};

use crate::motors::chamber::{ChamberBudgetLine, ChamberReport};
use crate::reduce::Reduction;
use crate::render::number::{percent, significant};
use crate::render::plot::pressure::pressure;
use crate::render::words::clean;

use super::parts::{chart, quantities, rows, section};

/// The section; nothing when pressure was not measured.
pub(super) fn chamber(reduction: &Reduction) -> Markup {
    let Some(chamber) = &reduction.result.chamber else {
        return html! {};
    };
    let content = html! {
        (chart("Absolute pressure in the chamber", pressure(reduction).as_ref()))
        (table(chamber))
        (lines(&chamber.budget))
    };
    section(
        "chamber",
        "Chamber pressure",
        "Characteristic velocity tells how well the propellant burnt, the thrust coefficient what \
         the nozzle made of it. Pressures are absolute: what the transducer read above its rest, and \
         the pressure of the air.",
        &content,
    )
}

fn table(chamber: &ChamberReport) -> Markup {
    let mut all = Vec::new();
    if let Some(motor) = &chamber.motor {
        all.push(("motor".to_owned(), html! { (clean(motor)) }));
    }
    let reads = html! {
        (clean(&chamber.reads)) "; the burn is that of the " (clean(&chamber.window_by))
    };
    all.push(("transducer reads".to_owned(), reads));
    all.extend(quantities(&chamber.rows()));
    rows(&all)
}

fn lines(budget: &[ChamberBudgetLine]) -> Markup {
    html! {
        @if !budget.is_empty() {
            div.scroll {
                table.columns {
                    thead {
                        tr { th { "of" } th { "source" } th { "kind" } th { "u" } th { "share of variance" } }
                    }
                    tbody {
                        @for line in budget {
                            tr {
                                td { (clean(ChamberReport::name_of(&line.of))) }
                                td { (clean(&line.source)) }
                                td { (clean(&line.kind)) }
                                td.num { (significant(line.u, 2)) }
                                td.num { (percent(line.share)) }
                            }
                        }
                    }
                }
            }
        }
    }
}
