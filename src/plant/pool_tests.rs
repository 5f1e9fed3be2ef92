//! Pooling checked by hand and on simulated firings.

use super::*;
use crate::flight::test_firing::{TRUTH, Truth, firing};
use crate::plant::fit::fit_axis;
use crate::quantity::Unit;
use crate::studies::study;

fn fitted(truth: &Truth, seed: u64) -> AxisPlant {
    fit_axis(&firing(truth, seed)).plant
}

fn with_gain(mut plant: AxisPlant, value: f64, u: f64, shared: f64) -> AxisPlant {
    plant.actuator.gain = Some(Measured::normal(value, u, Unit::One));
    plant.covariance = Covariance {
        names: vec![Parameter::Gain],
        matrix: vec![vec![u * u]],
    };
    let moves = [(Parameter::Gain, shared)].into_iter().collect();
    plant.systematic = vec![SharedTerm {
        source: "weights".to_owned(),
        moves,
    }];
    plant
}

// 0.93 and 0.95, own parts 0.01 and 0.02, on top 0.003 common to both. Weights 1/1e-4 and 1/4e-4:
// mean (0.93 * 4 + 0.95)/5 = 0.934, own part sqrt(1/(10 000 + 2500)) = 0.00894, with the common one
// sqrt(8e-5 + 9e-6) = 0.009434. Q = 1e4 * 0.004^2 + 2500 * 0.016^2 = 0.8; one degree of freedom: p =
// 0.371 (any table of chi-squared).
#[test]
fn two_gains_are_weighed_by_their_own_parts_and_the_common_part_stays() {
    let base = fitted(&TRUTH, 1);
    let u = |own: f64| own.hypot(0.003);
    let a = with_gain(base.clone(), 0.93, u(0.01), 0.003);
    let b = with_gain(base, 0.95, u(0.02), 0.003);
    let pooled = pool(&[Some(&a), Some(&b)], &[]).unwrap();
    let gain = pooled.plant.actuator.gain.as_ref().unwrap();
    assert!((gain.value - 0.934).abs() < 1e-9, "{gain:?}");
    assert!((gain.u - 8.9e-5_f64.sqrt()).abs() < 1e-9, "{gain:?}");
    assert!((pooled.agreement_p.unwrap() - 0.371).abs() < 5e-4);
    assert_eq!(pooled.plant.systematic[0].moves[&Parameter::Gain], 0.003);
}

#[test]
fn a_parameter_that_may_differ_stays_with_its_firing() {
    let (a, b) = (fitted(&TRUTH, 1), fitted(&TRUTH, 2));
    let differs = [Parameter::Lag];
    let pooled = pool(&[Some(&a), Some(&b)], &differs).unwrap();
    assert!(pooled.plant.actuator.lag_s.is_none());
    let lag = pooled
        .parameters
        .iter()
        .find(|one| one.name == Parameter::Lag);
    assert!(!lag.unwrap().shared && lag.unwrap().of.iter().all(Option::is_some));
    for name in ["lag_s@1", "lag_s@2"] {
        assert!(pooled.covariance.names.iter().any(|known| known == name));
    }
    assert!(!pooled.plant.covariance.names.contains(&Parameter::Lag));
}

// Of 24 pairs of alike firings one disagrees at 5 % by chance; more than four once in 3000.
#[test]
fn alike_firings_agree_and_their_common_numbers_are_surer_and_cover() {
    let mut disagree = 0;
    let (mut told, mut covered) = (0, 0);
    let (seeds, _) = study(6, 24);
    for seed in 0..seeds {
        let (a, b) = (fitted(&TRUTH, 2 * seed), fitted(&TRUTH, 2 * seed + 1));
        let differs = [DIFFERS_BY_ITSELF];
        let pooled = pool(&[Some(&a), Some(&b)], &differs).unwrap();
        let apart = pooled.agreement_p.unwrap() < AGREE_FROM;
        disagree += u64::from(apart);
        for (name, truth) in [
            (Parameter::Gain, TRUTH.gain),
            (Parameter::Lag, TRUTH.lag_s),
            (Parameter::Delay, TRUTH.delay_s),
            (Parameter::DeadBandWidth, TRUTH.width_deg),
            (Parameter::Effectiveness, TRUTH.effectiveness),
        ] {
            let found = pooled.plant.value(name).unwrap();
            assert!(apart || found.u < a.value(name).unwrap().u, "{name:?}");
            told += 1;
            covered += i32::from(found.covers(truth));
        }
    }
    assert!(disagree <= 4.min(seeds / 3), "{disagree}");
    // 114 of 120 expected, 2.4 one standard deviation.
    let told = f64::from(told);
    let missed = told - f64::from(covered);
    assert!(
        missed <= 0.05 * told + 3.3 * (0.0475 * told).sqrt(),
        "{missed} of {told}"
    );
}

// A lag of 30 ms against 22 is some eighty standard uncertainties.
#[test]
fn unlike_firings_disagree_and_the_parameter_is_named() {
    let slow = Truth {
        lag_s: 0.03,
        ..TRUTH
    };
    let (a, b) = (fitted(&TRUTH, 1), fitted(&slow, 2));
    let pooled = pool(&[Some(&a), Some(&b)], &[]).unwrap();
    assert!(pooled.agreement_p.unwrap() < 1e-6);
    let finding = &pooled.plant.findings[0];
    assert_eq!(finding.outcome, Outcome::Fails);
    assert!(finding.advice.as_ref().unwrap().contains("lag_s"));
    assert!(pooled.plant.actuator.lag_s.as_ref().unwrap().u > 0.001);
}

#[test]
fn one_firing_alone_is_no_pool() {
    let a = fitted(&TRUTH, 1);
    assert!(pool(&[Some(&a), None], &[]).is_none());
}
