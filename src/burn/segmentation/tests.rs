//! Records as recorders leave them, drawn by hand: what a careful person would mark, and what not.

use rand::{RngExt, SeedableRng, rngs::ChaCha8Rng};

use super::*;

/// A record at a rate, from 0 s on, with white noise of 0.05 N.
fn record(rate_hz: f64, length_s: f64, force: impl Fn(f64) -> f64) -> (Vec<f64>, Vec<f64>) {
    let mut random = ChaCha8Rng::seed_from_u64(17);
    let mut normal = || (0..12).map(|_| random.random::<f64>()).sum::<f64>() - 6.0;
    let count = (rate_hz * length_s) as usize;
    let time: Vec<f64> = (0..count).map(|row| row as f64 / rate_hz).collect();
    let load = time.iter().map(|t| force(*t) + 0.05 * normal()).collect();
    (time, load)
}

/// A motor of 20 N that burns for a second and a half: a peak, a falling plateau, a tail.
fn burn(t: f64) -> f64 {
    match t {
        t if !(0.0..=1.5).contains(&t) => 0.0,
        t if t < 0.03 => 20.0 * t / 0.03,
        t if t < 1.3 => 20.0 - 8.0 * (t - 0.03),
        t => 9.84 * (1.5 - t) / 0.2,
    }
}

/// Its area between the crossings of 1 N: a triangle, a trapezium, a triangle, less the tips.
const AREA_NS: f64 = 0.3 + 1.27 * 0.5 * (20.0 + 9.84) + 0.984;

fn split(of: &(Vec<f64>, Vec<f64>)) -> Segmentation {
    Segmentation::of(&of.0, &of.1, &Expected::default())
}

fn is_the_burn_at(of: &(Vec<f64>, Vec<f64>), start_s: f64) {
    let split = split(of);
    let Choice::Burn(found) = split.choice() else {
        panic!("{split:?}")
    };
    let step_s = of.0[1] - of.0[0];
    assert!(
        (found.span_s.0 - start_s).abs() < 0.005 + 1.01 * step_s,
        "{found:?}"
    );
    assert!(
        (found.span_s.1 - start_s - 1.48).abs() < 0.03 + 1.01 * step_s,
        "{found:?}"
    );
    assert!(
        (found.area_ns / AREA_NS - 1.0).abs() < 0.02 + step_s,
        "{found:?}"
    );
}

fn kinds(of: &(Vec<f64>, Vec<f64>)) -> Vec<SegmentKind> {
    split(of).segments.iter().map(|one| one.kind).collect()
}

#[test]
fn a_burn_is_found_at_any_rate_and_of_any_size() {
    for rate_hz in [10.0, 80.0, 1000.0, 20_000.0] {
        is_the_burn_at(&record(rate_hz, 8.0, |t| burn(t - 3.0)), 3.0);
    }
    for times in [0.1, 100.0] {
        let found = split(&record(200.0, 8.0, |t| times * burn(t - 3.0)));
        assert!(matches!(found.choice(), Choice::Burn(_)), "{times}");
    }
}

#[test]
fn rest_is_local_and_may_lie_anywhere() {
    // Far from nothing, another zero after the burn, a minute of warming up before it.
    is_the_burn_at(&record(200.0, 8.0, |t| 500.0 + burn(t - 3.0)), 3.0);
    let shifted = |t: f64| burn(t - 3.0) - if t > 3.5 { 0.8 } else { 0.0 };
    let of = split(&record(200.0, 8.0, shifted));
    assert!(matches!(of.choice(), Choice::Burn(_)), "{of:?}");
    is_the_burn_at(
        &record(200.0, 70.0, |t| burn(t - 62.0) - 40.0 * (-t / 12.0).exp()),
        62.0,
    );
}

