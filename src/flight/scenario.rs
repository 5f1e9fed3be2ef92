//! What is flown: the rocket, its motors, how it is let go, what pushes it, what its sensors read.

use std::sync::Arc;

use serde::{Deserialize, Serialize};

use crate::control::gains::Schedule;
use crate::control::model::AxisNumbers;
use crate::control::pid::Controller;
use crate::series::Series;

/// One motor.
#[derive(Debug, Clone)]
pub struct Motor {
    /// Its name.
    pub name: String,
    /// Its thrust over time since the ignition of the record, N.
    pub thrust_n: Arc<Series>,
    /// Factor of its thrust.
    pub scale: f64,
    /// How much later it lights than in the record, s.
    pub later_s: f64,
    /// Tilt torque per newton, m.
    pub offset_m: f64,
    /// Whether it lights.
    pub lights: bool,
}

/// Coefficients of the air; all zero when none are given.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Air {
    /// Drag over dynamic pressure, m2.
    pub drag_area_m2: f64,
    /// Normal force over dynamic pressure and angle of attack, m2/rad.
    pub normal_area_m2: f64,
    /// How far ahead of the centre of gravity it acts, m; ahead is destabilising.
    pub ahead_m: f64,
    /// Torque against the tilt rate, N m s.
    pub damping_n_m_s: f64,
}

/// Wind: what pushes sideways, besides the motors.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Wind {
    /// Steady force, N.
    pub steady_n: f64,
    /// Steady tilt torque, N m.
    pub steady_nm: f64,
    /// Largest force of a gust, N.
    pub gust_n: f64,
    /// Largest torque of a gust, N m.
    pub gust_nm: f64,
    /// When the gust begins, s after ignition.
    pub gust_at_s: f64,
    /// How long it lasts, s; it rises and falls as 1 - cos.
    pub gust_lasts_s: f64,
}

impl Wind {
    /// Force and torque at a time, N and N m.
    #[must_use]
    #[inline]
    pub fn at(&self, time_s: f64) -> (f64, f64) {
        let since = (time_s - self.gust_at_s) / self.gust_lasts_s;
        let shape = if self.gust_lasts_s > 0.0 && (0.0..=1.0).contains(&since) {
            0.5 * (1.0 - (std::f64::consts::TAU * since).cos())
        } else {
            0.0
        };
        (
            self.steady_n + shape * self.gust_n,
            self.steady_nm + shape * self.gust_nm,
        )
    }
}

/// What the controller reads.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Sensors {
    /// Standard deviation of a tilt, deg.
    pub tilt_noise_deg: f64,
    /// Standard deviation of a rate, deg/s.
    pub rate_noise_deg_s: f64,
    /// What every rate has too much, deg/s.
    pub rate_bias_deg_s: f64,
}

/// One flight to be simulated.
#[derive(Debug, Clone)]
pub struct Scenario {
    /// Numbers of the axis.
    pub axis: AxisNumbers,
    /// The controller; none leaves the command at zero.
    pub controller: Option<Controller>,
    /// Gains by thrust.
    pub schedule: Option<Arc<Schedule>>,
    /// Latency from reading the sensors to the command's leaving, s.
    pub latency_s: f64,
    /// Motors.
    pub motors: Vec<Motor>,
    /// Mass at ignition, kg; without it neither altitude nor drift.
    pub mass_kg: Option<f64>,
    /// Propellant, kg.
    pub propellant_kg: f64,
    /// Moment of inertia, kg m2; without it no torque but the motors'.
    pub inertia_kg_m2: Option<f64>,
    /// Gravity, m/s2.
    pub gravity_m_s2: f64,
    /// Air.
    pub air: Air,
    /// Wind.
    pub wind: Wind,
    /// Tilt acceleration over time that was measured, rad/s2.
    pub disturbance_rad_s2: Option<Arc<Series>>,
    /// Sensors.
    pub sensors: Sensors,
    /// Tilt until it is let go, deg.
    pub tilt_deg: f64,
    /// Tilt rate when it is let go, deg/s.
    pub rate_deg_s: f64,
    /// When it is let go, s after ignition. The controller's first tick is then.
    pub release_s: f64,
    /// When the flight ends, s after ignition.
    pub ends_s: f64,
    /// Longest step, s.
    pub step_s: f64,
}

/// Longest step that is used unless another is asked for, s.
pub(crate) const STEP_S: f64 = 0.005;
