//! The simulator against closed forms, its own halved step, and the predicted limit cycle.

use std::sync::Arc;

use approx::{assert_abs_diff_eq, assert_relative_eq};
use rand::SeedableRng;
use rand::rngs::ChaCha8Rng;

use super::run::{FlightOutcome, FlightState};
use super::scenario::STEP_S;
use super::*;
use crate::control::axis_loop::SampledAxis;
use crate::control::axis_loop::tests::{SIMC_STEP, peak_of};
use crate::control::axis_loop::tests::{controller, numbers};
use crate::control::limit_cycle::limit_cycle;
use crate::control::pid::{Controller, Derivative};
use crate::plant::DeadBandKind;
use crate::series::Series;

/// A rocket of 1.2 kg under a level thrust, without air, noise or controller.
pub(super) fn level(thrust_n: f64, lasts_s: f64) -> Scenario {
    Scenario {
        axis: numbers(),
        controller: None,
        schedule: None,
        latency_s: 0.002,
        motors: vec![Motor {
            name: "all".to_owned(),
            thrust_n: Arc::new(Series::new(&[0.0, lasts_s], &[thrust_n, thrust_n])),
            scale: 1.0,
            later_s: 0.0,
            offset_m: 0.0,
            lights: true,
        }],
        mass_kg: Some(1.2),
        propellant_kg: 0.0,
        inertia_kg_m2: Some(0.07),
        gravity_m_s2: 9.8,
        air: Air::default(),
        wind: Wind::default(),
        disturbance_rad_s2: None,
        sensors: Sensors::default(),
        tilt_deg: 0.0,
        rate_deg_s: 0.0,
        release_s: 0.0,
        ends_s: lasts_s,
        step_s: STEP_S,
    }
}

fn flight(of: &Scenario) -> (FlightOutcome, Vec<FlightState>) {
    let mut moments = Vec::new();
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    let out = fly(of, &Commands::Controller, &mut rng, |moment| {
        moments.push(*moment);
    });
    (out, moments)
}

// No thrust, no air, thrown up at 20 deg with 30 deg/s of turning: rate, sideways momentum and the sum
// of kinetic and potential energy stay.
#[test]
fn without_thrust_and_friction_energy_and_momentum_stay() {
    let mut of = level(0.0, 2.0);
    (of.tilt_deg, of.rate_deg_s) = (20.0, 30.0);
    // A short push to have some speed.
    of.motors[0].thrust_n = Arc::new(Series::new(&[0.0, 0.5], &[60.0, 60.0]));
    let (_, moments) = flight(&of);
    let energy = |m: &FlightState| {
        let speed = m.drift_m_s * m.drift_m_s + m.climb_m_s * m.climb_m_s;
        0.5 * 1.2 * speed + 1.2 * 9.8 * m.altitude_m + 0.5 * 0.07 * m.rate_rad_s * m.rate_rad_s
    };
    let coasting: Vec<&FlightState> = moments.iter().filter(|m| m.time_s > 0.501).collect();
    let first = coasting[0];
    assert!(first.climb_m_s > 10.0 && coasting.len() > 100);
    for m in &coasting {
        assert_relative_eq!(energy(m), energy(first), max_relative = 1e-12);
        assert_eq!(m.rate_rad_s, first.rate_rad_s);
        assert_relative_eq!(m.drift_m_s, first.drift_m_s, max_relative = 1e-12);
    }
}

// A hanging rig (stiffness -25/s2) keeps 1/2 w2 + 25/2 a2; the error of a step falls as its fifth
// power, so that 4 s at 5 ms keep it to 1e-8.
#[test]
fn a_swinging_rig_keeps_its_energy() {
    let mut of = level(0.0, 4.0);
    of.mass_kg = None;
    of.axis.stiffness_per_s2 = -25.0;
    of.tilt_deg = 5.0;
    let (_, moments) = flight(&of);
    let energy =
        |m: &FlightState| 0.5 * m.rate_rad_s * m.rate_rad_s + 12.5 * m.tilt_rad * m.tilt_rad;
    for m in &moments {
        assert_relative_eq!(energy(m), energy(&moments[0]), max_relative = 1e-7);
    }
}

