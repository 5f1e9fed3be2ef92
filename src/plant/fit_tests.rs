//! The whole fit on simulated firings with known truth.

use super::findings::why_unknown;
use super::fit::fit_axis;
use super::parameter::Parameter;
use super::{AxisInput, AxisPlant, DeadBandKind, Estimate};
use crate::flight::test_firing::{TRUTH, Truth, firing};
use crate::quantity::Measured;
use crate::studies::study;

/// Median of absolute errors, share of intervals that hold the truth, mean error over its uncertainty.
#[derive(Debug)]
struct Score {
    median: f64,
    covered: f64,
    lean: f64,
    told: usize,
}

fn score(found: &[Option<Measured>], truth: f64) -> Score {
    let told: Vec<&Measured> = found.iter().flatten().collect();
    let mut errors: Vec<f64> = told.iter().map(|m| (m.value - truth).abs()).collect();
    errors.sort_by(f64::total_cmp);
    let n = told.len().max(1) as f64;
    let mean = told.iter().map(|m| m.value - truth).sum::<f64>() / n;
    let square = told.iter().map(|m| (m.value - truth).powi(2)).sum::<f64>() / n;
    Score {
        median: errors.get(errors.len() / 2).copied().unwrap_or(f64::NAN),
        covered: told.iter().filter(|m| m.covers(truth)).count() as f64 / n,
        lean: mean / (square / n).sqrt(),
        told: told.len(),
    }
}

fn plants(truth: &Truth, seeds: u64, change: impl Fn(&mut AxisInput)) -> Vec<AxisPlant> {
    (0..study(12, seeds).0)
        .map(|seed| {
            let mut input = firing(truth, seed);
            change(&mut input);
            fit_axis(&input).plant
        })
        .collect()
}

/// A number of the plant, what is true, and the largest median error allowed.
struct Aim {
    name: &'static str,
    of: fn(&AxisPlant) -> Option<Measured>,
    truth: f64,
    median: f64,
}

/// Aims for gain (share), lag (s), delay (s) and width (deg).
fn actuator_aims(truth: &Truth, [gain, lag, delay, width]: [f64; 4]) -> Vec<Aim> {
    let aim = |name, of, truth, median| Aim {
        name,
        of,
        truth,
        median,
    };
    vec![
        aim(
            "gain",
            |p| p.actuator.gain.clone(),
            truth.gain,
            gain * truth.gain,
        ),
        aim("lag", |p| p.actuator.lag_s.clone(), truth.lag_s, lag),
        aim(
            "delay",
            |p| p.actuator.delay_s.clone(),
            truth.delay_s,
            delay,
        ),
        aim(
            "width",
            |p| p.actuator.dead_band.width_deg.clone(),
            truth.width_deg,
            width,
        ),
    ]
}

/// The disturbance of 0.4 rad/s2 alone makes the effectiveness unsure by 1.3 %; 2 % is allowed.
fn effectiveness_aim(truth: &Truth) -> Aim {
    Aim {
        name: "effectiveness",
        of: |p| p.rig.as_ref()?.effectiveness_per_kg_m.clone(),
        truth: truth.effectiveness,
        median: 0.02 * truth.effectiveness,
    }
}

