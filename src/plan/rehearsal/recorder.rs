//! Recorders: when each row is taken on the true clock, what its time stamp says, and the file.
//!
//! The clock of the first recorder is the true one. Another's row at its own time t is taken at
//! starts + (1 + drift 1e-6) t, counted from its first row, as the results file defines it.

use super::noise::Stream;
use super::spec::{Recorder, Rehearsal, TimeStamp};

/// One row of a log.
#[derive(Debug, Clone, Copy)]
pub(super) struct Row {
    /// When it is taken, s on the first recorder's clock.
    pub true_s: f64,
    /// When it is taken, s on its own clock since its first row.
    pub own_s: f64,
}

/// All rows a recorder takes until the first one's log ends.
pub(super) fn rows(recorder: &Recorder, name: &str, rehearsal: &Rehearsal) -> Vec<Row> {
    let mut stream = Stream::new(rehearsal.seed, &format!("recorder.{name}.jitter"));
    let pace = 1.0 + recorder.drift_ppm * 1e-6;
    let count = ((rehearsal.lasts_s - recorder.starts_s) / pace * recorder.rate_hz) as usize + 1;
    // Instants may wander, but never past a neighbour.
    let most_s = 0.45 / recorder.rate_hz;
    (0..count)
        .map(|at| {
            let wander_s = (stream.normal() * recorder.jitter_s).clamp(-most_s, most_s);
            let own_s = at as f64 / recorder.rate_hz + if at == 0 { 0.0 } else { wander_s };
            Row {
                true_s: recorder.starts_s + pace * own_s,
                own_s,
            }
        })
        .collect()
}

/// Which rows were kept. The first always is.
pub(super) fn kept(recorder: &Recorder, name: &str, seed: u64, count: usize) -> Vec<bool> {
    let mut stream = Stream::new(seed, &format!("recorder.{name}.dropped"));
    (0..count)
        .map(|at| stream.uniform() >= recorder.dropped || at == 0)
        .collect()
}

/// So that a row taken exactly at a tick does not fall a tick short by rounding, in ticks.
const TICK_GUARD: f64 = 1e-6;

/// How far into a tick of its clock a recorder takes its first row, s.
fn phase_s(time: &TimeStamp, name: &str, seed: u64) -> f64 {
    let tick_s = time.unit_s / 10.0_f64.powi(time.digits as i32);
    Stream::new(seed, &format!("recorder.{name}.phase")).between(0.0, tick_s)
}

/// The time stamp of a row.
pub(super) fn stamp(time: &TimeStamp, own_s: f64) -> String {
    let ticks = (0..time.digits).fold(1.0, |ticks, _| 10.0 * ticks);
    let whole = (own_s / time.unit_s * ticks + TICK_GUARD).floor() / ticks;
    let mut reading = time.start + whole;
    if let Some(bits) = time.counter_bits {
        reading %= (1_u64 << bits.min(52)) as f64;
    }
    format!("{reading:.*}", time.digits)
}

/// Lines of the file of a log: a header and one line for each kept row, fields apart.
pub(super) fn lines(
    recorder: &Recorder,
    (name, seed): (&str, u64),
    rows: &[Row],
    kept: &[bool],
    columns: &[Vec<f64>],
) -> Vec<Vec<String>> {
    let time = recorder.time.as_ref();
    let names = time.map(|time| time.column.clone()).into_iter();
    let phase_s = time.map_or(0.0, |time| phase_s(time, name, seed));
    let mut out: Vec<Vec<String>> = vec![names.chain(recorder.columns.keys().cloned()).collect()];
    for (at, row) in rows.iter().enumerate().filter(|(at, _)| kept[*at]) {
        let stamp = time
            .map(|time| stamp(time, row.own_s + phase_s))
            .into_iter();
        let readings = recorder
            .columns
            .values()
            .zip(columns)
            .map(|(column, values)| fixed(values[at], column.digits));
        out.push(stamp.chain(readings).collect());
    }
    out
}

/// A number with a fixed count of decimals, and no minus sign on nothing.
pub(super) fn fixed(value: f64, digits: usize) -> String {
    let text = format!("{value:.digits$}");
    match text.strip_prefix('-') {
        Some(rest) if rest.bytes().all(|byte| matches!(byte, b'0' | b'.')) => rest.to_owned(),
        _ => text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_counter_wraps_and_counts_whole_ticks() {
        let time = TimeStamp {
            column: "t_us".to_owned(),
            unit: "us".to_owned(),
            unit_s: 1e-6,
            digits: 0,
            start: 4_294_966_296.0,
            counter_bits: Some(32),
        };
        assert_eq!(stamp(&time, 0.0), "4294966296");
        assert_eq!(stamp(&time, 0.0009999), "4294967295");
        assert_eq!(stamp(&time, 0.003), "2000");
    }

    #[test]
    fn nothing_has_no_minus_sign() {
        assert_eq!(fixed(-0.0004, 3), "0.000");
        assert_eq!(fixed(-0.0006, 3), "-0.001");
        assert_eq!(fixed(-0.0, 0), "0");
    }
}