// Straight up at 30 N and 1.2 kg: 1/2 (25 - 9.8) t2.
#[test]
fn it_climbs_by_the_closed_form_and_stands_until_thrust_lifts_it() {
    let (out, _) = flight(&level(30.0, 2.0));
    assert_relative_eq!(out.altitude_m, 0.5 * 15.2 * 4.0, max_relative = 1e-12);
    assert_eq!(out.drift_m, 0.0);
    let (out, _) = flight(&level(11.0, 2.0));
    assert_eq!(out.altitude_m, 0.0);
}

// 10 g of 20 g have burnt halfway: with thrust 30 N for 2 s and mass 1.2 - 0.02 t/2 the speed is
// 30 ln(1.2/(1.2 - 0.01 t))/0.01 - 9.8 t.
#[test]
fn mass_falls_with_the_impulse_delivered() {
    let mut of = level(30.0, 2.0);
    of.propellant_kg = 0.02;
    let (_, moments) = flight(&of);
    let last = moments[moments.len() - 1];
    let exact = 30.0 * (1.2_f64 / 1.18).ln() / 0.01 - 19.6;
    assert_relative_eq!(last.climb_m_s, exact, max_relative = 1e-5);
}

// A steady torque of 0.07 N m on 0.07 kg m2: 1 rad/s2. A gust of the shape 1 - cos delivers half its
// peak times its duration.
#[test]
fn pushes_turn_it_by_torque_over_inertia() {
    let mut of = level(0.0, 1.0);
    of.wind.steady_nm = 0.07;
    assert_relative_eq!(
        flight(&of).0.last_tilt_deg.to_radians(),
        0.5,
        max_relative = 1e-12
    );
    of.wind = Wind {
        gust_nm: 0.7,
        gust_at_s: 0.2,
        gust_lasts_s: 0.4,
        ..Wind::default()
    };
    let (_, moments) = flight(&of);
    let last = moments[moments.len() - 1];
    assert_relative_eq!(last.rate_rad_s, 0.5 * 10.0 * 0.4, max_relative = 1e-6);
}

fn lively() -> Scenario {
    let mut of = level(35.0, 1.5);
    of.controller = Some(Controller {
        limit_deg: 20.0,
        ..controller(Derivative::Rate)
    });
    of.tilt_deg = 8.0;
    of.air = Air {
        drag_area_m2: 0.004,
        normal_area_m2: 0.01,
        ahead_m: 0.1,
        damping_n_m_s: 0.01,
    };
    of.wind = Wind {
        steady_n: 0.4,
        steady_nm: 0.02,
        gust_n: 1.0,
        gust_nm: 0.1,
        gust_at_s: 0.3,
        gust_lasts_s: 0.7,
    };
    of
}

// Halving the step divides the error by 2^4 = 16: the nozzle's exponential, the gust and the air are
// smooth between the cuts. Steps of 4 and 2 ms cut a period of 10 ms evenly behind the arrival.
#[test]
fn the_order_of_convergence_is_four() {
    let run = |step_s: f64| {
        let mut of = lively();
        // Delay of 14 ms with h = 10 ms: pieces of 4 and 6 ms.
        of.step_s = step_s;
        let (_, moments) = flight(&of);
        moments[moments.len() - 1]
    };
    let exact = run(0.000_125);
    let error = |step_s: f64| {
        let end = run(step_s);
        (
            (end.tilt_rad - exact.tilt_rad).abs(),
            (end.drift_m - exact.drift_m).abs(),
        )
    };
    let (coarse, fine) = (error(0.002), error(0.001));
    println!("{coarse:?} {fine:?}");
    let order = |coarse: f64, fine: f64| (coarse / fine).log2();
    assert_abs_diff_eq!(order(coarse.0, fine.0), 4.0, epsilon = 0.3);
    assert_abs_diff_eq!(order(coarse.1, fine.1), 4.0, epsilon = 0.3);
    // What the usual step costs is far below any sensor.
    let usual = error(STEP_S);
    assert!(usual.0.to_degrees() < 1e-4, "{usual:?}");
}

