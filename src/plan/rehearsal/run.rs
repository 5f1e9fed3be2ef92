//! The firing itself: the rig, the computer and the recorders brought together, from the first row
//! of any log to the last.
//!
//! Time runs in even steps, cut short wherever something happens between two of them: a
//! tick of the computer's loop, a command arriving behind its dead time, a motor beginning or going
//! out, a clamp letting go. So every switch acts at its exact instant.

use std::collections::VecDeque;

use indexmap::IndexMap;

use super::cell;
use super::chamber;
use super::computer::{AxisController, to_step};
use super::motor::BurningMotor;
use super::noise::Stream;
use super::recorder::{self, Row};
use super::rig::rig;
use super::spec::{AxisTruth, Column, Hold, Rehearsal, Shows};
use super::trace::Trace;
use crate::diagnostic::Error;
use crate::flight::rig::{DISTURBANCE_STEP_S, Disturbance, Rig};
use crate::series::Series;

/// Steps of the integration a second. At the shortest lags and the stiffest stands in use (5 ms, 500 Hz) the error
/// of a fourth-order step is far below a recorder's last digit.
pub(in crate::plan) const STEPS_PER_SECOND: f64 = 20_000.0;

/// A firing that has been gone through.
pub(super) struct Run {
    /// What happened.
    pub trace: Trace,
    /// Rows of each recorder.
    pub rows: Vec<Vec<Row>>,
    /// Columns of each recorder, in the units of the file.
    pub columns: Vec<Vec<Vec<f64>>>,
}

/// Goes through a firing.
///
/// # Errors
/// A motor without a thrust curve.
pub(super) fn run(rehearsal: &Rehearsal) -> Result<Run, Error> {
    let rows: Vec<Vec<Row>> = rehearsal
        .recorders
        .iter()
        .map(|(name, recorder)| recorder::rows(recorder, name, rehearsal))
        .collect();
    let start_s = earliest(rehearsal, &rows);
    let motors = rehearsal
        .motors
        .iter()
        .map(|(name, motor)| BurningMotor::new(motor, name, rehearsal.seed, rehearsal.fire_s))
        .collect::<Result<Vec<_>, _>>()?;
    let disturbances = rehearsal
        .axes
        .iter()
        .map(|(name, axis)| disturbance(axis, name, rehearsal, start_s))
        .collect();
    let rig = rig(rehearsal, motors, disturbances, start_s);
    let computer_at = rehearsal
        .computer
        .as_ref()
        .and_then(|computer| rehearsal.recorders.get_index_of(&computer.recorder));
    let ticks = computer_at
        .map(|at| rows[at].as_slice())
        .unwrap_or_default();
    let (trace, commands) = simulate(rehearsal, rig, ticks, computer_at);
    let columns = rehearsal
        .recorders
        .iter()
        .zip(&rows)
        .enumerate()
        .map(|(at, ((name, recorder), rows))| {
            let own = (Some(at) == computer_at).then_some(&commands);
            recorder
                .columns
                .iter()
                .map(|(title, column)| {
                    read_column(
                        rehearsal,
                        &trace,
                        own,
                        column,
                        &format!("{name}.{title}"),
                        rows,
                    )
                })
                .collect()
        })
        .collect();
    Ok(Run {
        trace,
        rows,
        columns,
    })
}

/// The first instant anybody records, less the longest delay of a cell and a step.
fn earliest(rehearsal: &Rehearsal, rows: &[Vec<Row>]) -> f64 {
    let first = rows
        .iter()
        .filter_map(|rows| rows.first())
        .map(|row| row.true_s)
        .fold(0.0, f64::min);
    let late = rehearsal
        .cells
        .values()
        .map(|cell| cell.delay_s)
        .fold(0.0, f64::max);
    let steps = ((first - late) * rehearsal.steps_per_second).floor() - 1.0;
    steps / rehearsal.steps_per_second
}

