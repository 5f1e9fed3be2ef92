//! From plant to gains: the range of thrust, the design, what it bears, what can be said of it.
//!
//! The range of thrust runs from a share of peak (20 %, common practice, no source) to peak: below, the
//! nozzle has little hold on the rocket whatever the gains. Gains are designed twice: fixed ones for
//! the whole range, and ones for a single thrust that follow the thrust of the record and have to bear
//! 10 % of error in it. Fixed gains are handed over unless they miss the limits or leave twice the tilt
//! after a push (common practice, no source), or the user asks.

use indexmap::IndexMap;
use rand::SeedableRng;
use rand::rngs::ChaCha8Rng;

use super::axis_loop::SampledAxis;
use super::curves::{open_loop, push_answer};
use super::describing_function::limit_cycle;
use super::design::{Aim, design};
use super::gains::{AxisGains, GainsFile, RuleResult, SCHEMA, Schedule, Wobble};
use super::judge::{findings, meets_limits, robustness};
use super::model::{AxisModel, AxisNumbers, Body};
use super::pid::{Controller, Derivative, Ideal, tracking_s};
use super::rules::{self, Process, Rule};
use super::start_up::{Start, first_ticks};
use crate::cautions;
use crate::diagnostic::{Diagnostic, Place, Problems};
use crate::numeric::digits::{all_rounded, rounded};
use crate::plant::{AxisPlant, PlantFile, SampledThrust};
use crate::plausible::Believable;

/// When gains follow thrust.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scheduling {
    /// When fixed gains miss the limits or leave twice the tilt after a push, and these meet them.
    WhenNeeded,
    /// Always.
    Always,
    /// Never.
    Never,
}

/// What the user chooses.
#[derive(Debug, Clone)]
pub struct Wishes {
    /// Which body turns.
    pub body: Body,
    /// Rate of the loop, Hz.
    pub rate_hz: f64,
    /// Time between reading the sensors and the command's leaving, s.
    pub late_s: f64,
    /// Where the derivative comes from.
    pub derivative: Derivative,
    /// Time constant of the derivative's filter; one period of the loop when none is given.
    pub filter_s: Option<f64>,
    /// Largest sensitivity peak.
    pub sensitivity_peak: f64,
    /// Largest command, deg; what the travel allows when none is given.
    pub limit_deg: Option<f64>,
    /// Fastest change of the command, deg/s.
    pub slew_deg_s: Option<f64>,
    /// Noise of the sensors; that of the record when none is given, deg and deg/s.
    pub tilt_noise_deg: Option<f64>,
    /// See above.
    pub rate_noise_deg_s: Option<f64>,
    /// Share of peak thrust from which on the loop has to bear.
    pub thrust_from: f64,
    /// How the firmware starts the controller.
    pub start: Start,
    /// Tilt at the first tick, deg.
    pub first_tilt_deg: f64,
    /// When gains follow thrust.
    pub scheduling: Scheduling,
    /// Plants drawn from the covariance.
    pub draws: usize,
    /// Where the draws start from.
    pub seed: u64,
}

impl Default for Wishes {
    fn default() -> Self {
        Self {
            body: Body::Flight,
            rate_hz: 100.0,
            late_s: 0.002,
            derivative: Derivative::Rate,
            filter_s: None,
            sensitivity_peak: 1.6,
            limit_deg: None,
            slew_deg_s: None,
            tilt_noise_deg: None,
            rate_noise_deg_s: None,
            thrust_from: 0.2,
            start: Start::default(),
            first_tilt_deg: 3.0,
            scheduling: Scheduling::WhenNeeded,
            draws: 300,
            seed: 1,
        }
    }
}

