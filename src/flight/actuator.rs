//! Command to nozzle angle, as `plant.json` defines it: dead time, dead band, gain, limit, a lag of first or of second
//! order, and perhaps a fastest movement of one of first order.
//!
//! Commands are held, so between two arrivals the nozzle heads for a fixed angle, and where it is
//! follows in closed form: a straight line while it runs at its fastest, an exponential from there
//! on; one of second order swings to it. No step size is involved. Written from the equations of the plant file alone; the fit has an
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
    damping_ratio: Option<f64>,
    delay_s: f64,
    dead_band: DeadBand,
    travel_deg: f64,
    slew_deg_s: f64,
    /// Commands on their way: when they arrive, s, and what they say, deg.
    coming: VecDeque<(f64, f64)>,
    demand_deg: f64,
    /// When the demand last changed, s, where the nozzle was then, deg, and, of second order, how fast, deg/s.
    since_s: f64,
    angle_deg: f64,
    rate_deg_s: f64,
}

impl Actuator {
    /// At rest under a command of zero; the latency comes on top of the actuator's own delay.
    pub(crate) fn new(of: &AxisNumbers, latency_s: f64, start_s: f64) -> Self {
        let mut out = Self {
            gain: of.gain,
            bias_deg: of.bias_deg,
            lag_s: of.lag_s,
            damping_ratio: of.damping_ratio,
            delay_s: of.delay_s + latency_s,
            dead_band: DeadBand::new(of.dead_band, of.width_deg),
            travel_deg: of.travel_deg.unwrap_or(f64::INFINITY),
            slew_deg_s: of.slew_deg_s.unwrap_or(f64::INFINITY),
            coming: VecDeque::new(),
            demand_deg: 0.0,
            since_s: start_s,
            angle_deg: 0.0,
            rate_deg_s: 0.0,
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
            (self.angle_deg, self.rate_deg_s) = match self.damping_ratio {
                Some(ratio) => self.swinging(ratio, at_s),
                None => (self.angle_deg(at_s), 0.0),
            };
            self.since_s = at_s;
            let passed_deg = self.dead_band.pass(command_deg);
            self.demand_deg = self.demand(passed_deg);
        }
    }

    /// Nozzle angle, deg, from the last arrival to the next.
    #[inline]
    pub(crate) fn angle_deg(&self, time_s: f64) -> f64 {
        if let Some(ratio) = self.damping_ratio {
            return self.swinging(ratio, time_s).0;
        }
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

impl Actuator {
    /// Angle and rate of one of second order, deg and deg/s: x'' + 2 z w x' + w^2 x = 0 from the demand, by its two roots
    /// where they are real and apart, by sine and cosine where they are not.
    fn swinging(&self, ratio: f64, time_s: f64) -> (f64, f64) {
        let t = (time_s - self.since_s).max(0.0);
        let (x, v) = (self.angle_deg - self.demand_deg, self.rate_deg_s);
        let w = 2.0 * ratio / self.lag_s;
        let discriminant = ratio * ratio - 1.0;
        if discriminant > 1e-6 {
            let root = discriminant.sqrt();
            let (slow, fast) = (-w / (ratio + root), -w * (ratio + root));
            let of_fast = (v - slow * x) / (fast - slow);
            let (slow_part, fast_part) =
                ((x - of_fast) * (slow * t).exp(), of_fast * (fast * t).exp());
            let rate = slow * slow_part + fast * fast_part;
            return (self.demand_deg + slow_part + fast_part, rate);
        }
        let faded = (-ratio * w * t).exp();
        let swing = w * (-discriminant).max(0.0).sqrt();
        let (sine_by_swing, cosine) = if swing * t < 1e-4 {
            (t, 1.0)
        } else {
            ((swing * t).sin() / swing, (swing * t).cos())
        };
        let push = v + ratio * w * x;
        let angle = faded * (x * cosine + push * sine_by_swing);
        let rate = faded * (v * cosine - (w * w * x + ratio * w * v) * sine_by_swing);
        (self.demand_deg + angle, rate)
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

    // 2 deg asked of a nozzle with lag 30 ms: with damping ratio 0.7 it overshoots by 4.599 % at 94.27 ms, at rest there; with
    // 1 it has gone 1 - (1 + w t) e^(-w t) = 0.264241 of the way at w t = 1, 15 ms; with 2 (w = 133.3, roots -35.73 and -497.6 rad/s)
    // 1 - (497.6 e^(-35.73 t) - 35.73 e^(-497.6 t)) / 461.9.
    #[test]
    fn one_of_second_order_moves_as_the_textbook_says() {
        let moved = |ratio: f64, time_s: f64| {
            let mut of = numbers();
            (of.gain, of.delay_s, of.lag_s) = (1.0, 0.0, 0.03);
            of.damping_ratio = Some(ratio);
            let mut actuator = Actuator::new(&of, 0.0, 0.0);
            actuator.command(0.0, 2.0);
            actuator.arrive(0.0);
            // A command that says the same again changes nothing.
            actuator.command(0.4 * time_s, 2.0);
            actuator.arrive(0.4 * time_s);
            0.5 * actuator.angle_deg(time_s)
        };
        let top_s = std::f64::consts::PI / (1.4 / 0.03 * 0.51_f64.sqrt());
        assert_relative_eq!(moved(0.7, top_s), 1.045_99, epsilon = 1e-5);
        assert_relative_eq!(moved(1.0, 0.015), 0.264_241, epsilon = 1e-6);
        let (w, root) = (4.0 / 0.03, 3.0_f64.sqrt());
        let (slow, fast) = (-w / (2.0 + root), -w * (2.0 + root));
        let left =
            (fast * (slow * 0.02_f64).exp() - slow * (fast * 0.02_f64).exp()) / (fast - slow);
        assert_relative_eq!(moved(2.0, 0.02), 1.0 - left, epsilon = 1e-12);
    }
}