#[test]
fn what_comes_seconds_later_is_no_part_of_the_burn() {
    // An ejection charge, a knock long after, a smaller firing.
    let ejection = |t: f64| burn(t - 3.0) + if (8.0..8.03).contains(&t) { 30.0 } else { 0.0 };
    let of = record(1000.0, 14.0, ejection);
    is_the_burn_at(&of, 3.0);
    use SegmentKind::{Burn, Ejection, Knock, Rest};
    assert_eq!(kinds(&of), [Rest, Burn, Rest, Ejection, Rest]);
    let knock = |t: f64| {
        burn(t - 3.0)
            + if (28.0..28.03).contains(&t) {
                30.0
            } else {
                0.0
            }
    };
    assert_eq!(
        kinds(&record(1000.0, 34.0, knock)),
        [Rest, Burn, Rest, Knock, Rest]
    );
    let of = record(1000.0, 30.0, |t| burn(t - 3.0) + 0.2 * burn(t - 20.0));
    is_the_burn_at(&of, 3.0);
    assert_eq!(kinds(&of), [Rest, Burn, Rest, Burn, Rest]);
}

#[test]
fn handling_is_told_from_the_burn_or_stands_in_its_way() {
    let hand = |t: f64| {
        if (4.0..9.0).contains(&t) {
            15.0 * (1.3 * t).sin() * (2.9 * t).sin()
        } else {
            0.0
        }
    };
    is_the_burn_at(&record(200.0, 30.0, |t| burn(t - 15.0) + hand(t)), 15.0);
    // A hand alone is no burn, nor is a weight that is laid on and taken away.
    assert!(!matches!(
        split(&record(200.0, 30.0, hand)).choice(),
        Choice::Burn(_)
    ));
    let weight = |t: f64| if (4.0..9.0).contains(&t) { 15.0 } else { 0.0 };
    assert!(!matches!(
        split(&record(200.0, 30.0, weight)).choice(),
        Choice::Burn(_)
    ));
    let swing = |t: f64| 5.0 * (3.0 * t).sin();
    assert!(!matches!(
        split(&record(200.0, 30.0, swing)).choice(),
        Choice::Burn(_)
    ));
}

#[test]
fn of_two_alike_none_is_chosen_until_somebody_does() {
    let of = record(200.0, 40.0, |t| burn(t - 3.0) + 0.9 * burn(t - 30.0));
    let split = split(&of);
    let Choice::Unclear(list) = split.choice() else {
        panic!("{split:?}")
    };
    assert_eq!(list.len(), 2);
}

#[test]
fn a_window_may_be_tight_and_no_half_of_a_burn_is_one() {
    let of = record(200.0, 40.0, |t| burn(t - 3.0) + 0.9 * burn(t - 30.0));
    let within = |window_s| {
        let expected = Expected {
            window_s: Some((window_s, Chosen::Window)),
            ..Expected::default()
        };
        Segmentation::of(&of.0, &of.1, &expected)
    };
    for (window_s, times) in [((2.95, 4.55), 1.0), ((29.95, 31.55), 0.9)] {
        let split = within(window_s);
        let Choice::Burn(found) = split.choice() else {
            panic!("{split:?}")
        };
        assert!(
            (found.area_ns / (times * AREA_NS) - 1.0).abs() < 0.02,
            "{found:?}"
        );
        assert!(found.after_s.unwrap().1 > window_s.1 + 5.0, "{found:?}");
    }
    for half in [(3.7, 20.0), (2.0, 3.7), (29.0, 30.5)] {
        let split = within(half);
        assert!(!matches!(split.choice(), Choice::Burn(_)), "{split:?}");
    }
}

// As on a real log: a spike of thrust, a weak burn of seconds, and the rest lower than before. What was marked is all of it.
#[test]
fn a_weak_burn_after_a_strong_one_is_no_rest() {
    let of = record(100.0, 50.0, |t| match t - 20.0 {
        t if t < 0.0 => 0.0,
        t if t < 1.0 => 25.0 * (1.0 - (2.0 * t - 1.0).powi(2)),
        t if t < 9.0 => 2.5,
        _ => -1.5,
    });
    let split = split(&of);
    assert!(
        !matches!(split.choice(), Choice::Burn(found) if found.span_s.1 < 28.9),
        "{split:?}"
    );
    let expected = Expected {
        window_s: Some(((19.8, 29.3), Chosen::Window)),
        ..Expected::default()
    };
    let marked = Segmentation::of(&of.0, &of.1, &expected);
    assert!(
        matches!(marked.choice(), Choice::Burn(found) if (found.span_s.1 - 29.0).abs() < 0.1),
        "{marked:?}"
    );
}

