//! The flight computer: a test pattern plus feedback, once in each tick of its loop.
//!
//! command = pattern - kp tilt - ki integral of tilt - kd rate, limited, rounded to its step. The
//! tilt is the computer's own estimate (the truth with noise), the rate is what its gyro shows.
//! Before it starts and after it ends the command is zero.

use super::noise::Stream;
use super::spec::{Computer, Pattern, Steering};

/// The test pattern of one axis: when each value begins, s, and the value, deg.
pub(super) fn pattern(steering: &Steering, name: &str, seed: u64, lasts_s: f64) -> Vec<(f64, f64)> {
    if steering.pattern == Pattern::Given {
        return steering.given.clone();
    }
    let mut stream = Stream::new(seed, &format!("computer.{name}.pattern"));
    let mut out = Vec::new();
    let (mut at_s, mut sign) = (0.0, 1.0);
    while at_s < lasts_s && steering.dwell_s > 0.0 {
        let (size_deg, stay_s) = match steering.pattern {
            Pattern::None | Pattern::Given => break,
            Pattern::Doublets => (steering.amplitude_deg, steering.dwell_s),
            Pattern::Steps => (
                stream.between(steering.smallest_deg, steering.amplitude_deg),
                stream.between(steering.shortest_s, steering.dwell_s),
            ),
        };
        out.push((at_s, sign * size_deg));
        at_s += stay_s;
        sign = -sign;
    }
    out
}

/// The controller of one axis at work.
pub(super) struct AxisController<'a> {
    computer: &'a Computer,
    steering: Steering,
    pattern: Vec<(f64, f64)>,
    estimate_noise: Stream,
    integral_rad_s: f64,
    begins_s: f64,
    last_s: Option<f64>,
}

impl<'a> AxisController<'a> {
    /// The controller of an axis, to begin at a time.
    pub(super) fn new(computer: &'a Computer, name: &str, seed: u64, begins_s: f64) -> Self {
        let steering = computer.steering.get(name).cloned().unwrap_or_default();
        Self {
            computer,
            pattern: pattern(&steering, name, seed, computer.lasts_s),
            steering,
            estimate_noise: Stream::new(seed, &format!("computer.{name}.attitude")),
            integral_rad_s: 0.0,
            begins_s,
            last_s: None,
        }
    }

    /// The command of a tick, deg, from the true tilt and the measured rate.
    pub(super) fn command_deg(
        &mut self,
        time_s: f64,
        tilt_rad: f64,
        measured_rate_rad_s: f64,
    ) -> f64 {
        let noise = self.estimate_noise.normal() * self.computer.attitude_noise_rad;
        let since_s = time_s - self.begins_s;
        if since_s < 0.0 || since_s >= self.computer.lasts_s {
            return 0.0;
        }
        let tilt_rad = tilt_rad + noise;
        let period_s = self.last_s.map_or(0.0, |last| time_s - last);
        self.last_s = Some(time_s);
        self.integral_rad_s += tilt_rad * period_s;
        let gains = &self.steering;
        let feedback_rad =
            gains.kp * tilt_rad + gains.ki * self.integral_rad_s + gains.kd * measured_rate_rad_s;
        let begun = self.pattern.partition_point(|(at, _)| *at <= since_s);
        let pattern_deg = begun.checked_sub(1).map_or(0.0, |at| self.pattern[at].1);
        let wanted = pattern_deg - feedback_rad.to_degrees();
        let limit = self.computer.limit_deg;
        to_step(wanted.clamp(-limit, limit), self.computer.step_deg)
    }
}

/// A value rounded to a whole number of steps; as it is when there is no step.
pub(super) fn to_step(value: f64, step: f64) -> f64 {
    if step > 0.0 {
        (value / step).round() * step
    } else {
        value
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    fn computer(steering: Steering) -> Computer {
        Computer {
            recorder: "computer".to_owned(),
            starts_s: 0.0,
            lasts_s: 1.0,
            limit_deg: 4.0,
            step_deg: 0.01,
            attitude_noise_rad: 0.0,
            steering: std::iter::once(("pitch".to_owned(), steering)).collect(),
        }
    }

    #[test]
    fn feedback_pushes_back_and_the_limit_holds() {
        let gains = Steering {
            kp: 0.5,
            ki: 2.0,
            kd: 0.1,
            ..Steering::default()
        };
        let computer = computer(gains);
        let mut one = AxisController::new(&computer, "pitch", 1, 3.0);
        let (tilt, rate) = (2.0_f64.to_radians(), 10.0_f64.to_radians());
        assert_eq!(one.command_deg(2.9, tilt, rate), 0.0);
        // -(0.5 2 + 0.1 10) = -2.
        assert_abs_diff_eq!(one.command_deg(3.0, tilt, rate), -2.0, epsilon = 1e-9);
        // 0.1 s later the integral is 0.2 deg s: 0.4 deg more.
        assert_abs_diff_eq!(one.command_deg(3.1, tilt, rate), -2.4, epsilon = 1e-9);
        assert_abs_diff_eq!(one.command_deg(3.2, tilt, 60.0_f64.to_radians()), -4.0);
        assert_eq!(one.command_deg(4.0, tilt, rate), 0.0);
    }

    #[test]
    fn a_pattern_reverses_within_its_bounds() {
        let steering = Steering {
            pattern: Pattern::Steps,
            amplitude_deg: 2.0,
            smallest_deg: 0.5,
            dwell_s: 0.2,
            shortest_s: 0.08,
            ..Steering::default()
        };
        let steps = pattern(&steering, "pitch", 3, 2.0);
        assert!(steps.len() >= 10);
        for pair in steps.windows(2) {
            let stay = pair[1].0 - pair[0].0;
            assert!((0.08..=0.2).contains(&stay));
            assert!(pair[0].1 * pair[1].1 < 0.0);
            assert!((0.5..=2.0).contains(&pair[0].1.abs()));
        }
        let yaw = pattern(&steering, "yaw", 3, 2.0);
        assert_ne!(steps, yaw);
    }
}
