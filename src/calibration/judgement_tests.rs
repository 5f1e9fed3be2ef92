//! A judgement against numbers worked apart, from the same points, with numpy and scipy.

#![allow(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    reason = "a test may stop on the first surprise"
)]

use approx::assert_relative_eq;

use super::super::points::Direction;
use super::super::reversibility::tests::twice_up_and_down;
use super::*;
use crate::finding::{Finding, Outcome};
use crate::quantity::measured::coverage_factor;

/// Readings at 0, 10, 20, 30 and 40 and back, twice.
const RAW: [[f64; 10]; 2] = [
    [
        51.0, 1043.0, 2043.0, 3041.0, 4051.0, 4053.0, 3057.0, 2062.0, 1060.0, 54.0,
    ],
    [
        50.0, 1047.0, 2041.0, 3046.0, 4048.0, 4049.0, 3060.0, 2059.0, 1056.0, 58.0,
    ],
];

/// The readings above, at loads in the unit that results show.
fn points(kind: LoadKind) -> Points {
    let shown = [0.0, 10.0, 20.0, 30.0, 40.0, 40.0, 30.0, 20.0, 10.0, 0.0];
    let load = [shown, shown].concat();
    let mut out = Points::exact(
        RAW.concat(),
        load.iter().map(|load| load * kind.unit_size()).collect(),
    );
    out.kind = kind;
    twice_up_and_down(&mut out);
    out
}

fn judged(points: &Points) -> Judgement {
    judge(points, None).unwrap().1
}

fn outcome(judgement: &Judgement, claim: &str) -> Outcome {
    let named = |one: &&Finding| one.claim.contains(claim);
    judgement.findings.iter().find(named).unwrap().outcome
}

fn close(found: f64, worked: f64) {
    assert_relative_eq!(found, worked, max_relative = 1e-9, epsilon = 1e-9);
}

// The loop of an angle or a pressure stays in the points; nothing may depend on the unit that the
// program computes in.
#[test]
fn angles_and_pressures_are_judged_in_their_own_units() {
    for kind in [LoadKind::Angle, LoadKind::Pressure] {
        let judgement = judged(&points(kind));
        assert_eq!(
            (judgement.degree, judgement.runs, judgement.levels),
            (1, 2, 5)
        );
        close(judgement.range[1], 40.0);
        for (found, worked) in judgement.coefficients.iter().zip([52.75, 99.935]) {
            close(*found, worked);
        }
        let worked = [[6.93375, -0.231125], [-0.231125, 0.01155625]];
        for (found, worked) in judgement.covariance.iter().zip(worked) {
            close(found[0], worked[0]);
            close(found[1], worked[1]);
        }
        close(judgement.residual_sd_raw.unwrap(), 6.798896969362014);
        close(judgement.residual_sd.unwrap(), 0.06803319126794433);
        close(judgement.residuals[1].load, 10.0);
        close(
            judgement.residuals[1].residual.unwrap(),
            990.25 / 99.935 - 10.0,
        );
        let largest = judgement
            .residuals
            .iter()
            .map(|one| one.residual.unwrap().abs());
        close(judgement.largest_residual, largest.fold(0.0, f64::max));
        assert_eq!(judgement.single_slope, None);
        assert_eq!(judgement.e74, None);
        assert_eq!(judgement.repeatability, None);
        close(judgement.zero_return.unwrap(), 8.0 / 99.935);
        let line = &judgement.degrees[0];
        close(line.lack_of_fit.unwrap().ratio, 0.016882725354232738);
        let bend = judgement.degrees[1].power.unwrap();
        close(bend.ratio, 0.023382361790501925);
        close(bend.probability, 0.8802672669381436);
    }
}

// Loads at a tenth, a quarter, a half and all of the range.
#[test]
fn readings_are_stated_over_the_range() {
    let worked = [
        (
            452.49,
            4.0,
            0.07180644704417687,
            3.849058126250127,
            4.150778435476466,
        ),
        (
            1052.1,
            10.0,
            0.07053831404037275,
            9.851753039639734,
            10.148144811439389,
        ),
        (
            2051.45,
            20.0,
            0.0697132761373738,
            19.853537467642358,
            20.14646253235764,
        ),
        (
            4050.15,
            40.0,
            0.07295746967388467,
            39.846823767416424,
            40.15338053042533,
        ),
    ];
    let mut points = points(LoadKind::Pressure);
    points.gravity_relative_u = 0.001;
    let found = judged(&points).inverse_predictions;
    assert_eq!(found.len(), worked.len());
    for (found, (raw, load, u, low, high)) in found.iter().zip(worked) {
        close(found.raw, raw);
        close(found.load.value, load);
        close(found.load.u, u);
        close(found.load.low, low);
        close(found.load.high, high);
        close(found.shared_u, 0.001 * load);
    }
    // Forces are counted from nothing even where the points begin above it, angles from their lowest,
    // and so are forces that pull both ways.
    let from = |kind, shift: f64| {
        let mut points = self::points(kind);
        for load in &mut points.load {
            *load += shift * kind.unit_size();
        }
        judged(&points).inverse_predictions[0].load.value
    };
    close(from(LoadKind::Force, 10.0), 5.0);
    close(from(LoadKind::Angle, 10.0), 14.0);
    close(from(LoadKind::Force, -10.0), -6.0);
}

