//! Tilt and rate readings turned into prediction errors.
//!
//! The record comes from a closed loop on a plant that integrates, pushed by torques nobody
//! measured, so the model is not run freely against it: a Kalman filter predicts each reading from
//! those before it, and the errors of these predictions (innovations) are what the fit makes small
//! (prediction-error method; Ljung, System Identification, 2nd ed., 7.2 to 7.4; Åström 1980).
//!
//! State: tilt, tilt rate, disturbance (a first-order Gauss-Markov process), gyro bias; all but the
//! disturbance start unknown. A disturbance that comes with the thrust (a jet that wobbles) grows
//! with it, one that does not (wind) stays: its acceleration goes with thrust to a power between. The filter is linear in what drives it, so each
//! input has a response of its own and the innovations are a difference of responses; the gains
//! depend on the noise alone. Readings of several logs at several rates are taken in time order.
//!
//! Limits: an encoder offset only turns stiffness into a constant push, which the disturbance and
//! the thrust bias take up; gyroscopic and side coupling are left out; inputs are straight lines
//! between steps of at most 2.5 ms.

use super::instants::Instants;

/// How noisy readings and disturbance are.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct NoiseModel {
    /// Standard deviation of a tilt reading, rad.
    pub tilt_rad: f64,
    /// Standard deviation of a rate reading, rad/s.
    pub rate_rad_s: f64,
    /// Standard deviation of the disturbance, rad/s2.
    pub disturbance_rad_s2: f64,
    /// Its correlation time, s.
    pub correlation_time_s: f64,
    /// The power of thrust that it goes with, 0 to 1.
    pub with_thrust: f64,
}

/// Damping (1/s) and stiffness (1/s2) in the filter's own dynamics.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct RigDynamics {
    /// Damping, 1/s.
    pub damping_per_s: f64,
    /// Stiffness, 1/s2.
    pub stiffness_per_s2: f64,
}

/// Start uncertainty of tilt, rate (10 rad/s) and gyro bias: far more than any rig shows.
const START_VARIANCE: [f64; 4] = [1.0, 100.0, 0.0, 1.0];

/// Different steps whose coefficients are kept.
const STEPS_KEPT: usize = 8;

/// One step of the filter: from the instant before to this one, and the reading there.
#[derive(Debug, Clone, Copy)]
struct Step {
    /// Tilt and rate after, by tilt, rate, disturbance before.
    f: [[f64; 3]; 2],
    /// What is left of the disturbance.
    keep: f64,
    /// How strong it acts.
    strength: f64,
    /// Tilt and rate gained from the input before and at this instant.
    g: [[f64; 2]; 2],
    reading: Option<Update>,
}

#[derive(Debug, Clone, Copy)]
struct Update {
    rate: bool,
    value: f64,
    gain: [f64; 4],
    /// One over the standard deviation foreseen for the prediction error.
    scale: f64,
}

/// Motion as predicted one step ahead, at each instant.
#[derive(Debug, Clone, Default)]
pub(crate) struct PredictedMotion {
    /// Tilt, rad.
    pub tilt_rad: Vec<f64>,
    /// Tilt rate, rad/s.
    pub rate_rad_s: Vec<f64>,
    /// Tilt acceleration, disturbance included, rad/s2.
    pub angular_acceleration_rad_s2: Vec<f64>,
}

/// A filter with its gains worked out.
#[derive(Debug, Clone)]
pub(crate) struct KalmanFilter {
    steps: Vec<Step>,
    /// Sum of the logarithms of the foreseen variances.
    pub log_variance: f64,
    count: usize,
}

impl KalmanFilter {
    /// Works out the gains.
    #[must_use]
    pub(crate) fn new(instants: &Instants, noise: &NoiseModel, swing: RigDynamics) -> Self {
        let mut p = Covariance::start(noise);
        let mut steps: Vec<Step> = Vec::with_capacity(instants.times_s.len());
        let mut log_variance = 0.0;
        let mut before: Option<f64> = None;
        let mut known: Vec<(f64, Step)> = Vec::with_capacity(STEPS_KEPT);
        let strength = instants.strength(noise.with_thrust);
        for (at, (&time, reading)) in instants.times_s.iter().zip(&instants.readings).enumerate() {
            let dt = before.map_or(0.0, |before| time - before);
            // Steps of one clock, or between two, come again but for rounding; they share their coefficients.
            let alike = known.iter().find(|(of, _)| (of - dt).abs() < 1e-9);
            let mut step = alike.map_or_else(|| transition(dt, noise, swing), |(_, step)| *step);
            if alike.is_none() && known.len() < STEPS_KEPT {
                known.push((dt, step));
            }
            step.strength = 0.5 * (strength[at] + strength[at.saturating_sub(1)]);
            for f in &mut step.f {
                f[2] *= step.strength;
            }
            p.predict(&step, dt, noise);
            step.reading = reading.map(|reading| {
                let variance = if reading.rate {
                    noise.rate_rad_s.powi(2)
                } else {
                    noise.tilt_rad.powi(2)
                };
                let (gain, total) = p.update(reading.rate, variance);
                log_variance += total.ln();
                Update {
                    rate: reading.rate,
                    value: reading.value,
                    gain,
                    scale: 1.0 / total.sqrt(),
                }
            });
            steps.push(step);
            before = Some(time);
        }
        Self {
            steps,
            log_variance,
            count: instants.count,
        }
    }

