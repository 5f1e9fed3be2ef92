//! The sampled controller: one tick of the loop, the same arithmetic here and in `controller.h`.
//!
//! With tilt y, tilt rate w (deg, deg/s), set point r, period h, and a factor s that follows thrust
//! (1 without a schedule), in this order:
//!
//! ```text
//! rate   = w as measured, or (y - y_old) / h
//! f      = a f + (1 - a) rate                        a = filter / (filter + h)
//! v      = s kp (b r - y) + I - s kd f + g           what is wanted
//! u      = v within the limit either side, and within slew h of the last u
//! I      = I + h (s ki (r - y) + (u - v) / tracking) no integral without ki
//! g      = g exp(-h / fade)
//! ```
//!
//! The derivative acts on the measurement, never on the error, so a step of the set point makes no
//! derivative kick; f starts at the measured rate, or at 0 with y_old = y. At the first tick g is what makes
//! u the command that is in force already, whatever the tilt (bumpless start), and decays with the
//! fade time; I starts at 0, so that the start leaves nothing behind. I moves after the command is
//! formed: the integral acts one tick late, which a golden file has to fix.
//!
//! Source: Åström & Hägglund, Advanced PID Control, 2006, chapters 3 and 13 (set-point weight,
//! backward difference, back-calculation, bumpless start); the decay of the offset is common practice,
//! no source.

use std::ops::{Add, Div, Mul, Neg, Sub};

use serde::{Deserialize, Serialize};

/// Where the derivative comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "lowercase")]
pub enum Derivative {
    /// The gyro's rate.
    Rate,
    /// The difference between two tilts.
    Difference,
}

impl Derivative {
    /// The word used in files and outputs.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Rate => "rate",
            Self::Difference => "difference",
        }
    }
}

/// Everything that defines a controller.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Controller {
    /// Period of the loop, s.
    pub period_s: f64,
    /// Degrees of command for each degree of tilt.
    pub kp: f64,
    /// Degrees of command for each degree of tilt standing for a second, 1/s.
    pub ki_per_s: f64,
    /// Degrees of command for each degree per second, s.
    pub kd_s: f64,
    /// Where the derivative comes from.
    pub derivative: Derivative,
    /// Time constant of the derivative's filter, s.
    pub filter_s: f64,
    /// Weight of the set point in the proportional part.
    pub set_point_weight: f64,
    /// Largest command either side, deg.
    pub limit_deg: f64,
    /// Fastest change of the command, deg/s; none when it may jump.
    pub slew_deg_s: Option<f64>,
    /// Time in which the integral follows a command that ran into a limit, s.
    pub tracking_s: f64,
    /// Fade time: time constant with which the offset of a bumpless start decays, s; 0 for none.
    #[serde(rename = "glide_s")]
    pub fade_s: f64,
}

impl Controller {
    /// A controller in ideal form, u = K (e + 1/Ti int e + Td de/dt), with the derivative of the
    /// measurement filtered by Td / N, and nothing that limits it.
    #[cfg(test)]
    pub fn ideal(ideal: &Ideal, filter_factor: f64, period_s: f64) -> Self {
        let td_s = ideal.td_s.unwrap_or(0.0);
        let ki_per_s = ideal.ti_s.map_or(0.0, |ti_s| ideal.kp / ti_s);
        let kd_s = ideal.kp * td_s;
        Self {
            period_s,
            kp: ideal.kp,
            ki_per_s,
            kd_s,
            derivative: Derivative::Difference,
            filter_s: td_s / filter_factor,
            set_point_weight: 1.0,
            limit_deg: f64::INFINITY,
            slew_deg_s: None,
            tracking_s: tracking_s(kd_s, ki_per_s, period_s),
            fade_s: 0.0,
        }
    }

    /// Share of the filtered derivative that stays from tick to tick.
    #[must_use]
    pub fn filter_share(&self) -> f64 {
        self.filter_s / (self.filter_s + self.period_s)
    }
}

/// Settings in ideal form.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Ideal {
    /// Gain.
    pub kp: f64,
    /// Integral time, s; none without an integral.
    pub ti_s: Option<f64>,
    /// Derivative time, s; none without a derivative.
    pub td_s: Option<f64>,
}