fn disturbance(axis: &AxisTruth, name: &str, rehearsal: &Rehearsal, start_s: f64) -> Disturbance {
    let count = ((rehearsal.lasts_s - start_s) / DISTURBANCE_STEP_S) as usize + 3;
    let stream = |kind| Stream::new(rehearsal.seed, &format!("axis.{name}.{kind}"));
    let slow = |kind, sd, correlation_s| {
        stream(kind).correlated(sd, correlation_s, DISTURBANCE_STEP_S, count)
    };
    let fast = stream("fast wobble").white(axis.direction_noise_rad, count);
    let drift = slow(
        "slow wobble",
        axis.direction_drift_rad,
        axis.direction_drift_time_s,
    );
    Disturbance {
        start_s,
        thrust_direction_rad: fast
            .iter()
            .zip(drift)
            .map(|(fast, slow)| fast + slow)
            .collect(),
        wind_rad_s2: slow("wind", axis.wind_rad_s2, axis.wind_time_s),
    }
}

/// Commands of each axis, one for each tick of the computer, deg.
type Commands = IndexMap<String, Vec<f64>>;

/// Runs the rig from its start to the end of the first log.
fn simulate(
    rehearsal: &Rehearsal,
    mut rig: Rig<BurningMotor>,
    ticks: &[Row],
    computer_at: Option<usize>,
) -> (Trace, Commands) {
    let mut trace = Trace::new(&rig, rehearsal.cells.len());
    let mut commands: Commands = rehearsal
        .axes
        .keys()
        .map(|axis| (axis.clone(), Vec::with_capacity(ticks.len())))
        .collect();
    let mut loops = loops(rehearsal, computer_at, ticks.len());
    let mut ticks: VecDeque<f64> = ticks.iter().map(|row| row.true_s).collect();
    let mut kinks = kinks(rehearsal, &rig);
    let (start_s, mut steps) = (rig.time_s, 0_u64);
    trace.note(&rig);
    while rig.time_s < rehearsal.lasts_s + 1.0 / rehearsal.steps_per_second {
        let grid_s = start_s + (steps + 1) as f64 / rehearsal.steps_per_second;
        let arrivals = rig.axes.iter().map(|axis| axis.actuator.next_arrival_s());
        let next_s = [ticks.front(), kinks.front()]
            .into_iter()
            .flatten()
            .copied()
            .chain(arrivals)
            .fold(grid_s, f64::min);
        rig.advance(next_s);
        if next_s >= grid_s {
            steps += 1;
        }
        while kinks.pop_front_if(|kink| *kink <= next_s).is_some() {}
        release_clamps(rehearsal, &mut rig);
        if ticks.pop_front_if(|tick| *tick <= next_s).is_some() {
            for (at, one) in loops.iter_mut().enumerate() {
                let command_deg = one.tick(&rig, at);
                rig.axes[at].actuator.command(next_s, command_deg);
                commands[at].push(command_deg);
            }
        }
        for axis in &mut rig.axes {
            axis.actuator.arrive(next_s);
        }
        trace.note(&rig);
    }
    (trace, commands)
}

/// Instants at which an equation changes, s.
fn kinks(rehearsal: &Rehearsal, rig: &Rig<BurningMotor>) -> VecDeque<f64> {
    let releases = rehearsal
        .axes
        .values()
        .filter(|axis| axis.hold == Hold::Clamp)
        .map(|axis| rehearsal.fire_s + axis.release_s);
    let mut out: Vec<f64> = rig
        .motors
        .iter()
        .flat_map(BurningMotor::kinks_s)
        .chain(releases)
        .filter(|kink| *kink > rig.time_s)
        .collect();
    out.sort_by(f64::total_cmp);
    out.into()
}

fn release_clamps(rehearsal: &Rehearsal, rig: &mut Rig<BurningMotor>) {
    let now = rig.time_s;
    for (at, truth) in rehearsal.axes.values().enumerate() {
        if now >= rehearsal.fire_s + truth.release_s {
            rig.release(at);
        }
    }
}

/// The loop of one axis: its controller and the gyro it reads.
struct AxisLoop<'a> {
    controller: AxisController<'a>,
    /// The column of the computer's own log that shows this axis's rate, and its noise.
    gyro: Option<(&'a Column, Vec<f64>)>,
    ticks: usize,
}