/// Noise taken where neither user nor record says anything, deg and deg/s.
const USUAL_NOISE: (f64, f64) = (0.1, 0.5);
/// Command limit where neither user nor plant tells the travel, deg.
const USUAL_LIMIT_DEG: f64 = 5.0;
/// Most periods by which a command may act late: each is a state of the loop.
const MOST_PERIODS: f64 = 200.0;
/// Thrust levels of the range, evenly spaced by ratio.
const LEVELS: usize = 7;
/// Thrust of a flight against that of the record, two standard deviations of 5 %, either side: what
/// gains by thrust have to bear.
const THRUST_ERROR: f64 = 0.1;
/// Gains by thrust are worth their table when fixed ones leave this many times the tilt after a push.
const PAYS: f64 = 2.0;
/// Rounds of design, each with the worst plants of the round before.
const ROUNDS: usize = 2;
/// Digits of every number told: more than anyone reads, and fewer than the last ones of logarithms and
/// roots, which differ from build to build.
const DIGITS: usize = 9;
/// Points of a schedule.
const SCHEDULE_POINTS: usize = 24;

/// Gains for every axis of a plant.
///
/// # Errors
/// No axis has all numbers a loop needs, or there is no thrust to design for.
pub fn tune(plant: &PlantFile, named: &str, wishes: &Wishes) -> Result<GainsFile, Problems> {
    plant.believed(named)?;
    wishes.believed()?;
    let thrust = plant.thrust.as_ref().filter(|one| peak_n(one) > 0.0);
    let Some(thrust) = thrust else {
        return Err(Diagnostic::error(
            "no-thrust",
            "the plant holds no thrust, and without it no loop can be closed",
        )
        .at(Place::file(named))
        .hint("reduce a firing with load cells; a dry run shows the actuator alone")
        .into());
    };
    let mut axes = IndexMap::new();
    for (name, axis) in &plant.axes {
        let found =
            tune_axis(name, axis, thrust, wishes).map_err(|problems| problems.in_file(named))?;
        axes.insert(name.clone(), all_rounded(found, DIGITS));
    }
    Ok(GainsFile {
        schema: SCHEMA,
        plant: named.to_owned(),
        axes,
        caution: cautions::MODEL_NOT_CLEARANCE.to_owned(),
    })
}

fn peak_n(thrust: &SampledThrust) -> f64 {
    thrust.thrust_n.iter().copied().fold(0.0, f64::max)
}

/// A plant under which a loop is looked at, sampled.
pub(super) struct Drawn {
    /// Its numbers.
    pub numbers: AxisNumbers,
    /// Sampled.
    pub sampled: SampledAxis,
}

