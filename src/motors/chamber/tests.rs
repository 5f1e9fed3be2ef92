//! Tests of the chamber stage: a published motor, and made-up records whose truth is known.

use approx::assert_relative_eq;
use rand::rngs::ChaCha12Rng;
use rand::{Rng, SeedableRng};

use super::*;
use crate::calibration::{Points, calibrate_points};
use crate::quantity::Unit;

/// Absolute pressure of the air in these records, Pa.
const AIR_PA: f64 = 101_300.0;

/// Random numbers of one trial.
struct Chance(ChaCha12Rng);

impl Chance {
    fn new(seed: u64) -> Self {
        Self(ChaCha12Rng::seed_from_u64(seed))
    }

    fn uniform(&mut self) -> f64 {
        (self.0.next_u64() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Normal with mean 0 and standard deviation 1 (Box and Muller).
    fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.uniform()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.uniform()).cos()
    }
}

fn record(step_s: f64, lasts_s: f64, pressure_pa: impl Fn(f64) -> f64) -> Series {
    let count = (lasts_s / step_s) as usize;
    let time: Vec<f64> = (0..count).map(|row| row as f64 * step_s).collect();
    let value: Vec<f64> = time.iter().map(|time| pressure_pa(*time)).collect();
    Series::new(&time, &value)
}

fn input(pressure_pa: &Series, from_s: f64, to_s: f64) -> ChamberInput<'_> {
    ChamberInput {
        motor: None,
        pressure_pa,
        reads: Reads::Absolute,
        curve: None,
        span_relative_u: 0.0,
        ambient_pa: (AIR_PA, 0.0),
        ends: Ends::Thrust {
            from_s: (from_s, 0.0),
            to_s: (to_s, 0.0),
        },
        throat_m: None,
        propellant_kg: None,
        impulse_ns: None,
    }
}

fn value(of: &Option<Measured>) -> f64 {
    of.as_ref().unwrap().value
}

// Sutton & Biblarz, Rocket Propulsion Elements, example 2-2: 995 kg in 40 s at 7.00 MPa through a
// throat of 0.0855 m with 62 250 N (from memory; c* 1615.69 m/s recomputed from those numbers, where
// the book rounds to 1613). CF = F/(p A) is its definition.
#[test]
fn a_textbook_motor_has_its_characteristic_velocity() {
    let pressure = record(0.01, 60.0, |t| {
        if (10.0..=50.0).contains(&t) {
            7e6
        } else {
            AIR_PA
        }
    });
    let impulse = Measured::normal(62_250.0 * 40.0, 0.0, Unit::NewtonSecond);
    let found = measure(&ChamberInput {
        throat_m: Some((0.0855, 0.0)),
        propellant_kg: Some((995.0, 0.0)),
        impulse_ns: Some(&impulse),
        ..input(&pressure, 10.0, 50.0)
    })
    .unwrap()
    .report;
    // 2e-6: rest and steps are exact, the sums are not quite.
    assert_relative_eq!(
        value(&found.characteristic_velocity_m_s),
        1_615.686_371,
        max_relative = 2e-6
    );
    let area_m2 = std::f64::consts::PI * 0.0855_f64.powi(2) / 4.0;
    assert_relative_eq!(
        value(&found.thrust_coefficient),
        62_250.0 / (7e6 * area_m2),
        max_relative = 2e-6
    );
    assert_relative_eq!(value(&found.mean_kpa), 7000.0, max_relative = 2e-6);
    assert_relative_eq!(value(&found.integral_kpa_s), 280_000.0, max_relative = 2e-6);
    assert_relative_eq!(value(&found.peak_kpa), 7000.0, max_relative = 2e-6);
    // Effective exhaust velocity is their product: 2502.51 m/s in the same example.
    let product = value(&found.characteristic_velocity_m_s) * value(&found.thrust_coefficient);
    assert_relative_eq!(product, 2_502.512_563, max_relative = 1e-6);
}

#[test]
fn gauge_and_absolute_say_the_same_and_a_wrong_word_is_found_out() {
    let burn = |t: f64| if (3.0..=5.0).contains(&t) { 2e6 } else { 0.0 };
    let gauge = record(0.001, 9.0, burn);
    let absolute = gauge.map(|_, pressure| pressure + AIR_PA);
    let mean = |record: &Series, reads| {
        let asked = ChamberInput {
            reads,
            ..input(record, 3.0, 5.0)
        };
        let found = measure(&asked).unwrap();
        (value(&found.report.mean_kpa), found.findings[0].outcome)
    };
    use crate::finding::Outcome::{Fails, Holds};
    for (record, reads) in [(&gauge, Reads::Gauge), (&absolute, Reads::Absolute)] {
        let (said, outcome) = mean(record, reads);
        assert_relative_eq!(said, 2101.3, max_relative = 1e-9);
        assert_eq!(outcome, Holds);
    }
    assert_eq!(mean(&absolute, Reads::Gauge).1, Fails);
    assert_eq!(mean(&gauge, Reads::Absolute).1, Fails);
}

#[test]
fn without_rest_or_without_the_burn_nothing_is_said() {
    let all = record(0.001, 9.0, |_| 2e6);
    assert!(measure(&input(&all, 0.0, 8.9)).is_none());
    assert!(measure(&input(&all, 3.0, 12.0)).is_none());
}

