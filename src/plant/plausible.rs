//! Numbers of a plant file that cannot be meant.

use super::result::{AxisPlant, PlantFile, SCHEMA};
use crate::plausible::{Believable, Judge, LARGEST, Misfit};

/// Longest record of thrust, s; largest thrust, N.
const LONGEST_S: f64 = 600.0;
const LARGEST_N: f64 = 1e5;

/// A covariance is no larger than the root of its two variances, but for what rounding adds.
const ROUNDED: f64 = 1.01;

impl Believable for PlantFile {
    fn misfits(&self) -> Vec<Misfit> {
        let mut judge = Judge::default();
        judge.axes((self.schema, SCHEMA), &self.axes, of_axis);
        if let Some(thrust) = &self.thrust {
            judge.within("thrust", |judge| {
                let values = ("thrust_n", thrust.thrust_n.as_slice(), LARGEST_N);
                judge.course(("time_s", &thrust.time_s), values, LONGEST_S);
            });
        }
        judge.done()
    }
}

fn of_axis(axis: &AxisPlant, judge: &mut Judge) {
    judge.within("actuator", |judge| {
        let of = &axis.actuator;
        judge.measured("gain", of.gain.as_ref(), -1e3, 1e3);
        if of.gain.as_ref().is_some_and(|gain| gain.value == 0.0) {
            judge.within("gain", |judge| {
                judge.misfit("value", "cannot be zero: nothing would move");
            });
        }
        judge.measured("bias_deg", of.bias_deg.as_ref(), -90.0, 90.0);
        judge.measured("lag_s", of.lag_s.as_ref(), 0.0, 10.0);
        judge.measured("delay_s", of.delay_s.as_ref(), 0.0, 2.0);
        judge.measured("slew_deg_s", of.slew_deg_s.as_ref(), 1e-3, 1e6);
        judge.perhaps("travel_deg", of.travel_deg, 1e-3, 90.0);
        judge.within("dead_band", |judge| {
            judge.measured("width_deg", of.dead_band.width_deg.as_ref(), 0.0, 90.0);
        });
    });
    if let Some(of) = &axis.rig {
        judge.within("rig", |judge| {
            judge.measured(
                "effectiveness_per_kg_m",
                of.effectiveness_per_kg_m.as_ref(),
                -1e6,
                1e6,
            );
            judge.measured(
                "thrust_bias_per_kg_m",
                of.thrust_bias_per_kg_m.as_ref(),
                -1e6,
                1e6,
            );
            judge.measured("damping_per_s", of.damping_per_s.as_ref(), -1e4, 1e4);
            judge.measured("stiffness_per_s2", of.stiffness_per_s2.as_ref(), -1e6, 1e6);
            judge.measured(
                "coulomb_rad_per_s2",
                of.coulomb_rad_per_s2.as_ref(),
                0.0,
                1e4,
            );
        });
    }
    if let Some(of) = &axis.flight {
        judge.within("flight", |judge| {
            let key = "effectiveness_per_kg_m";
            judge.measured(key, of.effectiveness_per_kg_m.as_ref(), 1e-6, 1e6);
            let key = "effectiveness_spent_per_kg_m";
            judge.measured(key, of.effectiveness_spent_per_kg_m.as_ref(), 1e-6, 1e6);
            judge.measured("inertia_kg_m2", of.inertia_kg_m2.as_ref(), 1e-9, 1e6);
            judge.measured("arm_m", of.arm_m.as_ref(), 1e-6, 1e3);
        });
    }
    judge.within("covariance", |judge| {
        let (names, matrix) = (&axis.covariance.names, &axis.covariance.matrix);
        let size = names.len();
        if matrix.len() != size || matrix.iter().any(|row| row.len() != size) {
            judge.misfit(
                "matrix",
                format!("needs {size} rows of {size}, as many as `names`"),
            );
            return;
        }
        judge.within("matrix", |judge| {
            for (at, row) in matrix.iter().enumerate() {
                judge.within(&at, |judge| {
                    for (other, value) in row.iter().enumerate() {
                        let low = if at == other { 0.0 } else { -LARGEST };
                        judge.number(&other.to_string(), *value, low, LARGEST);
                        let most = matrix[at][at].abs().sqrt() * matrix[other][other].abs().sqrt();
                        if value.abs() > ROUNDED * most {
                            let what = "is larger than the variances beside it allow";
                            judge.misfit(&other, what);
                        }
                    }
                });
            }
        });
    });
}