// A force's points are first moved to the middle of their loop, 18.588 counts high.
#[test]
fn forces_are_judged_about_the_middle_of_their_loop() {
    let (cell, judgement) = judge(&points(LoadKind::Force), None).unwrap();
    let found = cell.curve.hysteresis.unwrap();
    close(found.height_raw, 18.58823529411765);
    close(found.u_raw.unwrap(), 0.6885117594540957);
    close(judgement.residual_sd_raw.unwrap(), 2.331126407296993);
    let worked = [
        [0.8151225490196, -0.0271707516340],
        [-0.0271707516340, 0.0013585375817],
    ];
    for (found, worked) in judgement.covariance.iter().zip(worked) {
        close(found[0], worked[0]);
        close(found[1], worked[1]);
    }
    let single = judgement.single_slope.unwrap();
    // The straight line of the points as they are, as above; at 20 it misses 2062 by 10.55.
    close(single.scale_n, 1.0 / 99.935);
    close(single.zero_raw, 52.75);
    close(single.residual_sd_n.unwrap(), 0.06803319126794433);
    close(single.largest_residual_n, 10.55 / 99.935);
    let e74 = judgement.e74.unwrap();
    close(e74.mean_ratio_n, 0.010010826305018719);
    close(e74.lower_limit_factor_n, 0.056007603740382036);
    close(e74.lowest_force_class_a_n, 22.403041496152817);
    close(e74.lowest_force_class_aa_n, 112.01520748076408);
    assert!(!e74.by_resolution);
    close(judgement.repeatability.unwrap(), 5.0 / 99.935);
    // Half of the loop either way, less where the load turned earlier: by the square of it.
    close(
        cell.curve.half_loop(20.0, 40.0),
        0.5 * 18.58823529411765 / 99.935,
    );
    close(
        cell.curve.half_loop(10.0, 20.0),
        0.125 * 18.58823529411765 / 99.935,
    );
    let report = &cell.report;
    close(report.residual_sd_n.unwrap(), 0.02332642625003245);
    close(
        report.lower_limit_factor_n.unwrap(),
        e74.lower_limit_factor_n,
    );
    close(
        report.lowest_force_class_a_n.unwrap(),
        e74.lowest_force_class_a_n,
    );
}

#[test]
fn hysteresis_is_a_share_of_the_range_and_held_against_the_scatter_without_it() {
    for kind in [LoadKind::Force, LoadKind::Pressure, LoadKind::Angle] {
        let judgement = judged(&points(kind));
        let found = judgement.hysteresis.as_ref().unwrap();
        close(found.largest, 0.19012358032721277);
        close(found.largest_share, 0.004753089508180318);
        close(found.at, 20.0);
        close(found.mean, 0.1551008155300946);
        close(found.mean_share, 0.0038775203882523653);
        close(found.scatter_without.unwrap(), 0.03910301698367908);
        if kind == LoadKind::Angle {
            continue;
        }
        // The mean of 0.155 lies beyond 2.4 of these; its interval is 0.117 to 0.193, t of 5 degrees.
        assert_eq!(outcome(&judgement, "Hysteresis is small"), Outcome::Fails);
        let named = |one: &&Finding| one.claim.contains("Hysteresis");
        let finding = judgement.findings.iter().find(named).unwrap();
        let measured = finding.measured.as_ref().unwrap();
        close(measured.value, 0.1551008155300946);
        close(measured.u, 0.014785717555945705);
        close(
            measured.low,
            0.1551008155300946 - 2.570581835636314 * 0.014785717555945705,
        );
        close(
            measured.high,
            0.1551008155300946 + 2.570581835636314 * 0.014785717555945705,
        );
        close(finding.limits[1].unwrap(), 2.4 * 0.03910301698367908);
    }
}

#[test]
fn a_loop_that_scatter_hides_is_small_and_one_pair_cannot_tell() {
    let mut noisy = points(LoadKind::Force);
    for (row, raw) in noisy.raw.iter_mut().enumerate() {
        *raw += 20.0 * jitter(row);
    }
    assert_eq!(
        outcome(&judged(&noisy), "Hysteresis is small"),
        Outcome::Holds
    );
    // Up and down at one load only.
    let mut few = points(LoadKind::Force);
    for (row, way) in few.direction.iter_mut().enumerate() {
        *way = Some(Direction::Up).filter(|_| row < 5);
    }
    few.direction[7] = Some(Direction::Down);
    let judgement = judged(&few);
    assert_eq!(
        outcome(&judgement, "Hysteresis is small"),
        Outcome::Undecided
    );
}