/// Amplitude of tilt, deg, and frequency, rad/s, of the last quarter of a long flight; an amplitude
/// that still falls says so.
fn limit_cycle_flown(of: &Scenario) -> (f64, f64, bool) {
    let (_, moments) = flight(of);
    let ends = of.ends_s;
    let part = |from: f64, to: f64| -> Vec<(f64, f64)> {
        let inside = |m: &&FlightState| m.time_s >= from * ends && m.time_s < to * ends;
        let deg = |m: &FlightState| (m.time_s, m.tilt_rad.to_degrees());
        moments.iter().filter(inside).map(deg).collect()
    };
    let amplitude = |points: &[(f64, f64)]| {
        let high = points.iter().map(|p| p.1).fold(f64::MIN, f64::max);
        let low = points.iter().map(|p| p.1).fold(f64::MAX, f64::min);
        0.5 * (high - low)
    };
    let (before, last) = (part(0.5, 0.75), part(0.75, 1.0));
    let mean = last.iter().map(|p| p.1).sum::<f64>() / last.len() as f64;
    let ups: Vec<f64> = last
        .windows(2)
        .filter(|w| w[0].1 < mean && w[1].1 >= mean)
        .map(|w| w[1].0)
        .collect();
    let turns = ups.len().max(1) as f64 - 1.0;
    let rad_s = match (ups.first(), ups.last()) {
        (Some(a), Some(b)) if b > a => std::f64::consts::TAU * turns / (b - a),
        _ => 0.0,
    };
    let falls = amplitude(&last) < 0.9 * amplitude(&before);
    (amplitude(&last), rad_s, falls)
}

// Over dead zone and backlash, two widths, three thrusts, two controllers, with and without the integral:
// where a limit cycle is predicted, amplitude and frequency come within 15 %; where none is, it fades or
// stays within what the dead band lets stand.
#[test]
fn the_predicted_limit_cycle_is_the_one_that_is_flown() {
    let (mut predicted, mut none) = (0, 0);
    let mut wrong: Vec<String> = Vec::new();
    for kind in [DeadBandKind::DeadZone, DeadBandKind::Play] {
        for width_deg in [0.2, 0.6] {
            for thrust_n in [12.0, 25.0, 50.0] {
                for (kp, ki_per_s, kd_s) in [(0.8, 0.6, 0.12), (1.4, 2.5, 0.16)] {
                    let mut of = level(thrust_n, 80.0);
                    (of.mass_kg, of.latency_s, of.tilt_deg) = (None, 0.003, 2.0);
                    (of.axis.dead_band, of.axis.width_deg) = (kind, width_deg);
                    of.axis.travel_deg = None;
                    let control = Controller {
                        kp,
                        ki_per_s,
                        kd_s,
                        ..controller(Derivative::Rate)
                    };
                    of.controller = Some(control.clone());
                    let axis = SampledAxis::new(&of.axis, 0.01, of.latency_s);
                    if !axis.margins(&control, thrust_n).stable {
                        continue;
                    }
                    let open = axis.open(&control, thrust_n);
                    let way = axis.tilt().times(thrust_n);
                    let found = limit_cycle(
                        &|w| open.at(w),
                        &|w| way.at(w),
                        (0.05, 314.0),
                        kind,
                        width_deg,
                    );
                    let (tilt_deg, rad_s, falls) = limit_cycle_flown(&of);
                    let case = format!("{kind:?} {width_deg} {thrust_n} {kp}");
                    let Some(found) = found else {
                        none += 1;
                        println!("{case}: none; flown {tilt_deg} {rad_s} {falls}");
                        if !falls && tilt_deg > 1e-3 {
                            wrong.push(case);
                        }
                        continue;
                    };
                    predicted += 1;
                    let tilt = found.tilt_deg;
                    println!(
                        "{case}: {tilt:.4} {:.3} flown {tilt_deg:.4} {rad_s:.3}",
                        found.rad_s
                    );
                    let close = |a: f64, b: f64| (a - b).abs() <= 0.15 * a.max(b);
                    if !close(tilt_deg, tilt) || !close(rad_s, found.rad_s) {
                        wrong.push(case);
                    }
                }
            }
        }
    }
    println!("{predicted} predicted, {none} none");
    assert_eq!(wrong, [""; 0]);
    assert!(predicted >= 16, "{predicted}");
}

