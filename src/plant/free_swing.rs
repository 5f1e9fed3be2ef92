//! Damping, stiffness and dry friction from a free swing of the rig without thrust.
//!
//! The same prediction errors as in a burn ([`super::tilt`]) with nothing that steers: the disturbance
//! is what air and table do. The search starts from the period, by the crossings of the middle, and is
//! turned over until damping and stiffness rest, because the filter swings with them. A rig that hangs
//! has a negative stiffness; one that stands on its pivot does not swing and has none to be told.
//!
//! Check: the logarithmic decrement of the peaks, delta = ln(a_n/a_{n+1}) = damping T/2 (any text on
//! vibration).

use std::cell::RefCell;

use super::excitation::Movement;
use super::fit_uncertainty::fit_uncertainty;
use super::instants::Instants;
use super::kalman_filter::{KalmanFilter, NoiseModel, RigDynamics};
use super::measurement_model::{MeasurementModel, StructureFit, fit_from};
use super::noise_likelihood::{NoiseLikelihood, first_noise};
use super::noise_search::NoiseSearch;
use super::parameter::Parameter;
use super::prior::{Prior, Priors};
use super::tilt_model::{NozzleAngle, ThrustInput, TiltModel};
use super::{DeadBandKind, Estimate, FreeSwing};
use crate::series::Series;

/// Crossings of the middle asked for: two whole swings.
const WANTED_CROSSINGS: usize = 5;
/// Turns of filter and fit.
const TURNS: usize = 8;
/// Priors wide enough to say nothing: 1/s, 1/s2, rad/s2.
const WIDE: [(Parameter, f64); 3] = [
    (Parameter::Damping, 20.0),
    (Parameter::Stiffness, 1e4),
    (Parameter::DryFriction, 1.0),
];

/// Fits a free swing; `None` when it does not swing twice.
#[must_use]
pub(crate) fn free_swing(tilt_rad: &Series) -> Option<FreeSwing> {
    let span = tilt_rad.span_s()?;
    let instants = Instants::new(Some(tilt_rad), None, span);
    if instants.count < 60 {
        return None;
    }
    let mut swing = RigDynamics {
        damping_per_s: 0.1,
        stiffness_per_s2: -angular_frequency(tilt_rad)?.powi(2),
    };
    let mut noise = NoiseModel {
        with_thrust: 0.0,
        ..first_noise(Some(tilt_rad), None, span)
    };
    let count = instants.times_s.len();
    let mut acceleration = vec![0.0; count];
    let mut last: Option<StructureFit> = None;
    for turn in 0..TURNS {
        let model = unforced_model(&instants, &noise, swing, &acceleration);
        let start = last.as_ref().map_or_else(
            || model.start([0.0, 0.0, 0.01, 0.0, 0.0]),
            |fit| fit.minimum.x.clone(),
        );
        let fit = fit_from(
            &model,
            DeadBandKind::None,
            &start,
            Some(Parameter::Effectiveness),
        );
        let x = &fit.minimum.x;
        swing = RigDynamics {
            damping_per_s: x[TiltModel::at(Parameter::Damping)].max(0.0),
            stiffness_per_s2: x[TiltModel::at(Parameter::Stiffness)],
        };
        acceleration = model.acceleration(fit.kind, x);
        if turn < TURNS - 2 {
            let sensitivities = model.sensitivities(fit.kind, x, &fit.minimum.free);
            let problem = NoiseLikelihood {
                instants: &instants,
                swing,
                acceleration: &acceleration,
                priors: vec![None; sensitivities.len()],
                sensitivities: sensitivities
                    .into_iter()
                    .map(|(_, sensitivity)| sensitivity)
                    .collect(),
                two_sensors: false,
                known: RefCell::default(),
            };
            noise = problem.solve(&noise, NoiseSearch::Precise);
        }
        last = Some(fit);
    }
    let fit = last?;
    let uncertainty = fit_uncertainty(&fit.minimum)?;
    let of = |parameter: Parameter| Estimate {
        value: fit.minimum.x[TiltModel::at(parameter)],
        u: uncertainty.u(TiltModel::at(parameter)),
    };
    Some(FreeSwing {
        damping_per_s: of(Parameter::Damping),
        stiffness_per_s2: of(Parameter::Stiffness),
        coulomb_rad_per_s2: of(Parameter::DryFriction),
    })
}