/// Tracking time by the rule sqrt(Ti Td) = sqrt(kd / ki), never below ten periods.
#[must_use]
pub(crate) fn tracking_s(kd_s: f64, ki_per_s: f64, period_s: f64) -> f64 {
    let least = 10.0 * period_s;
    if ki_per_s > 0.0 {
        (kd_s / ki_per_s).sqrt().max(least)
    } else {
        least
    }
}

/// Numbers the controller can work in: double precision to design with, single to hold firmware
/// against.
pub(crate) trait Real:
    Copy
    + PartialOrd
    + Add<Output = Self>
    + Sub<Output = Self>
    + Mul<Output = Self>
    + Div<Output = Self>
    + Neg<Output = Self>
{
    /// The nearest number to a double.
    fn of(value: f64) -> Self;
    /// As a double.
    fn wide(self) -> f64;
}

impl Real for f64 {
    fn of(value: f64) -> Self {
        value
    }
    fn wide(self) -> f64 {
        self
    }
}

impl Real for f32 {
    fn of(value: f64) -> Self {
        value as Self
    }
    fn wide(self) -> f64 {
        f64::from(self)
    }
}

/// What the loop reads at a tick.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Reading<R> {
    /// Wanted tilt, deg.
    pub set_point_deg: R,
    /// Tilt, deg.
    pub tilt_deg: R,
    /// Tilt rate, deg/s; not looked at when the derivative is a difference.
    pub rate_deg_s: R,
    /// Factor of the gains: reference thrust over thrust, within the schedule's bounds; 1 without.
    pub factor: R,
}

/// Constants that are worked out once, before the first tick.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Constants {
    /// Share of the filtered derivative that stays.
    pub stays: f64,
    /// Share of the new one that comes.
    pub comes: f64,
    /// Largest change of the command within a period, deg.
    pub largest_step: Option<f64>,
    /// Period over tracking time; 0 without an integral.
    pub per_tracking: f64,
    /// What the offset of the start keeps from tick to tick.
    pub fade: f64,
}

/// A controller at work.
#[derive(Debug, Clone)]
pub(crate) struct Pid<R> {
    period: R,
    kp: R,
    ki: R,
    kd: R,
    by_rate: bool,
    stays: R,
    comes: R,
    weight: R,
    limit: R,
    largest_step: Option<R>,
    per_tracking: R,
    fade: R,
    tilt_before: R,
    filtered_rate: R,
    integral: R,
    offset: R,
    command: R,
    started: bool,
}

impl<R: Real> Pid<R> {
    /// A controller before its first tick, with the command that is in force, deg.
    #[must_use]
    pub(crate) fn new(of: &Controller, command_in_force_deg: f64) -> Self {
        let stays = of.filter_share();
        let per_tracking = if of.ki_per_s > 0.0 {
            of.period_s / of.tracking_s
        } else {
            0.0
        };
        let fade = if of.fade_s > 0.0 {
            (-of.period_s / of.fade_s).exp()
        } else {
            0.0
        };
        Self {
            period: R::of(of.period_s),
            kp: R::of(of.kp),
            ki: R::of(of.ki_per_s),
            kd: R::of(of.kd_s),
            by_rate: of.derivative == Derivative::Rate,
            stays: R::of(stays),
            comes: R::of(1.0 - stays),
            weight: R::of(of.set_point_weight),
            limit: R::of(of.limit_deg),
            largest_step: of.slew_deg_s.map(|slew| R::of(slew * of.period_s)),
            per_tracking: R::of(per_tracking),
            fade: R::of(fade),
            tilt_before: R::of(0.0),
            filtered_rate: R::of(0.0),
            integral: R::of(0.0),
            offset: R::of(0.0),
            command: R::of(command_in_force_deg),
            started: false,
        }
    }

    /// The constants that a tick uses besides the gains.
    #[must_use]
    pub(crate) fn constants(&self) -> Constants {
        Constants {
            stays: self.stays.wide(),
            comes: self.comes.wide(),
            largest_step: self.largest_step.map(Real::wide),
            per_tracking: self.per_tracking.wide(),
            fade: self.fade.wide(),
        }
    }

