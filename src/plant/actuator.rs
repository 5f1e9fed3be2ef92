//! The actuator: from commands to nozzle angle, exactly.
//!
//! Commands are held between updates, so after delay and dead band the demanded angle is constant
//! between switching times, and the lag has the exact solution d = d_dem + (d0 - d_dem) exp(-t/lag);
//! while |d_dem - d| exceeds slew x lag the nozzle runs at the slew limit, a straight line. A second-order
//! actuator has one as well ([`super::second_order`]). No integrator, no step size, and the delay is a continuous
//! number. Source: any text on linear systems (Franklin, Powell & Workman, Digital Control of Dynamic Systems,
//! 4.3, zero-order hold).
//!
//! Before the log's first row the nozzle is taken to rest where a command of zero puts it, unless a
//! start angle is given.

use super::parameter::Parameter;
use super::second_order::{NozzleState, SecondOrder};
use super::{DeadBandKind, dead_band};
use crate::numeric::dual::Scalar;
use crate::series::Series;

/// Radians in a degree.
pub(crate) const RAD_PER_DEG: f64 = std::f64::consts::PI / 180.0;

/// Numbers of one actuator, of any scalar.
#[derive(Debug, Clone, Copy)]
pub struct ActuatorParameters<S> {
    /// Nozzle angle per command.
    pub gain: S,
    /// Command added behind the dead band, deg.
    pub bias_deg: S,
    /// Lag, s.
    pub lag_s: S,
    /// Damping ratio of a second-order actuator; `None` of a first-order one.
    pub damping_ratio: Option<S>,
    /// Dead time, s.
    pub delay_s: S,
    /// Total width of the dead band, deg.
    pub width_deg: S,
    /// Fastest movement, rad/s.
    pub slew_rad_s: Option<S>,
    /// Angle at the first command, rad.
    pub start_rad: Option<S>,
}

impl<S: Scalar> ActuatorParameters<S> {
    /// The actuator whose parameters are given; one that is not is without effect.
    pub fn new(of: impl Fn(Parameter) -> Option<S>) -> Self {
        let rad = S::constant(RAD_PER_DEG);
        let or = |parameter, value: f64| of(parameter).unwrap_or(S::constant(value));
        Self {
            gain: or(Parameter::Gain, 1.0),
            bias_deg: or(Parameter::Bias, 0.0),
            lag_s: or(Parameter::Lag, 0.0),
            damping_ratio: of(Parameter::DampingRatio).filter(|ratio| ratio.value() > 0.0),
            delay_s: or(Parameter::Delay, 0.0),
            width_deg: or(Parameter::DeadBandWidth, 0.0),
            slew_rad_s: of(Parameter::Slew).map(|slew| slew * rad),
            start_rad: of(Parameter::StartAngle).map(|start| start * rad),
        }
    }
}

/// A row of commands, seen through a kind of dead band.
#[derive(Debug, Clone, PartialEq)]
pub struct Commands {
    time_s: Vec<f64>,
    value_deg: Vec<f64>,
}

impl Commands {
    /// The rows that change something: a repeated command is the same command.
    #[must_use]
    pub fn new(command_deg: &Series) -> Self {
        let mut out = Self {
            time_s: vec![],
            value_deg: vec![],
        };
        for (time, value) in command_deg.iter() {
            if out.value_deg.last() != Some(&value) {
                out.time_s.push(time);
                out.value_deg.push(value);
            }
        }
        out
    }

    /// Times and values of the changes.
    pub fn changes(&self) -> impl Iterator<Item = (f64, f64)> + '_ {
        self.time_s
            .iter()
            .copied()
            .zip(self.value_deg.iter().copied())
    }

    /// Nozzle angle at rising times, rad; `travel_rad` limits the demanded angle either side.
    #[must_use]
    pub fn nozzle_rad<S: Scalar>(
        &self,
        kind: DeadBandKind,
        numbers: &ActuatorParameters<S>,
        travel_rad: Option<f64>,
        times_s: &[f64],
    ) -> Vec<S> {
        let scale = numbers.gain * S::constant(RAD_PER_DEG);
        let demand = |w: S| clip(scale * (w + numbers.bias_deg), travel_rad);
        let rest = demand(S::constant(0.0));
        let followed = dead_band::follow(kind, numbers.width_deg, &self.value_deg);
        let since = S::constant(*self.time_s.first().unwrap_or(&0.0)) + numbers.delay_s;
        let angle = numbers.start_rad.unwrap_or(rest);
        let start = NozzleState {
            angle,
            rate: S::constant(0.0),
        };
        let mut nozzle = NozzleResponse::new(numbers, start, since, rest);
        let mut next = 0;
        let mut out = Vec::with_capacity(times_s.len());
        for &time in times_s {
            while next < followed.len() && self.time_s[next] + numbers.delay_s.value() <= time {
                // A command that moves nothing behind the dead band switches nothing.
                if next == 0 || !same(followed[next], followed[next - 1]) {
                    let at = S::constant(self.time_s[next]) + numbers.delay_s;
                    let state = nozzle.at_switching(at);
                    nozzle = NozzleResponse::new(numbers, state, at, demand(followed[next]));
                }
                next += 1;
            }
            out.push(nozzle.at(time));
        }
        out
    }
}