/// A model with nothing but a steady push, which stands for where the rig rests.
fn unforced_model(
    instants: &Instants,
    noise: &NoiseModel,
    swing: RigDynamics,
    acceleration: &[f64],
) -> TiltModel {
    let count = instants.times_s.len();
    let mut priors = Priors::default();
    for (parameter, u) in WIDE {
        priors[parameter] = Prior { value: 0.0, u };
    }
    let push = ThrustInput {
        push_n: vec![1.0; count],
        lighter: vec![0.0; count],
        later: vec![0.0; count],
        longer: vec![0.0; count],
        moves_rate: false,
    };
    let nozzle = NozzleAngle::Known {
        angle_rad: vec![0.0; count],
        rate_rad_s: vec![0.0; count],
    };
    let filter = KalmanFilter::new(instants, noise, swing);
    TiltModel::new(filter, instants, push, nozzle, swing, acceleration)
        .with_priors(priors)
        .with_movement(Movement::default())
}

/// Angular frequency by crossings of the middle, rad/s.
fn angular_frequency(tilt: &Series) -> Option<f64> {
    let value = tilt.value();
    let (low, high) = value
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
            (low.min(*v), high.max(*v))
        });
    let middle = value.iter().sum::<f64>() / value.len() as f64;
    // Noise about the middle must not count: a crossing is from one outer band to the other.
    let band = 0.05 * (high - low);
    let mut crossings: Vec<f64> = Vec::new();
    let mut side = 0.0;
    for (time, value) in tilt.iter() {
        let away = value - middle;
        if away.abs() > band && away.signum() != side {
            if side != 0.0 {
                crossings.push(time);
            }
            side = away.signum();
        }
    }
    if crossings.len() < WANTED_CROSSINGS {
        return None;
    }
    let spans = (crossings.len() - 1) as f64;
    let half_period = (crossings[crossings.len() - 1] - crossings[0]) / spans;
    Some(std::f64::consts::PI / half_period)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng, rngs::ChaCha8Rng};

    /// a'' = -c a' - w2 (a - rest) - f sign(a') from 0.15 rad, by small steps, read with noise.
    fn swung(c: f64, w2: f64, friction: f64, seed: u64) -> Series {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut normal = || (0..12).map(|_| rng.random::<f64>()).sum::<f64>() - 6.0;
        let (mut a, mut v) = (0.15, 0.0_f64);
        let (h, mut out) = (1e-4, Series::default());
        let (mut gust, keep) = (0.0, (-h / 0.3_f64).exp());
        for step in 0..80_000 {
            if step % 100 == 0 {
                out.push(f64::from(step) * h, a + 2e-4 * normal());
            }
            gust = keep * gust + 0.004 * (1.0 - keep * keep).sqrt() * normal();
            let turn = -c * v - w2 * (a - 0.01) - friction * v.signum() + gust;
            v += h * turn;
            a += h * v;
        }
        out
    }

    // Coverage of three numbers over twenty swings: 57 of 60 expected, 1.7 one deviation.
    #[test]
    fn a_swing_gives_its_damping_stiffness_and_friction_back() {
        let mut held = 0;
        for seed in 0..20 {
            let found = free_swing(&swung(0.3, 25.0, 0.03, seed)).unwrap();
            let within = |found: Estimate, truth: f64| (found.value - truth).abs() < 2.1 * found.u;
            held += usize::from(within(found.damping_per_s, 0.3))
                + usize::from(within(found.stiffness_per_s2, -25.0))
                + usize::from(within(found.coulomb_rad_per_s2, 0.03));
            assert!(
                (found.stiffness_per_s2.value + 25.0).abs() < 0.3,
                "{found:?}"
            );
            assert!(found.damping_per_s.u < 0.05, "{found:?}");
        }
        assert!(held >= 51, "{held} of 60");
    }

    // Damping 0.4/s at 5 rad/s: the peaks of the free swing fall by exp(-0.4 T/2) each turn, T = 1.2576 s;
    // the logarithmic decrement is 0.2515.
    #[test]
    fn the_damping_is_that_of_the_logarithmic_decrement() {
        let time: Vec<f64> = (0..800).map(|i| f64::from(i) * 0.01).collect();
        let w = (25.0_f64 - 0.04).sqrt();
        let mut random = ChaCha8Rng::seed_from_u64(5);
        let mut jitter = || 1e-5 * (random.random::<f64>() - 0.5);
        let swing = |t: &f64| 0.1 * (-0.2 * t).exp() * (w * t).cos() + jitter();
        let tilt: Vec<f64> = time.iter().map(swing).collect();
        let found = free_swing(&Series::new(&time, &tilt)).unwrap();
        let decrement = found.damping_per_s.value * std::f64::consts::PI / w;
        assert!((decrement - 0.2515).abs() < 0.005, "{found:?}");
        assert!(
            (found.stiffness_per_s2.value + 25.0).abs() < 0.05,
            "{found:?}"
        );
    }

    #[test]
    fn a_rig_that_does_not_swing_tells_nothing() {
        let time: Vec<f64> = (0..800).map(|i| f64::from(i) * 0.01).collect();
        assert!(free_swing(&Series::new(&time, &vec![0.1; 800])).is_none());
    }
}
