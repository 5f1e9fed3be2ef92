//! Command to nozzle angle in the simulator: dead time, dead band, limit, lag, fastest movement.
//!
//! Commands are held, so between two arrivals the nozzle heads for a fixed angle, and where it is
//! follows in closed form: a straight line while it runs at its fastest, an exponential from there
//! on. No step size is involved.

use std::collections::VecDeque;

use crate::control::model::AxisNumbers;
use crate::plant::DeadBandKind;

/// The nozzle of one axis.
#[derive(Debug, Clone)]
pub(super) struct Nozzle {
    gain: f64,
    bias_deg: f64,
    lag_s: f64,
    delay_s: f64,
    kind: DeadBandKind,
    half_deg: f64,
    travel_deg: f64,
    slew_deg_s: f64,
    coming: VecDeque<(f64, f64)>,
    passed_deg: f64,
    demand_deg: f64,
    since_s: f64,
    angle_deg: f64,
}

impl Nozzle {
    /// At rest under a command of zero; commands arrive `late_s` later than the actuator alone would
    /// let them.
    pub fn new(of: &AxisNumbers, late_s: f64, start_s: f64) -> Self {
        let mut out = Self {
            gain: of.gain,
            bias_deg: of.bias_deg,
            lag_s: of.lag_s,
            delay_s: of.delay_s + late_s,
            kind: of.dead_band,
            half_deg: 0.5 * of.width_deg,
            travel_deg: of.travel_deg.unwrap_or(f64::INFINITY),
            slew_deg_s: of.slew_deg_s.unwrap_or(f64::INFINITY),
            coming: VecDeque::new(),
            passed_deg: 0.0,
            demand_deg: 0.0,
            since_s: start_s,
            angle_deg: 0.0,
        };
        out.demand_deg = out.demanded();
        out.angle_deg = out.demand_deg;
        out
    }

    fn demanded(&self) -> f64 {
        (self.gain * (self.passed_deg + self.bias_deg)).clamp(-self.travel_deg, self.travel_deg)
    }

    /// Takes a command at an instant.
    pub fn command(&mut self, time_s: f64, command_deg: f64) {
        self.coming.push_back((time_s + self.delay_s, command_deg));
    }

    /// When the next command arrives.
    pub fn next_arrival_s(&self) -> f64 {
        self.coming.front().map_or(f64::INFINITY, |coming| coming.0)
    }

    /// Lets in what has arrived by a time.
    pub fn arrive(&mut self, time_s: f64) {
        while let Some((at_s, command_deg)) = self.coming.front().copied() {
            if at_s > time_s {
                return;
            }
            self.coming.pop_front();
            let half = self.half_deg;
            self.passed_deg = match self.kind {
                DeadBandKind::None => command_deg,
                DeadBandKind::DeadZone if command_deg > half => command_deg - half,
                DeadBandKind::DeadZone if command_deg < -half => command_deg + half,
                DeadBandKind::DeadZone => 0.0,
                DeadBandKind::Play => self
                    .passed_deg
                    .max(command_deg - half)
                    .min(command_deg + half),
            };
            self.angle_deg = self.at(at_s);
            self.since_s = at_s;
            self.demand_deg = self.demanded();
        }
    }

    /// Nozzle angle, deg, from the last arrival to the next.
    pub fn at(&self, time_s: f64) -> f64 {
        let elapsed_s = (time_s - self.since_s).max(0.0);
        let away = self.angle_deg - self.demand_deg;
        let reach = self.slew_deg_s * self.lag_s;
        if away.abs() <= reach {
            return self.demand_deg + away * (-elapsed_s / self.lag_s).exp();
        }
        let straight_s = (away.abs() - reach) / self.slew_deg_s;
        if elapsed_s <= straight_s {
            return self.angle_deg - away.signum() * self.slew_deg_s * elapsed_s;
        }
        let faded = (-(elapsed_s - straight_s) / self.lag_s).exp();
        self.demand_deg + away.signum() * reach * faded
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::control::axis_loop::tests::numbers;
    use approx::assert_relative_eq;

    // Gain 0.95, lag 20 ms, delay 12 + 3 ms: 2 deg asked at 0.1 s.
    #[test]
    fn a_step_comes_after_its_delay_with_its_lag() {
        let mut nozzle = Nozzle::new(&numbers(), 0.003, 0.0);
        nozzle.command(0.1, 2.0);
        assert_relative_eq!(nozzle.next_arrival_s(), 0.115, max_relative = 1e-12);
        nozzle.arrive(0.1149);
        assert_eq!(nozzle.at(0.1149), 0.0);
        nozzle.arrive(0.116);
        let exact = 1.9 * (1.0 - (-0.025_f64 / 0.02).exp());
        assert_relative_eq!(nozzle.at(0.14), exact, max_relative = 1e-12);
    }

    // 4 deg away at 50 deg/s with lag 20 ms: straight for 60 ms down to 1 deg, then exponential.
    #[test]
    fn it_runs_at_its_fastest_before_it_settles() {
        let mut of = numbers();
        (of.gain, of.delay_s, of.slew_deg_s) = (1.0, 0.0, Some(50.0));
        let mut nozzle = Nozzle::new(&of, 0.0, 0.0);
        nozzle.command(0.0, 4.0);
        nozzle.arrive(0.0);
        assert_relative_eq!(nozzle.at(0.04), 2.0, max_relative = 1e-12);
        let late = 4.0 - (-1.0_f64).exp();
        assert_relative_eq!(nozzle.at(0.08), late, max_relative = 1e-12);
    }
}