fn tune_axis(
    name: &str,
    plant: &AxisPlant,
    thrust: &SampledThrust,
    wishes: &Wishes,
) -> Result<AxisGains, Problems> {
    let model = AxisModel::new(name, plant, wishes.body)?;
    let period_s = 1.0 / wishes.rate_hz;
    let behind = (model.nominal.delay_s + wishes.late_s) / period_s;
    if behind > MOST_PERIODS {
        let text = format!(
            "axis {name}: the command acts {behind:.0} periods of the loop late, and no loop bears that"
        );
        return Err(Diagnostic::error("too-late", text)
            .hint("choose a lower rate, or look at the plant's delay")
            .into());
    }
    let sample = |numbers: AxisNumbers| Drawn {
        sampled: SampledAxis::new(&numbers, period_s, wishes.late_s),
        numbers,
    };
    let nominal = sample(model.nominal);
    let mut dice = ChaCha8Rng::seed_from_u64(wishes.seed);
    let draws: Vec<Drawn> = (0..wishes.draws)
        .map(|_| sample(model.drawn(&mut dice)))
        .collect();
    let peak = peak_n(thrust);
    let low = wishes.thrust_from.clamp(0.01, 1.0) * peak;
    let levels: Vec<f64> = (0..LEVELS)
        .map(|at| low * (peak / low).powf(at as f64 / (LEVELS - 1) as f64))
        .collect();
    let middle = (low * peak).sqrt();
    let process = process(&model.nominal, middle, period_s, wishes.late_s);
    let blank = blank(&model.nominal, wishes);
    let start = start(&blank, &process, &nominal, &levels);
    let aim = aim(plant, wishes);
    let near = [
        middle * (1.0 - THRUST_ERROR),
        middle,
        middle * (1.0 + THRUST_ERROR),
    ];
    let fixed = in_rounds(&start, &nominal, &draws, &levels, &aim);
    let follows = in_rounds(&start, &nominal, &draws, &near, &aim);
    let mut compared = vec![
        robustness("fixed", fixed, &nominal, &draws, &levels),
        robustness("by thrust", follows, &nominal, &draws, &near),
    ];
    let by_thrust = match wishes.scheduling {
        Scheduling::Always => true,
        Scheduling::Never => false,
        Scheduling::WhenNeeded => {
            let [fixed, follows] = [&compared[0], &compared[1]];
            let pays = fixed.disturbance > PAYS * follows.disturbance;
            meets_limits(follows, period_s) && (pays || !meets_limits(fixed, period_s))
        }
    };
    compared[usize::from(by_thrust)].chosen = true;
    let controller = compared[usize::from(by_thrust)].controller.clone();
    let schedule = by_thrust.then(|| schedule(thrust, middle, low));
    let first_tick = first_ticks(&nominal.sampled, &controller, wishes.first_tilt_deg, middle);
    let under = |thrust_n: f64| {
        let factor = if by_thrust { middle / thrust_n } else { 1.0 };
        scaled(&controller, factor)
    };
    let wobble: Vec<Wobble> = [low, peak]
        .iter()
        .map(|thrust_n| wobble(&nominal, &under(*thrust_n), *thrust_n))
        .collect();
    // By thrust the loop is the same under every thrust.
    let open_at = if by_thrust {
        vec![middle]
    } else {
        vec![low, peak]
    };
    let open_loop = open_at
        .iter()
        .map(|thrust_n| open_loop(&nominal.sampled, &controller, *thrust_n))
        .collect();
    let push = [low, peak]
        .iter()
        .map(|thrust_n| push_answer(&nominal.sampled, &under(*thrust_n), *thrust_n))
        .collect();
    let findings = findings(
        &compared[usize::from(by_thrust)],
        &wobble,
        (&first_tick, wishes.start),
        &nominal.numbers,
        period_s,
    );
    Ok(AxisGains {
        body: wishes.body,
        schedule,
        thrust_n: [low, peak],
        late_s: wishes.late_s,
        left_out: model.left_out.clone(),
        rules: all_rules(&blank, &process, &nominal, middle),
        compared,
        wobble,
        start: wishes.start,
        first_tick,
        open_loop,
        push,
        findings,
        controller,
    })
}

/// What the axis is to a rule under a thrust: effective dead time by the half rule, with half a
/// period for the hold (Skogestad 2003).
#[must_use]
pub fn process(of: &AxisNumbers, thrust_n: f64, period_s: f64, late_s: f64) -> Process {
    let pull = of.gain * of.effectiveness_per_kg_m * thrust_n;
    let delay_s = of.delay_s + late_s + 0.5 * period_s;
    if of.stiffness_per_s2 > 0.0 {
        return Process::Falling;
    }
    let (damping, spring) = (of.damping_per_s, -of.stiffness_per_s2);
    let slow = (0.25 * damping * damping - spring).max(0.0).sqrt();
    if spring > 0.0 && damping * damping < 4.0 * spring {
        return Process::Swinging;
    }
    if spring > 0.0 {
        let lags = [
            1.0 / (0.5 * damping - slow),
            1.0 / (0.5 * damping + slow),
            of.lag_s,
        ];
        let (kept, delay_s) = rules::half_rule(&lags, &[], &[], delay_s, 1);
        return Process::FirstOrder(rules::FirstOrder {
            gain: pull / spring,
            lag_s: kept[0],
            delay_s,
        });
    }
    Process::DoubleIntegrating {
        slope: pull,
        delay_s: delay_s + 0.5 * of.lag_s,
    }
}

/// A controller with everything but its gains.
fn blank(of: &AxisNumbers, wishes: &Wishes) -> Controller {
    let period_s = 1.0 / wishes.rate_hz;
    let usual = of.travel_deg.map_or(USUAL_LIMIT_DEG, |travel_deg| {
        (travel_deg / of.gain.abs() - of.bias_deg.abs()).max(0.1 * travel_deg)
    });
    Controller {
        period_s,
        kp: 1.0,
        ki_per_s: 1.0,
        kd_s: 0.1,
        derivative: wishes.derivative,
        filter_s: wishes.filter_s.unwrap_or(period_s),
        set_point_weight: 1.0,
        limit_deg: wishes.limit_deg.unwrap_or(usual),
        slew_deg_s: wishes.slew_deg_s,
        tracking_s: 1.0,
        glide_s: 5.0 * period_s,
    }
}

