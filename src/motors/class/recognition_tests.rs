//! Tests of recognising motors, beside the code they belong to because together they are long.

use super::*;
use approx::assert_relative_eq;

fn long() -> Series {
    Series::new(
        &[0.0, 0.06, 0.22, 0.5, 1.6, 1.9, 2.11],
        &[0.0, 16.5, 26.0, 16.8, 12.4, 9.5, 0.0],
    )
}

fn short() -> Series {
    Series::new(
        &[0.0, 0.07, 0.16, 0.38, 0.92, 1.1, 1.17],
        &[0.0, 19.2, 29.0, 15.6, 13.3, 6.1, 0.0],
    )
}

fn design<'a>(name: &'a str, curve: &'a Series) -> Design<'a> {
    Design { name, curve }
}

/// Thrust of some curves, each with height, length and onset, at 1 kHz.
fn burnt(parts: &[(&Series, f64, f64, f64)]) -> Series {
    let time: Vec<f64> = (0..5000).map(|i| f64::from(i) * 1e-3).collect();
    let value: Vec<f64> = time
        .iter()
        .map(|t| {
            let parts = parts.iter().map(|(curve, height, length, onset)| {
                let phase = (t - onset) / length;
                let span = curve.span_s().unwrap();
                let inside = phase >= span.0 && phase <= span.1;
                if inside {
                    height * curve.at(phase).unwrap()
                } else {
                    0.0
                }
            });
            parts.sum()
        })
        .collect();
    Series::new(&time, &value)
}

fn asked<'a>(
    thrust: &'a Series,
    window_s: (f64, f64),
    positions: Vec<MotorPosition<'a>>,
    designs: Vec<Design<'a>>,
) -> RecognitionInput<'a> {
    RecognitionInput {
        thrust,
        window_s,
        positions,
        designs,
        spread: 0.05,
    }
}

#[test]
fn the_right_motor_is_believed_and_a_wrong_one_named() {
    let (a, b) = (long(), short());
    let designs = vec![design("long", &a), design("short", &b)];
    for (nth, (curve, end)) in [(&a, 3.1), (&b, 2.15)].into_iter().enumerate() {
        let thrust = burnt(&[(curve, 1.04, 0.97, 1.0)]);
        for label in 0..2 {
            let position = MotorPosition {
                motor: "m",
                label: designs[label],
                later_s: 0.0,
            };
            let input = asked(&thrust, (1.01, end), vec![position], designs.clone());
            let found = recognise(&input).unwrap();
            let best = &found.explanations[0];
            assert_eq!(best.design.as_deref(), Some(designs[nth].name));
            assert_eq!(best.in_place_of.is_empty(), label == nth);
            let right = Outcome::from_probability(found.as_labelled);
            let wanted = if label == nth {
                Outcome::Holds
            } else {
                Outcome::Fails
            };
            assert_eq!(right, wanted);
        }
    }
}

#[test]
fn one_stranger_among_two_and_a_design_not_at_hand() {
    let (a, b) = (long(), short());
    let positions = |label: Design<'static>| -> Vec<MotorPosition<'static>> {
        ["left", "right"]
            .into_iter()
            .map(|motor| MotorPosition {
                motor,
                label,
                later_s: 0.0,
            })
            .collect()
    };
    let (a, b): (&'static Series, &'static Series) =
        (Box::leak(Box::new(a)), Box::leak(Box::new(b)));
    let both = burnt(&[(a, 1.0, 1.0, 1.0), (b, 1.0, 1.0, 1.0)]);
    let designs = vec![design("long", a), design("short", b)];
    let input = asked(&both, (1.01, 3.1), positions(design("long", a)), designs);
    let best = &recognise(&input).unwrap().explanations[0];
    assert_eq!(best.words(), "short in place of one of left, right");
    // A flat burn is neither.
    let flat = Series::new(&[0.0, 0.02, 1.0, 1.02], &[0.0, 40.0, 40.0, 0.0]);
    let thrust = burnt(&[(&flat, 1.0, 1.0, 1.0)]);
    let designs = vec![design("long", a), design("short", b)];
    let input = asked(&thrust, (1.0, 2.02), positions(design("long", a)), designs);
    let found = recognise(&input).unwrap();
    assert_eq!(found.explanations[0].design, None);
}

