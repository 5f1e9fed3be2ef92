//! Command to nozzle angle, as `plant.json` defines it: a dead time, a dead band, a gain, a limit,
//! a first-order lag, and perhaps a fastest movement.
//!
//! The command is held between updates, so behind the dead time and the dead band it is a
//! staircase: only its steps are handled here, at their exact instants. Written from the equations
//! of the plant file alone; the reduction has an actuator of its own, and neither knows the other.

use std::collections::VecDeque;

use super::spec::AxisTruth;
use crate::plant::result::DeadBandKind;

/// The actuator of one axis.
pub(super) struct Actuator {
    gain: f64,
    bias_deg: f64,
    lag_s: f64,
    delay_s: f64,
    dead_band: DeadBandKind,
    half_width_deg: f64,
    travel_rad: Option<f64>,
    slew_rad_s: Option<f64>,
    /// Commands on their way: when they arrive, s, and what they say, deg.
    coming: VecDeque<(f64, f64)>,
    /// Command behind the dead band, deg.
    passed_deg: f64,
}

impl Actuator {
    /// The actuator of an axis, at rest with command zero.
    pub fn new(truth: &AxisTruth) -> Self {
        let mut out = Self {
            gain: truth.gain,
            bias_deg: truth.bias_deg,
            lag_s: truth.lag_s,
            delay_s: truth.delay_s,
            dead_band: truth.dead_band,
            half_width_deg: 0.5 * truth.dead_band_width_deg,
            travel_rad: truth.travel_rad,
            slew_rad_s: truth.slew_rad_s,
            coming: VecDeque::new(),
            passed_deg: 0.0,
        };
        out.passed_deg = out.through_dead_band(0.0);
        out
    }

    /// Takes a command at an instant.
    pub fn command(&mut self, time_s: f64, command_deg: f64) {
        self.coming.push_back((time_s + self.delay_s, command_deg));
    }

    /// When the next command arrives at the dead band, s.
    pub fn next_arrival_s(&self) -> Option<f64> {
        self.coming.front().map(|(time, _)| *time)
    }

    /// Lets in whatever has arrived by a time.
    pub fn arrive(&mut self, time_s: f64) {
        while let Some(&(at, command_deg)) = self.coming.front() {
            if at > time_s {
                break;
            }
            self.coming.pop_front();
            self.passed_deg = self.through_dead_band(command_deg);
        }
    }

    fn through_dead_band(&self, command_deg: f64) -> f64 {
        let half = self.half_width_deg;
        if !command_deg.is_finite() {
            // A loop that ran away commands nothing the nozzle could follow.
            return self.passed_deg;
        }
        match self.dead_band {
            DeadBandKind::None => command_deg,
            DeadBandKind::DeadZone => command_deg.signum() * (command_deg.abs() - half).max(0.0),
            DeadBandKind::Play => self
                .passed_deg
                .clamp(command_deg - half, command_deg + half),
        }
    }

    /// Where the nozzle is heading, rad.
    pub fn demand_rad(&self) -> f64 {
        let wanted = (self.gain * (self.passed_deg + self.bias_deg)).to_radians();
        self.travel_rad
            .map_or(wanted, |travel| wanted.clamp(-travel, travel))
    }

    /// How fast the nozzle turns from an angle, rad/s.
    pub fn rate_rad_s(&self, nozzle_rad: f64) -> f64 {
        let rate = (self.demand_rad() - nozzle_rad) / self.lag_s;
        self.slew_rad_s
            .map_or(rate, |fastest| rate.clamp(-fastest, fastest))
    }
}

#[cfg(test)]
mod tests {
    use super::super::spec::tests::still_axis;
    use super::*;

    fn passed(kind: DeadBandKind, commands: &[f64]) -> Vec<f64> {
        let mut truth = still_axis();
        truth.dead_band = kind;
        truth.dead_band_width_deg = 0.5;
        truth.delay_s = 0.0;
        let mut actuator = Actuator::new(&truth);
        commands
            .iter()
            .enumerate()
            .map(|(at, command)| {
                actuator.command(at as f64, *command);
                actuator.arrive(at as f64);
                actuator.passed_deg
            })
            .collect()
    }

    // Width 0.5: the output follows a quarter behind and stays put for the first half degree back.
    #[test]
    fn play_follows_half_a_width_behind() {
        let commands = [0.25, 1.0, 0.75, 0.5, 0.25, -1.0, -0.5, -0.25];
        let by_hand = [0.0, 0.75, 0.75, 0.75, 0.5, -0.75, -0.75, -0.5];
        assert_eq!(passed(DeadBandKind::Play, &commands), by_hand);
    }

    #[test]
    fn a_dead_zone_takes_half_a_width_off_either_side() {
        let commands = [0.25, 0.5, -0.25, -1.0, 0.0];
        assert_eq!(
            passed(DeadBandKind::DeadZone, &commands),
            [0.0, 0.25, 0.0, -0.75, 0.0]
        );
        assert_eq!(passed(DeadBandKind::None, &commands), commands);
    }

    #[test]
    fn commands_wait_for_the_dead_time_and_the_travel_holds() {
        let mut truth = still_axis();
        truth.delay_s = 0.012;
        truth.travel_rad = Some(0.05);
        let mut actuator = Actuator::new(&truth);
        actuator.command(1.0, 2.0);
        actuator.command(1.005, 9.0);
        assert_eq!(actuator.next_arrival_s(), Some(1.012));
        actuator.arrive(1.011_999);
        assert_eq!(actuator.demand_rad(), 0.0);
        actuator.arrive(1.012);
        assert_eq!(actuator.demand_rad(), 2.0_f64.to_radians());
        actuator.arrive(1.1);
        assert_eq!(actuator.demand_rad(), 0.05);
    }

    #[test]
    fn the_nozzle_turns_no_faster_than_its_slew() {
        let mut truth = still_axis();
        truth.slew_rad_s = Some(0.5);
        let mut actuator = Actuator::new(&truth);
        actuator.command(0.0, 4.0);
        actuator.arrive(1.0);
        assert_eq!(actuator.rate_rad_s(0.0), 0.5);
        assert_eq!(actuator.rate_rad_s(0.2), -0.5);
    }
}
