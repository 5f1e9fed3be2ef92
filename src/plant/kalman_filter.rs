//! Tilt and rate readings turned into prediction errors.
//!
//! The record comes from a closed loop on a plant that integrates, pushed by torques nobody
//! measured, so the model is not run freely against it: a Kalman filter predicts each reading from
//! those before it, and the errors of these predictions (innovations) are what the fit makes small
//! (prediction-error method; Ljung, System Identification, 2nd ed., 7.2 to 7.4; Åström 1980).
//!
//! State: tilt, tilt rate, disturbance (a first-order Gauss-Markov process), gyro bias; all but the
//! disturbance start unknown. A disturbance that comes with the thrust (a jet whose direction drifts) grows
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
pub(super) struct Step {
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

/// What moves the prediction errors.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Drive<'a> {
    /// An acceleration at each instant, rad/s2.
    pub acceleration: Option<&'a [f64]>,
    /// What readings of some sensors show at each instant, whatever moves the rig.
    pub shown: Option<(Sensors, &'a [f64])>,
}

impl<'a> Drive<'a> {
    /// An acceleration alone.
    #[must_use]
    pub(crate) fn acceleration(at_instants: &'a [f64]) -> Self {
        Self {
            acceleration: Some(at_instants),
            shown: None,
        }
    }
}

/// Sensors whose readings show something.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Sensors {
    /// All of them.
    All,
    /// That of the rate, or that of the tilt.
    One {
        /// Which.
        rate: bool,
    },
}

impl Sensors {
    fn takes(self, rate: bool) -> bool {
        match self {
            Self::All => true,
            Self::One { rate: of } => of == rate,
        }
    }
}

/// Drives as they are at each instant, so many side by side.
#[derive(Debug, Clone)]
struct Lanes<const N: usize> {
    inputs: Vec<[f64; N]>,
    /// What readings show; empty where nothing is shown.
    shown: Vec<[f64; N]>,
}