// The closed integral over heights against a sum over a fine grid of heights.
#[test]
fn the_integral_over_heights_is_that_of_a_fine_grid() {
    let record = BurnPieces {
        ends_s: vec![0.0, 1.0, 2.0, 3.0],
        mean_n: vec![3.0, 5.2, 1.0],
        burning: vec![true; 3],
        begin_s: 0.0,
        error_n: 0.4,
        peak_n: 5.2,
    };
    let model = [3.2, 4.6, 1.1];
    let (step, spread) = (1e-4, 0.08);
    let sum: f64 = (0..20_000)
        .map(|i| {
            let h = f64::from(i) * step;
            let data: f64 = record
                .mean_n
                .iter()
                .zip(&model)
                .map(|(y, m)| normal_log(y - h * m, 0.4))
                .sum();
            (data + normal_log(h - 1.0, spread)).exp() * step
        })
        .sum();
    assert_relative_eq!(
        record.over_heights(&model, spread),
        sum.ln(),
        epsilon = 1e-6
    );
}

/// 10 N for a second.
fn block() -> Series {
    Series::new(&[0.0, 1.0], &[10.0, 10.0])
}

fn position(curve: &Series, later_s: f64) -> MotorPosition<'_> {
    MotorPosition {
        motor: "m",
        label: design("block", curve),
        later_s,
    }
}

// A burn of a second at 10 N that begins at 1 s, in a record from 0 to 4 s: pieces of 40 ms from two
// before the burn to a tenth of the longest curve beyond it; 25 and a bit burn.
#[test]
fn the_record_is_cut_into_pieces_of_the_burn_and_around_it() {
    let time: Vec<f64> = (0..=4000).map(|at| f64::from(at) * 1e-3).collect();
    let thrust: Vec<f64> = time
        .iter()
        .map(|t| f64::from(u8::from((1.0..=2.0).contains(t))) * 10.0)
        .collect();
    let (thrust, curve) = (Series::new(&time, &thrust), block());
    let longer = Series::new(&[0.0, 1.5], &[10.0, 10.0]);
    let designs = vec![design("longer", &longer)];
    let input = asked(&thrust, (1.0, 2.0), vec![position(&curve, 0.0)], designs);
    let cut = BurnPieces::cut(&input).unwrap();
    assert_relative_eq!(cut.ends_s[0], 0.92, epsilon = 1e-12);
    assert_relative_eq!(cut.ends_s[1], 0.96, epsilon = 1e-12);
    // 1 + 1.1 x 1.5 = 2.65: 43 pieces of 40 ms fit.
    assert_eq!(cut.mean_n.len(), 43);
    assert_eq!(cut.burning.iter().filter(|one| **one).count(), 25);
    assert_relative_eq!(cut.mean_n[0], 0.0);
    assert_relative_eq!(cut.mean_n[10], 10.0, max_relative = 1e-9);
    assert_relative_eq!(cut.peak_n, 10.0, max_relative = 1e-9);
    assert_relative_eq!(cut.error_n, 0.5, max_relative = 1e-9);
}

