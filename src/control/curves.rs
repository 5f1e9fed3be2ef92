//! What pictures of a loop are drawn from: its open loop as gain against phase, and its disturbance
//! response. A few dozen points each, kept in the result.

use serde::{Deserialize, Serialize};

use super::axis_loop::SampledAxis;
use super::pid::{Controller, Pid, Reading};

/// An open loop, frequency by frequency.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct OpenLoop {
    /// Under which thrust, N.
    pub thrust_n: f64,
    /// Frequency, rad/s.
    pub rad_s: Vec<f64>,
    /// Gain, decibel.
    pub gain_db: Vec<f64>,
    /// Phase without jumps, deg.
    pub phase_deg: Vec<f64>,
}

/// Disturbance response: tilt after a step disturbance as large as one degree of nozzle.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct DisturbanceResponse {
    /// Under which thrust, N.
    pub thrust_n: f64,
    /// Seconds since the disturbance began.
    pub time_s: Vec<f64>,
    /// Tilt, deg.
    pub tilt_deg: Vec<f64>,
}

/// Points that a picture is drawn from.
const POINTS: usize = 90;
/// Gain beyond which nothing is decided, decibel either side.
const DECIBEL: f64 = 24.0;
/// Lowest frequency as a share of the highest.
const LOWEST: f64 = 1e-3;
/// How long a response is shown, s.
const SHOWN_S: f64 = 2.0;

/// The part of an open loop where its gain is near 1.
#[must_use]
pub(crate) fn open_loop(axis: &SampledAxis, of: &Controller, thrust_n: f64) -> OpenLoop {
    let open = axis.open(of, thrust_n);
    let highest = open.nyquist_rad_s();
    let mut out = OpenLoop {
        thrust_n,
        rad_s: vec![],
        gain_db: vec![],
        phase_deg: vec![],
    };
    let mut before: Option<f64> = None;
    for at in 0..=4 * POINTS {
        let rad_s = highest * LOWEST.powf(1.0 - at as f64 / (4 * POINTS) as f64);
        let here = open.at(rad_s);
        let gain_db = 20.0 * here.norm().log10();
        // The first angle is told as a lag, the others go on from it.
        let angle = here.arg().to_degrees();
        let phase_deg = match before {
            None if angle > 0.0 => angle - 360.0,
            None => angle,
            Some(old) => angle + 360.0 * ((old - angle) / 360.0).round(),
        };
        before = Some(phase_deg);
        if at % 4 == 0 && gain_db.abs() <= DECIBEL && phase_deg >= -360.0 {
            out.rad_s.push(rad_s);
            out.gain_db.push(gain_db);
            out.phase_deg.push(phase_deg);
        }
    }
    out
}

/// Tilt from tick to tick after a step disturbance of one degree of nozzle, no limit in the way, deg.
#[must_use]
pub(crate) fn response_to_step(
    axis: &SampledAxis,
    of: &Controller,
    thrust_n: f64,
    lasts_s: f64,
) -> Vec<f64> {
    let free = Controller {
        limit_deg: f64::INFINITY,
        slew_deg_s: None,
        fade_s: 0.0,
        ..of.clone()
    };
    let (mut pid, mut moving) = (Pid::<f64>::new(&free, 0.0), axis.at_rest());
    (0..(lasts_s / of.period_s) as usize)
        .map(|_| {
            let tilt_deg = moving.state[1];
            let command = pid.tick(&Reading {
                set_point_deg: 0.0,
                tilt_deg,
                rate_deg_s: moving.state[2],
                factor: 1.0,
            });
            axis.step(&mut moving, (command + 1.0) * thrust_n);
            tilt_deg
        })
        .collect()
}

/// The same for a picture; the gains are those under this thrust.
#[must_use]
pub(crate) fn disturbance_response(
    axis: &SampledAxis,
    of: &Controller,
    thrust_n: f64,
) -> DisturbanceResponse {
    let all = response_to_step(axis, of, thrust_n, SHOWN_S);
    let every = all.len().div_ceil(POINTS).max(1);
    let kept = || (0..all.len()).step_by(every);
    DisturbanceResponse {
        thrust_n,
        time_s: kept().map(|at| at as f64 * of.period_s).collect(),
        tilt_deg: kept().map(|at| all[at]).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::super::axis_loop::tests::{controller, numbers};
    use super::super::pid::Derivative;
    use super::*;

    // The curve passes gain 1 at the phase margin and -180 degrees at the gain margins, as the margins
    // themselves say (between two points, straight).
    #[test]
    fn the_open_loop_shows_the_margins() {
        let axis = SampledAxis::new(&numbers(), 0.01, 0.003);
        let of = controller(Derivative::Rate);
        let margins = axis.margins(&of, 25.0);
        let open = open_loop(&axis, &of, 25.0);
        assert!((20..=POINTS + 1).contains(&open.rad_s.len()));
        let crossing = |x: &[f64], y: &[f64], level: f64| -> Vec<f64> {
            (1..x.len())
                .filter(|i| (x[i - 1] - level) * (x[*i] - level) < 0.0)
                .map(|i| y[i - 1] + (y[i] - y[i - 1]) * (level - x[i - 1]) / (x[i] - x[i - 1]))
                .collect()
        };
        let phases = crossing(&open.gain_db, &open.phase_deg, 0.0);
        assert_eq!(phases.len(), 1);
        assert!((phases[0] + 180.0 - margins.phase_deg.unwrap()).abs() < 0.2);
        let gains = crossing(&open.phase_deg, &open.gain_db, -180.0);
        let wanted = [margins.lower_gain, margins.upper_gain].map(|of| -20.0 * of.unwrap().log10());
        assert_eq!(gains.len(), 2);
        for (found, wanted) in gains.iter().zip(wanted) {
            assert!((found - wanted).abs() < 0.1, "{found} {wanted}");
        }
    }

    // A step disturbance as large as one degree of nozzle is taken up by the integral: the tilt comes back.
    #[test]
    fn the_tilt_after_a_disturbance_comes_back() {
        let axis = SampledAxis::new(&numbers(), 0.01, 0.003);
        let answer = disturbance_response(&axis, &controller(Derivative::Rate), 25.0);
        assert_eq!(answer.tilt_deg[0], 0.0);
        assert!(answer.tilt_deg.len() <= POINTS);
        let largest = answer.tilt_deg.iter().copied().fold(0.0, f64::max);
        let last = answer.tilt_deg[answer.tilt_deg.len() - 1];
        assert!(largest > 0.3 && last < 0.9 * largest, "{largest} {last}");
    }
}
