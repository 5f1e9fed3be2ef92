//! Burn and thrust.

use maud::{Markup, html};

use crate::burn::{BurnReport, ThrustReport};
use crate::reduction::Reduction;
use crate::report::plot::{load::load, thrust::thrust};
use crate::report::words::clean;

use super::parts::{chart, missing, quantities, rows, section};

pub(super) fn burn(reduction: &Reduction) -> Markup {
    let result = &reduction.result;
    let content = html! {
        (chart("Thrust", thrust(reduction).as_ref()))
        @if let Some(burn) = &result.burn {
            (table(burn, result.thrust.as_ref()))
        } @else {
            (missing("No burn was found in the load: ignition, burnout and thrust are not available."))
        }
        (chart("Load as read, and the zero line taken off it", load(reduction).as_ref()))
    };
    section(
        "burn",
        "Burn and thrust",
        "The band holds the true thrust with 95 % probability. The zero line should run through \
         the load before ignition and after burnout; if it does not, the impulse is off by the \
         area between them. Times in the table are on the first log's clock.",
        &content,
    )
}

fn table(burn: &BurnReport, thrust: Option<&ThrustReport>) -> Markup {
    let rule = html! {
        "from thrust first to thrust last at or above " (clean(&burn.rule)) " of peak"
    };
    let mut all = vec![("a burn is".to_owned(), rule)];
    all.extend(quantities(&[
        ("ignition", burn.ignition_s.as_ref()),
        ("burnout", burn.burnout_s.as_ref()),
        ("burn time", burn.burn_time_s.as_ref()),
        ("action time", burn.action_time_s.as_ref()),
        ("peak thrust", thrust.and_then(|of| of.peak_n.as_ref())),
        (
            "average thrust",
            thrust.and_then(|of| of.average_n.as_ref()),
        ),
    ]));
    rows(&all)
}