/// Drives that are asked for again and again.
#[derive(Debug, Clone)]
pub(super) struct Prepared {
    fours: Vec<Lanes<4>>,
    pairs: Vec<Lanes<2>>,
    one: Vec<Lanes<1>>,
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
        let strength = instants.strength(noise.with_thrust);
        let steps = transitions(instants, noise, swing);
        Self::through(instants, noise, steps, &strength)
    }

    /// The same through steps that are known already, and so is by how much the disturbance is stronger at each instant.
    #[must_use]
    pub(super) fn through(
        instants: &Instants,
        noise: &NoiseModel,
        mut steps: Vec<Step>,
        strength: &[f64],
    ) -> Self {
        let mut p = Covariance::start(noise);
        let mut log_variance = LogSum {
            product: 1.0,
            sum: 0.0,
        };
        for (at, (step, reading)) in steps.iter_mut().zip(&instants.readings).enumerate() {
            let before = at.saturating_sub(1);
            step.strength = 0.5 * (strength[at] + strength[before]);
            for f in &mut step.f {
                f[2] *= step.strength;
            }
            let dt = instants.times_s[at] - instants.times_s[before];
            p.predict(step, dt, noise);
            step.reading = reading.map(|reading| {
                let variance = if reading.rate {
                    noise.rate_rad_s.powi(2)
                } else {
                    noise.tilt_rad.powi(2)
                };
                let (gain, total) = p.update(reading.rate, variance);
                log_variance.add(total);
                Update {
                    rate: reading.rate,
                    value: reading.value,
                    gain,
                    scale: 1.0 / total.sqrt(),
                }
            });
        }
        Self {
            steps,
            log_variance: log_variance.sum + log_variance.product.ln(),
            count: instants.count,
        }
    }

    /// Scaled prediction errors of the readings when nothing drives the rig.
    #[must_use]
    pub(crate) fn errors(&self) -> Vec<f64> {
        self.run(None, |_| {})
    }

    /// What an input acceleration (rad/s2 at each instant) takes off the scaled prediction errors.
    #[must_use]
    pub(crate) fn response(&self, input: &[f64]) -> Vec<f64> {
        let [out] = self.side_by_side(&self.lanes(&[Drive::acceleration(input)]));
        out
    }

    /// The same of several drives: every step is looked at once for four of them.
    #[must_use]
    pub(crate) fn responses(&self, drives: &[Drive<'_>]) -> Vec<Vec<f64>> {
        self.responses_to(&self.prepared(drives))
    }

    /// The same of drives prepared by any filter of the same readings.
    #[must_use]
    pub(super) fn responses_to(&self, drives: &Prepared) -> Vec<Vec<f64>> {
        let fours = drives.fours.iter().flat_map(|four| self.side_by_side(four));
        let pairs = drives.pairs.iter().flat_map(|pair| self.side_by_side(pair));
        let one = drives.one.iter().flat_map(|one| self.side_by_side(one));
        fours.chain(pairs).chain(one).collect()
    }

    /// Prepares drives to run side by side.
    #[must_use]
    pub(super) fn prepared(&self, drives: &[Drive<'_>]) -> Prepared {
        let (fours, rest) = drives.as_chunks::<4>();
        let (pairs, one) = rest.as_chunks::<2>();
        Prepared {
            fours: fours.iter().map(|four| self.lanes(four)).collect(),
            pairs: pairs.iter().map(|pair| self.lanes(pair)).collect(),
            one: one.iter().map(|one| self.lanes(&[*one])).collect(),
        }
    }

    fn lanes<const N: usize>(&self, drives: &[Drive<'_>; N]) -> Lanes<N> {
        let mut inputs = vec![[0.0; N]; self.steps.len()];
        for (of, drive) in drives.iter().enumerate() {
            for (row, input) in inputs.iter_mut().zip(drive.acceleration.unwrap_or(&[])) {
                row[of] = *input;
            }
        }
        let shown = self.shown(drives);
        Lanes { inputs, shown }
    }

    #[allow(
        clippy::needless_range_loop,
        reason = "several rows run side by side; iterators over them are not made one loop"
    )]
    fn side_by_side<const N: usize>(&self, lanes: &Lanes<N>) -> [Vec<f64>; N] {
        let Lanes { inputs, shown } = lanes;
        let mut lacks: Vec<[f64; N]> = Vec::with_capacity(self.count);
        let [mut a, mut v, mut z, mut b, mut before] = [[0.0; N]; 5];
        for (at, (step, now)) in self.steps.iter().zip(inputs).enumerate() {
            let ([f, h], [g, k]) = (&step.f, &step.g);
            for of in 0..N {
                let (tilt, rate) = (a[of], v[of]);
                a[of] =
                    f[0] * tilt + f[1] * rate + f[2] * z[of] + g[0] * before[of] + k[0] * now[of];
                v[of] =
                    h[0] * tilt + h[1] * rate + h[2] * z[of] + g[1] * before[of] + k[1] * now[of];
                z[of] *= step.keep;
            }
            before = *now;
            let Some(update) = &step.reading else {
                continue;
            };
            let mut lack = a;
            if update.rate {
                for of in 0..N {
                    lack[of] = v[of] + b[of];
                }
            }
            if let Some(shown) = shown.get(at) {
                for of in 0..N {
                    lack[of] -= shown[of];
                }
            }
            let (gain, scale) = (&update.gain, update.scale);
            for of in 0..N {
                a[of] -= gain[0] * lack[of];
                v[of] -= gain[1] * lack[of];
                z[of] -= gain[2] * lack[of];
                b[of] -= gain[3] * lack[of];
                lack[of] *= scale;
            }
            lacks.push(lack);
        }
        std::array::from_fn(|of| lacks.iter().map(|lack| lack[of]).collect())
    }

    /// What the reading at each instant shows; nothing at all when no drive shows anything.
    fn shown<const N: usize>(&self, drives: &[Drive<'_>; N]) -> Vec<[f64; N]> {
        if drives.iter().all(|drive| drive.shown.is_none()) {
            return vec![];
        }
        let mut out = vec![[0.0; N]; self.steps.len()];
        for (of, drive) in drives.iter().enumerate() {
            let Some((sensors, shown)) = drive.shown else {
                continue;
            };
            for ((row, step), shown) in out.iter_mut().zip(&self.steps).zip(shown) {
                if step
                    .reading
                    .is_some_and(|update| sensors.takes(update.rate))
                {
                    row[of] = *shown;
                }
            }
        }
        out
    }

    /// The motion at each instant as predicted from the readings before it.
    #[must_use]
    pub(crate) fn predicted(&self, input: &[f64], swing: RigDynamics) -> PredictedMotion {
        let mut out = PredictedMotion::default();
        self.run(Some(input), |[tilt, rate, push, _]| {
            let steered = input[out.tilt_rad.len()];
            let swung = swing.stiffness_per_s2 * tilt - swing.damping_per_s * rate;
            out.tilt_rad.push(*tilt);
            out.rate_rad_s.push(*rate);
            let strength = self.steps[out.angular_acceleration_rad_s2.len()].strength;
            out.angular_acceleration_rad_s2
                .push(steered + push * strength + swung);
        });
        out
    }

    /// Whether each scaled prediction error belongs to a rate reading, and its own deviation.
    pub(crate) fn channels(&self) -> impl Iterator<Item = (bool, f64)> + '_ {
        self.steps
            .iter()
            .filter_map(|step| step.reading)
            .map(|update| (update.rate, 1.0 / update.scale))
    }

    fn run(&self, input: Option<&[f64]>, mut watch: impl FnMut(&[f64; 4])) -> Vec<f64> {
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
                let error = update.value - foreseen;
                for (x, gain) in x.iter_mut().zip(update.gain) {
                    *x += gain * error;
                }
                out.push(error * update.scale);
            }
        }
        out
    }
}

