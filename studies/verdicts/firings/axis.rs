//! One steering axis of the rig, in some firings: motors beside the axis tilt it, the nozzle steers against that.
//!
//! Moments about the pivot, small nozzle angles, first-order nozzle, command in force from row to row; the equations of the
//! contract's section 5 without dead band, delay and friction. A dead motor shows as a steady torque.

use std::f64::consts::PI;

use super::burn::STEP;
use super::rig::{GRAVITY, Rig};
use super::rng::{Rng, Stream};

const DEG: f64 = PI / 180.0;
const ARM: f64 = 0.31;
const PIVOT_TO_CG: f64 = -0.12;
const TRAVEL_DEG: f64 = 5.0;

#[derive(Clone, Debug)]
pub(super) struct Axis {
    inertia: f64,
    mass: f64,
    damping: f64,
    gain: f64,
    lag_s: f64,
    /// Between thrust and nozzle axis, rad.
    misalignment: f64,
    gyro_bias: f64,
}

impl Axis {
    pub(super) fn draw(rng: &mut Rng, peak_n: f64) -> Self {
        let inertia = 0.0016 * peak_n * rng.uniform(0.8, 1.3);
        let stiffness = rng.uniform(15.0, 40.0);
        Self {
            inertia,
            mass: stiffness * inertia / (GRAVITY * PIVOT_TO_CG.abs()),
            damping: rng.uniform(0.1, 0.6),
            gain: rng.uniform(0.9, 1.05),
            lag_s: rng.uniform(0.015, 0.04),
            misalignment: 0.15 * DEG * rng.normal(),
            gyro_bias: rng.uniform(-0.6, 0.6),
        }
    }

    /// Command in deg, tilt in deg, rate in deg/s at each row.
    pub(super) fn rows(
        &self,
        seed: u64,
        rig: &Rig,
        courses: &[Vec<f64>],
        times: &[f64],
    ) -> Vec<[f64; 3]> {
        let mut rng = Rng::new(seed, Stream::Steering);
        let stiffness = self.mass * GRAVITY * PIVOT_TO_CG / self.inertia;
        let (mut tilt, mut rate, mut nozzle, mut command) = (0.0, 0.0, 0.0, 0.0);
        let (mut step, mut until, mut sign) = (0.0, rig.fire_s, 1.0);
        let mut row = 0;
        let mut out = Vec::with_capacity(times.len());
        for k in 0..courses.first().map_or(0, Vec::len) {
            let t = k as f64 * STEP;
            while row < times.len() && times[row] <= t + 0.5 * STEP {
                if t >= until && t < rig.fire_s + 3.5 {
                    sign = -sign;
                    step = sign * rng.uniform(0.5, 2.5);
                    until = t + rng.uniform(0.07, 0.17);
                }
                let seen = (
                    tilt / DEG + 0.02 * rng.normal(),
                    rate / DEG + self.gyro_bias + 0.25 * rng.normal(),
                );
                let steer = step - 0.4 * tilt / DEG - 0.06 * rate / DEG;
                command = if t < rig.fire_s {
                    0.0
                } else {
                    (steer.clamp(-4.5, 4.5) * 100.0).round() / 100.0
                };
                out.push([command, seen.0, seen.1]);
                row += 1;
            }
            let demand = (self.gain * command).clamp(-TRAVEL_DEG, TRAVEL_DEG) * DEG;
            nozzle += (demand - nozzle) * STEP / self.lag_s;
            let torque: f64 = courses
                .iter()
                .zip(&rig.motors)
                .map(|(c, m)| c[k] * (ARM * (nozzle + self.misalignment) + 1e-3 * m.offset_mm))
                .sum();
            rate += STEP * (torque / self.inertia - self.damping * rate + stiffness * tilt);
            tilt += STEP * rate;
        }
        out.resize(times.len(), [command, tilt / DEG, rate / DEG]);
        out
    }

    pub(super) fn table(&self) -> String {
        format!(
            "[axis.yaw]\ncommand = {{ log = \"stand\", column = \"cmd_yaw\", unit = \"deg\" }}\n\
             tilt    = {{ log = \"stand\", column = \"tilt_yaw\", unit = \"deg\" }}\n\
             rate    = {{ log = \"stand\", column = \"gyro_yaw\", unit = \"deg/s\" }}\n\
             travel  = \"{TRAVEL_DEG} deg\"\narm     = \"{:.0} mm ± 1 mm\"\n\
             inertia = \"{:.5} kg m2 u {:.5} kg m2\"\npivot_to_cg = \"{:.0} mm\"\nswinging_mass = \"{:.3} kg\"\n\n",
            1e3 * ARM,
            self.inertia,
            0.01 * self.inertia,
            1e3 * PIVOT_TO_CG,
            self.mass
        )
    }
}
