//! Class as words: letters with probabilities, where curves part, which motors explain the record.
//! Every percentage names what it is a share of.

use crate::motors::class::comparison::CurveComparison;
use crate::motors::class::letter::Chance;
use crate::motors::class::recognise::Explanation;

use super::number::{self, significant};
use super::words::clean;

/// Letters with their probabilities.
pub(super) fn letters(of: &[Chance]) -> String {
    let all: Vec<String> = of
        .iter()
        .map(|one| {
            let probability = number::probability(one.probability);
            format!("{} (probability {probability})", clean(&one.letter))
        })
        .collect();
    all.join(", ")
}

/// Measured against certified, one sentence for each fact.
pub(super) fn compared(of: &CurveComparison) -> Vec<String> {
    let parts = match of.parts_s {
        Some(time) => format!(
            "leaves the 95 % band {} s after ignition, beyond it for {} % of the burn",
            significant(time, 3),
            significant(of.beyond_percent_of_burn, 2)
        ),
        None => "never leaves the 95 % band for long".to_owned(),
    };
    let largest = format!(
        "largest difference {} N at {} s (band {} N either side), {} % of the certified peak",
        significant(of.largest_n, 3),
        significant(of.largest_at_s, 3),
        significant(of.band_n, 2),
        significant(of.largest_percent_of_certified_peak, 3)
    );
    let mut out = vec![parts, largest];
    if let (Some(impulse), Some(percent)) = (&of.impulse_ns, of.impulse_percent_of_certified) {
        out.push(format!(
            "impulse {} from the certified one, {} % of it",
            number::measured(impulse),
            significant(percent, 2)
        ));
    }
    out
}

/// One explanation of the record with its probability.
pub(super) fn explained(of: &Explanation) -> String {
    let probability = number::probability(of.probability);
    let odds = if of.in_place_of.is_empty() {
        String::new()
    } else {
        let power = significant(of.log10_odds, 3);
        format!(", odds against the labels ten to the {power}")
    };
    format!("{}: probability {probability}{odds}", clean(&of.words()))
}
