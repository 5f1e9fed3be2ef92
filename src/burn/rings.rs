//! Which modes ring in a burn: that of the stand where it is known, else what each cell's own record shows.
//!
//! Cells that stand on springs of their own ring apart. A mode that is only seen in the record is believed where taking it off leaves
//! the thrust calmer: a stand's ringing goes, what else swings does not. What swings beyond chance, and is no mode that is believed,
//! may be stand or thrust, and belongs to the uncertainty of edges and peak.
//!
//! Limits: a cell whose motor lights or burns out while another's swings shows one of the two; of cells that hardly swing nothing is known.

use indexmap::IndexMap;

use super::BurnReport;
use super::correction::{Modes, calms};
use super::dynamics::Mode;
use super::recording::Recording;
use super::ringing::Ringing;
use super::ringing::in_record;
use super::ringing::swing::Swing;
use super::thrust::ThrustTrace;
use crate::numeric::noise;
use crate::quantity::Measured;
use crate::series::Series;

/// A cell's burn begins and ends at this share of its top.
const EDGE_SHARE: f64 = 0.05;

/// A cell's edges lie no farther outside the burn, s.
const MARGIN_S: f64 = 0.25;

/// What is known to ring, and what swings.
#[derive(Debug, Default)]
pub(super) struct Rings {
    known: Option<Mode>,
    /// Of each cell, from the record; empty where the stand's mode is known.
    each: Vec<Option<Mode>>,
    /// Where no mode is believed: what swings.
    pub swings: Vec<Swing>,
    /// What the record shows.
    pub seen: Option<Ringing>,
    /// Natural frequency of each cell that rings, where there are several.
    pub each_cell_hz: IndexMap<String, Measured>,
}

impl Rings {
    /// Of a trace whose burn was described without correction.
    pub(super) fn of(recording: &Recording<'_>, trace: &ThrustTrace, burn: &BurnReport) -> Self {
        let at = |edge: &Option<Measured>| edge.as_ref().map(|edge| edge.value);
        let edges_s = (at(&burn.ignition_s), at(&burn.burnout_s));
        if let Some((mode, _)) = recording.stand.mode() {
            return Self {
                known: Some(mode),
                seen: in_record::mode(&trace.thrust, edges_s),
                ..Self::default()
            };
        }
        let load = trace.load();
        let mut out = Self::default();
        let span_s = trace.burn_s();
        for cell in &load.cells {
            let (read, edges_s) = if load.cells.len() == 1 {
                (trace.thrust.clone(), edges_s)
            } else {
                let read = above_rest(&Series::new(&load.time_s, &cell.force_n), span_s.0);
                let edges_s = edges(&read, span_s);
                (read, edges_s)
            };
            let seen = in_record::find(&read, edges_s);
            let mode = seen.mode.as_ref().map(Ringing::mode);
            let mode = mode.filter(|mode| calms(&read, mode, span_s, trace.noise_n()));
            match seen.mode.filter(|_| mode.is_some()) {
                None => out.swings.extend(seen.swings),
                Some(found) => {
                    if load.cells.len() > 1 {
                        let hz = found.natural_hz.clone();
                        out.each_cell_hz.insert(cell.name.clone(), hz);
                    }
                    let share = found.natural_hz.relative();
                    let surer = |other: &Ringing| share < other.natural_hz.relative();
                    if out.seen.as_ref().is_none_or(surer) {
                        out.seen = Some(found);
                    }
                }
            }
            out.each.push(mode);
        }
        out
    }

    /// Whether neither a mode nor a swing is known.
    pub(super) fn say_nothing(&self) -> bool {
        matches!(self.modes(), Modes::Unknown) && self.swings.is_empty()
    }

    /// The modes to correct for.
    pub(super) fn modes(&self) -> Modes<'_> {
        match (&self.known, self.each.as_slice()) {
            (Some(mode), _) | (None, [Some(mode)]) => Modes::Common(mode),
            (None, each) if each.iter().any(Option::is_some) => Modes::Each(each),
            _ => Modes::Unknown,
        }
    }
}

/// A cell's readings less their median before a time.
fn above_rest(read: &Series, until_s: f64) -> Series {
    let rest = read.between(f64::NEG_INFINITY, until_s);
    let rest_n = noise::median(rest.value()).unwrap_or(0.0);
    read.map(|_, value| value - rest_n)
}

/// First and last reading of a cell above a share of its top, s.
fn edges(read: &Series, (from_s, to_s): (f64, f64)) -> (Option<f64>, Option<f64>) {
    let burning = read.between(from_s - MARGIN_S, to_s + MARGIN_S);
    let level_n = EDGE_SHARE * burning.value().iter().copied().fold(0.0, f64::max);
    let above = || {
        burning
            .iter()
            .filter(|(_, value)| *value > level_n)
            .map(|(time, _)| time)
    };
    (above().next(), above().last())
}
