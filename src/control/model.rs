//! The numbers of one axis that loop and simulator work with, from `plant.json`: the best estimate,
//! or one sampled from what is known of them.
//!
//! Numbers that are not identifiable from the record stand at what leaves them out (no damping, no stiffness, no dry
//! friction, no dead band) and are named in [`AxisModel::left_out`]; without gain, lag, delay or
//! effectiveness there is no loop to speak of. The fitted numbers are sampled together by
//! their covariance; those of the free rocket come from weighing and measuring, and are sampled apart.

use nalgebra::{DMatrix, DVector, SymmetricEigen};
use rand::RngExt;
use rand::rngs::ChaCha8Rng;
use serde::{Deserialize, Serialize};

use super::zero_order_hold::ContinuousPlant;
use crate::diagnostic::{Code, Diagnostic, Error};
use crate::plant::{AxisPlant, DeadBandKind, Flight, Parameter};
use crate::quantity::Measured;

/// What turns under thrust.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "lowercase")]
pub enum Body {
    /// The free rocket.
    Flight,
    /// The rig it was fired in.
    Rig,
}

impl Body {
    /// The word used in files and outputs.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Flight => "flight",
            Self::Rig => "rig",
        }
    }
}

/// Numbers of one axis, all known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AxisNumbers {
    /// Nozzle angle per command.
    pub gain: f64,
    /// Command that is there without a command, deg.
    pub bias_deg: f64,
    /// Lag, s.
    pub lag_s: f64,
    /// Damping ratio of an actuator of second order; `None` of one of first order.
    pub damping_ratio: Option<f64>,
    /// Dead time of the actuator, s.
    pub delay_s: f64,
    /// Kind of dead band.
    pub dead_band: DeadBandKind,
    /// Its total width, deg of command.
    pub width_deg: f64,
    /// Fastest nozzle movement, deg/s.
    pub slew_deg_s: Option<f64>,
    /// Nozzle travel either side, deg.
    pub travel_deg: Option<f64>,
    /// Tilt acceleration per newton and radian, 1/(kg m).
    pub effectiveness_per_kg_m: f64,
    /// Tilt acceleration per newton with the nozzle straight, 1/(kg m).
    pub thrust_bias_per_kg_m: f64,
    /// Damping, 1/s.
    pub damping_per_s: f64,
    /// Stiffness, 1/s2.
    pub stiffness_per_s2: f64,
    /// Dry friction, rad/s2.
    pub coulomb_rad_per_s2: f64,
}

/// What is not said: an actuator that does as it is told, a rocket on which nothing but the nozzle acts.
impl Default for AxisNumbers {
    fn default() -> Self {
        Self {
            gain: 1.0,
            bias_deg: 0.0,
            lag_s: SHORTEST_LAG_S,
            damping_ratio: None,
            delay_s: 0.0,
            dead_band: DeadBandKind::None,
            width_deg: 0.0,
            slew_deg_s: None,
            travel_deg: None,
            effectiveness_per_kg_m: 0.0,
            thrust_bias_per_kg_m: 0.0,
            damping_per_s: 0.0,
            stiffness_per_s2: 0.0,
            coulomb_rad_per_s2: 0.0,
        }
    }
}

impl AxisNumbers {
    /// Command to nozzle angle, tilt, tilt rate and, of an actuator of second order, the nozzle's rate (deg, deg, deg/s,
    /// deg/s) as a linear plant under one newton: dead band, limits and dry friction left out. `latency_s` comes on
    /// top of the delay of the actuator.
    #[must_use]
    pub fn linear(&self, latency_s: f64) -> ContinuousPlant {
        let size = if self.damping_ratio.is_some() { 4 } else { 3 };
        let mut a = DMatrix::zeros(size, size);
        let mut b = DVector::zeros(size);
        match self.damping_ratio {
            Some(ratio) => {
                let stiffness = (2.0 * ratio / self.lag_s).powi(2);
                a[(0, 3)] = 1.0;
                a[(3, 0)] = -stiffness;
                a[(3, 3)] = -stiffness * self.lag_s;
                b[3] = self.gain * stiffness;
            }
            None => {
                a[(0, 0)] = -1.0 / self.lag_s;
                b[0] = self.gain / self.lag_s;
            }
        }
        a[(1, 2)] = 1.0;
        a[(2, 0)] = self.effectiveness_per_kg_m;
        a[(2, 1)] = self.stiffness_per_s2;
        a[(2, 2)] = -self.damping_per_s;
        ContinuousPlant {
            a,
            b,
            delay_s: self.delay_s + latency_s,
        }
    }
}