// One reading at 30 is the largest at 40.
#[test]
fn saturated_readings_are_told_in_their_own_unit() {
    for kind in [LoadKind::Force, LoadKind::Pressure, LoadKind::Angle] {
        let mut points = points(kind);
        points.raw[3] = 4053.0;
        let judgement = judged(&points);
        assert_eq!(judgement.saturated.len(), 1);
        assert_relative_eq!(
            judgement.saturated[0].loads[..],
            [30.0, 40.0][..],
            max_relative = 1e-12
        );
        assert_eq!(
            outcome(&judgement, "No reading is saturated"),
            Outcome::Fails
        );
    }
}

#[test]
fn zero_is_a_load_for_forces_and_within_the_reach_for_angles() {
    let shifted = |kind, by: f64| {
        let mut points = points(kind);
        for load in &mut points.load {
            *load += by * kind.unit_size();
        }
        judged(&points)
    };
    let force = |by| outcome(&shifted(LoadKind::Force, by), "Zero load");
    assert_eq!((force(0.0), force(5.0)), (Outcome::Holds, Outcome::Fails));
    assert_eq!(force(-5.0), Outcome::Fails);
    let angle = |by| outcome(&shifted(LoadKind::Angle, by), "Zero lies within");
    assert_eq!([0.0, -5.0, -40.0].map(angle), [Outcome::Holds; 3]);
    assert_eq!([5.0, -45.0].map(angle), [Outcome::Fails; 2]);
}

/// From -5 to 5, in no order.
fn jitter(row: usize) -> f64 {
    f64::from((row * 37 % 11) as u32) - 5.0
}

/// A sweep of a nozzle in degrees: 0.09 deg for each unit of raw, 60 of backlash, and 1.5 deg at the
/// centre; `ahead` turns the loop round.
fn sweep_points(ahead: bool, noise: f64) -> Points {
    let rising = (-40..=40).map(|step| 25.0 * f64::from(step));
    let falling = (-40..40).rev().map(|step| 25.0 * f64::from(step));
    let raw: Vec<f64> = rising.chain(falling).collect();
    let mut moved: f64 = -1000.0;
    let angle = raw.iter().enumerate().map(|(row, raw)| {
        moved = moved.clamp(raw - 30.0, raw + 30.0);
        let played = if ahead { 2.0 * raw - moved } else { moved };
        (1.5 + 0.09 * played + noise * jitter(row)).to_radians()
    });
    let mut out = Points::exact(raw.clone(), angle.collect());
    out.kind = LoadKind::Angle;
    let ways = (0..raw.len()).map(|row| {
        if row <= 80 {
            Direction::Up
        } else {
            Direction::Down
        }
    });
    out.direction = ways.map(Some).collect();
    out
}

#[test]
fn a_sweep_is_told_in_degrees_with_intervals_of_student() {
    let points = sweep_points(false, 0.02);
    let found = sweep::sweep(&points).unwrap();
    let judgement = judged(&points);
    let report = judgement.sweep.as_ref().unwrap();
    let degree = 1.0_f64.to_radians();
    // Student's t for 97.5 % at the freedom of the two lines, each with two coefficients.
    let freedom = found.rows[0] + found.rows[1] - 4;
    let factor = coverage_factor(freedom as f64);
    let pairs = [
        (&report.gain, &found.gain, degree),
        (&report.gain_rising, &found.gain_rising, degree),
        (&report.gain_falling, &found.gain_falling, degree),
        (&report.angle_at_zero_raw, &found.angle_at_zero_raw, degree),
        (&report.raw_at_zero_angle, &found.raw_at_zero_angle, 1.0),
        (&report.loop_width_raw, &found.loop_width_raw, 1.0),
    ];
    for (shown, found, size) in pairs {
        let (value, u) = (found.value, found.u);
        close(shown.value, value / size);
        close(shown.u, u / size);
        close(shown.low, (value - factor * u) / size);
        close(shown.high, (value + factor * u) / size);
    }
    // In degrees the loop is as wide as the gain makes it.
    assert_relative_eq!(report.loop_width.value, 60.0 * 0.09, max_relative = 0.02);
    close(
        report.loop_width.value,
        report.loop_width_raw.value * report.gain.value,
    );
    close(
        report.loop_width.u,
        report.loop_width_raw.u * report.gain.value,
    );
    assert!(report.behind.as_ref().unwrap().contains("as a nozzle"));
    assert_eq!(outcome(&judgement, "width of the loop"), Outcome::Holds);
    assert_eq!(judgement.zero_return, None);
}

#[test]
fn a_loop_the_other_way_round_is_a_sensor_s_and_noise_hides_either() {
    let report = judged(&sweep_points(true, 0.02)).sweep.unwrap();
    assert_relative_eq!(report.loop_width_raw.value, -60.0, max_relative = 0.02);
    assert!(report.behind.unwrap().contains("as a sensor"));
    let hidden = judged(&sweep_points(false, 12.0));
    assert_eq!(hidden.sweep.as_ref().unwrap().behind, None);
    assert_eq!(outcome(&hidden, "width of the loop"), Outcome::Fails);
}
