//! Invented reductions for the tests of the writers; their numbers agree with one another.

pub(crate) mod calibration;
mod class;
mod recorders;
mod stand;

use indexmap::IndexMap;

use crate::burn::impulse::{BudgetLine, ImpulseReport};
use crate::burn::{BurnReport, ThrustReport};
use crate::calibration::CellReport;
use crate::cautions::Caution;
use crate::diagnostic::{Code, Warning};
use crate::finding::{COMMON_PRACTICE, Finding, Outcome};
use crate::log::{ClockReport, InputReport};
use crate::motors::lit::{Evidence, IgnitionReport, Lit, MotorReport, StaggerTorque};
use crate::numeric::least_squares::Ended;
use crate::plant::trace::WidthProfile;
use crate::plant::{
    Actuator, AxisPlant, AxisTrace, Covariance, DeadBand, DeadBandKind, FitReport, Flight,
    Parameter, PlantFile, Rig, SampledThrust, Structure,
};
use crate::quantity::{Measured, Unit};
use crate::reduce::{FiringResult, Reduction, SCHEMA, Tool, Traces};
use crate::series::Series;
use crate::uncertainty::Kind;

const IGNITION_S: [f64; 2] = [2.104, 2.141];
const MOTORS: [&str; 2] = ["left", "right"];

fn q(value: f64, u: f64, unit: Unit) -> Option<Measured> {
    Some(Measured::normal(value, u, unit))
}

