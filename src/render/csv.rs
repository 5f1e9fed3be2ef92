//! `thrust.csv`: thrust over time, one row for each reading, zero at ignition.

use std::ops::Range;
use std::panic::resume_unwind;
use std::thread::{self, ScopedJoinHandle};

use crate::control::GainsFile;
use crate::control::vectors::vectors;
use crate::plan::pattern::Design;
use crate::reduce::Traces;
use crate::series::Series;

/// Decimals of times: a microsecond, finer than any recorder's clock.
const TIME_DECIMALS: usize = 6;

/// Decimals of forces: 10 µN, far below the noise of any cell.
const FORCE_DECIMALS: usize = 5;

/// The text of `thrust.csv`: `time_s,thrust_n,u_n` and `thrust_<motor>_n` for each motor that can
/// be told apart; last `corrected_n` when the stand's ringing was taken off. A value that is not known
/// leaves an empty cell. `ignition_s` is on the clock of
/// the traces.
#[must_use]
pub(crate) fn thrust_csv(traces: &Traces, ignition_s: f64) -> String {
    let mut header = ["time_s", "thrust_n", "u_n"].map(str::to_owned).to_vec();
    header.extend(
        traces
            .motor_thrust_n
            .keys()
            .map(|motor| format!("thrust_{motor}_n")),
    );
    header.extend(traces.corrected_n.iter().map(|_| "corrected_n".to_owned()));
    let rows = |rows: Range<usize>| written(rows.map(|at| thrust_row(traces, at, ignition_s)));
    let count = traces.thrust_n.len();
    let threads = thread::available_parallelism().map_or(1, usize::from);
    let share = count.div_ceil(threads).max(1);
    let parts = thread::scope(|scope| {
        let started: Vec<_> = (0..count)
            .step_by(share)
            .map(|from| scope.spawn(move || rows(from..count.min(from + share))))
            .collect();
        let each = started.into_iter().map(ScopedJoinHandle::join);
        each.collect::<Vec<_>>()
    });
    let mut out = written([header]);
    for part in parts {
        out += &part.unwrap_or_else(|why| resume_unwind(why));
    }
    out
}

fn thrust_row(traces: &Traces, at: usize, ignition_s: f64) -> Vec<String> {
    let (time_s, thrust_n) = (traces.thrust_n.time_s()[at], traces.thrust_n.value()[at]);
    let mut row = vec![
        decimal(time_s - ignition_s, TIME_DECIMALS),
        decimal(thrust_n, FORCE_DECIMALS),
        cell(traces.thrust_u_n.get(at).copied()),
    ];
    let motors = traces.motor_thrust_n.values();
    row.extend(
        motors
            .chain(&traces.corrected_n)
            .map(|force| cell(reading_at(force, time_s))),
    );
    row
}

/// The text of `check-vectors.csv`: for every axis what is read at each tick and what is commanded, in
/// single precision, with as many digits as tell one number from the next.
#[must_use]
pub(crate) fn check_vectors(gains: &GainsFile) -> String {
    let header = [
        "axis",
        "tick",
        "command_in_force_deg",
        "set_point_deg",
        "tilt_deg",
        "rate_deg_s",
        "factor",
        "command_deg",
    ];
    let mut rows = vec![header.map(str::to_owned).to_vec()];
    for (name, axis) in &gains.axes {
        for (tick, one) in vectors(axis, IN_FORCE_DEG).iter().enumerate() {
            let of = &one.reading;
            let numbers = [
                of.set_point_deg,
                of.tilt_deg,
                of.rate_deg_s,
                of.factor,
                one.command_deg,
            ];
            let mut row = vec![name.clone(), tick.to_string(), IN_FORCE_DEG.to_string()];
            row.extend(numbers.map(|number| format!("{number:e}")));
            rows.push(row);
        }
    }
    written(rows)
}

/// The command in force when the check vectors begin, deg.
const IN_FORCE_DEG: f64 = 0.5;

fn written(rows: impl IntoIterator<Item = Vec<String>>) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    for row in rows {
        // Writing to memory cannot fail, and all rows are of one length.
        if writer.write_record(row).is_err() {
            break;
        }
    }
    String::from_utf8(writer.into_inner().unwrap_or_default()).unwrap_or_default()
}

/// The reading taken at exactly this time, if there is one.
fn reading_at(series: &Series, time_s: f64) -> Option<f64> {
    let at = series.index_at(time_s);
    let same = series.time_s().get(at).is_some_and(|time| *time == time_s);
    same.then(|| series.value()[at])
}

fn cell(value: Option<f64>) -> String {
    value
        .filter(|value| value.is_finite())
        .map_or_else(String::new, |value| decimal(value, FORCE_DECIMALS))
}

fn decimal(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(rest) if rest.chars().all(|c| matches!(c, '0' | '.')) => rest.to_owned(),
        _ => text,
    }
}

/// The text of `pattern.csv`: a row wherever a command of any axis changes.
#[must_use]
pub(crate) fn pattern_csv(design: &Design) -> String {
    let mut times_s: Vec<f64> = design
        .axes
        .values()
        .flat_map(|axis| axis.commands.iter().map(|(at_s, _)| *at_s))
        .collect();
    times_s.push(0.0);
    times_s.sort_by(f64::total_cmp);
    times_s.dedup_by(|a, b| (*a - *b).abs() < 1e-6);
    let names = design.axes.keys().map(|name| format!(",{name}_deg"));
    let mut out = format!("time_s{}\n", names.collect::<String>());
    for at_s in times_s {
        out += &format!("{at_s:.4}");
        for axis in design.axes.values() {
            let begun = axis
                .commands
                .partition_point(|(from_s, _)| *from_s <= at_s + 1e-6);
            let value = begun.checked_sub(1).map_or(0.0, |at| axis.commands[at].1);
            out += &format!(",{value:.2}");
        }
        out.push('\n');
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn zero_is_ignition_and_an_unknown_value_is_an_empty_cell() {
        let mut traces = Traces {
            thrust_n: Series::new(&[1.5, 2.0, 2.5], &[-0.000_001, 10.0, 20.5]),
            thrust_u_n: vec![0.05, f64::NAN],
            ..Traces::default()
        };
        let left = Series::new(&[1.5, 2.5], &[0.0, 20.0]);
        traces.motor_thrust_n.insert("le,ft".to_owned(), left);
        assert_eq!(
            thrust_csv(&traces, 2.0),
            "time_s,thrust_n,u_n,\"thrust_le,ft_n\"\n\
             -0.500000,0.00000,0.05000,0.00000\n\
             0.000000,10.00000,,\n\
             0.500000,20.50000,,20.00000\n"
        );
        traces.corrected_n = Some(Series::new(&[2.0], &[9.5]));
        assert_eq!(
            thrust_csv(&traces, 2.0),
            "time_s,thrust_n,u_n,\"thrust_le,ft_n\",corrected_n\n\
             -0.500000,0.00000,0.05000,0.00000,\n\
             0.000000,10.00000,,,9.50000\n\
             0.500000,20.50000,,20.00000,\n"
        );
    }
}
