//! The zero through a burn against lines that are known.

use super::baseline;
use super::baseline_drift::{Course, Step};
use super::zero_fit::courses;
use crate::series::Series;
use crate::studies::study;
use rand::{RngExt, SeedableRng, rngs::ChaCha8Rng};

const BURN_S: (f64, f64) = (4.0, 6.0);

/// Ten seconds of rest at 200 Hz with a burn cut out of it: a line, a walk, noise, a step.
fn record(seed: u64, slope: f64, walk: f64, step_n: f64) -> (Vec<f64>, Vec<f64>, Vec<f64>) {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut normal = || (0..12).map(|_| random.random::<f64>()).sum::<f64>() - 6.0;
    let time: Vec<f64> = (0..2000).map(|i| f64::from(i) * 0.005).collect();
    let mut zero = vec![3.0];
    for _ in 1..time.len() {
        let before = zero[zero.len() - 1];
        zero.push(before + slope * 0.005 + walk * 0.005_f64.sqrt() * normal());
    }
    let load = time
        .iter()
        .zip(&zero)
        .map(|(t, z)| {
            let burning = if BURN_S.0 < *t && *t < BURN_S.1 {
                90.0
            } else {
                0.0
            };
            z + burning + 0.02 * normal() + if *t > 5.0 { step_n } else { 0.0 }
        })
        .collect();
    (time, load, zero)
}

fn of_record(time: &[f64], load: &[f64], step: Step) -> Course {
    let line = baseline::find(time, load, &(800..1200));
    let evenly = Series::new(&[BURN_S.0, BURN_S.1], &[0.0, 1.0]);
    let mut courses = courses(&line, BURN_S, &evenly, &[step]).unwrap();
    courses.remove(0)
}

/// Mean of the line over the burn: its error and its stated variance.
fn mean_error(course: &Course, time: &[f64], zero: &[f64]) -> (f64, f64) {
    let rows = 800..1200;
    let mut weights = vec![0.0; course.node_s.len()];
    let mut error = 0.0;
    for row in rows.clone() {
        let share = 1.0 / rows.len() as f64;
        error += share * (course.at(time[row]) - zero[row]);
        for (node, part) in course.beside(time[row]) {
            weights[node] += share * part;
        }
    }
    let mut variance = 0.0;
    for (a, weight_a) in weights.iter().enumerate() {
        for (b, weight_b) in weights.iter().enumerate() {
            variance += weight_a * weight_b * course.covariance[(a, b)];
        }
    }
    (error, variance)
}

// Simulated lines, straight, walking and both, the step known or not. Of 200 intervals of 95 % each
// 190 should hold the truth; fewer than 180 or more than 198 come once in 500 at most (binomial).
#[test]
fn the_line_through_the_burn_is_as_sure_as_it_says() {
    for (slope, walk, step) in [
        (0.0, 0.0, Step::Known(0.0)),
        (0.05, 0.0, Step::Known(0.2)),
        (0.02, 0.02, Step::Known(0.2)),
        (0.0, 0.1, Step::Free),
    ] {
        let step_n = match step {
            Step::Known(size) => size,
            Step::Free => 0.2,
        };
        let (seeds, wider) = study(40, 200);
        let mut inside = 0.0;
        let mut sum = 0.0;
        for seed in 0..seeds {
            let (time, load, zero) = record(seed, slope, walk, step_n);
            let course = of_record(&time, &load, step);
            let (error, variance) = mean_error(&course, &time, &zero);
            sum += error / variance.sqrt();
            inside += f64::from(u8::from(error.abs() < 2.03 * variance.sqrt()));
        }
        // Where nothing walks the line cannot know that, and is a little less sure than it could be.
        let most = if walk == 0.0 {
            1.0
        } else {
            0.95 + 0.04 * wider
        };
        let share = inside / seeds as f64;
        assert!(
            (0.95 - 0.05 * wider..=most).contains(&share),
            "{inside} of {seeds} at {slope}, {walk}"
        );
        let bias = sum / seeds as f64;
        assert!(bias.abs() < 0.25 * wider, "bias {bias} u");
    }
}

// Two quiet sides at 1 and 2 N with a known step of 1 N: the line is flat at 1 N, and a step wrong
// by 1 N tilts it by half of that in the middle.
#[test]
fn a_known_step_is_taken_off_and_its_error_carried() {
    let (time, mut load, _) = record(1, 0.0, 0.0, 0.0);
    for (load, time) in load.iter_mut().zip(&time) {
        *load = if *time > 5.0 { 2.0 } else { 1.0 };
    }
    let course = of_record(&time, &load, Step::Known(1.0));
    assert!((course.at(5.0) - 1.0).abs() < 1e-9 && course.u_n(5.0) < 1e-6);
    let [(node, _), _] = course.beside(5.0);
    assert!(
        (course.by_step[node] + 0.5).abs() < 0.05,
        "{}",
        course.by_step[node]
    );
    let free = of_record(&time, &load, Step::Free);
    assert!((free.step_n() - 1.0).abs() < 1e-9);
}

// The uncertainty at one time is that of a sum of one value, by the same covariance.
#[test]
fn the_uncertainty_at_a_time_is_that_of_a_sum_of_one() {
    let (time, load, _) = record(3, 0.02, 0.05, 0.0);
    let course = of_record(&time, &load, Step::Known(0.0));
    for at_s in [0.5, 4.97, 5.61] {
        let owed = course.owed(&[at_s], &[1.0], None);
        let term = course.term("baseline", &owed);
        approx::assert_relative_eq!(course.u_n(at_s), term.u, max_relative = 1e-12);
    }
    // It is least known in the middle of the burn.
    assert!(course.u_n(5.0) > course.u_n(4.2) && course.u_n(5.0) > course.u_n(5.8));
}

// 0.2 N of step under a walk of 0.05 N over a root second: errors of 60 seeds over their
// uncertainty have a root mean square of 1 within 9 %; three of these.
#[test]
fn a_step_read_from_the_record_is_as_sure_as_it_says() {
    let (mut squares, mut sum) = (0.0, 0.0);
    for seed in 0..60 {
        let (time, load, _) = record(seed, 0.0, 0.05, 0.2);
        let course = of_record(&time, &load, Step::Free);
        let error = (course.step_n() - 0.2) / course.step_u_n();
        squares += error * error / 60.0;
        sum += error / 60.0;
    }
    assert!((0.73..1.27).contains(&squares.sqrt()), "{squares}");
    assert!(sum.abs() < 0.45, "{sum}");
}
