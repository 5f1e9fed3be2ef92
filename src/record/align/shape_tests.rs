use rand::rngs::ChaCha8Rng;
use rand::{RngExt, SeedableRng};

use super::*;

const OFFSET_S: f64 = 1.234;
const DRIFT: f64 = 80e-6;

/// Tilt of a rig that is swung by hand: sweeps of rising rate under a slow swell, deg.
fn tilt_deg(time_s: f64) -> f64 {
    3.0 * (0.9 * time_s + 0.04 * time_s * time_s).sin() + 1.5 * (2.3 * time_s).sin()
}

fn normal(random: &mut ChaCha8Rng) -> f64 {
    // Twelve uniform numbers have variance 1 (central limit theorem).
    (0..12).map(|_| random.random::<f64>()).sum::<f64>() - 6.0
}

/// Two recorders of one motion: 100 Hz and 70 Hz with jitter, gains 1 and 40, noise in both.
fn two_logs(seed: u64, length_s: f64, noise_deg: f64) -> (Series, Series) {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let (mut here, mut there) = (Series::default(), Series::default());
    for row in 0..(length_s * 100.0) as usize {
        let time_s = row as f64 / 100.0;
        here.push(time_s, tilt_deg(time_s) + noise_deg * normal(&mut random));
    }
    for row in 0..(length_s * 70.0) as usize {
        let time_s = (row as f64 + 0.2 * random.random::<f64>()) / 70.0;
        let world_s = (time_s - OFFSET_S) / (1.0 + DRIFT);
        let tilt = tilt_deg(world_s) + noise_deg * normal(&mut random);
        there.push(time_s, 40.0 * tilt - 7.0);
    }
    (here, there)
}

/// Share of normalised errors inside 95 %, and their root mean square.
fn coverage(pairs: &[(f64, f64)]) -> (usize, f64) {
    let inside = pairs
        .iter()
        .filter(|(error, u)| error.abs() <= 1.96 * u)
        .count();
    let square: f64 = pairs.iter().map(|(error, u)| (error / u).powi(2)).sum();
    (inside, (square / pairs.len() as f64).sqrt())
}

// Normalised errors of 40 records have a root mean square of 1 +- 0.11 (chi squared with 40
// degrees of freedom; 99.8 % lie between 0.66 and 1.36). A u wrong by a factor of two gives 2 or
// 0.5. Of 40 intervals of 95 %, 34 or fewer cover the truth once in 300 (binomial); with u halved
// 27 would.
#[test]
fn the_uncertainties_of_offset_and_drift_are_neither_half_nor_double() {
    let (mut offsets, mut drifts) = (Vec::new(), Vec::new());
    for seed in 0..40 {
        let (here, there) = two_logs(seed, 40.0, 0.15);
        let tie = tie_by_shape(&here, &there).unwrap();
        let drift = tie.drift.unwrap();
        offsets.push((tie.offset_s - OFFSET_S, tie.covariance[0][0].sqrt()));
        drifts.push((drift - DRIFT, tie.covariance[1][1].sqrt()));
    }
    for (name, pairs) in [("offset", &offsets), ("drift", &drifts)] {
        let (inside, rms) = coverage(pairs);
        println!(
            "{name}: {inside} of 40 inside, rms {rms:.3}, u {:.3e}",
            pairs[0].1
        );
        assert!(inside >= 35, "{name}: {inside} of 40 inside");
        assert!((0.66..1.36).contains(&rms), "{name}: rms {rms}");
    }
}

#[test]
fn a_short_record_tells_the_offset_but_not_the_drift() {
    let mut pairs = Vec::new();
    for seed in 100..140 {
        let (here, there) = two_logs(seed, 8.0, 0.15);
        let tie = tie_by_shape(&here, &there).unwrap();
        assert_eq!(tie.drift, None);
        // Without a drift the offset holds for the middle of the overlap.
        let truth = OFFSET_S + DRIFT * 3.4;
        pairs.push((tie.offset_s - truth, tie.covariance[0][0].sqrt()));
    }
    let (inside, rms) = coverage(&pairs);
    println!(
        "short: {inside} of 40 inside, rms {rms:.3}, u {:.3e}",
        pairs[0].1
    );
    assert!(
        inside >= 35 && (0.66..1.36).contains(&rms),
        "{inside} inside, rms {rms}"
    );
}

#[test]
fn without_noise_offset_and_drift_come_out_to_a_microsecond() {
    let (here, there) = two_logs(1, 60.0, 0.0);
    let tie = tie_by_shape(&here, &there).unwrap();
    approx::assert_relative_eq!(tie.offset_s, OFFSET_S, epsilon = 2e-5);
    approx::assert_relative_eq!(tie.drift.unwrap(), DRIFT, epsilon = 1e-6);
    assert!(tie.correlation > 0.9999);
}

#[test]
fn columns_that_do_not_move_alike_are_refused() {
    let (here, _) = two_logs(1, 20.0, 0.15);
    let mut random = ChaCha8Rng::seed_from_u64(9);
    let values: Vec<f64> = here.iter().map(|_| normal(&mut random)).collect();
    let noise = Series::new(here.time_s(), &values);
    let unlike = tie_by_shape(&here, &noise);
    assert!(
        matches!(
            unlike,
            Err(ShapeProblem::Unlike { .. } | ShapeProblem::Unsettled)
        ),
        "{unlike:?}"
    );
    let flat = here.map(|_, _| 2.0);
    assert_eq!(tie_by_shape(&here, &flat), Err(ShapeProblem::Flat));
    assert_eq!(
        tie_by_shape(&here, &Series::default()),
        Err(ShapeProblem::Flat)
    );
}
