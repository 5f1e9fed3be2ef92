//! The trace that edges and peak are read from: thrust, with the ringing of the stand taken off where
//! its mode is known, and how sure a value of it is.

use super::correction::{Correction, Modes};
use super::crossing::{self, Crossing, Edge};
use super::foot::{self, Passage};
use super::peak::{self, Peak};
use super::ringing::swing::{self, Swing};
use super::rough_top;
use super::thrust::ThrustTrace;
use crate::numeric::noise;
use crate::series::Series;

/// The corrected trace is taken to rest for this long from the beginning of the search, s.
const RESTING_S: f64 = 0.15;

/// No edge is rougher than this share of its level. Common practice, no source.
const ROUGHEST_EDGE: f64 = 0.5;

/// A trace to be read.
pub(super) struct Readable<'a> {
    trace: &'a ThrustTrace,
    search_s: (f64, f64),
    /// Thrust corrected for ringing within the search; `None` when nothing was corrected.
    pub correction: Option<Correction>,
    /// What swings, be it stand or thrust, where no mode is known.
    swings: &'a [Swing],
    /// Noise of one value, N.
    pub sd_n: f64,
}

impl<'a> Readable<'a> {
    /// Of a thrust trace, to be searched between two times, s.
    pub(super) fn of(
        trace: &'a ThrustTrace,
        search_s: (f64, f64),
        modes: Modes<'_>,
        swings: &'a [Swing],
    ) -> Self {
        let correction = Correction::of(trace, search_s, modes);
        let corrected = correction.as_ref().map(|one| &one.thrust);
        let sd_n = edge_noise(trace, corrected.unwrap_or(&trace.thrust), search_s);
        Self {
            trace,
            search_s,
            correction,
            swings,
            sd_n,
        }
    }

    /// Its values, N.
    pub(super) fn thrust(&self) -> &Series {
        let corrected = self.correction.as_ref().map(|one| &one.thrust);
        corrected.unwrap_or(&self.trace.thrust)
    }

    /// Thrust with the corrected values in place of the readings where there are some.
    pub(super) fn spliced(&self) -> Series {
        let read = &self.trace.thrust;
        let corrected = self.correction.as_ref();
        corrected.map_or_else(|| read.clone(), |one| spliced(read, &one.thrust))
    }

    /// Standard uncertainty that ringing leaves around a time, N, taken off or not known.
    pub(super) fn ringing_u_n(&self, at_s: f64) -> f64 {
        let correction = self.correction.as_ref();
        let taken = correction.map_or(0.0, |one| one.u_n(&self.trace.thrust, at_s));
        taken.hypot(swing::height(self.swings, at_s))
    }

    /// Standard uncertainty of a value on an edge, N, beside the noise: baseline, and ringing taken off
    /// with a wrong mode.
    pub(super) fn edge_u_n(&self, at_s: f64) -> f64 {
        let correction = self.correction.as_ref();
        let wrong_mode = correction.map_or(0.0, |one| one.wrong_mode_u_n(&self.trace.thrust, at_s));
        self.trace.baseline_u_n(at_s).hypot(wrong_mode)
    }

    /// The peak.
    pub(super) fn peak(&self) -> Option<Peak> {
        let mut peak = peak::find(self.thrust(), self.search_s, self.sd_n, self.trace.rough())?;
        let bandwidth_hz = self.correction.as_ref().and_then(Correction::bandwidth_hz);
        let burning = self.thrust().between(self.search_s.0, self.search_s.1);
        peak.beyond_band(&burning, bandwidth_hz.unwrap_or(f64::INFINITY), self.sd_n);
        rough_top::judge(&mut peak, &burning, self.sd_n);
        peak.u_n = peak.u_n.hypot(self.ringing_u_n(peak.time_s));
        Some(peak)
    }

    /// Noise of one value near a level, N: rough burning is a share of thrust, and small where thrust is. A spike beside the burn
    /// makes more of it than there is.
    fn edge_sd_n(&self, level_n: f64) -> f64 {
        let rough = self.trace.rough().min(ROUGHEST_EDGE);
        self.sd_n.hypot(rough * level_n)
    }

    /// The passage of a level, N, known so well, that was found as a crossing.
    pub(super) fn passage(&self, level_n: (f64, f64), edge: Edge, found: &Crossing) -> Passage {
        let sd_n = self.edge_sd_n(level_n.0);
        foot::passage(self.thrust(), self.search_s, level_n, sd_n, edge, found)
    }

    /// First and last crossing of a level, N.
    pub(super) fn crossings(&self, level_n: f64) -> (Option<Crossing>, Option<Crossing>) {
        let sd_n = self.edge_sd_n(level_n);
        let (from_s, to_s) = self.search_s;
        let find = |edge| {
            let found = crossing::find(self.thrust(), from_s, to_s, level_n, edge, sd_n)?;
            let correction = self.correction.as_ref();
            let rounds_s =
                correction.map_or(0.0, |one| one.rounds_s(level_n / found.slope_n_s.abs()));
            let late_s = swing::late_s(self.swings, found.time_s, found.slope_n_s);
            Some(Crossing {
                u_s: found.u_s.hypot(rounds_s).hypot(late_s),
                ..found
            })
        };
        (find(Edge::First), find(Edge::Last))
    }
}

/// Readings with corrected values in place of those at their times.
pub(super) fn spliced(read: &Series, corrected: &Series) -> Series {
    let mut values = corrected.iter().peekable();
    let mut out = Series::default();
    for (time, reading) in read.iter() {
        let force = values.next_if(|(at, _)| *at <= time);
        out.push(time, force.map_or(reading, |(_, force)| force));
    }
    out
}

/// Noise of the trace that edges are read from, N. Taking ringing off adds some: it is measured
/// where the corrected trace rests, before the burn.
fn edge_noise(trace: &ThrustTrace, thrust: &Series, search_s: (f64, f64)) -> f64 {
    let sd_n = trace.noise_n();
    let resting = thrust.between(search_s.0, search_s.0 + RESTING_S);
    noise::mean_and_sd(resting.value()).map_or(sd_n, |rest| rest.sd.max(sd_n))
}
