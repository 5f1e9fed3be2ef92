//! Numbers of a plant file that cannot be meant.

use super::parameter::{Home, Parameter};
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
    for parameter in Parameter::ALL {
        let block = match parameter.definition().home {
            Home::Actuator(_) => "actuator",
            Home::Rig(_) => "rig",
            Home::Nuisance => continue,
        };
        judge.within(block, |judge| look_at(*parameter, axis, judge));
    }
    judge.within("actuator", |judge| {
        judge.perhaps("travel_deg", axis.actuator.travel_deg, 1e-3, 90.0);
    });
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

/// Looks at a parameter under the keys that lead to it in its block.
fn look_at(parameter: Parameter, axis: &AxisPlant, judge: &mut Judge) {
    let value = axis.value(parameter);
    let (low, high) = parameter.definition().range;
    if let Some((within, key)) = parameter.key().split_once('.') {
        judge.within(within, |judge| judge.measured(key, value, low, high));
        return;
    }
    judge.measured(parameter.key(), value, low, high);
    if parameter == Parameter::Gain && value.is_some_and(|gain| gain.value == 0.0) {
        judge.within(parameter.key(), |judge| {
            judge.misfit("value", "cannot be zero: nothing would move");
        });
    }
}