fn aim(plant: &AxisPlant, wishes: &Wishes) -> Aim {
    let record = |name: &str| plant.fit.residual_sd.get(name).copied();
    Aim {
        sensitivity_peak: wishes.sensitivity_peak,
        tilt_noise_deg: wishes
            .tilt_noise_deg
            .or_else(|| record("tilt_deg"))
            .unwrap_or(USUAL_NOISE.0),
        rate_noise_deg_s: wishes
            .rate_noise_deg_s
            .or_else(|| record("rate_deg_s"))
            .unwrap_or(USUAL_NOISE.1),
    }
}

fn set(blank: &Controller, ideal: &Ideal) -> Controller {
    let kd_s = ideal.kp * ideal.td_s.unwrap_or(0.0);
    let ki_per_s = ideal.ti_s.map_or(0.0, |ti_s| ideal.kp / ti_s);
    Controller {
        kp: ideal.kp,
        ki_per_s,
        kd_s,
        tracking_s: tracking_s(kd_s, ki_per_s, blank.period_s),
        ..blank.clone()
    }
}

/// Gains that are stable over the range: those of two loops of one inside the other, slower and slower
/// until they are; for a swinging or settling rig those of the same plant without its spring.
fn start(blank: &Controller, process: &Process, nominal: &Drawn, levels: &[f64]) -> Controller {
    let free = match process {
        Process::DoubleIntegrating { .. } => *process,
        _ => {
            let mut free = nominal.numbers;
            (free.stiffness_per_s2, free.damping_per_s) = (0.0, 0.0);
            let middle = levels[levels.len() / 2];
            self::process(&free, middle, blank.period_s, 0.0)
        }
    };
    let Process::DoubleIntegrating { slope, delay_s } = free else {
        return blank.clone();
    };
    let mut out = blank.clone();
    for slower in [1.0, 1.5, 2.0, 3.0, 4.0, 6.0] {
        let late = Process::DoubleIntegrating {
            slope,
            delay_s: slower * delay_s,
        };
        if let Ok(ideal) = rules::simc_cascade(&late) {
            out = set(blank, &ideal);
            let stable = |thrust: &f64| nominal.sampled.margins(&out, *thrust).stable;
            if levels.iter().all(stable) {
                break;
            }
        }
    }
    out
}

/// Designs, looks which draws are worst, and designs again with them.
fn in_rounds(
    start: &Controller,
    nominal: &Drawn,
    draws: &[Drawn],
    thrusts_n: &[f64],
    aim: &Aim,
) -> Controller {
    let ends = [thrusts_n[0], thrusts_n[thrusts_n.len() - 1]];
    let mut plants = vec![nominal.sampled.clone()];
    let mut found = start.clone();
    for round in 0..ROUNDS {
        found = design(&found, &plants, &ends, aim);
        if round + 1 == ROUNDS {
            break;
        }
        for thrust_n in ends {
            let worst = draws.iter().max_by(|a, b| {
                let peak = |one: &&Drawn| {
                    let margins = one.sampled.margins(&found, thrust_n);
                    if margins.stable {
                        margins.sensitivity_peak
                    } else {
                        f64::INFINITY
                    }
                };
                peak(a).total_cmp(&peak(b))
            });
            plants.extend(worst.map(|one| one.sampled.clone()));
        }
    }
    let crossing = nominal.sampled.margins(&found, thrusts_n[0]);
    // The start gives way as fast as the loop itself answers.
    let glide_s = crossing
        .gain_crossover_rad_s
        .map_or(found.glide_s, |rad_s| {
            rounded((1.0 / rad_s).max(found.period_s), 6)
        });
    Controller { glide_s, ..found }
}