    /// One tick: the command, deg. A reading that is no finite number leaves the command and all states as they are.
    pub(crate) fn tick(&mut self, reading: &Reading<R>) -> R {
        let Reading {
            set_point_deg,
            tilt_deg,
            rate_deg_s,
            factor,
        } = *reading;
        let read = [set_point_deg, tilt_deg, factor];
        let finite = |read: &R| read.wide().is_finite();
        if !read.iter().all(finite) || (self.by_rate && !finite(&rate_deg_s)) {
            return self.command;
        }
        self.filter_rate(tilt_deg, rate_deg_s);
        let proportional = factor * self.kp * (self.weight * set_point_deg - tilt_deg);
        let own = proportional + self.integral - factor * self.kd * self.filtered_rate;
        if !self.started {
            self.started = true;
            if self.fade > R::of(0.0) {
                self.offset = self.command - own;
            }
        }
        let wanted = own + self.offset;
        let mut command = clamp(wanted, -self.limit, self.limit);
        if let Some(step) = self.largest_step {
            command = clamp(command, self.command - step, self.command + step);
        }
        self.integral = self.integral
            + self.period * factor * self.ki * (set_point_deg - tilt_deg)
            + self.per_tracking * (command - wanted);
        self.offset = self.offset * self.fade;
        self.command = command;
        command
    }

    fn filter_rate(&mut self, tilt_deg: R, rate_deg_s: R) {
        if !self.started {
            self.filtered_rate = if self.by_rate { rate_deg_s } else { R::of(0.0) };
        } else if self.by_rate {
            self.filtered_rate = self.stays * self.filtered_rate + self.comes * rate_deg_s;
        } else {
            let difference = (tilt_deg - self.tilt_before) / self.period;
            self.filtered_rate = self.stays * self.filtered_rate + self.comes * difference;
        }
        self.tilt_before = tilt_deg;
    }
}