fn same<S: Scalar>(a: S, b: S) -> bool {
    a.value().total_cmp(&b.value()).is_eq()
}

fn clip<S: Scalar>(demand: S, travel_rad: Option<f64>) -> S {
    match travel_rad {
        Some(travel) if demand.value() > travel => S::constant(travel),
        Some(travel) if demand.value() < -travel => S::constant(-travel),
        _ => demand,
    }
}

/// The nozzle between two switching times.
struct NozzleResponse<S> {
    from: NozzleState<S>,
    since: S,
    demand: S,
    lag_s: S,
    slew_rad_s: Option<S>,
    second_order: Option<SecondOrder<S>>,
    /// How far the angle is from what is demanded.
    away: S,
    /// The same, moving with the time of the switching.
    late: S,
    /// What a longer lag leaves more of it, by time.
    slower: S,
}

impl<S: Scalar> NozzleResponse<S> {
    fn new(numbers: &ActuatorParameters<S>, from: NozzleState<S>, since: S, demand: S) -> Self {
        let away = from.angle - demand;
        let per_lag = away.value() / numbers.lag_s.value();
        let damping = numbers.damping_ratio;
        Self {
            from,
            since,
            demand,
            lag_s: numbers.lag_s,
            slew_rad_s: numbers.slew_rad_s,
            second_order: damping.map(|damping| SecondOrder::new(numbers.lag_s, damping)),
            away,
            late: away + since.chain(0.0, per_lag),
            slower: numbers.lag_s.chain(0.0, per_lag / numbers.lag_s.value()),
        }
    }

    /// The angle at a fixed time.
    fn at(&self, time_s: f64) -> S {
        match (self.second_order, self.slew_rad_s) {
            (Some(second), _) => self.swinging(second, S::constant(time_s)).angle,
            (None, Some(slew)) => self.slewing(slew, S::constant(time_s)),
            (None, None) => self.gliding(time_s, self.late),
        }
    }

    /// The state at another switching, which every delay moves as it moves this one; a first-order actuator's rate
    /// is of no consequence.
    fn at_switching(&self, time: S) -> NozzleState<S> {
        let angle = match (self.second_order, self.slew_rad_s) {
            (Some(second), _) => return self.swinging(second, time),
            (None, Some(slew)) => self.slewing(slew, time),
            (None, None) => self.gliding(time.value(), self.away),
        };
        NozzleState {
            angle,
            rate: S::constant(0.0),
        }
    }

    fn swinging(&self, second: SecondOrder<S>, time: S) -> NozzleState<S> {
        second.after(time - self.since, self.from, self.demand)
    }

    /// The exponential, its derivatives written out.
    fn gliding(&self, time_s: f64, away: S) -> S {
        let elapsed_s = time_s - self.since.value();
        if elapsed_s <= 0.0 {
            return self.from.angle;
        }
        let left = (-elapsed_s / self.lag_s.value()).exp();
        let angle = self.demand.plus(left, away);
        angle.plus(left * elapsed_s, self.slower)
    }