/// The step to each instant, before readings and the strength of the disturbance.
pub(super) fn transitions(
    instants: &Instants,
    noise: &NoiseModel,
    swing: RigDynamics,
) -> Vec<Step> {
    let times_s = &instants.times_s;
    let mut known: Vec<(f64, Step)> = Vec::with_capacity(STEPS_KEPT);
    let step = |at: usize| {
        let dt = times_s[at] - times_s[at.saturating_sub(1)];
        // Steps of one clock, or between two, come again but for rounding; they share their coefficients.
        let alike = known.iter().find(|(of, _)| (of - dt).abs() < 1e-9);
        let step = alike.map_or_else(|| transition(dt, noise, swing), |(_, step)| *step);
        if alike.is_none() && known.len() < STEPS_KEPT {
            known.push((dt, step));
        }
        step
    };
    (0..times_s.len()).map(step).collect()
}

/// Transition over a step: the exponential series to the fifth power (a step is a small share of
/// every time constant), inputs as straight lines with damping to first order.
fn transition(dt: f64, noise: &NoiseModel, swing: RigDynamics) -> Step {
    let (c, k) = (swing.damping_per_s, swing.stiffness_per_s2);
    let decay = -1.0 / noise.correlation_time_s;
    // Rows of tilt and rate; that of the disturbance has nothing but its own decay.
    let row = |mut tilt: f64, mut rate: f64| {
        let (mut push, mut sum) = (0.0, [tilt, rate, 0.0]);
        for share in &[1.0, 1.0 / 2.0, 1.0 / 3.0, 1.0 / 4.0, 1.0 / 5.0] {
            let over = dt * share;
            (tilt, rate, push) = (
                k * rate * over,
                (tilt - c * rate) * over,
                (rate + decay * push) * over,
            );
            sum[0] += tilt;
            sum[1] += rate;
            sum[2] += push;
        }
        sum
    };
    let (d2, d3) = (dt * dt, dt * dt * dt);
    Step {
        f: [row(1.0, 0.0), row(0.0, 1.0)],
        keep: (-dt / noise.correlation_time_s).exp(),
        strength: 1.0,
        g: [
            [d2 / 3.0 - c * d3 / 8.0, dt / 2.0 - c * d2 / 3.0],
            [d2 / 6.0 - c * d3 / 24.0, dt / 2.0 - c * d2 / 6.0],
        ],
        reading: None,
    }
}

