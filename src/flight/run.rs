//! One flight, from release to the end of thrust.
//!
//! The equations of [`super`] in steps that are cut at every tick, every arrival of a command, at release
//! and where a motor or a gust begins or ends.

use rand::rngs::ChaCha8Rng;

use super::flight_computer::{Commands, FlightComputer};
use super::integrate::{Equations, advance};
use super::rocket::{ALTITUDE, CLIMB, DRIFT, DRIFT_SPEED, RATE, Rocket, State, TILT};
use super::scenario::Scenario;

/// A tilt at which a flight is over, rad: it flies upside down.
const LOST_RAD: f64 = std::f64::consts::PI;

/// What a flight is at an instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FlightState {
    /// Seconds since ignition.
    pub time_s: f64,
    /// Tilt, rad.
    pub tilt_rad: f64,
    /// Tilt rate, rad/s.
    pub rate_rad_s: f64,
    /// Nozzle angle, deg.
    pub nozzle_deg: f64,
    /// Command in force at the controller, deg.
    pub command_deg: f64,
    /// Thrust, N.
    pub thrust_n: f64,
    /// Drift, m.
    pub drift_m: f64,
    /// Altitude, m.
    pub altitude_m: f64,
    /// Sideways speed, m/s.
    pub drift_m_s: f64,
    /// Climbing speed, m/s.
    pub climb_m_s: f64,
}

/// What came of a flight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FlightOutcome {
    /// Largest tilt after release, deg.
    pub largest_tilt_deg: f64,
    /// Tilt at the end, deg.
    pub last_tilt_deg: f64,
    /// Largest command, deg.
    pub largest_command_deg: f64,
    /// Share of ticks with the command at its limit.
    pub at_limit: f64,
    /// Altitude at the end, m; NaN without a mass.
    pub altitude_m: f64,
    /// Drift at the end, m; NaN without a mass.
    pub drift_m: f64,
}

/// Flies, and shows every step to an observer.
pub fn fly(
    of: &Scenario,
    commands: &Commands<'_>,
    rng: &mut ChaCha8Rng,
    observer: impl FnMut(&FlightState),
) -> FlightOutcome {
    run::<true>(of, commands, rng, observer)
}

/// Flies on the controller's commands without an observer: the same flight in less time.
pub(crate) fn fly_unobserved(of: &Scenario, rng: &mut ChaCha8Rng) -> FlightOutcome {
    run::<false>(of, &Commands::Controller, rng, |_| {})
}

fn run<const OBSERVED: bool>(
    of: &Scenario,
    commands: &Commands<'_>,
    rng: &mut ChaCha8Rng,
    mut observer: impl FnMut(&FlightState),
) -> FlightOutcome {
    let mut kinks = kinks(of);
    let (mut rocket, mut state) = Rocket::new(of);
    let mut computer = FlightComputer::new(of, commands);
    let mut now_s = of.release_s;
    let mut out = FlightOutcome {
        largest_tilt_deg: of.tilt_deg.abs(),
        last_tilt_deg: of.tilt_deg,
        largest_command_deg: 0.0,
        at_limit: 0.0,
        altitude_m: f64::NAN,
        drift_m: f64::NAN,
    };
    loop {
        computer.tick(now_s, &state, &mut rocket.actuator, rng);
        rocket.actuator.arrive(now_s);
        if OBSERVED {
            observer(&observed(&mut rocket, now_s, &state, computer.command_deg));
        }
        if now_s >= of.ends_s || state[TILT].abs() >= LOST_RAD {
            break;
        }
        while kinks.pop_if(|kink| *kink <= now_s).is_some() {}
        let until_s = computer
            .next_s()
            .min(rocket.actuator.next_arrival_s())
            .min(kinks.last().copied().unwrap_or(f64::INFINITY))
            .min(of.ends_s);
        let count = ((until_s - now_s) / of.step_s - 1e-9).ceil().max(1.0);
        let step_s = (until_s - now_s) / count;
        let mut acting = rocket.inputs(now_s);
        for at in 0..count as usize {
            let from_s = now_s + at as f64 * step_s;
            acting = advance(&mut rocket, &mut state, (from_s, step_s), acting);
            stand_on_the_ground(&mut state);
            if !state.iter().all(|value| value.is_finite()) {
                // Too stiff or too strong for the step: nothing further can be said of it.
                out.largest_tilt_deg = LOST_RAD.to_degrees();
                out.last_tilt_deg = f64::NAN;
                return out;
            }
            out.largest_tilt_deg = out.largest_tilt_deg.max(state[TILT].abs().to_degrees());
            if OBSERVED && at + 1 < count as usize {
                let then_s = now_s + (at + 1) as f64 * step_s;
                observer(&observed(&mut rocket, then_s, &state, computer.command_deg));
            }
        }
        now_s = until_s;
    }
    out.last_tilt_deg = state[TILT].to_degrees();
    out.largest_command_deg = computer.largest_deg;
    out.at_limit = computer.share_at_limit();
    if of.mass_kg.is_some() {
        (out.altitude_m, out.drift_m) = (state[ALTITUDE], state[DRIFT]);
    }
    out
}

/// Instants at which what acts has a kink, the last first, s.
fn kinks(of: &Scenario) -> Vec<f64> {
    let lit = of.motors.iter().filter(|motor| motor.lights);
    let mut out: Vec<f64> = lit
        .flat_map(|motor| {
            let time_s = motor.thrust_n.time_s();
            let ends = [time_s.first(), time_s.last()];
            ends.into_iter().flatten().map(|t| t + motor.later_s)
        })
        .chain([of.wind.gust_at_s, of.wind.gust_at_s + of.wind.gust_lasts_s])
        .filter(|kink| *kink > of.release_s)
        .collect();
    out.sort_by(|a, b| b.total_cmp(a));
    out
}

fn stand_on_the_ground(state: &mut State) {
    if state[ALTITUDE] < 0.0 {
        state[ALTITUDE] = 0.0;
        state[CLIMB] = state[CLIMB].max(0.0);
    }
}

fn observed(rocket: &mut Rocket<'_>, time_s: f64, state: &State, command_deg: f64) -> FlightState {
    FlightState {
        time_s,
        tilt_rad: state[TILT],
        rate_rad_s: state[RATE],
        nozzle_deg: rocket.actuator.angle_deg(time_s),
        command_deg,
        thrust_n: rocket.thrust(time_s).0,
        drift_m: state[DRIFT],
        altitude_m: state[ALTITUDE],
        drift_m_s: state[DRIFT_SPEED],
        climb_m_s: state[CLIMB],
    }
}