    /// Scaled prediction errors of the readings when nothing drives the rig.
    #[must_use]
    pub(crate) fn errors(&self) -> Vec<f64> {
        self.run(None, |_, update| update.value, |_| {})
    }

    /// What an input acceleration (rad/s2 at each instant) takes off the scaled prediction errors.
    #[must_use]
    pub(crate) fn response(&self, input: &[f64]) -> Vec<f64> {
        let mut out = self.run(Some(input), |_, _| 0.0, |_| {});
        out.iter_mut().for_each(|error| *error = -*error);
        out
    }

    /// The same of several inputs: every step is looked at once for four of them.
    #[must_use]
    pub(crate) fn responses(&self, inputs: &[&[f64]]) -> Vec<Vec<f64>> {
        let (fours, rest) = inputs.as_chunks::<4>();
        let (pairs, one) = rest.as_chunks::<2>();
        let fours = fours.iter().flat_map(|four| self.side_by_side(four));
        let pairs = pairs.iter().flat_map(|pair| self.side_by_side(pair));
        let one = one.iter().map(|input| self.response(input));
        fours.chain(pairs).chain(one).collect()
    }

    fn side_by_side<const N: usize>(&self, inputs: &[&[f64]; N]) -> [Vec<f64>; N] {
        let mut x = [[0.0; N]; 4];
        let mut out = [(); N].map(|()| Vec::with_capacity(self.count));
        let mut before = [0.0; N];
        for (at, step) in self.steps.iter().enumerate() {
            let now: [f64; N] = std::array::from_fn(|of| inputs[of][at]);
            let [a, v, z, b] = x;
            let row = |i: usize| -> [f64; N] {
                let (f, g) = (&step.f[i], [step.g[0][i], step.g[1][i]]);
                std::array::from_fn(|of| {
                    f[0] * a[of] + f[1] * v[of] + f[2] * z[of] + g[0] * before[of] + g[1] * now[of]
                })
            };
            x = [row(0), row(1), z.map(|z| step.keep * z), b];
            before = now;
            let Some(update) = &step.reading else {
                continue;
            };
            let foreseen: [f64; N] = if update.rate {
                std::array::from_fn(|of| x[1][of] + x[3][of])
            } else {
                x[0]
            };
            for (x, gain) in x.iter_mut().zip(update.gain) {
                for (x, foreseen) in x.iter_mut().zip(foreseen) {
                    *x -= gain * foreseen;
                }
            }
            for (out, foreseen) in out.iter_mut().zip(foreseen) {
                out.push(foreseen * update.scale);
            }
        }
        out
    }

    /// What readings of one kind (rate or tilt) bring into the scaled prediction errors, given what
    /// they would read at each instant; all others read nothing.
    #[must_use]
    pub(crate) fn errors_of(&self, rate: bool, at_instants: &[f64]) -> Vec<f64> {
        self.run(
            None,
            |at, update| {
                let ours = update.rate == rate;
                at_instants[at] * f64::from(u8::from(ours))
            },
            |_| {},
        )
    }

    /// The motion at each instant as predicted from the readings before it.
    #[must_use]
    pub(crate) fn predicted(&self, input: &[f64], swing: RigDynamics) -> PredictedMotion {
        let mut out = PredictedMotion::default();
        self.run(
            Some(input),
            |_, update| update.value,
            |[tilt, rate, push, _]| {
                let steered = input[out.tilt_rad.len()];
                let swung = swing.stiffness_per_s2 * tilt - swing.damping_per_s * rate;
                out.tilt_rad.push(*tilt);
                out.rate_rad_s.push(*rate);
                let strength = self.steps[out.angular_acceleration_rad_s2.len()].strength;
                out.angular_acceleration_rad_s2
                    .push(steered + push * strength + swung);
            },
        );
        out
    }