impl AxisLoop<'_> {
    fn tick(&mut self, rig: &Rig<BurningMotor>, axis: usize) -> f64 {
        let rate = rig.rate_rad_s(axis);
        let measured = self.gyro.as_ref().map_or(rate, |(column, noise)| {
            to_step(rate + column.bias_si + noise[self.ticks], column.step_si) - column.bias_si
        });
        self.ticks += 1;
        self.controller
            .command_deg(rig.time_s, rig.tilt_rad(axis), measured)
    }
}

fn loops(rehearsal: &Rehearsal, computer_at: Option<usize>, ticks: usize) -> Vec<AxisLoop<'_>> {
    let Some((computer, at)) = rehearsal.computer.as_ref().zip(computer_at) else {
        return vec![];
    };
    let begins_s = rehearsal.fire_s + computer.starts_s;
    let log = &rehearsal.recorders[at];
    rehearsal
        .axes
        .keys()
        .map(|axis| {
            let shows = Shows::Rate(axis.clone());
            let gyro = log.columns.iter().find(|(_, column)| column.shows == shows);
            AxisLoop {
                controller: AxisController::new(computer, axis, rehearsal.seed, begins_s),
                gyro: gyro.map(|(title, column)| {
                    let source = format!("{}.{title}", computer.recorder);
                    (column, column_noise(rehearsal, column, &source, ticks))
                }),
                ticks: 0,
            }
        })
        .collect()
}

fn column_noise(rehearsal: &Rehearsal, column: &Column, source: &str, count: usize) -> Vec<f64> {
    Stream::new(rehearsal.seed, &format!("column.{source}")).white(column.noise_si, count)
}