// Stretched to 1.2 s and lit at 0.5 s, the block pushes from 0.5 to 1.7 s; a tenth of a second later
// from 0.6 to 1.8 s; two blocks add up.
#[test]
fn curves_are_stretched_moved_and_added() {
    let (thrust, curve) = (block(), block());
    let record = BurnPieces {
        ends_s: vec![0.0, 1.0, 2.0],
        mean_n: vec![0.0; 2],
        burning: vec![true; 2],
        begin_s: 0.0,
        error_n: 1.0,
        peak_n: 1.0,
    };
    let held = || Area::under(&curve);
    let model = |laters: &[f64]| {
        let positions: Vec<MotorPosition<'_>> =
            laters.iter().map(|late| position(&curve, *late)).collect();
        let areas: Vec<Area> = laters.iter().map(|_| held()).collect();
        let input = asked(&thrust, (0.0, 2.0), positions, vec![]);
        record.model(&input, &areas, 0.5, 1.2)
    };
    for (found, wanted) in [
        (model(&[0.0]), [5.0, 7.0]),
        (model(&[0.1]), [4.0, 8.0]),
        (model(&[0.0, 0.1]), [9.0, 15.0]),
    ] {
        assert_relative_eq!(found[0], wanted[0], max_relative = 1e-12);
        assert_relative_eq!(found[1], wanted[1], max_relative = 1e-12);
    }
}

// The average over lengths (normal) and ignitions (uniform) written out.
#[test]
fn the_likelihood_is_the_weighted_mean_over_lengths_and_ignitions() {
    let curve = long();
    let thrust = burnt(&[(&curve, 1.02, 1.01, 1.0)]);
    let input = asked(&thrust, (1.01, 3.1), vec![position(&curve, 0.0)], vec![]);
    let record = BurnPieces::cut(&input).unwrap();
    let areas = [Area::under(&curve)];
    let (mut sum, mut weights) = (0.0, 0.0);
    for third in -9_i32..=9 {
        let z = f64::from(third) / 3.0;
        for onset in -15_i32..=15 {
            let begin_s = 1.01 + 0.004 * f64::from(onset);
            let model = record.model(&input, &areas, begin_s, 1.0 + 0.05 * z);
            let weight = (-0.5 * z * z).exp();
            sum += weight * record.over_heights(&model, 0.05).exp();
            weights += weight;
        }
    }
    let found = record.log_likelihood(&input, &[input.positions[0].label]);
    assert_relative_eq!(found.unwrap(), (sum / weights).ln(), max_relative = 1e-9);
}

// Anything from zero to 8 N is a density of 1/8 while it burns; 0.3 N at rest is normal about zero.
#[test]
fn a_design_that_is_not_at_hand_may_be_anything_while_it_burns() {
    let record = BurnPieces {
        ends_s: vec![0.0, 1.0, 2.0, 3.0],
        mean_n: vec![0.3, 5.0, 8.0],
        burning: vec![false, true, true],
        begin_s: 0.0,
        error_n: 0.4,
        peak_n: 8.0,
    };
    let at_rest = -0.5 * 0.75_f64.powi(2) - (0.4 * (std::f64::consts::TAU).sqrt()).ln();
    let wanted = at_rest - 2.0 * 8.0_f64.ln();
    assert_relative_eq!(record.not_at_hand(), wanted, max_relative = 1e-12);
}

// With a spread of a quarter the designs can hardly be told apart, and no probability is cut off.
#[test]
fn odds_and_probabilities_say_the_same() {
    let (a, b) = (long(), short());
    let thrust = burnt(&[(&a, 1.0, 1.0, 1.0)]);
    let designs = vec![design("long", &a), design("short", &b)];
    let mut input = asked(&thrust, (1.01, 3.1), vec![], designs.clone());
    input.spread = 0.25;
    input.positions = vec![MotorPosition {
        motor: "m",
        label: designs[0],
        later_s: 0.0,
    }];
    let found = recognise(&input).unwrap();
    let all: f64 = found.explanations.iter().map(|one| one.probability).sum();
    assert_relative_eq!(all, 1.0, epsilon = 2.0 * LISTED_FROM);
    for one in &found.explanations {
        let odds = (one.probability / found.as_labelled).log10();
        assert_relative_eq!(odds, one.log10_odds, epsilon = 0.01);
    }
    assert!(found.explanations.len() > 1);
}
