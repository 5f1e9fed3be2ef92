//! Command to nozzle angle, as `plant.json` defines it: dead time, dead band, gain, limit, first-order lag,
//! and perhaps a fastest movement.
//!
//! Commands are held, so between two arrivals the nozzle heads for a fixed angle, and where it is
//! follows in closed form: a straight line while it runs at its fastest, an exponential from there
//! on. No step size is involved. Written from the equations of the plant file alone; the fit has an
//! actuator of its own, and neither knows the other.

use std::collections::VecDeque;

use crate::control::dead_band::DeadBand;
use crate::control::model::AxisNumbers;

/// The actuator of one axis.
#[derive(Debug, Clone)]
pub(crate) struct Actuator {
    gain: f64,
    bias_deg: f64,
    lag_s: f64,
    delay_s: f64,
    dead_band: DeadBand,
    travel_deg: f64,
    slew_deg_s: f64,
    /// Commands on their way: when they arrive, s, and what they say, deg.
    coming: VecDeque<(f64, f64)>,
    demand_deg: f64,
    /// When the demand last changed, s, and where the nozzle was then, deg.
    since_s: f64,
    angle_deg: f64,
}

impl Actuator {
    /// At rest under a command of zero; the latency comes on top of the actuator's own delay.
    pub(crate) fn new(of: &AxisNumbers, latency_s: f64, start_s: f64) -> Self {
        let mut out = Self {
            gain: of.gain,
            bias_deg: of.bias_deg,
            lag_s: of.lag_s,
            delay_s: of.delay_s + latency_s,
            dead_band: DeadBand::new(of.dead_band, of.width_deg),
            travel_deg: of.travel_deg.unwrap_or(f64::INFINITY),
            slew_deg_s: of.slew_deg_s.unwrap_or(f64::INFINITY),
            coming: VecDeque::new(),
            demand_deg: 0.0,
            since_s: start_s,
            angle_deg: 0.0,
        };
        out.demand_deg = out.demand(0.0);
        out.angle_deg = out.demand_deg;
        out
    }

    fn demand(&self, passed_deg: f64) -> f64 {
        (self.gain * (passed_deg + self.bias_deg)).clamp(-self.travel_deg, self.travel_deg)
    }

    /// Takes a command at an instant.
    pub(crate) fn command(&mut self, time_s: f64, command_deg: f64) {
        self.coming.push_back((time_s + self.delay_s, command_deg));
    }

    /// When the next command arrives at the dead band, s.
    pub(crate) fn next_arrival_s(&self) -> f64 {
        self.coming.front().map_or(f64::INFINITY, |coming| coming.0)
    }

    /// Lets in whatever has arrived by a time.
    pub(crate) fn arrive(&mut self, time_s: f64) {
        while let Some((at_s, command_deg)) = self.coming.pop_front_if(|(at, _)| *at <= time_s) {
            self.angle_deg = self.angle_deg(at_s);
            self.since_s = at_s;
            let passed_deg = self.dead_band.pass(command_deg);
            self.demand_deg = self.demand(passed_deg);
        }
    }

    /// Nozzle angle, deg, from the last arrival to the next.
    pub(crate) fn angle_deg(&self, time_s: f64) -> f64 {
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
        let mut actuator = Actuator::new(&numbers(), 0.003, 0.0);
        actuator.command(0.1, 2.0);
        assert_relative_eq!(actuator.next_arrival_s(), 0.115, max_relative = 1e-12);
        actuator.arrive(0.1149);
        assert_eq!(actuator.angle_deg(0.1149), 0.0);
        actuator.arrive(0.116);
        let exact = 1.9 * (1.0 - (-0.025_f64 / 0.02).exp());
        assert_relative_eq!(actuator.angle_deg(0.14), exact, max_relative = 1e-12);
    }

    // 4 deg away at 50 deg/s with lag 20 ms: straight for 60 ms down to 1 deg, then exponential.
    #[test]
    fn it_runs_at_its_fastest_before_it_settles() {
        let mut of = numbers();
        (of.gain, of.delay_s, of.slew_deg_s) = (1.0, 0.0, Some(50.0));
        let mut actuator = Actuator::new(&of, 0.0, 0.0);
        actuator.command(0.0, 4.0);
        actuator.arrive(0.0);
        assert_relative_eq!(actuator.angle_deg(0.04), 2.0, max_relative = 1e-12);
        let late = 4.0 - (-1.0_f64).exp();
        assert_relative_eq!(actuator.angle_deg(0.08), late, max_relative = 1e-12);
    }

    // The nozzle stands at gain times bias, and goes no further than its travel of 5 deg.
    #[test]
    fn it_starts_at_its_bias_and_the_travel_holds() {
        let mut of = numbers();
        of.bias_deg = 2.0;
        let mut actuator = Actuator::new(&of, 0.0, 0.0);
        assert_relative_eq!(actuator.angle_deg(1.0), 1.9);
        actuator.command(1.0, 9.0);
        actuator.command(1.005, 8.0);
        actuator.arrive(1.012);
        assert_relative_eq!(actuator.next_arrival_s(), 1.017, max_relative = 1e-12);
        assert_relative_eq!(actuator.angle_deg(3.0), 5.0, max_relative = 1e-12);
    }
}