/// One axis as the file has it.
#[derive(Debug, Clone)]
pub struct AxisModel {
    /// Which body turns.
    pub body: Body,
    /// Best estimate.
    pub nominal: AxisNumbers,
    /// Numbers that are not identifiable from the record, in words.
    pub left_out: Vec<String>,
    /// How much more the same thrust turns it with all propellant burnt; 1 where that is not known.
    pub lighter: f64,
    /// Root of the covariance of the fitted numbers, and what each row moves.
    root: DMatrix<f64>,
    moves: Vec<Parameter>,
    flight_u: f64,
    /// Standard uncertainty of lag and delay together where they are not known apart, s.
    together_u_s: f64,
}

/// Lag at which the loop no longer depends on it, s.
const SHORTEST_LAG_S: f64 = 1e-4;

/// An actuator that swings more than this is none that steers.
const LEAST_DAMPING_RATIO: f64 = 0.05;

impl AxisModel {
    /// Reads an axis of the plant file.
    ///
    /// # Errors
    /// A number without which there is no loop is `null`.
    pub fn new(name: &str, plant: &AxisPlant, body: Body) -> Result<Self, Error> {
        let mut missing = Vec::new();
        let mut need = |value: Option<&Measured>, what: &str| {
            if value.is_none() {
                missing.push(what.to_owned());
            }
            value.map_or(f64::NAN, |measured| measured.value)
        };
        let (actuator, rig) = (&plant.actuator, plant.rig.as_ref());
        let gain = need(actuator.gain.as_ref(), "gain");
        // Where lag and delay are known only together all of it counts as delay, which costs a loop more.
        let apart = actuator.lag_s.as_ref().zip(actuator.delay_s.as_ref());
        let together = actuator
            .lag_plus_delay_s
            .as_ref()
            .filter(|_| apart.is_none());
        let (lag_s, delay_s) = match together {
            Some(sum) => (SHORTEST_LAG_S, sum.value),
            None => (
                need(actuator.lag_s.as_ref(), "lag_s"),
                need(actuator.delay_s.as_ref(), "delay_s"),
            ),
        };
        let flight = plant.flight.as_ref();
        let effectiveness = match body {
            Body::Flight => flight.and_then(|flight| flight.effectiveness_per_kg_m.as_ref()),
            Body::Rig => rig.and_then(|rig| rig.effectiveness_per_kg_m.as_ref()),
        };
        let effectiveness_per_kg_m = need(
            effectiveness,
            match body {
                Body::Flight => "flight.effectiveness_per_kg_m",
                Body::Rig => "rig.effectiveness_per_kg_m",
            },
        );
        if !missing.is_empty() {
            return Err(unknown(name, &missing));
        }
        let mut left_out = Vec::new();
        if together.is_some() {
            left_out.push("lag apart from delay (all of it counts as delay)".to_owned());
        }
        let mut known = |value: Option<&Measured>, what: &str| {
            if value.is_none() {
                left_out.push(what.to_owned());
            }
            value.map_or(0.0, |measured| measured.value)
        };
        let of_rig = |get: fn(&crate::plant::Rig) -> Option<&Measured>| rig.and_then(get);
        let bias_deg = known(actuator.bias_deg.as_ref(), "bias of the nozzle");
        let in_rig = body == Body::Rig;
        let thrust_bias = known(
            of_rig(|rig| rig.thrust_bias_per_kg_m.as_ref()),
            "thrust bias",
        );
        let mut rig_only = |value: Option<&Measured>, what: &str| {
            if in_rig { known(value, what) } else { 0.0 }
        };
        let damping_per_s = rig_only(of_rig(|rig| rig.damping_per_s.as_ref()), "damping");
        let stiffness_per_s2 = rig_only(of_rig(|rig| rig.stiffness_per_s2.as_ref()), "stiffness");
        let coulomb_rad_per_s2 = rig_only(
            of_rig(|rig| rig.coulomb_rad_per_s2.as_ref()),
            "dry friction",
        );
        let width = actuator.dead_band.width_deg.as_ref();
        let dead_band = actuator.dead_band.kind.unwrap_or(DeadBandKind::None);
        if actuator.dead_band.kind.is_none() {
            left_out.push("dead band".to_owned());
        }
        // The free rocket turns by another arm over another inertia than the rig; the thrust's own
        // sideways pull turns it in the same ratio.
        let carried = match (
            body,
            rig.and_then(|rig| rig.effectiveness_per_kg_m.as_ref()),
        ) {
            (Body::Flight, Some(rig)) if rig.value != 0.0 => effectiveness_per_kg_m / rig.value,
            _ => 1.0,
        };
        let nominal = AxisNumbers {
            gain,
            bias_deg,
            lag_s: lag_s.max(SHORTEST_LAG_S),
            damping_ratio: actuator.damping_ratio.as_ref().map(|ratio| ratio.value),
            delay_s: delay_s.max(0.0),
            dead_band,
            width_deg: width.map_or(0.0, |width| width.value.max(0.0)),
            slew_deg_s: actuator.slew_deg_s.as_ref().map(|slew| slew.value),
            travel_deg: actuator.travel_deg,
            effectiveness_per_kg_m,
            thrust_bias_per_kg_m: thrust_bias * carried,
            damping_per_s,
            stiffness_per_s2,
            coulomb_rad_per_s2: coulomb_rad_per_s2.max(0.0),
        };
        let names = &plant.covariance.names;
        Ok(Self {
            body,
            nominal,
            left_out,
            lighter: lighter(flight, body),
            root: root(&plant.covariance.matrix, names.len()),
            moves: names.clone(),
            flight_u: effectiveness.map_or(0.0, |measured| measured.u),
            together_u_s: together.map_or(0.0, |sum| sum.u),
        })
    }