/// A repeatable number between -1 and 1 that looks like noise.
fn noise(n: usize) -> f64 {
    let mixed = (n as u64)
        .wrapping_mul(0x9e37_79b9_7f4a_7c15)
        .rotate_left(31)
        .wrapping_mul(0xbf58_476d_1ce4_e5b9);
    (mixed >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
}

/// Thrust of one motor so many seconds after its ignition, N.
fn motor_thrust_n(since_s: f64) -> f64 {
    let points = Series::new(
        &[0.0, 0.05, 0.19, 0.30, 0.60, 1.40, 1.92, 2.03, 2.11],
        &[0.0, 17.0, 26.0, 17.5, 13.4, 13.0, 12.1, 4.0, 0.0],
    );
    points.at(since_s).unwrap_or(0.0)
}

fn times(from_s: f64, to_s: f64, step_s: f64) -> Vec<f64> {
    let count = ((to_s - from_s) / step_s) as usize;
    (0..=count).map(|n| from_s + n as f64 * step_s).collect()
}

fn thrust_traces(lit: bool) -> Traces {
    let time_s = times(0.0, 6.5, 0.001);
    let of = |motor: usize, t: f64| {
        if lit {
            motor_thrust_n(t - IGNITION_S[motor])
        } else {
            0.0
        }
    };
    let both: Vec<f64> = time_s.iter().map(|t| of(0, *t) + of(1, *t)).collect();
    let zero: Vec<f64> = time_s.iter().map(|t| 12.9 - 0.045 * t).collect();
    let noisy = |n: usize| 0.35 * noise(n) + 0.2 * noise(n / 7);
    let thrust: Vec<f64> = (0..both.len()).map(|n| both[n] + noisy(n)).collect();
    let load: Vec<f64> = (0..both.len()).map(|n| thrust[n] + zero[n]).collect();
    let thrust_n = Series::new(&time_s, &thrust);
    let mut traces = Traces {
        load_n: Series::new(&time_s, &load),
        zero_line_n: Series::new(&time_s, &zero),
        calibration: IndexMap::from([("base".to_owned(), calibration::points())]),
        ..Traces::default()
    };
    if !lit {
        return traces;
    }
    let cumulated = crate::numeric::trapezoid::cumulated(&Series::new(&time_s, &both));
    traces.cumulated_ns = Series::new(&time_s, &cumulated);
    traces.thrust_u_n = both.iter().map(|thrust| 0.16 + 0.004 * thrust).collect();
    for (motor, name) in MOTORS.iter().enumerate() {
        let own: Vec<f64> = (0..time_s.len())
            .map(|n| of(motor, time_s[n]) + 0.2 * noise(n + 31 * motor))
            .collect();
        let series = Series::new(&time_s, &own);
        traces.motor_thrust_n.insert((*name).to_owned(), series);
    }
    traces.certified_n = Some(thrust_n.map(|t, _| 0.97 * (of(0, t + 0.01) + of(1, t + 0.01))));
    traces.pressure_kpa = thrust_n.map(|_, thrust| 100.8 + 26.0 * thrust);
    traces.read_n = Some(thrust_n.map(|t, v| v + 0.3 * (530.0 * t).sin()));
    traces.low_passed_n = Some(Series::new(&time_s, &both));
    traces.thrust_n = thrust_n;
    traces
}

fn axis_trace(dry: bool) -> AxisTrace {
    let time_s = times(1.6, 4.6, 0.005);
    let command = |t: f64| 3.0 * (2.0 * std::f64::consts::PI * 1.7 * t).sin().round();
    let command_deg: Vec<f64> = time_s.iter().map(|t| command(*t)).collect();
    let mut state = 0.0;
    let model: Vec<f64> = command_deg
        .iter()
        .map(|command| {
            state += 0.17 * (0.96 * command - 0.3 - state);
            state
        })
        .collect();
    let measured: Vec<f64> = (0..model.len())
        .map(|n| model[n] + 0.12 * noise(n))
        .collect();
    let tilt = |t: f64| 2.4 * (2.0 * std::f64::consts::PI * 1.7 * (t - 0.15)).sin() + 0.3 * t;
    let tilt_model: Vec<f64> = time_s.iter().map(|t| tilt(*t)).collect();
    let tilt_deg: Vec<f64> = (0..time_s.len())
        .map(|n| tilt_model[n] + 0.05 * noise(n + 5))
        .collect();
    let series = |value: &[f64]| Series::new(&time_s, value);
    AxisTrace {
        command_deg: series(&command_deg),
        nozzle_deg: Some(series(&measured)),
        nozzle_model_deg: series(&model),
        tilt_deg: (!dry).then(|| series(&tilt_deg)),
        tilt_model_deg: (!dry).then(|| series(&tilt_model)),
        rate_deg_s: None,
        residual_autocorrelation: (0..40)
            .map(|n| if n == 0 { 1.0 } else { 0.06 * noise(n + 9) })
            .collect(),
        residual_count: 900,
        dead_band_profile: WidthProfile::new(|| {
            (0..41)
                .map(|n| f64::from(n) * 0.02)
                .map(|width| (width, ((width - 0.42) / 0.045).powi(2).min(60.0)))
                .collect()
        }),
    }
}

fn axis(dry: bool) -> AxisPlant {
    let rig = Rig {
        effectiveness_per_kg_m: q(3.83, 0.05, Unit::PerKilogramMetre),
        thrust_bias_per_kg_m: q(-0.0121, 0.0016, Unit::PerKilogramMetre),
        damping_per_s: q(0.62, 0.11, Unit::PerSecond),
        stiffness_per_s2: q(-5.2, 1.3, Unit::PerSecondSquared),
        ..Rig::default()
    };
    let flight = Flight {
        effectiveness_per_kg_m: q(5.38, 0.07, Unit::PerKilogramMetre),
        inertia_kg_m2: q(0.066, 0.0008, Unit::KilogramSquareMetre),
        arm_m: q(0.355, 0.0006, Unit::Metre),
        effectiveness_spent_per_kg_m: q(5.61, 0.08, Unit::PerKilogramMetre),
        ..Flight::default()
    };
    let friction = Finding::plain(
        "the dry friction of the rig is identifiable from this record",
        Outcome::Undecided,
        "the 95 % interval includes zero and half the damping",
        COMMON_PRACTICE,
    )
    .advice("let the rocket coast through small tilts with the nozzle straight after burnout");
    let mut validation = Finding::within(
        "the model explains data that were not fitted",
        Measured::normal(93.4, 1.1, Unit::Percent),
        [Some(80.0), None],
        "at least 80 % of the movement explained",
        COMMON_PRACTICE,
    );
    validation.advice = None;
    AxisPlant {
        actuator: Actuator {
            gain: q(0.962, 0.011, Unit::One),
            bias_deg: q(-0.31, 0.04, Unit::Degree),
            lag_s: q(0.0284, 0.0013, Unit::Second),
            delay_s: q(0.0121, 0.0009, Unit::Second),
            dead_band: DeadBand {
                kind: Some(DeadBandKind::Play),
                width_deg: Some(Measured::interval(0.42, 0.045, 0.33, 0.52, Unit::Degree)),
            },
            travel_deg: Some(5.0),
            ..Actuator::default()
        },
        rig: (!dry).then_some(rig),
        flight: (!dry).then_some(flight),
        covariance: Covariance {
            names: vec![Parameter::Gain, Parameter::Lag],
            matrix: vec![vec![1.2e-4, 3e-7], vec![3e-7, 1.7e-6]],
        },
        systematic: vec![],
        fit: FitReport {
            seen_from: vec!["nozzle".to_owned(), "tilt".to_owned()],
            samples: 601,
            residual_sd: IndexMap::from([
                ("nozzle_deg".to_owned(), 0.071),
                ("tilt_deg".to_owned(), 0.029),
            ]),
            validation_fit_percent: Some(93.4),
            whiteness_p: Some(0.38),
            command_p: Some(0.21),
            information_bound: [(Parameter::Lag, 9e-5)].into_iter().collect(),
            structures: vec![
                structure(DeadBandKind::None, -2210.4, false),
                structure(DeadBandKind::DeadZone, -2240.9, false),
                structure(DeadBandKind::Play, -2291.7, true),
            ],
            ended: Ended::Converged,
            assumed: vec![],
        },
        findings: if dry {
            vec![validation]
        } else {
            vec![validation, friction]
        },
    }
}

fn structure(dead_band: DeadBandKind, score: f64, chosen: bool) -> Structure {
    Structure {
        dead_band,
        second_order: false,
        score,
        chosen,
    }
}

fn motor(nth: usize) -> MotorReport {
    MotorReport {
        lit: Lit::Lit,
        probability: Some([0.99994, 0.99981][nth]),
        ignition_s: q(IGNITION_S[nth], 0.0021, Unit::Second),
        delay_s: q(IGNITION_S[nth] - 2.012, 0.0023, Unit::Second),
        total_ns: q([29.61, 29.48][nth], 0.24, Unit::NewtonSecond),
        evidence: vec![
            Evidence {
                from: "impulse of cell base".to_owned(),
                says: "59.1 N s is what two motors deliver, not one".to_owned(),
                weight: 9.4,
            },
            Evidence {
                from: "thrust steps".to_owned(),
                says: "two rises, 0.037 s apart, each of one motor's size".to_owned(),
                weight: 4.1,
            },
            Evidence {
                from: "tilt torque at ignition".to_owned(),
                says: "yaw kick to one side, then back".to_owned(),
                weight: -0.3,
            },
        ],
        ..MotorReport::default()
    }
}

/// A firing of two motors, everything seen.
pub(crate) fn full() -> Reduction {
    let mut traces = thrust_traces(true);
    for name in ["pitch", "yaw"] {
        traces.axes.insert(name.to_owned(), axis_trace(false));
    }
    let plant = IndexMap::from([
        ("pitch".to_owned(), axis(false)),
        ("yaw".to_owned(), axis(false)),
    ]);
    let mut result = bare("Twin captive firing 2", plant);
    result.cells.insert("base".to_owned(), cell());
    result.burn = Some(BurnReport {
        rule: "5 %".to_owned(),
        ignition_s: q(2.1077, 0.0009, Unit::Second),
        burnout_s: q(4.2264, 0.0035, Unit::Second),
        burn_time_s: q(2.1187, 0.0036, Unit::Second),
        action_time_s: q(2.0721, 0.0031, Unit::Second),
        ..BurnReport::default()
    });
    result.thrust = Some(ThrustReport {
        peak_n: q(51.23, 0.31, Unit::Newton),
        average_n: q(27.83, 0.16, Unit::Newton),
        low_pass: Some(stand::low_pass()),
        ..ThrustReport::default()
    });
    result.stand = Some(stand::stand());
    result.impulse = Some(impulse());
    result.chamber = Some(recorders::chamber());
    result.motors = Some((0..2).map(|n| (MOTORS[n].to_owned(), motor(n))).collect());
    result.ignition = Some(IgnitionReport {
        all_lit: Outcome::Holds,
        probability: Some(0.99975),
        lit_count: 2,
        stagger_s: q(0.037, 0.0024, Unit::Second),
        stagger_torque: vec![StaggerTorque {
            axis: "yaw".to_owned(),
            angular_impulse_n_m_s: Measured::normal(0.0096, 0.0007, Unit::NewtonMetreSecond),
            tilt_rate_rad_s: Some(Measured::normal(0.12, 0.01, Unit::RadianPerSecond)),
        }],
        ..IgnitionReport::default()
    });
    result.class = Some(class::class());
    result.findings = findings();
    result.warnings = warnings();
    Reduction {
        plant: Some(plant_file(&result.plant, Some(&traces.thrust_n))),
        result,
        traces,
    }
}

fn impulse() -> ImpulseReport {
    let line = |source: &str, kind: Kind, u_ns: f64, share: f64| BudgetLine {
        source: source.to_owned(),
        kind,
        u_ns,
        share,
    };
    ImpulseReport {
        total_ns: q(59.09, 0.223, Unit::NewtonSecond),
        burn_window_ns: q(58.96, 0.222, Unit::NewtonSecond),
        specific_s: q(149.9, 1.1, Unit::Second),
        exhaust_velocity_m_s: q(1470.0, 11.0, Unit::MetrePerSecond),
        budget: vec![
            line("calibration of cell base", Kind::Systematic, 0.174, 0.61),
            line("zero line", Kind::Random, 0.118, 0.28),
            line("dead weights of the points", Kind::Systematic, 0.062, 0.077),
            line("noise of the readings", Kind::Random, 0.036, 0.026),
            line("clock rate", Kind::Systematic, 0.018, 0.007),
        ],
        ..ImpulseReport::default()
    }
}

fn cell() -> CellReport {
    CellReport {
        degree: 2,
        coefficients: vec![8123.4, 1012.77, -0.0147],
        residual_sd_n: Some(0.0131),
        lower_limit_factor_n: Some(0.0314),
        lowest_force_class_a_n: Some(12.56),
        lack_of_fit_p: Some(0.37),
        hysteresis_n: Some(0.0173),
        range_n: Some([0.0, 85.0]),
        points: 22,
        ..CellReport::default()
    }
}

fn findings() -> Vec<Finding> {
    vec![
        Finding::within(
            "The largest load stays within the calibrated range of cell base",
            Measured::normal(63.9, 0.3, Unit::Newton),
            [None, Some(85.0)],
            "no reading above the largest known load",
            COMMON_PRACTICE,
        ),
        Finding::plain(
            "The zero line after the burn agrees with the one before it",
            Outcome::Fails,
            "the propellant's weight explains the difference within its 95 % interval",
            COMMON_PRACTICE,
        )
        .advice("weigh the spent motors and look for a cable that touches the rig"),
    ]
}

fn warnings() -> Vec<Warning> {
    vec![
        Warning {
            code: Code::ClockGap,
            text: "the clock jumps by 0.013 s".to_owned(),
            file: Some("stand.csv".to_owned()),
            line: Some(4121),
            hint: Some("a recorder that writes to a card pauses; use a faster card".to_owned()),
        },
        Warning {
            code: Code::AssumedRate,
            text: "no site is given: standard gravity is used for the dead weights".to_owned(),
            file: None,
            line: None,
            hint: None,
        },
    ]
}

fn bare(title: &str, plant: IndexMap<String, AxisPlant>) -> FiringResult {
    let input = |file: &str, rows: usize, note: &str| InputReport {
        file: file.to_owned(),
        sha256: "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08".to_owned(),
        rows,
        tally: recorders::tally(rows),
        notes: vec![note.to_owned()],
        ..InputReport::default()
    };
    FiringResult {
        record: Some(recorders::record()),
        firing: "firing.toml".to_owned(),
        schema: SCHEMA,
        tool: Tool {
            name: "burnwright".to_owned(),
            version: "0.1.0".to_owned(),
        },
        title: title.to_owned(),
        date: Some("2026-03-14".to_owned()),
        inputs: vec![
            input("stand.csv", 6501, "separator comma, one header line, 1000 Hz"),
            input("computer.csv", 1310, "separator semicolon, 200 Hz, 2 rows dropped"),
        ],
        clocks: IndexMap::from([(
            "computer".to_owned(),
            ClockReport {
                to: "stand".to_owned(),
                offset_s: q(-0.8412, 0.0014, Unit::Second),
                drift_ppm: None,
                by: "edge".to_owned(),
..ClockReport::default()
},
        )]),
        cells: IndexMap::new(),
        stand: None,
        burn: None,
        thrust: None,
        impulse: None,
        chamber: None,
        motors: None,
        ignition: None,
        class: None,
        plant,
        findings: vec![],
        warnings: vec![],
        cautions: vec![
            Caution {
                text: "After a misfire wait at least 60 s before anyone approaches.".to_owned(),
                source: "Model Rocket Safety Code".to_owned(),
            },
            Caution {
                text: "Local codes, the range safety officer and the authority having jurisdiction decide.".to_owned(),
                source: "common practice, no source".to_owned(),
            },
        ],
    }
}

fn plant_file(axes: &IndexMap<String, AxisPlant>, thrust: Option<&Series>) -> PlantFile {
    PlantFile {
        schema: crate::plant::result::SCHEMA,
        firing: "Twin captive firing 2, 2026-03-14".to_owned(),
        axes: axes.clone(),
        thrust: thrust.map(|series| {
            let burn = series.between(IGNITION_S[0], 4.3);
            SampledThrust {
                time_s: burn.time_s().iter().map(|t| t - IGNITION_S[0]).collect(),
                thrust_n: burn.value().to_vec(),
            }
        }),
        caution: "A model from one rig and one firing; not a clearance to fly.".to_owned(),
    }
}

/// A gimbal moved on the bench: no cell, no motor, no thrust.
pub(crate) fn dry_run() -> Reduction {
    let plant = IndexMap::from([("pitch".to_owned(), axis(true))]);
    let mut traces = Traces::default();
    traces.axes.insert("pitch".to_owned(), axis_trace(true));
    let mut result = bare("Gimbal on the bench", plant);
    result.date = None;
    Reduction {
        plant: Some(plant_file(&result.plant, None)),
        result,
        traces,
    }
}

/// A firing in which nothing lit.
pub(crate) fn nothing_lit() -> Reduction {
    let mut result = bare("Misfire", IndexMap::new());
    result.cells.insert("base".to_owned(), cell());
    let dead = MotorReport {
        lit: Lit::NotLit,
        probability: Some(0.0002),
        ignition_s: None,
        delay_s: None,
        total_ns: None,
        evidence: vec![Evidence {
            from: "cell base".to_owned(),
            says: "no thrust above the noise".to_owned(),
            weight: -8.5,
        }],
        ..MotorReport::default()
    };
    let motors = MOTORS.map(|name| (name.to_owned(), dead.clone()));
    result.motors = Some(IndexMap::from(motors));
    result.ignition = Some(IgnitionReport {
        all_lit: Outcome::Fails,
        probability: Some(0.0),
        lit_count: 0,
        stagger_s: None,
        stagger_torque: Vec::new(),
        ..IgnitionReport::default()
    });
    result.warnings = vec![Warning {
        code: Code::NothingLit,
        text: "no thrust was found".to_owned(),
        file: None,
        line: None,
        hint: Some("check the column and the calibration of the cell".to_owned()),
    }];
    Reduction {
        result,
        plant: None,
        traces: thrust_traces(false),
    }
}

/// The full firing with names and texts that try to break out of every format.
pub(crate) fn hostile() -> Reduction {
    let mut all = full();
    let name = format!(
        "<script>alert('x')</script>\"&\u{1b}[31m\u{202e}{}",
        "long ".repeat(56)
    );
    let result = &mut all.result;
    result.title.clone_from(&name);
    result.inputs[0].file.clone_from(&name);
    result.inputs[0].notes.push(name.clone());
    result.warnings[0].text.clone_from(&name);
    result.warnings[0].file = Some(name.clone());
    result.findings[0].claim.clone_from(&name);
    result.cautions[0].text.clone_from(&name);
    let rename = |old: &str| format!("{name} {old}");
    if let Some(motors) = &mut result.motors {
        *motors = motors
            .drain(..)
            .map(|(old, of)| (rename(&old), of))
            .collect();
    }
    if let Some(class) = &mut result.class {
        for motor in &mut class.per_motor {
            motor.motor = rename(&motor.motor);
            motor.designation = Some(name.clone());
        }
        if let Some(recognised) = &mut class.recognised {
            recognised.designs[0].clone_from(&name);
            recognised.explanations[0].design = Some(name.clone());
            recognised.explanations[0].in_place_of[0].clone_from(&name);
        }
    }
    if let Some(chamber) = &mut result.chamber {
        chamber.motor = Some(name.clone());
        chamber.budget[0].source.clone_from(&name);
        chamber.budget[1].of.clone_from(&name);
    }
    if let Some(impulse) = &mut result.impulse {
        impulse.budget[0].source.clone_from(&name);
    }
    result.plant = result
        .plant
        .drain(..)
        .map(|(old, of)| (rename(&old), of))
        .collect();
    result.cells = result
        .cells
        .drain(..)
        .map(|(old, of)| (rename(&old), of))
        .collect();
    let traces = &mut all.traces;
    traces.motor_thrust_n = traces
        .motor_thrust_n
        .drain(..)
        .map(|(old, of)| (rename(&old), of))
        .collect();
    traces.axes = traces
        .axes
        .drain(..)
        .map(|(old, of)| (rename(&old), of))
        .collect();
    traces.calibration = traces
        .calibration
        .drain(..)
        .map(|(old, of)| (rename(&old), of))
        .collect();
    all.plant = Some(plant_file(&result.plant, None));
    all
}
