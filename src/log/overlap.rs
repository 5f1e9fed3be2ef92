//! Logs that have no time in common with the first log, or with the burn.
//!
//! A log without any time in common with the first is a mistake in the firing file, and an error. A
//! log that overlaps the first but not the burn may be honest: the flight computer stopped, or was
//! armed late. What the cells measured is then as good as ever, and a motor cannot be fired again; so
//! whatever needs that log is left out with a warning that says by how much it misses the burn.

use indexmap::IndexMap;

use super::channels::Channels;
use crate::config::{Axis, Firing};
use crate::diagnostic::{Code, Diagnostic, Error};

/// Every log must share some time with the first.
///
/// # Errors
/// The first log that does not, and by how much it misses.
pub(crate) fn with_first(firing: &Firing, channels: &Channels) -> Result<(), Error> {
    let restarts = channels.any_restarts();
    let Some(first) = firing
        .logs
        .keys()
        .next()
        .and_then(|name| channels.span_s(name))
    else {
        return Ok(());
    };
    for (name, log) in &firing.logs {
        let (Some(align), Some((from, to))) = (&log.align, channels.span_s(name)) else {
            continue;
        };
        let gap_s = gap(first, (from, to));
        if restarts || gap_s <= 0.0 {
            continue;
        }
        let message = format!(
            "log `{name}` runs from {from:.3} s to {to:.3} s of the first log, which runs from \
             {:.3} s to {:.3} s",
            first.0, first.1
        );
        return Err(Diagnostic::error(Code::NoOverlap, message)
            .at(align.place.clone())
            .label(format!("they miss one another by {gap_s:.3} s"))
            .hint("they have no time in common: check the offset, and the units of both times")
            .into());
    }
    Ok(())
}

/// How far two spans of time lie apart, s; not above zero when they overlap.
#[must_use]
pub(crate) fn gap(one: (f64, f64), other: (f64, f64)) -> f64 {
    (other.0 - one.1).max(one.0 - other.1)
}

/// Logs that miss the burn, each with what to say about it.
#[must_use]
pub(crate) fn missing_the_burn(
    firing: &Firing,
    channels: &Channels,
    burn_s: (f64, f64),
) -> IndexMap<String, Diagnostic> {
    let mut out = IndexMap::new();
    for (name, log) in &firing.logs {
        let Some((from, to)) = channels.span_s(name) else {
            continue;
        };
        let gap_s = gap(burn_s, (from, to));
        let axes: Vec<&str> = firing
            .axes
            .iter()
            .filter(|(_, axis)| uses(axis, name))
            .map(|(axis, _)| axis.as_str())
            .collect();
        if gap_s <= 0.0 || axes.is_empty() {
            continue;
        }
        let (end, side) = if from > burn_s.1 {
            (format!("begins at {from:.3} s"), "after the burn ends")
        } else {
            (format!("ends at {to:.3} s"), "before the burn begins")
        };
        let message = format!(
            "log `{name}` {end}, {gap_s:.3} s {side}: the plant of axis {} is not fitted with it",
            axes.join(", ")
        );
        let place = log.align.as_ref().map_or(&log.place, |align| &align.place);
        let warning = Diagnostic::warning(Code::NoOverlap, message)
            .at(place.clone())
            .hint("did it stop logging, or is its clock tied to the wrong instant?");
        out.insert(name.clone(), warning);
    }
    out
}

fn uses(axis: &Axis, log: &str) -> bool {
    axis.signals().any(|signal| signal.log.value == log)
}

#[cfg(test)]
mod tests {
    use super::gap;

    #[test]
    fn spans_apart_have_a_gap_and_others_have_none() {
        assert_eq!(gap((1.0, 2.0), (5.0, 9.0)), 3.0);
        assert_eq!(gap((5.0, 9.0), (1.0, 2.0)), 3.0);
        assert!(gap((1.0, 6.0), (5.0, 9.0)) < 0.0);
    }
}