    /// Numbers as they may well be: sampled from the covariance, kept within what is physical.
    pub fn sample(&self, rng: &mut ChaCha8Rng) -> AxisNumbers {
        let z = DVector::from_fn(self.root.ncols(), |_, _| normal(rng));
        let shift = &self.root * z;
        let mut out = self.nominal;
        let flight_z = normal(rng);
        let in_rig = self.body == Body::Rig;
        for (parameter, by) in self.moves.iter().zip(shift.iter()) {
            match parameter {
                Parameter::Gain => out.gain += by,
                Parameter::Bias => out.bias_deg += by,
                Parameter::Lag => out.lag_s = (out.lag_s + by).max(SHORTEST_LAG_S),
                Parameter::DampingRatio => {
                    let least = LEAST_DAMPING_RATIO;
                    out.damping_ratio = out.damping_ratio.map(|ratio| (ratio + by).max(least));
                }
                Parameter::Delay => out.delay_s = (out.delay_s + by).max(0.0),
                Parameter::DeadBandWidth if out.dead_band != DeadBandKind::None => {
                    out.width_deg = (out.width_deg + by).max(0.0);
                }
                Parameter::Slew => {
                    out.slew_deg_s = out.slew_deg_s.map(|slew| (slew + by).max(1e-3 * slew));
                }
                Parameter::Effectiveness if in_rig => out.effectiveness_per_kg_m += by,
                Parameter::ThrustBias => out.thrust_bias_per_kg_m += by,
                Parameter::Damping if in_rig => {
                    out.damping_per_s = (out.damping_per_s + by).max(0.0);
                }
                Parameter::Stiffness if in_rig => out.stiffness_per_s2 += by,
                Parameter::DryFriction if in_rig => {
                    out.coulomb_rad_per_s2 = (out.coulomb_rad_per_s2 + by).max(0.0);
                }
                _ => {}
            }
        }
        if self.together_u_s > 0.0 {
            out.delay_s = (out.delay_s + self.together_u_s * normal(rng)).max(0.0);
        }
        if self.body == Body::Flight {
            out.effectiveness_per_kg_m += self.flight_u * flight_z;
        }
        out
    }
}

/// Effectiveness at burnout over that at ignition, where it is more.
fn lighter(flight: Option<&Flight>, body: Body) -> f64 {
    let flight = flight.filter(|_| body == Body::Flight);
    let both = flight.and_then(|of| {
        let spent = of.effectiveness_spent_per_kg_m.as_ref()?;
        Some(spent.value / of.effectiveness_per_kg_m.as_ref()?.value)
    });
    both.map_or(1.0, |ratio| ratio.max(1.0))
}