fn all_rules(
    blank: &Controller,
    process: &Process,
    nominal: &Drawn,
    thrust_n: f64,
) -> Vec<RuleResult> {
    let mut out = Vec::new();
    let mut push = |name: &str, source: &str, settings: rules::Settings| {
        let (settings, refused) = match settings {
            Ok(ideal) => (Some(ideal), None),
            Err(why) => (None, Some(why.0)),
        };
        let margins = settings
            .as_ref()
            .map(|ideal| nominal.sampled.margins(&set(blank, ideal), thrust_n));
        out.push(RuleResult {
            rule: name.to_owned(),
            source: source.to_owned(),
            settings,
            refused,
            margins,
        });
    };
    for rule in Rule::ALL {
        let (name, source) = rule.name();
        push(name, source, rule.settings(process));
    }
    push(
        "Ziegler-Nichols ultimate PID",
        "Ziegler & Nichols 1942",
        ultimate(blank, nominal, thrust_n),
    );
    push(
        "SIMC PID, double integrator",
        "Skogestad 2003, table 1, from memory",
        rules::simc_double(process, 1.0),
    );
    push(
        "SIMC, rate inside angle",
        "Skogestad 2003, twice",
        rules::simc_cascade(process),
    );
    out
}

/// Ultimate gain by margins of the proportional loop alone.
fn ultimate(blank: &Controller, nominal: &Drawn, thrust_n: f64) -> rules::Settings {
    let small = Controller {
        kp: 1e-3,
        ki_per_s: 0.0,
        kd_s: 0.0,
        ..blank.clone()
    };
    let found = nominal.sampled.margins(&small, thrust_n);
    match (found.stable, found.gain_up, found.phase_crossover_rad_s) {
        (true, Some(factor), Some(rad_s)) => Ok(rules::ziegler_nichols_ultimate(
            small.kp * factor,
            std::f64::consts::TAU / rad_s,
        )),
        _ => Err(rules::Refused(
            "made for a loop that a proportional controller alone makes swing; this one it never holds"
                .to_owned(),
        )),
    }
}

/// A controller with a factor on its gains.
fn scaled(of: &Controller, factor: f64) -> Controller {
    Controller {
        kp: of.kp * factor,
        ki_per_s: of.ki_per_s * factor,
        kd_s: of.kd_s * factor,
        ..of.clone()
    }
}

fn wobble(nominal: &Drawn, of: &Controller, thrust_n: f64) -> Wobble {
    let open = nominal.sampled.open(of, thrust_n);
    let highest = open.nyquist_rad_s();
    let (kind, width) = (nominal.numbers.dead_band, nominal.numbers.width_deg);
    let tilt = nominal.sampled.tilt().times(thrust_n);
    let span = (1e-3 * highest, highest);
    let cycle = limit_cycle(&|w| open.at(w), &|w| tilt.at(w), span, kind, width);
    let tilt_deg = cycle.map(|cycle| cycle.tilt_deg);
    Wobble {
        thrust_n,
        cycle,
        tilt_deg,
    }
}

/// Reference over thrust of the record, averaged over pieces of its duration.
fn schedule(thrust: &SampledThrust, reference_n: f64, low_n: f64) -> Schedule {
    let (time, force) = (&thrust.time_s, &thrust.thrust_n);
    let (from, to) = (
        time.first().copied().unwrap_or(0.0).max(0.0),
        time.last().copied().unwrap_or(1.0),
    );
    let piece = (to - from) / SCHEDULE_POINTS as f64;
    let mut out = Schedule {
        reference_n,
        time_s: vec![],
        factor: vec![],
    };
    for at in 0..SCHEDULE_POINTS {
        let begin = from + piece * at as f64;
        let inside: Vec<f64> = time
            .iter()
            .zip(force)
            .filter(|(t, _)| (begin..begin + piece).contains(*t))
            .map(|(_, f)| *f)
            .collect();
        if inside.is_empty() {
            continue;
        }
        let mean = inside.iter().sum::<f64>() / inside.len() as f64;
        out.time_s.push(begin + 0.5 * piece);
        out.factor.push(reference_n / mean.max(low_n));
    }
    out
}