// A damped rig held by a proportional controller alone has no limit cycle, predicted or flown.
#[test]
fn no_limit_cycle_is_predicted_where_none_appears() {
    for kind in [DeadBandKind::DeadZone, DeadBandKind::Play] {
        for gain in [0.1, 0.3] {
            let mut of = level(25.0, 40.0);
            (of.mass_kg, of.tilt_deg) = (None, 3.0);
            (of.axis.dead_band, of.axis.width_deg) = (kind, 0.4);
            (of.axis.damping_per_s, of.axis.stiffness_per_s2) = (6.0, -20.0);
            let control = Controller {
                kp: gain,
                ki_per_s: 0.0,
                kd_s: 0.02,
                ..controller(Derivative::Rate)
            };
            of.controller = Some(control.clone());
            let axis = SampledAxis::new(&of.axis, 0.01, of.latency_s);
            let open = axis.open(&control, 25.0);
            let way = axis.tilt().times(25.0);
            let found = limit_cycle(&|w| open.at(w), &|w| way.at(w), (0.05, 314.0), kind, 0.4);
            assert_eq!(found, None);
            let (tilt_deg, ..) = limit_cycle_flown(&of);
            assert!(tilt_deg < 1e-6, "{kind:?} {gain}: {tilt_deg}");
        }
    }
}

/// Tilt rate over time of the loop below, as a share of the step, with so many ticks to a dead time.
fn rate_response(per_theta: usize, damping_per_s: f64) -> Vec<f64> {
    const THETA_S: f64 = 0.1;
    // Small, or the nozzle's sine would show.
    const STEP_DEG_S: f64 = 1e-3;
    let period_s = THETA_S / per_theta as f64;
    let mut of = level(1.0, 8.0 * THETA_S + 0.5 * period_s);
    (of.mass_kg, of.inertia_kg_m2, of.latency_s) = (None, None, 0.0);
    of.axis.gain = 1.0;
    (of.axis.lag_s, of.axis.delay_s, of.axis.travel_deg) = (1e-9, THETA_S, None);
    (of.axis.damping_per_s, of.axis.effectiveness_per_kg_m) = (damping_per_s, 3.0);
    // SIMC PI on the rate: gain 3/damping, lag 1/damping, dead time theta = tc, Ti the lag.
    let kd_s = 1.0 / (3.0 * 2.0 * THETA_S);
    of.controller = Some(Controller {
        period_s,
        kp: kd_s * damping_per_s,
        ki_per_s: 0.0,
        kd_s,
        filter_s: 0.0,
        ..controller(Derivative::Rate)
    });
    // Seen from a frame that turns with the wanted rate, a step of it is a first rate, and what keeps
    // it up against the damping a steady disturbance.
    of.rate_deg_s = STEP_DEG_S;
    let steady = (damping_per_s * STEP_DEG_S).to_radians();
    of.disturbance_rad_s2 = Some(Arc::new(Series::new(&[0.0, 1.0], &[steady, steady])));
    of.step_s = period_s;
    let mut rate = Series::default();
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    fly(&of, &Commands::Controller, &mut rng, |moment| {
        let last = rate.span_s().map_or(f64::NEG_INFINITY, |span| span.1);
        if moment.time_s > last {
            rate.push(
                moment.time_s,
                1.0 - moment.rate_rad_s.to_degrees() / STEP_DEG_S,
            );
        }
    });
    (0..=8 * per_theta)
        .map(|at| rate.at(at as f64 * period_s).unwrap())
        .collect()
}