/// Coverage of 95 % intervals over 40 seeds: 38 +- 1.4 expected, so 35 (88 %) is two deviations low.
/// The mean error over its standard error is a standard normal: beyond 3.5 it is a real bias.
fn check(plants: &[AxisPlant], aims: &[Aim], lean: f64) {
    let mut wrong = vec![];
    // Of 12 in a short run 10.
    let least = if plants.len() < 20 { 0.8 } else { 0.875 };
    for aim in aims {
        let found: Vec<Option<Measured>> = plants.iter().map(aim.of).collect();
        let score = score(&found, aim.truth);
        println!("{}: {score:.5?}", aim.name);
        let told = score.told * 10 >= found.len() * 9;
        let honest = score.covered >= least && (score.lean.abs() <= lean || score.lean.is_nan());
        if !told || !honest || score.median > aim.median {
            wrong.push(format!("{} {score:?}", aim.name));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

fn kinds(plants: &[AxisPlant], kind: DeadBandKind) -> usize {
    let is = |p: &&AxisPlant| p.actuator.dead_band.kind == Some(kind);
    plants.iter().filter(is).count()
}

#[test]
fn a_measured_nozzle_gives_the_actuator_within_the_aims_and_honest_intervals() {
    let plants = plants(&TRUTH, 40, |_| {});
    assert!(kinds(&plants, DeadBandKind::Play) * 20 >= plants.len() * 19);
    let mut aims = actuator_aims(&TRUTH, [0.003, 4e-4, 3e-4, 0.02]);
    aims.push(effectiveness_aim(&TRUTH));
    check(&plants, &aims, 3.5);
}

// By the flight simulator's actuator, which knows nothing of the fit's; with one pole too few the delay was 11 ms too long.
#[test]
fn an_actuator_of_second_order_is_found_and_one_of_first_order_is_not_taken_for_it() {
    let truth = Truth {
        damping_ratio: Some(0.7),
        ..TRUTH
    };
    let found = plants(&truth, 40, |_| {});
    let mut aims = actuator_aims(&truth, [0.003, 4e-4, 4e-4, 0.02]);
    aims.push(Aim {
        name: "damping ratio",
        of: |p| p.actuator.damping_ratio.clone(),
        truth: 0.7,
        median: 0.02,
    });
    aims.push(Aim {
        name: "lag and delay together",
        of: |p| p.actuator.lag_plus_delay_s.clone(),
        truth: truth.lag_s + truth.delay_s,
        median: 3e-4,
    });
    check(&found, &aims, 3.5);
    let first = plants(&TRUTH, 40, |_| {});
    assert!(first.iter().all(|p| p.actuator.damping_ratio.is_none()));
}

fn without_nozzle(input: &mut AxisInput) {
    input.nozzle_rad = None;
    input.arm_m = Some(Estimate {
        value: 0.31,
        u: 0.0,
    });
    let inertia = 0.31 / TRUTH.effectiveness;
    input.inertia_kg_m2 = Some(Estimate {
        value: inertia,
        u: 0.0,
    });
}

#[test]
fn tilt_alone_gives_the_actuator_within_the_aims_and_honest_intervals() {
    let truth = Truth {
        gust_rad_s2: 0.1,
        ..TRUTH
    };
    let plants = plants(&truth, 40, without_nozzle);
    assert!(kinds(&plants, DeadBandKind::Play) * 20 >= plants.len() * 19);
    check(
        &plants,
        &actuator_aims(&truth, [0.04, 2e-3, 1e-3, 0.08]),
        3.5,
    );
    // Seen from tilt alone the thrust bias carries the nozzle's, and that one is unknown.
    assert!(plants.iter().all(|p| p.actuator.bias_deg.is_none()));
}

/// With a disturbance as large as a quarter of what the nozzle does, dead bands are not identifiable; lag and
/// delay do not, and what is told is honest.
#[test]
fn a_gusty_firing_seen_from_tilt_alone_tells_less_but_nothing_wrong() {
    let truth = Truth {
        gust_rad_s2: 0.8,
        ..TRUTH
    };
    let plants = plants(&truth, 40, without_nozzle);
    let aims = actuator_aims(&truth, [0.04, 3e-3, 1.5e-3, f64::INFINITY]);
    check(&plants, &aims[..3], 3.5);
    let missed = widths_missed(&plants, truth.width_deg);
    assert!(missed <= 2, "{missed}");
}

/// Dead-band widths that were stated and whose interval does not hold the truth.
fn widths_missed(plants: &[AxisPlant], truth_deg: f64) -> usize {
    let widths = plants
        .iter()
        .filter_map(|p| p.actuator.dead_band.width_deg.as_ref());
    widths.filter(|width| !width.covers(truth_deg)).count()
}

#[test]
fn no_dead_band_and_a_dead_zone_are_told_for_what_they_are() {
    for (kind, width_deg) in [(DeadBandKind::None, 0.0), (DeadBandKind::DeadZone, 0.5)] {
        let truth = Truth {
            kind,
            width_deg,
            ..TRUTH
        };
        let plants = plants(&truth, 20, |_| {});
        assert!(kinds(&plants, kind) * 20 >= plants.len() * 19);
        check(
            &plants,
            &actuator_aims(&truth, [0.003, 4e-4, 3e-4, 0.02]),
            4.0,
        );
    }
}

/// A square pattern of one size hardly shows play in the tilt: a play then looks like a smaller gain.
/// Whatever is stated must still hold: at most two of 40 intervals may miss (5 %).
#[test]
fn a_poor_pattern_seen_from_tilt_alone_never_gives_a_wrong_dead_band() {
    let truth = Truth {
        several_sizes: false,
        ..TRUTH
    };
    let plants = plants(&truth, 40, |input| input.nozzle_rad = None);
    let missed = widths_missed(&plants, truth.width_deg);
    assert!(missed <= 2, "{missed}");
    // Without arm and inertia the gain cannot be parted from the product either.
    assert!(plants.iter().all(|p| p.actuator.gain.is_none()));
    assert!(
        plants
            .iter()
            .all(|p| p.rig.as_ref().unwrap().effectiveness_per_kg_m.is_some())
    );
}

/// 6 deg in 22 ms would need 270 deg/s; at 60 deg/s the limit rules. Its own uncertainty is about
/// 0.1 deg/s, the window ten times that.
#[test]
fn a_slew_limit_is_found_when_there_is_one_and_not_otherwise() {
    let slow = Truth {
        slew_deg_s: 60.0,
        gust_rad_s2: 0.1,
        ..TRUTH
    };
    for plant in plants(&slow, 4, |_| {}) {
        let slew = plant.actuator.slew_deg_s.unwrap();
        assert!((slew.value - 60.0).abs() < 1.0, "{slew:?}");
        assert!((plant.actuator.lag_s.unwrap().value - 0.022).abs() < 1e-3);
    }
    for plant in plants(&TRUTH, 4, |_| {}) {
        assert!(plant.actuator.slew_deg_s.is_none());
    }
}

/// In gusts the tilt cannot tell a dead zone from none, and a gain taken from either kind alone is up to
/// a sixth off. Of 20 intervals of 95 % at least 17 hold the truth, all but once in 60 (binomial).
#[test]
fn a_dead_zone_that_tilt_alone_cannot_tell_is_within_the_interval_of_the_gain() {
    let truth = Truth {
        kind: DeadBandKind::DeadZone,
        width_deg: 0.6,
        gust_rad_s2: 2.0,
        ..TRUTH
    };
    let product = truth.gain * truth.effectiveness;
    let plants = plants(&truth, 20, |input| input.nozzle_rad = None);
    let open = plants
        .iter()
        .filter(|p| p.actuator.dead_band.kind.is_none());
    let found: Vec<&Measured> = plants
        .iter()
        .filter_map(|p| p.rig.as_ref()?.effectiveness_per_kg_m.as_ref())
        .collect();
    let held = found.iter().filter(|found| found.covers(product)).count();
    assert!(2 * open.count() >= plants.len());
    assert_eq!(found.len(), plants.len());
    assert!(held * 20 >= 17 * found.len(), "{held} of {}", found.len());
}

#[test]
fn a_dry_run_gives_the_actuator_and_no_rig() {
    let mut input = firing(&TRUTH, 3);
    input.thrust_n = None;
    (input.tilt_rad, input.rate_rad_s) = (None, None);
    let plant = fit_axis(&input).plant;
    assert!(plant.rig.is_none() && plant.flight.is_none());
    assert!(plant.actuator.gain.unwrap().covers(TRUTH.gain));
    assert_eq!(plant.fit.seen_from, ["nozzle"]);
}

#[test]
fn a_command_that_never_moves_gives_no_plant_but_a_reason() {
    let mut input = firing(&TRUTH, 3);
    input.command_deg = input.command_deg.map(|_, _| 0.0);
    let fit = fit_axis(&input);
    assert!(!fit.plant.is_known());
    for parameter in [Parameter::Gain, Parameter::Lag, Parameter::Delay] {
        let why = why_unknown(parameter, &fit.plant.findings);
        assert!(why.is_some(), "{parameter:?}");
    }
    assert_eq!(fit.warnings[0].code, crate::diagnostic::Code::AxisNotFitted);
    assert!(!fit.warnings[0].hints.is_empty());
}

/// A clock known to 2 ms leaves the delay known to 2 ms, whatever the fit says.
#[test]
fn an_unsure_clock_shows_in_the_delay() {
    let mut input = firing(&TRUTH, 3);
    input.command_to_nozzle_u_s = 0.002;
    let delay = fit_axis(&input).plant.actuator.delay_s.unwrap();
    assert!((delay.u - 0.002).abs() < 1e-4, "{delay:?}");
}

#[test]
fn the_same_input_gives_the_same_plant() {
    let input = firing(&TRUTH, 5);
    assert_eq!(fit_axis(&input).plant, fit_axis(&input).plant);
}

/// Two levels and back: play of 0.35 deg turns 3 deg into 2.825 deg and nothing else. The gain is
/// then what is left of it, 0.93 * 2.825 / 3 = 0.876, and the dead band is not told.
#[test]
fn a_command_of_two_levels_leaves_the_dead_band_untold_and_says_so() {
    use crate::series::Series;
    let time: Vec<f64> = (0..600).map(|i| f64::from(i) * 0.005).collect();
    let level = |i: usize| {
        if (i / 60).is_multiple_of(2) {
            3.0
        } else {
            -3.0
        }
    };
    let command: Vec<f64> = (0..600).map(level).collect();
    let mut angle = 0.0;
    let mut nozzle = Vec::new();
    for i in 0..600 {
        // Exact sampled lag of 22 ms at 5 ms; the jitter of +-0.02 deg keeps a fit from being exact.
        let late = if i < 2 { 0.0 } else { command[i - 2] };
        nozzle.push((angle + 0.02 * (1.7 * i as f64).sin()).to_radians());
        let demand = 0.93 * (late - 0.175 * late.signum());
        angle = demand + (angle - demand) * (-5.0_f64 / 22.0).exp();
    }
    let input = AxisInput {
        command_deg: Series::new(&time, &command),
        nozzle_rad: Some(Series::new(&time, &nozzle)),
        window_s: (0.0, 3.0),
        ..AxisInput::default()
    };
    let plant = fit_axis(&input).plant;
    assert_eq!(plant.actuator.dead_band.kind, None);
    assert!(plant.actuator.dead_band.width_deg.is_none());
    let gain = plant.actuator.gain.unwrap();
    assert!((gain.value - 0.93 * 2.825 / 3.0).abs() < 0.005, "{gain:?}");
    assert!(
        plant
            .fit
            .assumed
            .iter()
            .any(|text| text.contains("no dead band"))
    );
}
