//! `thrust.csv`: thrust over time, the stand's ringing corrected where its mode is known, one row for each reading, or for each mean of a recorder faster than 5 kHz; zero at ignition.

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
/// be told apart; last `read_n`, as it was read, when the stand's ringing was corrected. A value that is not known
/// leaves an empty cell. `ignition_s` is on the clock of the traces.
#[must_use]
pub(crate) fn thrust_csv(traces: &Traces, ignition_s: f64) -> String {
    let mut header = ["time_s", "thrust_n", "u_n"].map(str::to_owned).to_vec();
    header.extend(
        traces
            .motor_thrust_n
            .keys()
            .map(|motor| format!("thrust_{motor}_n")),
    );
    header.extend(traces.read_n.iter().map(|_| "read_n".to_owned()));
    let rows = |rows: Range<usize>| thrust_rows(traces, rows, ignition_s);
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

fn thrust_rows(traces: &Traces, rows: Range<usize>, ignition_s: f64) -> String {
    let (time_s, thrust_n) = (traces.thrust_n.time_s(), traces.thrust_n.value());
    let motors = traces.motor_thrust_n.values();
    // Each with its first reading that has not been passed.
    let mut forces: Vec<(&Series, usize)> = motors
        .chain(&traces.read_n)
        .map(|force| (force, force.index_at(time_s[rows.start])))
        .collect();
    let mut out = Vec::with_capacity(BYTES_A_CELL * (3 + forces.len()) * rows.len());
    for at in rows {
        push_decimal(&mut out, time_s[at] - ignition_s, TIME_DECIMALS);
        out.push(b',');
        push_decimal(&mut out, thrust_n[at], FORCE_DECIMALS);
        out.push(b',');
        push_cell(&mut out, traces.thrust_u_n.get(at));
        for (force, next) in &mut forces {
            let times_s = &force.time_s()[*next..];
            *next += times_s
                .iter()
                .take_while(|time| **time < time_s[at])
                .count();
            let here = force.time_s().get(*next) == time_s.get(at);
            out.push(b',');
            push_cell(&mut out, force.value().get(*next).filter(|_| here));
        }
        out.push(b'\n');
    }
    String::from_utf8(out).unwrap_or_default()
}

/// About so long is a cell with its comma.
const BYTES_A_CELL: usize = 10;

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

fn push_cell(out: &mut Vec<u8>, value: Option<&f64>) {
    if let Some(value) = value.filter(|value| value.is_finite()) {
        push_decimal(out, *value, FORCE_DECIMALS);
    }
}

/// Writes a number with so many decimals, zero without a sign: the digits of `format!`, from a whole number where that is
/// sure to round alike.
fn push_decimal(out: &mut Vec<u8>, value: f64, decimals: usize) {
    let scaled = value.abs() * TENS[decimals];
    let below = scaled as u64;
    let part = scaled - below as f64;
    let sure = scaled < SURE_BELOW && (part - 0.5).abs() >= NEAR_HALF;
    if !sure {
        let text = format!("{value:.decimals$}");
        let zero = text.bytes().all(|c| matches!(c, b'-' | b'0' | b'.'));
        let text = text.as_bytes();
        out.extend_from_slice(if zero && text[0] == b'-' {
            &text[1..]
        } else {
            text
        });
        return;
    }
    let whole = below + u64::from(part > 0.5);
    if value < 0.0 && whole > 0 {
        out.push(b'-');
    }
    // The last digits first; a cell that is sure has twelve at most.
    let (mut left, mut digits, mut from) = (whole, [0; 16], 16);
    for _ in 0..decimals {
        from -= 1;
        digits[from] = b'0' + (left % 10) as u8;
        left /= 10;
    }
    from -= 1;
    digits[from] = b'.';
    while left > 0 || digits[from] == b'.' {
        from -= 1;
        digits[from] = b'0' + (left % 10) as u8;
        left /= 10;
    }
    out.extend_from_slice(&digits[from..]);
}

/// Powers of ten, as many as there are decimals.
const TENS: [f64; 1 + TIME_DECIMALS] = [1.0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6];

/// Scaled numbers below this are wrong by less than [`NEAR_HALF`] after rounding.
const SURE_BELOW: f64 = 1e11;
const NEAR_HALF: f64 = 1e-4;

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

    // What the standard library writes, ties, carries and what is too large among it.
    #[test]
    fn decimals_are_those_of_the_standard_library() {
        let mut numbers = vec![
            0.0,
            -0.0,
            0.5,
            1.000_005,
            2.5e-6,
            9.999_996,
            99_999.999_999,
            1e13,
            f64::NAN,
        ];
        numbers.extend((0..20_000).map(|at| f64::from(at * at) * 0.003_812_5 - 3e5));
        for number in numbers {
            for decimals in [5, 6] {
                let mut out = Vec::new();
                push_decimal(&mut out, number, decimals);
                let out = String::from_utf8(out).unwrap();
                let text = format!("{number:.decimals$}");
                let zero = number.abs() < 0.5 * 10.0_f64.powi(-(decimals as i32));
                assert_eq!(
                    out,
                    if zero {
                        text.trim_start_matches('-')
                    } else {
                        &text
                    }
                );
            }
        }
    }

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
        traces.read_n = Some(Series::new(&[2.0], &[9.5]));
        assert_eq!(
            thrust_csv(&traces, 2.0),
            "time_s,thrust_n,u_n,\"thrust_le,ft_n\",read_n\n\
             -0.500000,0.00000,0.05000,0.00000,\n\
             0.000000,10.00000,,,9.50000\n\
             0.500000,20.50000,,20.00000,\n"
        );
    }
}
