//! What commands the nozzle in a flight: the controller, tick by tick on noisy sensors, or a record.

use rand::RngExt;
use rand::rngs::ChaCha8Rng;

use super::actuator::Actuator;
use super::rocket::{RATE, State, TILT};
use super::scenario::{Scenario, Sensors};
use crate::control::pid::{Pid, Reading};
use crate::series::Series;

/// Where the commands of a flight come from.
pub enum Commands<'a> {
    /// The controller.
    Controller,
    /// A record of commands, deg, by time since ignition.
    Record(&'a Series),
}

/// The flight computer of a flight: its controller, or the rows of a record.
pub(super) struct FlightComputer<'a> {
    of: &'a Scenario,
    pid: Option<Pid<f64>>,
    record: Option<&'a Series>,
    ticks: usize,
    row: usize,
    /// Command in force, deg.
    pub command_deg: f64,
    /// Largest command, deg.
    pub largest_deg: f64,
    limited: usize,
}

impl<'a> FlightComputer<'a> {
    /// Before its first tick.
    pub(super) fn new(of: &'a Scenario, commands: &Commands<'a>) -> Self {
        let (pid, record) = match commands {
            Commands::Controller => (of.controller.as_ref().map(|one| Pid::new(one, 0.0)), None),
            Commands::Record(series) => (None, Some(*series)),
        };
        Self {
            of,
            pid,
            row: 0,
            record,
            ticks: 0,
            command_deg: 0.0,
            largest_deg: 0.0,
            limited: 0,
        }
    }

    /// When it commands next, s.
    pub(super) fn next_s(&self) -> f64 {
        if let Some(record) = self.record {
            let next = record.time_s().get(self.row);
            return next.copied().unwrap_or(f64::INFINITY);
        }
        match &self.of.controller {
            Some(controller) => self.of.release_s + self.ticks as f64 * controller.period_s,
            None => f64::INFINITY,
        }
    }

    /// Share of ticks with the command at its limit.
    pub(super) fn share_at_limit(&self) -> f64 {
        self.limited as f64 / self.ticks.max(1) as f64
    }

    /// Gives the commands that are due.
    pub(super) fn tick(
        &mut self,
        now_s: f64,
        state: &State,
        actuator: &mut Actuator,
        rng: &mut ChaCha8Rng,
    ) {
        while self.next_s() <= now_s {
            if let Some(record) = self.record {
                let command = record.value()[self.row];
                // A command on its way when the flight begins has its own instant.
                actuator.command(record.time_s()[self.row], command);
                self.row += 1;
                self.command_deg = command;
                continue;
            }
            self.ticks += 1;
            let Some(pid) = &mut self.pid else { return };
            let (tilt_deg, rate_deg_s) = self.of.sensors.read(state, rng);
            let schedule = self.of.schedule.as_ref();
            let command = pid.tick(&Reading {
                set_point_deg: 0.0,
                tilt_deg,
                rate_deg_s,
                factor: schedule.map_or(1.0, |schedule| schedule.factor(now_s)),
            });
            actuator.command(now_s, command);
            self.command_deg = command;
            self.largest_deg = self.largest_deg.max(command.abs());
            let controller = self.of.controller.as_ref();
            let limit_deg = controller.map_or(f64::MAX, |of| of.limit_deg);
            self.limited += usize::from(command.abs() >= limit_deg);
        }
    }
}

impl Sensors {
    /// Tilt and rate as the controller reads them, deg and deg/s.
    fn read(&self, state: &State, rng: &mut ChaCha8Rng) -> (f64, f64) {
        let (mut tilt_deg, mut rate_deg_s) = (state[TILT].to_degrees(), state[RATE].to_degrees());
        rate_deg_s += self.rate_bias_deg_s;
        if self.tilt_noise_deg > 0.0 || self.rate_noise_deg_s > 0.0 {
            let (one, other) = two_normals(rng);
            tilt_deg += self.tilt_noise_deg * one;
            rate_deg_s += self.rate_noise_deg_s * other;
        }
        (tilt_deg, rate_deg_s)
    }
}

/// Two independent standard normal numbers (Box & Muller 1958).
fn two_normals(rng: &mut ChaCha8Rng) -> (f64, f64) {
    let radius = (-2.0 * (1.0 - rng.random::<f64>()).ln()).sqrt();
    let (sine, cosine) = (std::f64::consts::TAU * rng.random::<f64>()).sin_cos();
    (radius * cosine, radius * sine)
}
