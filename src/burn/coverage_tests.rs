//! Uncertainties of a burn against many simulated ones, few enough for every run of the tests.

#![allow(clippy::unwrap_used, reason = "a test may stop on the first surprise")]

use rand::{RngExt, SeedableRng, rngs::ChaCha8Rng};

use super::baseline;
use super::correction::Modes;
use super::describe::{Choice, Description, describe};
use super::locate::Delay;
use super::segmentation::burn_rows;
use super::thrust::{ThrustTrace, WeightLoss, thrust};
use crate::calibration::{CellReadings, Load};
use crate::calibration::{Points, calibrate_points};
use crate::config::BurnRule;
use crate::numeric::trapezoid;
use crate::quantity::{Measured, Unit};
use crate::series::Series;
use crate::studies::study;
use crate::uncertainty::measured;

/// Share by which all weights may be wrong, the same way.
const TOLERANCE: f64 = 0.002;

/// Up to 30 N in 0.1 s, a parabola of 5 N on top of it for 1.3 s, down in 0.1 s; N.
fn shape(t: f64) -> f64 {
    if !(0.0..=1.5).contains(&t) {
        0.0
    } else if t < 0.1 {
        300.0 * t
    } else if t > 1.4 {
        300.0 * (1.5 - t)
    } else {
        30.0 + 5.0 * (1.0 - ((t - 0.75) / 0.65).powi(2))
    }
}

/// Two triangles, a rectangle and a parabola above it, N s.
const TOTAL_NS: f64 = 2.0 * 0.5 * 0.1 * 30.0 + 1.3 * 30.0 + 1.3 * 5.0 * 2.0 / 3.0;
/// 5 % of 35 N is passed so long after the beginning and before the end, s.
const CROSSED_S: f64 = 0.05 * 35.0 / 300.0;
/// Impulse outside the two crossings, N s.
const OUTSIDE_NS: f64 = CROSSED_S * 0.05 * 35.0;

/// Noise that is normal enough: the sum of twelve even numbers.
pub(in crate::burn) fn normal(random: &mut ChaCha8Rng) -> f64 {
    (0..12).map(|_| random.random::<f64>()).sum::<f64>() - 6.0
}

/// A cell of 1200 counts/N calibrated with weights that are wrong, and a burn that it reads at 1 kHz
/// on a baseline that drifts.
fn burnt(seed: u64) -> (Description, ThrustTrace) {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let wrong = 1.0 + TOLERANCE * (2.0 * random.random::<f64>() - 1.0);
    let steps = [0.0, 5.0, 10.0, 20.0, 30.0, 40.0];
    let load = [steps, steps].concat();
    let raw = load
        .iter()
        .map(|load| 8000.0 + 1200.0 * wrong * load + 20.0 * normal(&mut random));
    let points = Points::exact(raw.collect(), load.clone());
    let curve = calibrate_points(&points, Some(TOLERANCE)).unwrap().curve;
    let time: Vec<f64> = (0..6000).map(|row| 1e-3 * f64::from(row)).collect();
    let raw: Vec<f64> = time
        .iter()
        .map(|t| {
            let force = 2.0 + 0.03 * t + shape(t - 2.25) + 0.1 * normal(&mut random);
            8000.0 + 1200.0 * force
        })
        .collect();
    let cell = CellReadings {
        name: "base".to_owned(),
        raw: Series::new(&time, &raw),
        left_out: Vec::new(),
        curve,
    };
    let load = Load::from_cells(&[cell]).unwrap();
    let rows = burn_rows(&load.time_s, &load.force_n);
    let line = baseline::find(&load.time_s, &load.force_n, &rows);
    let burn_s = (load.time_s[rows.start], load.time_s[rows.end - 1]);
    let trace = thrust(load, line, burn_s, &WeightLoss::none(), None).unwrap();
    let choice = Choice {
        rule: BurnRule::FivePercent,
        delay: Delay::NONE,
        modes: Modes::Unknown,
        swings: &[],
        low_pass_hz: None,
    };
    let burn = describe(&trace, (burn_s.0 - 0.2, burn_s.1 + 0.2), &choice).unwrap();
    (burn, trace)
}

/// The sum of some readings of a trace with what it is not sure of.
fn sum(trace: &ThrustTrace, weights: &[f64]) -> Measured {
    let parts = weights.iter().zip(trace.thrust.value());
    let value = parts.map(|(weight, force)| weight * force).sum();
    measured(value, &trace.terms(weights), Unit::NewtonSecond)
}

// Errors of 120 seeds over their uncertainty: root mean square of 1 within 6.5 %, three of these;
// mean of 0 within 0.09, and three of those. An edge might hide a corner between two readings: on this
// smooth burn edges are surer than they say. The peak is left out: on a top that is flat for many
// readings the highest of several parabolas errs by 1.2 u (docs/coverage.md).
#[test]
fn results_of_simulated_burns_err_as_much_as_they_say() {
    let (seeds, wider) = study(30, 120);
    let inside_s = 1.5 - 2.0 * CROSSED_S;
    let truths = [
        ("total impulse", TOTAL_NS),
        ("average thrust", (TOTAL_NS - OUTSIDE_NS) / inside_s),
        ("burn time", inside_s),
        ("ignition", 2.25 + CROSSED_S),
    ];
    let mut found = [(0.0, 0.0); 4];
    for seed in 0..seeds {
        let (burn, trace) = burnt(seed);
        let (from_s, to_s) = burn.measurable_s;
        let total = sum(
            &trace,
            &trapezoid::weights(trace.thrust.time_s(), from_s, to_s),
        );
        let values = [
            total,
            burn.thrust.average_n.unwrap(),
            burn.report.burn_time_s.unwrap(),
            burn.report.ignition_s.unwrap(),
        ];
        for ((value, (_, truth)), sums) in values.iter().zip(truths).zip(&mut found) {
            let error = (value.value - truth) / value.u;
            sums.0 += error / seeds as f64;
            sums.1 += error * error / seeds as f64;
        }
    }
    for ((name, _), (mean, square)) in truths.iter().zip(found) {
        let surer = if name.contains("thrust") || name.contains("impulse") {
            0.2
        } else {
            0.4
        };
        assert!(
            (1.0 - surer * wider..1.0 + 0.2 * wider).contains(&square.sqrt()),
            "{name}: {}",
            square.sqrt()
        );
        assert!(mean.abs() < 0.3 * wider, "{name}: {mean}");
    }
}

// What is shown beside each reading is what a sum of that reading alone would say; aside from noise,
// which a sum takes from the blocks of rest, and from what burns between readings.
#[test]
fn the_uncertainty_beside_a_reading_is_that_of_a_sum_of_one() {
    let (burn, trace) = burnt(4711);
    let noise_n = trace.noise_n();
    assert!((noise_n - 0.1).abs() < 0.01, "{noise_n}");
    let each = trace.u_n();
    for at_s in [2.4, burn.peak.time_s, 3.5] {
        let row = trace.thrust.index_at(at_s);
        let mut weights = vec![0.0; trace.thrust.len()];
        weights[row] = 1.0;
        let mut terms = trace.terms(&weights);
        terms.retain(|term| !term.source.contains("readings"));
        let alone = measured(0.0, &terms, Unit::Newton).u;
        let beside = (each[row].powi(2) - noise_n.powi(2)).sqrt();
        approx::assert_relative_eq!(beside, alone, max_relative = 0.02);
    }
    let (shift_n, u_n) = trace.shift_n().unwrap();
    assert!(shift_n.abs() < 4.0 * u_n && u_n < 0.1, "{shift_n} {u_n}");
}