fn clamp<R: Real>(value: R, low: R, high: R) -> R {
    if value > high {
        high
    } else if value < low {
        low
    } else {
        value
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn still(tilt_deg: f64) -> Reading<f64> {
        Reading {
            set_point_deg: 0.0,
            tilt_deg,
            rate_deg_s: 0.0,
            factor: 1.0,
        }
    }

    const IDEAL: Ideal = Ideal {
        kp: 2.0,
        ti_s: None,
        td_s: Some(0.5),
    };

    // Check values: Td 0.5, N 10, h 0.01: backward difference keeps 0.8333333 and takes
    // K Td N/(Td + N h) = 16.666667 of the step (Åström & Hägglund, from memory; arithmetic redone).
    #[test]
    fn what_is_no_number_holds_the_command_and_leaves_the_states_alone() {
        let ideal = Ideal {
            kp: 2.0,
            ti_s: Some(1.0),
            td_s: Some(0.1),
        };
        let mut pid = Pid::<f64>::new(&Controller::ideal(&ideal, 5.0, 0.01), 0.0);
        pid.tick(&still(1.0));
        let held = pid.tick(&still(1.5));
        let mut through = pid.clone();
        for lost in [f64::NAN, f64::INFINITY] {
            assert_eq!(through.tick(&still(lost)), held);
        }
        assert_eq!(through.tick(&still(1.2)), pid.tick(&still(1.2)));
    }

    #[test]
    fn the_filtered_derivative_has_the_backward_differences_coefficients() {
        let of = Controller::ideal(&IDEAL, 10.0, 0.01);
        assert_relative_eq!(of.filter_share(), 0.833_333_333, max_relative = 1e-8);
        let mut pid = Pid::<f64>::new(&of, 0.0);
        pid.tick(&still(0.0));
        let jump = pid.tick(&still(-1.0));
        // The proportional part takes 2 of it.
        assert_relative_eq!(jump - 2.0, 2.0 * 16.666_666_7 / 2.0, max_relative = 1e-8);
        let next = pid.tick(&still(-1.0));
        assert_relative_eq!(
            next - 2.0,
            16.666_666_7 * 0.833_333_333,
            max_relative = 1e-8
        );
    }

    // K = 2, Td = 0.5, h = 0.01 without a filter: a step of the tilt adds K Td/h = 100; with
    // N = 10 and h to 0 the jump of a step is K (1 + N) = 22 (same source).
    #[test]
    fn a_step_of_the_measurement_kicks_by_the_published_amounts() {
        let mut plain = Controller::ideal(&IDEAL, 10.0, 0.01);
        plain.filter_s = 0.0;
        let mut pid = Pid::<f64>::new(&plain, 0.0);
        pid.tick(&still(0.0));
        assert_relative_eq!(pid.tick(&still(-1.0)), 102.0, max_relative = 1e-12);
        let mut pid = Pid::<f64>::new(&Controller::ideal(&IDEAL, 10.0, 1e-7), 0.0);
        pid.tick(&still(0.0));
        assert_relative_eq!(pid.tick(&still(-1.0)), 22.0, max_relative = 1e-5);
    }

    #[test]
    fn a_step_of_the_set_point_moves_by_gain_and_weight_alone() {
        let mut of = Controller::ideal(&IDEAL, 10.0, 0.01);
        for weight in [1.0, 0.3] {
            of.set_point_weight = weight;
            let mut pid = Pid::<f64>::new(&of, 0.0);
            pid.tick(&still(0.0));
            let mut step = still(0.0);
            step.set_point_deg = 1.0;
            assert_relative_eq!(pid.tick(&step), 2.0 * weight, max_relative = 1e-12);
        }
    }

    fn shipped(derivative: Derivative) -> Controller {
        Controller {
            period_s: 0.01,
            kp: 1.0,
            ki_per_s: 0.8,
            kd_s: 0.2,
            derivative,
            filter_s: 0.01,
            set_point_weight: 1.0,
            limit_deg: 5.0,
            slew_deg_s: None,
            tracking_s: 0.5,
            fade_s: 0.1,
        }
    }

    #[test]
    fn the_first_command_is_the_one_in_force_from_any_state() {
        for derivative in [Derivative::Rate, Derivative::Difference] {
            for (tilt_deg, rate_deg_s, in_force) in
                [(0.0, 0.0, 0.0), (8.0, -40.0, 1.5), (-30.0, 200.0, -4.0)]
            {
                let mut pid = Pid::<f64>::new(&shipped(derivative), in_force);
                let reading = Reading {
                    set_point_deg: 2.0,
                    tilt_deg,
                    rate_deg_s,
                    factor: 0.7,
                };
                assert_relative_eq!(pid.tick(&reading), in_force, epsilon = 1e-12);
            }
        }
    }

    // Tilt held at 1 deg: the offset decays with exp(-t/0.1 s), and what is left is -1 deg for the
    // proportional part less the integral, 0.8 deg/s.
    #[test]
    fn the_start_fades_and_leaves_nothing_in_the_integral() {
        let mut pid = Pid::<f64>::new(&shipped(Derivative::Rate), 0.0);
        let commands: Vec<f64> = (0..200).map(|_| pid.tick(&still(1.0))).collect();
        for (at, command) in commands.iter().enumerate() {
            let t = 0.01 * at as f64;
            let by_hand = -1.0 - 0.8 * t + (-t / 0.1).exp();
            assert_relative_eq!(*command, by_hand, epsilon = 1e-12);
        }
    }

    // Held at 10 deg the command stands at its limit of 5 deg. Back-calculation lets the integral
    // settle where v - u = ki e Tt = 0.8 x 10 x 0.5 = 4 deg; without it, it would run to 80 deg in
    // 10 s. On return to 0 the command leaves the limit within the tracking time.
    #[test]
    fn the_integral_does_not_wind_up_at_a_limit() {
        let mut pid = Pid::<f64>::new(&shipped(Derivative::Difference), 0.0);
        for _ in 0..1000 {
            assert!(pid.tick(&still(10.0)).abs() <= 5.0);
        }
        assert_relative_eq!(pid.integral, -9.0 + 10.0, epsilon = 1e-6);
        pid.filtered_rate = 0.0;
        pid.tilt_before = 0.0;
        assert!(pid.tick(&still(0.0)) > -5.0);
    }

    #[test]
    fn the_command_changes_no_faster_than_its_slew() {
        let mut of = shipped(Derivative::Rate);
        of.slew_deg_s = Some(50.0);
        of.fade_s = 0.0;
        let mut pid = Pid::<f64>::new(&of, 0.0);
        let commands: Vec<f64> = (0..12).map(|_| pid.tick(&still(20.0))).collect();
        for (at, command) in commands.iter().enumerate() {
            let by_hand = (-0.5 * (at + 1) as f64).max(-5.0);
            assert_relative_eq!(*command, by_hand, epsilon = 1e-12);
        }
    }

    #[test]
    fn without_an_integral_nothing_adds_up() {
        let mut of = shipped(Derivative::Rate);
        of.ki_per_s = 0.0;
        let mut pid = Pid::<f64>::new(&of, 0.0);
        for _ in 0..500 {
            pid.tick(&still(20.0));
        }
        assert_eq!(pid.integral, 0.0);
    }
}