/// A standard normal number (Box & Muller 1958).
pub(crate) fn normal(rng: &mut ChaCha8Rng) -> f64 {
    let radius = (-2.0 * (1.0 - rng.random::<f64>()).ln()).sqrt();
    radius * (std::f64::consts::TAU * rng.random::<f64>()).cos()
}

/// Square root of a covariance by its eigenvectors; directions that rounding made negative are left
/// out. A matrix of another size than its names says nothing.
fn root(matrix: &[Vec<f64>], size: usize) -> DMatrix<f64> {
    if matrix.len() != size || matrix.iter().any(|row| row.len() != size) {
        return DMatrix::zeros(size, size);
    }
    // Scaled to correlations first: variances here lie 15 powers of ten apart.
    let u: Vec<f64> = (0..size).map(|i| matrix[i][i].max(0.0).sqrt()).collect();
    let scaled = DMatrix::from_fn(size, size, |i, j| {
        let both = u[i] * u[j];
        if both > 0.0 {
            0.5 * (matrix[i][j] + matrix[j][i]) / both
        } else {
            0.0
        }
    });
    if scaled.iter().any(|value| !value.is_finite()) {
        return DMatrix::zeros(size, size);
    }
    let eigen = SymmetricEigen::new(scaled);
    let mut out = eigen.eigenvectors;
    for (at, value) in eigen.eigenvalues.iter().enumerate() {
        out.column_mut(at).scale_mut(value.max(0.0).sqrt());
    }
    for (at, u) in u.iter().enumerate() {
        out.row_mut(at).scale_mut(*u);
    }
    out
}

fn unknown(name: &str, missing: &[String]) -> Error {
    let listed = missing.join(", ");
    Diagnostic::error(
        Code::UnknownPlant,
        format!("axis {name}: the plant file has no {listed}, and no loop can be closed without"),
    )
    .hint("the findings of the reduction say what excitation would show it")
    .hint(
        "for the free rocket give [vehicle] in the firing file, or work on the rig with --body rig",
    )
    .into()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::control::zero_order_hold::DiscretePlant;
    use approx::assert_relative_eq;
    use rand::SeedableRng;

    // Covariance [[4, 2.4], [2.4, 9]]: the root times its transpose gives it back, and 20 000 draws
    // have its spread and correlation of 0.4 (each within four standard errors, 0.03).
    #[test]
    fn samples_have_the_covariance_they_come_from() {
        let matrix = vec![vec![4.0, 2.4], vec![2.4, 9.0]];
        let root = root(&matrix, 2);
        let back = &root * root.transpose();
        for i in 0..2 {
            for j in 0..2 {
                assert_relative_eq!(back[(i, j)], matrix[i][j], max_relative = 1e-12);
            }
        }
        let mut rng = ChaCha8Rng::seed_from_u64(5);
        let n = 20_000;
        let mut sums = [0.0; 3];
        for _ in 0..n {
            let z = DVector::from_fn(2, |_, _| normal(&mut rng));
            let x = &root * z;
            sums[0] += x[0] * x[0];
            sums[1] += x[0] * x[1];
            sums[2] += x[1] * x[1];
        }
        let n = f64::from(n);
        assert_relative_eq!(sums[0] / n, 4.0, max_relative = 0.04);
        assert_relative_eq!(sums[2] / n, 9.0, max_relative = 0.04);
        assert_relative_eq!(sums[1] / n, 2.4, epsilon = 0.2);
    }

    // Damping ratio 0.7, lag 30 ms, so w = 46.667 rad/s: a unit step overshoots by 4.599 % after pi/(w sqrt(0.51)) = 94.27 ms.
    #[test]
    fn an_actuator_of_second_order_overshoots_as_the_textbook_says() {
        let numbers = AxisNumbers {
            lag_s: 0.03,
            damping_ratio: Some(0.7),
            ..AxisNumbers::default()
        };
        let top_s = std::f64::consts::PI / (1.4 / 0.03 * 0.51_f64.sqrt());
        let sampled = DiscretePlant::new(&numbers.linear(0.0), top_s);
        let mut moving = sampled.at_rest();
        sampled.step(&mut moving, 1.0);
        assert_relative_eq!(moving.state[0], 1.045_99, epsilon = 1e-5);
        assert_relative_eq!(moving.state[3], 0.0, epsilon = 1e-9);
    }
}