// Plain on a slope of seconds from a long plateau: rests are beyond it, though it breaks into many pieces of one level.
#[test]
fn a_long_slope_is_no_rest() {
    let of = record(500.0, 60.0, |t| match t - 30.0 {
        t if t < 0.0 => 0.0,
        t if t < 4.0 => 18.0,
        t if t < 7.0 => 6.0 * (7.0 - t),
        t => -0.3 * (-(t - 7.0) / 3.0).exp(),
    });
    let split = split(&of);
    assert!(
        matches!(split.choice(), Choice::Burn(found) if (found.span_s.1 - 36.85).abs() < 0.1),
        "{split:?}"
    );
}

// A converter that repeats its full scale for two seconds, while the zero drifts.
#[test]
fn readings_stuck_at_full_scale_are_no_burn() {
    let (time, load) = record(50.0, 40.0, |t| 0.1 * t);
    let stuck = |(t, load): (&f64, f64)| if (20.0..22.0).contains(t) { 80.0 } else { load };
    let load = time.iter().zip(load).map(stuck).collect();
    let split = split(&(time, load));
    assert!(!matches!(split.choice(), Choice::Burn(_)), "{split:?}");
}

#[test]
fn motors_that_light_late_belong_to_one_firing() {
    let of = record(200.0, 12.0, |t| burn(t - 3.0) + burn(t - 6.0));
    let expected = Expected {
        together: true,
        ..Expected::default()
    };
    let split = Segmentation::of(&of.0, &of.1, &expected);
    let Choice::Burn(found) = split.choice() else {
        panic!("{split:?}")
    };
    assert!(
        (found.span_s.1 - found.span_s.0 - 4.48).abs() < 0.04,
        "{found:?}"
    );
}

#[test]
fn a_record_that_is_all_burn_has_no_zero_unless_it_is_stated() {
    let of = record(200.0, 1.4, |t| burn(t + 0.02));
    let unknown = split(&of);
    assert!(
        unknown.trimmed && unknown.choice() == Choice::Nothing,
        "{unknown:?}"
    );
    let expected = Expected {
        zero_n: Some(0.0),
        ..Expected::default()
    };
    let stated = Segmentation::of(&of.0, &of.1, &expected);
    let Choice::Burn(found) = stated.choice() else {
        panic!("{stated:?}")
    };
    assert!((found.area_ns / AREA_NS - 1.0).abs() < 0.03, "{found:?}");
}

#[test]
fn nothing_is_found_in_noise_drift_and_in_no_record() {
    for force in [
        |_: f64| 0.0,
        |t: f64| 0.3 * t,
        |t: f64| -3.0 * (-t / 5.0).exp(),
    ] {
        let of = split(&record(100.0, 30.0, force));
        assert!(!matches!(of.choice(), Choice::Burn(_)), "{of:?}");
    }
    assert_eq!(split(&(vec![], vec![])).choice(), Choice::Nothing);
    assert_eq!(split(&record(100.0, 0.03, burn)).choice(), Choice::Nothing);
}

// Own computation: a step of ten sds at the hundredth of two hundred values is found where it is, a
// constant has none, and white noise of two thousand has none either.
#[test]
fn changes_stand_where_the_level_changes() {
    let step: Vec<f64> = (0..200)
        .map(|at| f64::from(u8::from(at >= 100)) * 10.0 + f64::from(at % 3) - 1.0)
        .collect();
    assert_eq!(changes::changes(&step, 1.0), [100]);
    assert_eq!(changes::changes(&[3.0; 50], 0.0), [] as [usize; 0]);
    let (_, noise) = record(100.0, 20.0, |_| 0.0);
    assert_eq!(changes::changes(&noise, 0.05), [] as [usize; 0]);
}