    /// Whether each scaled prediction error belongs to a rate reading, and its own deviation.
    pub(crate) fn channels(&self) -> impl Iterator<Item = (bool, f64)> + '_ {
        self.steps
            .iter()
            .filter_map(|step| step.reading)
            .map(|update| (update.rate, 1.0 / update.scale))
    }

    fn run(
        &self,
        input: Option<&[f64]>,
        data: impl Fn(usize, &Update) -> f64,
        mut watch: impl FnMut(&[f64; 4]),
    ) -> Vec<f64> {
        let mut x = [0.0; 4];
        let mut out = Vec::with_capacity(self.count);
        let mut u_before = 0.0;
        for (at, step) in self.steps.iter().enumerate() {
            let u = input.map_or(0.0, |input| input[at]);
            let [a, v, z, b] = x;
            let row = |i: usize| {
                let f = &step.f[i];
                f[0] * a + f[1] * v + f[2] * z + step.g[0][i] * u_before + step.g[1][i] * u
            };
            x = [row(0), row(1), step.keep * z, b];
            u_before = u;
            watch(&x);
            if let Some(update) = step.reading {
                let foreseen = if update.rate { x[1] + x[3] } else { x[0] };
                let error = data(at, &update) - foreseen;
                for (x, gain) in x.iter_mut().zip(update.gain) {
                    *x += gain * error;
                }
                out.push(error * update.scale);
            }
        }
        out
    }
}

/// Transition over a step: the exponential series to the fifth power (a step is a small share of
/// every time constant), inputs as straight lines with damping to first order.
fn transition(dt: f64, noise: &NoiseModel, swing: RigDynamics) -> Step {
    let (c, k) = (swing.damping_per_s, swing.stiffness_per_s2);
    let a = [
        [0.0, 1.0, 0.0],
        [k, -c, 1.0],
        [0.0, 0.0, -1.0 / noise.correlation_time_s],
    ];
    let mut sum = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
    let mut power = sum;
    for order in 1..=5 {
        let mut next = [[0.0; 3]; 3];
        for (i, row) in next.iter_mut().enumerate() {
            for (j, entry) in row.iter_mut().enumerate() {
                let product: f64 = (0..3).map(|m| power[i][m] * a[m][j]).sum();
                *entry = product * dt / f64::from(order);
            }
        }
        power = next;
        for (sum, power) in sum.iter_mut().flatten().zip(power.iter().flatten()) {
            *sum += power;
        }
    }
    let (d2, d3) = (dt * dt, dt * dt * dt);
    Step {
        f: [sum[0], sum[1]],
        keep: (-dt / noise.correlation_time_s).exp(),
        strength: 1.0,
        g: [
            [d2 / 3.0 - c * d3 / 8.0, dt / 2.0 - c * d2 / 3.0],
            [d2 / 6.0 - c * d3 / 24.0, dt / 2.0 - c * d2 / 6.0],
        ],
        reading: None,
    }
}

/// Covariance of the state.
struct Covariance([[f64; 4]; 4]);

impl Covariance {
    fn start(noise: &NoiseModel) -> Self {
        let mut p = [[0.0; 4]; 4];
        for (i, variance) in START_VARIANCE.iter().enumerate() {
            p[i][i] = *variance;
        }
        p[2][2] = noise.disturbance_rad_s2.powi(2);
        Self(p)
    }

    fn predict(&mut self, step: &Step, dt: f64, noise: &NoiseModel) {
        let p = &self.0;
        let mut half = [[0.0; 4]; 4];
        for j in 0..4 {
            for (i, f) in step.f.iter().enumerate() {
                half[i][j] = f[0] * p[0][j] + f[1] * p[1][j] + f[2] * p[2][j];
            }
            half[2][j] = step.keep * p[2][j];
            half[3][j] = p[3][j];
        }
        let mut out = [[0.0; 4]; 4];
        for i in 0..4 {
            for (j, f) in step.f.iter().enumerate() {
                out[i][j] = f[0] * half[i][0] + f[1] * half[i][1] + f[2] * half[i][2];
            }
            out[i][2] = step.keep * half[i][2];
            out[i][3] = half[i][3];
        }
        // Noise of the disturbance and its first two integrals (Bar-Shalom, 6.2).
        let q = 2.0 * noise.disturbance_rad_s2.powi(2) / noise.correlation_time_s;
        let [d1, d2, d3] = [dt, dt * dt, dt * dt * dt];
        out[2][2] += q * d1;
        let (s1, s2) = (step.strength, step.strength * step.strength);
        for (i, j, share) in [
            (1, 2, s1 * d2 / 2.0),
            (1, 1, s2 * d3 / 3.0),
            (0, 2, s1 * d3 / 6.0),
            (0, 1, s2 * d2 * d2 / 8.0),
            (0, 0, s2 * d2 * d3 / 20.0),
        ] {
            out[i][j] += q * share;
            if i != j {
                out[j][i] += q * share;
            }
        }
        self.0 = out;
    }