// Half a sine of 2 s: first and last at 5 % of its peak above ambient at 2 asin(0.05)/pi from either
// end, 0.0318443 s (check values, closed-form shapes).
#[test]
fn among_several_motors_pressure_itself_begins_and_ends_the_burn() {
    let shape = |t: f64| {
        2e6 * (std::f64::consts::FRAC_PI_2 * (t - 3.0).clamp(0.0, 2.0))
            .sin()
            .max(0.0)
    };
    let pressure = record(0.001, 9.0, |t| AIR_PA + shape(t));
    let found = measure(&ChamberInput {
        ends: Ends::Pressure {
            fraction: 0.05,
            within_s: (2.5, 6.0),
        },
        ..input(&pressure, 0.0, 0.0)
    })
    .unwrap()
    .report;
    assert_relative_eq!(found.window_s[0], 3.031_844_3, epsilon = 1e-4);
    assert_relative_eq!(found.window_s[1], 4.968_155_7, epsilon = 1e-4);
}

/// What one made-up firing was, and what the reduction says of it.
fn trial(seed: u64) -> [(f64, Measured); 4] {
    let mut chance = Chance::new(seed);
    let uniform = |chance: &mut Chance, half: f64| half * (2.0 * chance.uniform() - 1.0);
    // What the file says, and what it really was.
    let (throat_m, throat_half_m) = (6.1e-3, 0.02e-3);
    let true_throat_m = throat_m + uniform(&mut chance, throat_half_m);
    let (air_pa, air_u_pa) = (AIR_PA, 3e3);
    let true_air_pa = air_pa + air_u_pa * chance.normal();
    let span_half = 0.006;
    let span = 1.0 + uniform(&mut chance, span_half);
    let (mass_kg, mass_u_kg) = (0.0200, 0.00008);
    let true_mass_kg = mass_kg + mass_u_kg * chance.normal();
    let zero_pa = uniform(&mut chance, 3e4);
    // 2.4 MPa that falls to 0.9 MPa over two seconds, read 200 times a second.
    let above = |t: f64| {
        if (2.0..=4.0).contains(&t) {
            2.4e6 - 0.75e6 * (t - 2.0)
        } else {
            0.0
        }
    };
    let truth = record(0.005, 7.0, |t| above(t) + true_air_pa);
    let mut slow = 0.0;
    let read = truth.map(|_, pressure| pressure);
    let values: Vec<f64> = read
        .value()
        .iter()
        .map(|pressure| {
            // Noise that remembers: autoregressive, 0.6 from reading to reading.
            slow = 0.6 * slow + 2.5e4 * chance.normal();
            (pressure - true_air_pa) * span + zero_pa + slow
        })
        .collect();
    let read = Series::new(truth.time_s(), &values);
    let (from_s, to_s) = (2.0, 4.0);
    let integral = crate::numeric::trapezoid::area_between(&truth, from_s, to_s);
    let true_area = std::f64::consts::PI * true_throat_m * true_throat_m / 4.0;
    let true_impulse_ns = 1.45 * true_area * integral;
    let impulse_u_ns = 0.004 * true_impulse_ns;
    let said = true_impulse_ns + impulse_u_ns * chance.normal();
    let impulse = Measured::normal(said, impulse_u_ns, Unit::NewtonSecond);
    let root3 = 3.0_f64.sqrt();
    let report = measure(&ChamberInput {
        reads: Reads::Gauge,
        span_relative_u: span_half / root3,
        ambient_pa: (air_pa, air_u_pa),
        throat_m: Some((throat_m, throat_half_m / root3)),
        propellant_kg: Some((mass_kg, mass_u_kg)),
        impulse_ns: Some(&impulse),
        ..input(&read, from_s, to_s)
    })
    .unwrap()
    .report;
    [
        (1e-3 * integral / 2.0, report.mean_kpa.unwrap()),
        (1e-3 * integral, report.integral_kpa_s.unwrap()),
        (
            true_area * integral / true_mass_kg,
            report.characteristic_velocity_m_s.unwrap(),
        ),
        (1.45, report.thrust_coefficient.unwrap()),
    ]
}

// Intervals of 95 % hold the truth of 600 made-up firings in 95 % of them: binomial scatter is 0.9 %.
#[test]
fn intervals_hold_the_truth_as_often_as_they_say() {
    const SEEDS: u64 = 600;
    let mut held = [0; 4];
    for seed in 0..SEEDS {
        for (held, (truth, said)) in held.iter_mut().zip(trial(seed)) {
            *held += u64::from(said.covers(truth));
        }
    }
    let shares = held.map(|held| held as f64 / SEEDS as f64);
    for share in shares {
        assert!((0.92..=0.98).contains(&share), "{shares:?}");
    }
}

// Points that scatter: the pressure by the curve is as far off as its term says. The curve's own
// scatter is the only thing that differs from trial to trial.
#[test]
fn the_scatter_of_the_points_is_carried_into_the_integral() {
    let load: Vec<f64> = (0..9).map(|at| 3e5 * f64::from(at)).collect();
    let (mut squares, mut claimed) = (0.0, 0.0);
    const SEEDS: u64 = 400;
    for seed in 0..SEEDS {
        let mut chance = Chance::new(seed);
        let raw: Vec<f64> = load
            .iter()
            .map(|load| 500.0 + 1e-3 * load + 4.0 * chance.normal())
            .collect();
        let curve = calibrate_points(&Points::exact(raw, load.clone()), None)
            .unwrap()
            .curve;
        let read = record(0.005, 7.0, |t| {
            let pressure = if (2.0..=4.0).contains(&t) { 2e6 } else { 0.0 };
            curve.load(500.0 + 1e-3 * pressure).unwrap()
        });
        let found = measure(&ChamberInput {
            curve: Some(&curve),
            ..input(&read, 2.0, 4.0)
        })
        .unwrap()
        .report
        .integral_kpa_s
        .unwrap();
        squares += (found.value - 1e-3 * (4e6 + 2.0 * AIR_PA)).powi(2);
        claimed += found.u * found.u;
    }
    // A variance from 400 trials scatters by 7 %; u itself scatters with the points' residuals.
    assert_relative_eq!(squares, claimed, max_relative = 0.25);
}