/// The readings of one column, in its own unit.
fn read_column(
    rehearsal: &Rehearsal,
    trace: &Trace,
    own_commands: Option<&Commands>,
    column: &Column,
    source: &str,
    rows: &[Row],
) -> Vec<f64> {
    let instants: Vec<f64> = rows.iter().map(|row| row.true_s).collect();
    let of_axis = |name: &String, all: &[Series]| {
        let at = rehearsal.axes.get_index_of(name);
        at.and_then(|at| all.get(at)).cloned().unwrap_or_default()
    };
    let truth = match &column.shows {
        Shows::Cell(name) => {
            let found = rehearsal.cells.get_full(name);
            return found.map_or_else(Vec::new, |(at, _, cell)| {
                cell::readings(cell, name, rehearsal.seed, &trace.felt_n[at], &instants)
            });
        }
        Shows::Command(name) => {
            let commands = own_commands.and_then(|all| all.get(name));
            return commands.cloned().unwrap_or_else(|| vec![0.0; rows.len()]);
        }
        Shows::Fire => {
            let (up, down) = (rehearsal.fire_s, rehearsal.fire_s + rehearsal.fire_line_s);
            let line = |at: &f64| f64::from(u8::from((up..down).contains(at)));
            return instants.iter().map(line).collect();
        }
        Shows::Pressure => chamber::as_read(rehearsal, trace),
        Shows::Tilt(name) => of_axis(name, &trace.tilt_rad),
        Shows::Rate(name) => of_axis(name, &trace.rate_rad_s),
        Shows::Nozzle(name) => of_axis(name, &trace.nozzle_rad),
    };
    let noise = column_noise(rehearsal, column, source, rows.len());
    instants
        .iter()
        .zip(noise)
        .map(|(at, noise)| {
            let reading = truth.at(*at).unwrap_or(0.0) + column.bias_si + noise;
            to_step(reading, column.step_si) / column.unit_si
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::super::spec::tests::{plain_cell, plain_motor, still_rehearsal};
    use super::super::spec::{Computer, Pattern, Steering};
    use super::*;
    use approx::{assert_abs_diff_eq, assert_relative_eq};

    fn steered() -> Rehearsal {
        let mut out = still_rehearsal();
        let mut log = out.recorders[0].clone();
        (log.rate_hz, log.starts_s, log.drift_ppm) = (90.0, -0.0123, 300.0);
        log.columns.clear();
        out.recorders.insert("computer".to_owned(), log);
        let steering = Steering {
            pattern: Pattern::Doublets,
            amplitude_deg: 2.0,
            dwell_s: 10.0,
            ..Steering::default()
        };
        out.computer = Some(Computer {
            recorder: "computer".to_owned(),
            starts_s: 0.0,
            lasts_s: 10.0,
            limit_deg: 5.0,
            step_deg: 0.0,
            attitude_noise_rad: 0.0,
            steering: std::iter::once(("pitch".to_owned(), steering)).collect(),
        });
        out.axes[0].delay_s = 0.012_34;
        out
    }

    // The fire command at 0.1 s is met by the computer's first row at or after it: its own row 11,
    // at -0.0123 + 11/90 1.0003. The nozzle then follows 2 deg (1 - exp(-t/lag)) after the delay.
    #[test]
    fn a_step_comes_at_its_instant_after_the_delay_with_its_lag() {
        let rehearsal = steered();
        let run = run(&rehearsal).unwrap();
        let row = (0..)
            .map(|at| -0.0123 + f64::from(at) / 90.0 * 1.0003)
            .find(|t| *t >= 0.1);
        let begins_s = row.unwrap() + 0.012_34;
        assert!(run.trace.nozzle_rad[0].len() > 10_000);
        for (time_s, nozzle) in run.trace.nozzle_rad[0].iter() {
            let since_s = (time_s - begins_s).max(0.0);
            let exact = 2.0_f64.to_radians() * (1.0 - (-since_s / 0.02).exp());
            assert_abs_diff_eq!(nozzle, exact, epsilon = 1e-11);
        }
    }

    #[test]
    fn the_log_shows_the_trace_in_its_unit() {
        let rehearsal = steered();
        let run = run(&rehearsal).unwrap();
        let nozzle = &run.columns[0][1];
        let at = run.rows[0].iter().position(|row| row.true_s > 0.3).unwrap();
        let truth = run.trace.nozzle_rad[0].at(run.rows[0][at].true_s).unwrap();
        assert_abs_diff_eq!(nozzle[at], truth, epsilon = 1e-12);
    }

    #[test]
    fn a_clamped_rig_keeps_its_tilt_until_it_is_let_go() {
        let mut rehearsal = still_rehearsal();
        rehearsal.axes[0].hold = Hold::Clamp;
        rehearsal.axes[0].release_s = 0.15;
        rehearsal.axes[0].stiffness_per_s2 = 4.0;
        rehearsal.axes[0].start_tilt_rad = 0.02;
        let run = run(&rehearsal).unwrap();
        let tilt = &run.trace.tilt_rad[0];
        assert_eq!(tilt.at(0.249), Some(0.02));
        // From rest at 0.25 s: 0.02 cosh(2 t).
        assert_relative_eq!(
            tilt.at(0.5).unwrap(),
            0.02 * 0.5_f64.cosh(),
            max_relative = 1e-9
        );
    }

    // 10 N for 0.2 s from 0.1 s; the reading comes 7 ms late and the converter turns at 100 Hz.
    #[test]
    fn a_cell_reads_late_and_holds_between_conversions() {
        let mut rehearsal = still_rehearsal();
        let motor = plain_motor(Series::new(&[0.0, 0.2], &[10.0, 10.0]));
        rehearsal.motors.insert("left".to_owned(), motor);
        let mut cell = plain_cell();
        cell.delay_s = 0.007;
        cell.converts_hz = Some(100.0);
        rehearsal.cells.insert("base".to_owned(), cell);
        rehearsal.stand.mount = crate::config::Mount::Level;
        let mut column = rehearsal.recorders[0].columns[0].clone();
        column.shows = Shows::Cell("base".to_owned());
        rehearsal.recorders[0]
            .columns
            .insert("raw".to_owned(), column);
        let run = run(&rehearsal).unwrap();
        let first = run.columns[0][2]
            .iter()
            .position(|raw| *raw > 9_990.0)
            .unwrap();
        let late_s = run.rows[0][first].true_s - 0.107;
        assert!((0.0..0.0101).contains(&late_s), "{late_s}");
        let steps = run.columns[0][2]
            .windows(2)
            .filter(|pair| pair[0] != pair[1])
            .count();
        assert_eq!(steps, 2);
    }
}