    fn slewing(&self, slew: S, time: S) -> S {
        let elapsed = time - self.since;
        if elapsed.value() <= 0.0 {
            return self.from.angle;
        }
        let away = self.away;
        // The straight part lasts until the exponential's first slope is within the limit.
        let reach = slew * self.lag_s;
        let (distance, towards) = if away.value() > 0.0 {
            (away, S::constant(-1.0))
        } else {
            (-away, S::constant(1.0))
        };
        if distance.value() <= reach.value() {
            return self.demand + away * (-elapsed / self.lag_s).exp();
        }
        let straight = (distance - reach) / slew;
        if elapsed.value() <= straight.value() {
            return self.from.angle + towards * slew * elapsed;
        }
        self.demand - towards * reach * (-(elapsed - straight) / self.lag_s).exp()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::dual::Dual;
    use approx::assert_relative_eq;

    fn numbers() -> ActuatorParameters<f64> {
        ActuatorParameters {
            gain: 1.0,
            bias_deg: 0.0,
            lag_s: 0.005,
            damping_ratio: None,
            delay_s: 0.0005,
            width_deg: 0.0,
            slew_rad_s: None,
            start_rad: None,
        }
    }

    // First-order fractions after k time constants: 63.212, 86.466, 95.021, 98.168, 99.326 %.
    #[test]
    fn a_step_answers_with_the_textbook_fractions_behind_its_delay() {
        let step = Commands::new(&Series::new(&[0.0, 1.0], &[0.0, 2.0]));
        let times: Vec<f64> = (0..=5).map(|k| 1.0005 + 0.005 * f64::from(k)).collect();
        let angle = step.nozzle_rad(DeadBandKind::None, &numbers(), None, &times);
        let fractions = [0.0, 0.63212, 0.86466, 0.95021, 0.98168, 0.99326];
        for (angle, fraction) in angle.iter().zip(fractions) {
            assert_relative_eq!(angle / (2.0 * RAD_PER_DEG), fraction, epsilon = 1e-5);
        }
    }

    // Sampled lag with hold, h/lag = 0.2: y' = 0.818730753078 y + 0.181269246922 u.
    #[test]
    fn a_row_of_commands_follows_the_sampled_recursion() {
        let times: Vec<f64> = (0..50).map(|i| 0.001 * f64::from(i)).collect();
        let values: Vec<f64> = (0..50).map(|i| f64::from((i * 7) % 11) - 5.0).collect();
        let commands = Commands::new(&Series::new(&times, &values));
        let after: Vec<f64> = times.iter().map(|t| t + 0.0005).collect();
        let angle = commands.nozzle_rad(DeadBandKind::None, &numbers(), None, &after);
        let mut y = 0.0;
        for i in 1..50 {
            y = 0.818730753078 * y + 0.181269246922 * values[i - 1] * RAD_PER_DEG;
            assert_relative_eq!(angle[i], y, epsilon = 1e-12);
        }
    }

    // A 10 deg step at 100 deg/s with lag 20 ms: straight for (10 - 2)/100 = 80 ms, then 2 deg of
    // exponential; at 100 ms 10 - 2/e.
    #[test]
    fn the_slew_limit_is_a_straight_line_and_then_an_exponential() {
        let step = Commands::new(&Series::new(&[0.0, 1.0], &[0.0, 10.0]));
        let limited = ActuatorParameters {
            lag_s: 0.02,
            delay_s: 0.0,
            slew_rad_s: Some(100.0 * RAD_PER_DEG),
            ..numbers()
        };
        let angle = step.nozzle_rad(DeadBandKind::None, &limited, None, &[1.05, 1.08, 1.1]);
        let by_hand = [5.0, 8.0, 10.0 - 2.0 * (-1.0_f64).exp()];
        for (angle, by_hand) in angle.iter().zip(by_hand) {
            assert_relative_eq!(angle / RAD_PER_DEG, by_hand, epsilon = 1e-12);
        }
        let stopped = step.nozzle_rad(DeadBandKind::None, &limited, Some(0.1), &[3.0]);
        assert_relative_eq!(stopped[0], 0.1, epsilon = 1e-12);
    }

    // Central differences with step 1e-6 of a smooth piece: error about 1e-10 of the curvature;
    // the times avoid the switching instants, where only one-sided derivatives exist.
    #[test]
    fn derivatives_are_those_of_central_differences() {
        let times: Vec<f64> = (0..100).map(|i| 0.005 * f64::from(i)).collect();
        let values: Vec<f64> = times.iter().map(|t| 4.0 * (25.0 * t).sin()).collect();
        let commands = Commands::new(&Series::new(&times, &values));
        let at: Vec<f64> = times.iter().map(|t| t + 0.0031).collect();
        let p = [0.93, 0.2, 0.022, 0.0124, 0.35, 0.9, 0.01];
        let build = |p: [f64; 7], slews: bool| ActuatorParameters {
            gain: p[0],
            bias_deg: p[1],
            lag_s: p[2],
            damping_ratio: None,
            delay_s: p[3],
            width_deg: p[4],
            slew_rad_s: slews.then_some(p[5]),
            start_rad: Some(p[6]),
        };
        let d = |i: usize| Dual::<7>::parameter(p[i], i);
        let dual = |slews: bool| ActuatorParameters {
            gain: d(0),
            bias_deg: d(1),
            lag_s: d(2),
            damping_ratio: None,
            delay_s: d(3),
            width_deg: d(4),
            slew_rad_s: slews.then_some(d(5)),
            start_rad: Some(d(6)),
        };
        for (kind, slews) in [
            (DeadBandKind::Play, true),
            (DeadBandKind::DeadZone, true),
            (DeadBandKind::Play, false),
            (DeadBandKind::None, false),
        ] {
            let exact = commands.nozzle_rad(kind, &dual(slews), None, &at);
            for i in 0..7 {
                let (mut up, mut down) = (p, p);
                up[i] += 1e-6;
                down[i] -= 1e-6;
                let up = commands.nozzle_rad(kind, &build(up, slews), None, &at);
                let down = commands.nozzle_rad(kind, &build(down, slews), None, &at);
                for ((exact, up), down) in exact.iter().zip(up).zip(down) {
                    let difference = (up - down) / 2e-6;
                    assert_relative_eq!(exact.slope[i], difference, epsilon = 2e-5);
                }
            }
        }
    }
}