// SIMC PI with tc = theta on any first-order process with dead time: set-point response 0, 1/2, 7/8,
// 49/48, 133/128, 1307/1280, 46343/46080, 644729/645120 at t/theta = 1..8, peak 1.0405196 at 4.7400790
// theta (method of steps, recomputed), whatever the lag. Here flown: the process is the tilt rate behind
// the nozzle's dead time. The hold is half a period late, an error in proportion to it, which two
// periods together take out.
#[test]
fn the_delayed_step_of_simc_is_flown_exactly() {
    for damping_per_s in [2.0, 10.0] {
        let (coarse, fine) = (
            rate_response(250, damping_per_s),
            rate_response(500, damping_per_s),
        );
        let both: Vec<f64> = (0..coarse.len())
            .map(|at| 2.0 * fine[2 * at] - coarse[at])
            .collect();
        for (at, exact) in (1..).zip(SIMC_STEP) {
            assert_abs_diff_eq!(both[250 * at], exact, epsilon = 1e-5);
        }
        let (at, peak) = peak_of(&both);
        assert_abs_diff_eq!(peak, 1.040_519_6, epsilon = 2e-6);
        assert_abs_diff_eq!(at / 250.0, 4.740_079, epsilon = 4e-3);
    }
}

/// A captive firing flown by the simulator under a standing torque: the rig, and what is recorded.
fn recorded(steady_nm: f64) -> (Scenario, AxisRecord) {
    let mut rig = lively();
    (rig.mass_kg, rig.air, rig.wind) = (None, Air::default(), Wind::default());
    // Gentle enough for rates that are slopes over a tenth of a second.
    rig.tilt_deg = 3.0;
    rig.controller = Some(Controller {
        kp: 0.3,
        ki_per_s: 0.3,
        kd_s: 0.08,
        limit_deg: 20.0,
        ..controller(Derivative::Rate)
    });
    let mut pushed = rig.clone();
    pushed.wind.steady_nm = steady_nm;
    let (mut command_deg, mut tilt_deg) = (Series::default(), Series::default());
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    let mut last = f64::NEG_INFINITY;
    fly(&pushed, &Commands::Controller, &mut rng, |moment| {
        if moment.time_s > last {
            command_deg.push(moment.time_s + rig.latency_s, moment.command_deg);
            tilt_deg.push(moment.time_s, moment.tilt_rad.to_degrees());
            last = moment.time_s;
        }
    });
    let out = AxisRecord {
        command_deg,
        tilt_deg,
    };
    (rig, out)
}

// The plant that made the record explains it: open loop but for the error of the first rate, to a thousandth of the
// movement; ahead but for what slopes over a tenth of a second miss while the acceleration changes, a few per cent
// here. One whose nozzle has half the hold explains half, one whose nozzle pulls the other way nothing.
#[test]
fn a_replay_tells_the_plant_that_made_the_record_from_another() {
    let (rig, recorded) = recorded(0.0);
    let explained = |factor: f64| {
        let mut other = rig.clone();
        other.axis.effectiveness_per_kg_m *= factor;
        let of = replay::replay(&other, &recorded).unwrap();
        let (ahead, open) = (
            of.prediction_explains_percent,
            of.free_run_without_drift_rms_deg,
        );
        println!("{factor}: {ahead} {} {open}", of.free_run_rms_deg);
        (ahead, open / of.recorded_largest_deg)
    };
    let own = explained(1.0);
    assert!(own.0 > 90.0 && own.1 < 1e-3, "{own:?}");
    let half = explained(0.5);
    assert!(
        (40.0..60.0).contains(&half.0) && half.1 > 100.0 * own.1,
        "{half:?}"
    );
    assert!(explained(-1.0).0 < 0.0);
}

// A steady disturbance that nobody measured carries the free run away; the k-step prediction hardly minds, and
// the parabola and the mean disturbance say what it was.
#[test]
fn a_steady_disturbance_shows_as_the_drift_it_makes() {
    let (rig, recorded) = recorded(0.07);
    let of = replay::replay(&rig, &recorded).unwrap();
    println!(
        "{} {} {}",
        of.free_run_rms_deg, of.free_run_without_drift_rms_deg, of.disturbance_mean_rad_s2
    );
    // 1 rad/s2 over 1.4 s is 56 deg in the end.
    assert!(of.free_run_explains_percent < -300.0 && of.free_run_rms_deg > 10.0);
    assert!(of.free_run_without_drift_rms_deg < 0.05 * of.free_run_rms_deg);
    assert_abs_diff_eq!(of.disturbance_mean_rad_s2, 1.0, epsilon = 0.05);
    assert!(of.prediction_rms_deg < 1.5, "{}", of.prediction_rms_deg);
}
