//! Which of two motors was first, from how the rocket began to tilt.
//!
//! While only one of two motors beside the axis burns, its thrust turns the rocket; when both burn
//! their torques balance. The change of tilt rate over the ignition is what the nozzle's own angle
//! and the steady bias gave it plus the integral of (sum of offset times thrust)/inertia, and the two orders differ in
//! the sign of the latter. Both are compared by the likelihood of the rate change that was measured.

use super::part::{Part, Pattern};
use crate::numeric::polynomial;
use crate::quantity::Measured;
use crate::series::Series;

/// What one axis says about the motors.
#[derive(Debug, Clone)]
pub(crate) struct AxisEvidence {
    /// The axis.
    pub axis: String,
    /// Tilt acceleration per newton with the nozzle straight, 1/(kg m): what motors beside the axis leave.
    pub thrust_bias_per_kg_m: Measured,
    /// How it moved during the ignition, where that was seen.
    pub motion: Option<AxisMotion>,
}

/// How one axis moved during the ignition.
#[derive(Debug, Clone)]
pub(crate) struct AxisMotion {
    /// Tilt rate, rad/s.
    pub rate_rad_s: Series,
    /// Nozzle angle, rad.
    pub nozzle_rad: Series,
    /// Tilt acceleration per newton and radian, 1/(kg m).
    pub effectiveness_per_kg_m: f64,
    /// Tilt acceleration per newton with the nozzle straight, 1/(kg m), and its standard
    /// uncertainty: what steady misalignment and unequal motors do.
    pub thrust_bias_per_kg_m: (f64, f64),
    /// Moment of inertia, kg m2.
    pub inertia_kg_m2: f64,
    /// Offset of each motor, m, in the order of the motors.
    pub offset_m: Vec<f64>,
}

/// The rate is averaged over this long on either side, s.
const AVERAGED_S: f64 = 0.04;

/// After the last onset the change is awaited for this long, s: until both motors push alike.
const SETTLING_S: f64 = 0.10;

/// How far thrust may point beside its steady direction while motors build up, rad (a tenth of a
/// degree). Common practice, no source.
const ALIGNMENT_DRIFT_RAD: f64 = 0.002;

/// Integration step, s.
const STEP_S: f64 = 0.001;

/// Log-likelihood ratio for the order as given against the two parts exchanged. `None` when the axis
/// was not seen over the ignition.
#[must_use]
pub(crate) fn log_ratio(
    motion: &AxisMotion,
    curves: [&Pattern; 2],
    parts: [Part; 2],
    motors: [usize; 2],
) -> Option<f64> {
    let first = parts[0].onset_s.min(parts[1].onset_s);
    let last = parts[0].onset_s.max(parts[1].onset_s) + SETTLING_S;
    let (before, u_before) = rate_at(&motion.rate_rad_s, first - AVERAGED_S, first, first)?;
    let (after, u_after) = rate_at(&motion.rate_rad_s, last, last + AVERAGED_S, last)?;
    let change = after - before;
    let thrust_at =
        |parts: [Part; 2], which: usize, time| parts[which].thrust_n(curves[which], time);
    // Unequal heights are part of the steady bias, so both motors count as certified here.
    let even = |part: Part| Part {
        height: 1.0,
        ..part
    };
    let parts = [even(parts[0]), even(parts[1])];
    let swapped = [
        Part {
            onset_s: parts[1].onset_s,
            ..parts[0]
        },
        Part {
            onset_s: parts[0].onset_s,
            ..parts[1]
        },
    ];
    let offsets = [motion.offset_m[motors[0]], motion.offset_m[motors[1]]];
    let steps = ((last - first) / STEP_S).ceil() as usize;
    let (mut predicted, mut given, mut exchanged, mut u_predicted) = (0.0, 0.0, 0.0, 0.0);
    let (bias, u_bias) = motion.thrust_bias_per_kg_m;
    let u_push = u_bias.hypot(motion.effectiveness_per_kg_m * ALIGNMENT_DRIFT_RAD);
    for step in 0..steps {
        let time = first + (step as f64 + 0.5) * STEP_S;
        let thrust = |parts| [thrust_at(parts, 0, time), thrust_at(parts, 1, time)];
        let torque = |thrust: [f64; 2]| thrust[0] * offsets[0] + thrust[1] * offsets[1];
        let total: f64 = thrust(parts).iter().sum();
        let nozzle = motion.nozzle_rad.at(time)?;
        predicted += STEP_S * total * (motion.effectiveness_per_kg_m * nozzle.sin() + bias);
        u_predicted += STEP_S * total * u_push;
        given += STEP_S * torque(thrust(parts)) / motion.inertia_kg_m2;
        exchanged += STEP_S * torque(thrust(swapped)) / motion.inertia_kg_m2;
    }
    let variance = u_before.powi(2) + u_after.powi(2) + u_predicted.powi(2);
    let miss = |part: f64| (change - predicted - part).powi(2) / (2.0 * variance);
    Some(miss(exchanged) - miss(given))
}

/// Rate at a time from a straight line through the readings of an interval, and its uncertainty.
fn rate_at(rate: &Series, from_s: f64, to_s: f64, at_s: f64) -> Option<(f64, f64)> {
    let part = rate.between(from_s, to_s);
    let shifted: Vec<f64> = part.time_s().iter().map(|time| time - at_s).collect();
    let fit = polynomial::fit(&shifted, part.value(), 1)?;
    (fit.degrees_of_freedom > 0).then(|| (fit.at(0.0), fit.u_at(0.0)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_tilt_tells_which_motor_was_first() {
        let curve = Pattern::new(&Series::new(&[0.0, 0.05, 2.0], &[0.0, 20.0, 20.0])).unwrap();
        let parts = [
            Part {
                onset_s: 1.0,
                height: 1.0,
                stretch: 1.0,
                out_s: None,
            },
            Part {
                onset_s: 1.04,
                height: 1.0,
                stretch: 1.0,
                out_s: None,
            },
        ];
        let time: Vec<f64> = (0..400).map(|i| 0.8 + f64::from(i) * 2e-3).collect();
        // Motor 0 sits at +14 mm and is first: 14 mm x 20 N x 40 ms / 0.08 kg m2 = 0.14 rad/s.
        let mut rate = 0.0;
        let value: Vec<f64> = time
            .iter()
            .enumerate()
            .map(|(i, t)| {
                let torque =
                    0.014 * parts[0].thrust_n(&curve, *t) - 0.014 * parts[1].thrust_n(&curve, *t);
                rate += 2e-3 * torque / 0.08;
                rate + 0.004 * (((i * 7919) % 101) as f64 / 101.0 - 0.5)
            })
            .collect();
        let motion = AxisMotion {
            rate_rad_s: Series::new(&time, &value),
            nozzle_rad: Series::new(&[0.0, 3.0], &[0.0, 0.0]),
            effectiveness_per_kg_m: 3.8,
            thrust_bias_per_kg_m: (0.0, 0.005),
            inertia_kg_m2: 0.08,
            offset_m: vec![0.014, -0.014],
        };
        let right = log_ratio(&motion, [&curve, &curve], parts, [0, 1]).unwrap();
        let wrong = log_ratio(&motion, [&curve, &curve], [parts[1], parts[0]], [0, 1]).unwrap();
        assert!(right > 5.0 && wrong < -5.0, "{right} {wrong}");
    }
}
