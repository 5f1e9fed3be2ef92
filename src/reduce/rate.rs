//! Findings on the recorder of the cells: was it fast enough for what is read from it?

use super::Burnt;
use crate::burn::rate::{self, Fineness};
use crate::finding::{Finding, Outcome};
use crate::log::words::short;

/// Closed form that the rule for the peak rests on, with what is practice in it.
const PEAK_SOURCE: &str = "closed form for a parabola between readings, P (1 - cos(pi f h)) to second \
    order; the number itself is common practice, no source";

/// The two findings; none where the record cuts off what they are about.
pub(super) fn findings(burnt: &Burnt) -> Vec<Finding> {
    let peak = rate::at_peak(&burnt.burn).map(|(peak, missed_n)| at_peak(&peak, missed_n));
    let edge = rate::on_edge(&burnt.burn).map(|edge| on_edge(&edge));
    peak.into_iter().chain(edge).collect()
}

fn at_peak(peak: &Fineness, missed_n: f64) -> Finding {
    let rule = format!(
        "at least {:.0} readings while thrust stands above 90 % of peak, and so many that what a top \
         between two of them may miss (here at most {} N) is below the peak's standard \
         uncertainty",
        rate::FEWEST_AT_PEAK,
        short(missed_n),
    );
    judged(
        "the recorder is fast enough for the peak",
        peak,
        rule,
        PEAK_SOURCE,
    )
}

fn on_edge(edge: &Fineness) -> Finding {
    let rule = format!(
        "at least {:.0} readings between the burn's beginning and half of peak: a straight line \
         between two of them then finds the beginning within a tenth of their distance",
        rate::FEWEST_ON_EDGE,
    );
    let source = "closed form for an edge like half a cosine";
    judged(
        "the recorder is fast enough for the ignition time",
        edge,
        rule,
        source,
    )
}

fn judged(claim: &str, found: &Fineness, rule: String, source: &str) -> Finding {
    let limits = [Some(found.needed), None];
    let finding = Finding::within(claim, found.readings.clone(), limits, rule, source);
    if finding.outcome == Outcome::Holds {
        return finding;
    }
    let advice = format!(
        "it was read every {:.3} ms, and what had to be seen lasted {:.1} ms: log at {} Hz or faster",
        1e3 * found.step_s,
        1e3 * found.width_s,
        found.rate_hz
    );
    finding.advice(advice)
}
