//! Specification of a controller: rate, latency, robustness, limits, and how gains follow thrust.

use super::model::Body;
use super::pid::Derivative;
use super::start_up::Start;

/// When gains follow thrust.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scheduling {
    /// When fixed gains miss the limits or leave twice the disturbance response, and these meet them.
    WhenNeeded,
    /// Always.
    Always,
    /// Never.
    Never,
}

/// Specification of the controller: what the user chooses.
#[derive(Debug, Clone)]
pub struct Specification {
    /// Which body turns.
    pub body: Body,
    /// Rate of the loop, Hz.
    pub rate_hz: f64,
    /// Latency from reading the sensors to the command's leaving, s.
    pub latency_s: f64,
    /// Where the derivative comes from.
    pub derivative: Derivative,
    /// Time constant of the derivative's filter; one period of the loop when none is given.
    pub filter_s: Option<f64>,
    /// Largest sensitivity peak.
    pub sensitivity_peak: f64,
    /// Largest command, deg; what the travel allows when none is given.
    pub limit_deg: Option<f64>,
    /// Fastest change of the command, deg/s.
    pub slew_deg_s: Option<f64>,
    /// Noise of the sensors; that of the record when none is given, deg and deg/s.
    pub tilt_noise_deg: Option<f64>,
    /// See above.
    pub rate_noise_deg_s: Option<f64>,
    /// Share of peak thrust from which on the loop has to hold.
    pub thrust_from: f64,
    /// How the firmware starts the controller.
    pub start: Start,
    /// Tilt at the first tick, deg.
    pub first_tilt_deg: f64,
    /// When gains follow thrust.
    pub scheduling: Scheduling,
    /// Plants sampled from the covariance.
    pub draws: usize,
    /// Where the random stream starts from.
    pub seed: u64,
}

impl Default for Specification {
    fn default() -> Self {
        Self {
            body: Body::Flight,
            rate_hz: 100.0,
            latency_s: 0.002,
            derivative: Derivative::Rate,
            filter_s: None,
            sensitivity_peak: 1.6,
            limit_deg: None,
            slew_deg_s: None,
            tilt_noise_deg: None,
            rate_noise_deg_s: None,
            thrust_from: 0.2,
            start: Start::default(),
            first_tilt_deg: 3.0,
            scheduling: Scheduling::WhenNeeded,
            draws: 300,
            seed: 1,
        }
    }
}