/// Covariance of tilt a, rate v, disturbance z and gyro bias b, symmetric, so each pair once: aa, av, az, ab, vv, vz, vb,
/// zz, zb, bb.
struct Covariance([f64; 10]);

impl Covariance {
    fn start(noise: &NoiseModel) -> Self {
        let [aa, vv, _, bb] = START_VARIANCE;
        let zz = noise.disturbance_rad_s2.powi(2);
        Self([aa, 0.0, 0.0, 0.0, vv, 0.0, 0.0, zz, 0.0, bb])
    }

    #[inline]
    fn predict(&mut self, step: &Step, dt: f64, noise: &NoiseModel) {
        let [aa, av, az, ab, vv, vz, vb, zz, zb, bb] = self.0;
        let ([f, g], keep) = (step.f, step.keep);
        let times = |f: [f64; 3], a: f64, v: f64, z: f64| f[0] * a + f[1] * v + f[2] * z;
        let tilt = [
            times(f, aa, av, az),
            times(f, av, vv, vz),
            times(f, az, vz, zz),
        ];
        let rate = [
            times(g, aa, av, az),
            times(g, av, vv, vz),
            times(g, az, vz, zz),
        ];
        // Noise of the disturbance and its first two integrals (Bar-Shalom, 6.2).
        let q = 2.0 * noise.disturbance_rad_s2.powi(2) / noise.correlation_time_s;
        let [d1, d2, d3] = [dt, dt * dt, dt * dt * dt];
        let (q1, q2) = (q * step.strength, q * step.strength * step.strength);
        self.0 = [
            times(f, tilt[0], tilt[1], tilt[2]) + q2 * d2 * d3 / 20.0,
            times(g, tilt[0], tilt[1], tilt[2]) + q2 * d2 * d2 / 8.0,
            keep * tilt[2] + q1 * d3 / 6.0,
            times(f, ab, vb, zb),
            times(g, rate[0], rate[1], rate[2]) + q2 * d3 / 3.0,
            keep * rate[2] + q1 * d2 / 2.0,
            times(g, ab, vb, zb),
            keep * keep * zz + q * d1,
            keep * zb,
            bb,
        ];
    }

    /// Takes in a reading; gives the gain and the variance foreseen for its prediction error.
    #[inline]
    fn update(&mut self, rate: bool, variance: f64) -> ([f64; 4], f64) {
        let [aa, av, az, ab, vv, vz, vb, zz, zb, bb] = self.0;
        let ([a, v, z, b], foreseen) = if rate {
            let cross = [av + ab, vv + vb, vz + zb, vb + bb];
            (cross, cross[1] + cross[3])
        } else {
            ([aa, av, az, ab], aa)
        };
        let total = foreseen + variance;
        let gain = [a / total, v / total, z / total, b / total];
        // Rounding must not make a variance negative.
        self.0 = [
            (aa - gain[0] * a).max(0.0),
            av - gain[0] * v,
            az - gain[0] * z,
            ab - gain[0] * b,
            (vv - gain[1] * v).max(0.0),
            vz - gain[1] * z,
            vb - gain[1] * b,
            (zz - gain[2] * z).max(0.0),
            zb - gain[2] * b,
            (bb - gain[3] * b).max(0.0),
        ];
        (gain, total)
    }
}

/// Sum of the logarithms of many numbers: their products take few logarithms.
struct LogSum {
    product: f64,
    sum: f64,
}

impl LogSum {
    fn add(&mut self, one: f64) {
        self.product *= one;
        if !(1e-100..1e100).contains(&self.product) {
            self.sum += self.product.ln();
            self.product = 1.0;
        }
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
        let drives: Vec<Drive<'_>> = inputs.iter().map(|one| Drive::acceleration(one)).collect();
        for (input, response) in inputs.iter().zip(filter.responses(&drives)) {
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
