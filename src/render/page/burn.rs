//! Burn and thrust.

use maud::{Markup, html};

use crate::burn::{BurnReport, LowPassReport, StandReport, ThrustReport};
use crate::reduce::Reduction;
use crate::render::number::significant;
use crate::render::plot::{load::load, ringing::ringing, thrust::thrust};
use crate::render::words::clean;

use super::parts::{chart, missing, quantities, rows, section, signed};

pub(super) fn burn(reduction: &Reduction) -> Markup {
    let result = &reduction.result;
    let content = html! {
        (chart("Thrust", thrust(reduction).as_ref()))
        @if let Some(burn) = &result.burn {
            (table(burn, result.thrust.as_ref()))
        } @else {
            (missing("No burn was found in the load: ignition, burnout and thrust are not available."))
        }
        @if let Some(stand) = &result.stand {
            h3 { "Ringing of the stand" }
            (chart("Around ignition, as read and with the ringing taken off", ringing(reduction).as_ref()))
            (rows(&stand_rows(stand)))
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
    if let Some(low) = thrust.and_then(|thrust| thrust.low_pass.as_ref()) {
        all.extend(low_pass_rows(low));
    }
    rows(&all)
}

/// A number without uncertainty, to four digits.
fn plain(value: f64, unit: &str) -> Markup {
    let text = signed(&significant(value, 4));
    html! { span.num { (text) " " (unit) } }
}

fn low_pass_rows(low: &LowPassReport) -> Vec<(String, Markup)> {
    let filter = html! {
        "order " (low.order) ", both ways, 3 dB down at " (plain(low.cut_off_hz, "Hz"))
        @if low.resampled {
            ", after readings were put on even steps of " (plain(low.step_s, "s"))
        }
    };
    vec![
        ("low pass, for peak and picture only".to_owned(), filter),
        (
            "unfiltered peak".to_owned(),
            plain(low.unfiltered_peak_n, "N"),
        ),
        (
            "filtered peak lower by".to_owned(),
            plain(low.peak_lower_by_n, "N"),
        ),
        (
            "impulse of the low-passed trace differs by".to_owned(),
            plain(low.impulse_difference_ns, "N s"),
        ),
    ]
}

fn stand_rows(stand: &StandReport) -> Vec<(String, Markup)> {
    let mut from = stand.from.word().to_owned();
    if let Some(decays) = stand.decays {
        from += &format!(", decays fitted: {decays}");
    }
    let mut all = vec![("known from".to_owned(), html! { (from) })];
    all.extend(quantities(&[
        ("natural frequency", stand.natural_frequency_hz.as_ref()),
        ("damping ratio", stand.damping_ratio.as_ref()),
    ]));
    let others = [
        (
            "damping ratio by decrement",
            stand.decrement_damping_ratio,
            "",
        ),
        ("peak changed by", stand.peak_changed_n, "N"),
        ("ignition changed by", stand.ignition_changed_s, "s"),
        ("forces come back up to", stand.bandwidth_hz, "Hz"),
    ];
    let known = others
        .into_iter()
        .filter_map(|(label, value, unit)| Some((label.to_owned(), plain(value?, unit))));
    all.extend(known);
    all
}