    /// Takes in a reading; gives the gain and the variance foreseen for its prediction error.
    fn update(&mut self, rate: bool, variance: f64) -> ([f64; 4], f64) {
        let p = &self.0;
        let mut cross = [0.0; 4];
        for (i, cross) in cross.iter_mut().enumerate() {
            *cross = if rate { p[i][1] + p[i][3] } else { p[i][0] };
        }
        let foreseen = if rate { cross[1] + cross[3] } else { cross[0] };
        let total = foreseen + variance;
        let gain = cross.map(|cross| cross / total);
        for (row, gain) in self.0.iter_mut().zip(gain) {
            for (entry, cross) in row.iter_mut().zip(cross) {
                *entry -= gain * cross;
            }
        }
        // Rounding must not make a variance negative or the matrix lopsided.
        for i in 0..4 {
            self.0[i][i] = self.0[i][i].max(0.0);
            for j in 0..i {
                let middle = 0.5 * (self.0[i][j] + self.0[j][i]);
                self.0[i][j] = middle;
                self.0[j][i] = middle;
            }
        }
        (gain, total)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::series::Series;
    use approx::assert_relative_eq;

    fn quiet() -> NoiseModel {
        NoiseModel {
            tilt_rad: 1e-4,
            rate_rad_s: 1e-3,
            disturbance_rad_s2: 0.1,
            correlation_time_s: 0.3,
            with_thrust: 0.0,
        }
    }

    // a'' = 2 cos(3 t) from rest: a = (2/9)(1 - cos 3t), exactly. With the input given, the errors
    // left are those of straight lines over 1 ms: 2 * 9/12 * 1e-6 * t^2/2, far below 1e-4 rad.
    #[test]
    fn a_known_input_explains_a_noiseless_record() {
        let times: Vec<f64> = (0..1000).map(|i| f64::from(i) * 1e-3).collect();
        let tilt: Vec<f64> = times
            .iter()
            .map(|t| 2.0 / 9.0 * (1.0 - (3.0 * t).cos()))
            .collect();
        let rate: Vec<f64> = times
            .iter()
            .map(|t| 0.05 + 2.0 / 3.0 * (3.0 * t).sin())
            .collect();
        let tilt = Series::new(&times, &tilt);
        let rate = Series::new(&times, &rate);
        let instants = Instants::new(Some(&tilt), Some(&rate), (0.0, 1.0));
        let filter = KalmanFilter::new(&instants, &quiet(), RigDynamics::default());
        let input: Vec<f64> = instants
            .times_s
            .iter()
            .map(|t| 2.0 * (3.0 * t).cos())
            .collect();
        let errors = filter.errors();
        let response = filter.response(&input);
        assert_eq!((errors.len(), instants.raw_count), (500, 2000));
        for (error, response) in errors.iter().zip(&response).skip(20) {
            assert!((error - response).abs() < 0.02, "{error} {response}");
        }
        assert!(errors.iter().any(|error| error.abs() > 0.5));
        // Seven inputs side by side: four, two and one.
        let inputs: Vec<Vec<f64>> = (0..7)
            .map(|power| input.iter().map(|u| u.powi(power)).collect())
            .collect();
        let inputs: Vec<&[f64]> = inputs.iter().map(Vec::as_slice).collect();
        for (input, response) in inputs.iter().zip(filter.responses(&inputs)) {
            assert_eq!(response, filter.response(input));
        }
    }

    // The scalar steady state: with only a gyro and a disturbance of long memory the rate obeys a
    // random walk of slope noise; here the plain check is that all variances stay positive and the
    // foreseen variance of a tilt reading settles above the reading's own.
    #[test]
    fn the_foreseen_variance_settles_above_the_noise_of_a_reading() {
        let times: Vec<f64> = (0..2000).map(|i| f64::from(i) * 1e-3).collect();
        let tilt = Series::new(&times, &vec![0.0; 2000]);
        let instants = Instants::new(Some(&tilt), None, (0.0, 2.0));
        let filter = KalmanFilter::new(&instants, &quiet(), RigDynamics::default());
        let deviation: Vec<f64> = filter.channels().map(|(_, deviation)| deviation).collect();
        assert!(deviation[499] > 1e-4 && deviation[499] < 1.5e-4);
        assert_relative_eq!(deviation[499], deviation[400], max_relative = 1e-6);
    }

    // x'' = -4 x + u with constant u: the step's response is (u/4)(1 - cos 2t).
    #[test]
    fn stiffness_in_the_filter_turns_the_transition_into_a_swing() {
        let swing = RigDynamics {
            damping_per_s: 0.0,
            stiffness_per_s2: -4.0,
        };
        let step = transition(0.0025, &quiet(), swing);
        assert_relative_eq!(step.f[0][0], (0.005_f64).cos(), epsilon = 1e-12);
        assert_relative_eq!(step.f[0][1], (0.005_f64).sin() / 2.0, epsilon = 1e-12);
        let whole = step.g[0][0] + step.g[1][0];
        assert_relative_eq!(whole, (1.0 - (0.005_f64).cos()) / 4.0, max_relative = 1e-4);
    }
}
