//! Covariance of the state of the tilt's filter: tilt, tilt rate, disturbance, gyro bias (Kalman 1960; Bar-Shalom, 6.2).

/// Start uncertainty of tilt, rate (10 rad/s) and gyro bias: far more than any rig shows.
const START_VARIANCE: [f64; 4] = [1.0, 100.0, 0.0, 1.0];

/// Covariance of the state.
pub(super) struct Covariance([[f64; 4]; 4]);

impl Covariance {
    /// At the start, under a disturbance, rad/s2.
    pub(super) fn start(disturbance_rad_s2: f64) -> Self {
        let mut p = [[0.0; 4]; 4];
        for (i, variance) in START_VARIANCE.iter().enumerate() {
            p[i][i] = *variance;
        }
        p[2][2] = disturbance_rad_s2.powi(2);
        Self(p)
    }

    /// Over a step: what it does to tilt and rate, what it leaves of the disturbance and how strong that acts; how long it
    /// is, s; the disturbance, rad/s2, and its correlation time, s.
    pub(super) fn predict(
        &mut self,
        (f, keep, strength): (&[[f64; 3]; 2], f64, f64),
        dt: f64,
        (disturbance_rad_s2, correlation_time_s): (f64, f64),
    ) {
        let p = &self.0;
        let mut half = [[0.0; 4]; 2];
        for (half, f) in half.iter_mut().zip(f) {
            for (j, half) in half.iter_mut().enumerate() {
                *half = f[0] * p[0][j] + f[1] * p[1][j] + f[2] * p[2][j];
            }
        }
        let row = |i: usize, j: usize| {
            let (half, f) = (&half[i], &f[j]);
            f[0] * half[0] + f[1] * half[1] + f[2] * half[2]
        };
        // Noise of the disturbance and its first two integrals (Bar-Shalom, 6.2).
        let q = 2.0 * disturbance_rad_s2.powi(2) / correlation_time_s;
        let (d2, s1) = (dt * dt, strength);
        let (d3, s2) = (d2 * dt, s1 * s1);
        self.0 = symmetric([
            [
                row(0, 0) + q * s2 * d2 * d3 / 20.0,
                row(0, 1) + q * s2 * d2 * d2 / 8.0,
                keep * half[0][2] + q * s1 * d3 / 6.0,
                half[0][3],
            ],
            [
                0.0,
                row(1, 1) + q * s2 * d3 / 3.0,
                keep * half[1][2] + q * s1 * d2 / 2.0,
                half[1][3],
            ],
            [0.0, 0.0, keep * keep * p[2][2] + q * dt, keep * p[2][3]],
            [0.0, 0.0, 0.0, p[3][3]],
        ]);
    }

    /// Takes in a reading; gives the gain and the variance foreseen for its prediction error.
    pub(super) fn update(&mut self, rate: bool, variance: f64) -> ([f64; 4], f64) {
        let p = &self.0;
        let mut cross = [0.0; 4];
        for (i, cross) in cross.iter_mut().enumerate() {
            *cross = if rate { p[i][1] + p[i][3] } else { p[i][0] };
        }
        let foreseen = if rate { cross[1] + cross[3] } else { cross[0] };
        let total = foreseen + variance;
        let gain = cross.map(|cross| cross / total);
        let mut left = *p;
        for i in 0..4 {
            for j in i..4 {
                left[i][j] -= gain[i] * cross[j];
            }
            // Rounding must not make a variance negative.
            left[i][i] = left[i][i].max(0.0);
        }
        self.0 = symmetric(left);
        (gain, total)
    }
}

/// A matrix whose lower triangle mirrors its upper one.
fn symmetric(upper: [[f64; 4]; 4]) -> [[f64; 4]; 4] {
    std::array::from_fn(|i| std::array::from_fn(|j| upper[i.min(j)][i.max(j)]))
}
