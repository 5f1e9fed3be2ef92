//! Gains by thrust: a factor of all gains over time, from the thrust of the record.

use super::gains::Schedule;
use crate::plant::SampledThrust;

/// Points of a schedule.
const POINTS: usize = 24;

/// Reference over thrust of the record, averaged over pieces of its duration; never for less thrust than
/// `low_n`.
pub(super) fn schedule(thrust: &SampledThrust, reference_n: f64, low_n: f64) -> Schedule {
    let (time, force) = (&thrust.time_s, &thrust.thrust_n);
    let (from, to) = (
        time.first().copied().unwrap_or(0.0).max(0.0),
        time.last().copied().unwrap_or(1.0),
    );
    let piece = (to - from) / POINTS as f64;
    let mut out = Schedule {
        reference_n,
        time_s: vec![],
        factor: vec![],
    };
    for at in 0..POINTS {
        let begin = from + piece * at as f64;
        let inside: Vec<f64> = time
            .iter()
            .zip(force)
            .filter(|(t, _)| (begin..begin + piece).contains(*t))
            .map(|(_, f)| *f)
            .collect();
        if inside.is_empty() {
            continue;
        }
        let mean = inside.iter().sum::<f64>() / inside.len() as f64;
        out.time_s.push(begin + 0.5 * piece);
        out.factor.push(reference_n / mean.max(low_n));
    }
    out
}
