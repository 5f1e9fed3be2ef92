//! From plant to gains: the range of thrust, the design, its robustness, the findings.
//!
//! The range of thrust runs from a share of peak (20 %, common practice, no source) to peak: below, the
//! nozzle has little hold on the rocket whatever the gains. Judged are also thrust a tenth above the peak and the free rocket as
//! light as at burnout, where the same thrust turns it faster. Gains are designed twice: fixed ones for
//! the whole range, and ones for a single thrust that follow the thrust of the record and have to meet the
//! limits with 10 % of error in it. Fixed gains are handed over unless they miss the limits or leave twice
//! the disturbance response (common practice, no source), or the user asks.

use indexmap::IndexMap;
use rand::SeedableRng;
use rand::rngs::ChaCha8Rng;

use super::axis_loop::SampledAxis;
use super::curves::{disturbance_response, open_loop};
use super::design::{LoopSpecification, design};
use super::findings;
use super::gains::{AxisGains, ExpectedLimitCycle, GainsFile, Robustness, RuleResult, SCHEMA};
use super::limit_cycle::limit_cycle;
use super::model::{AxisModel, AxisNumbers};
use super::pid::{Controller, Ideal, tracking_s};
use super::robustness::{SampledPlant, meets_limits, robustness};
use super::rules::{DoubleIntegrator, REFUSED, Rule};
use super::schedule::schedule;
use super::specification::{Scheduling, Specification};
use super::start_up::start_up_transients;
use crate::cautions;
use crate::diagnostic::{Code, Diagnostic, Error, Place};
use crate::numeric::digits::{all_rounded, rounded};
use crate::plant::{AxisPlant, PlantFile, SampledThrust};
use crate::plausible::Plausible;

/// Noise taken where neither user nor record says anything, deg and deg/s.
const USUAL_NOISE: (f64, f64) = (0.1, 0.5);
/// Command limit where neither user nor plant tells the travel, deg.
const USUAL_LIMIT_DEG: f64 = 5.0;
/// Most periods by which a command may act late: each is a state of the loop.
const MOST_PERIODS: f64 = 200.0;
/// Thrust levels of the range, evenly spaced by ratio.
const LEVELS: usize = 7;
/// Thrust of a flight against that of the record, two standard deviations of 5 %, either side: what
/// gains have to meet the limits with.
const THRUST_ERROR: f64 = 0.1;
/// Gains by thrust are worth their table when fixed ones leave this many times the disturbance response.
const PAYS: f64 = 2.0;
/// Rounds of design, each with the worst plants of the round before.
const ROUNDS: usize = 2;
/// Digits of every number: more than anyone reads, and fewer than the last ones of logarithms and
/// roots, which differ from build to build.
const DIGITS: usize = 9;

/// Gains for every axis of a plant.
///
/// # Errors
/// No axis has all numbers a loop needs, or there is no thrust to design for.
pub fn tune(plant: &PlantFile, named: &str, wanted: &Specification) -> Result<GainsFile, Error> {
    plant.validate(named)?;
    wanted.validate()?;
    let thrust = plant.thrust.as_ref().filter(|one| peak_n(one) > 0.0);
    let Some(thrust) = thrust else {
        return Err(Diagnostic::error(
            Code::NoThrust,
            "the plant holds no thrust, and without it no loop can be closed",
        )
        .at(Place::file(named))
        .hint("reduce a firing with load cells; a dry run shows the actuator alone")
        .into());
    };
    let mut axes = IndexMap::new();
    // An axis of which nothing is known is no reason to leave the others without gains.
    let known = |(_, axis): &(&String, &AxisPlant)| axis.is_known();
    let some = plant.axes.iter().any(|one| known(&one));
    for (name, axis) in plant.axes.iter().filter(|one| !some || known(one)) {
        let found =
            tune_axis(name, axis, thrust, wanted).map_err(|problems| problems.in_file(named))?;
        axes.insert(name.clone(), all_rounded(found, DIGITS));
    }
    Ok(GainsFile {
        schema: SCHEMA,
        firing: plant.firing.clone(),
        plant: named.to_owned(),
        plant_sha256: None,
        axes,
        caution: cautions::MODEL_NOT_CLEARANCE.to_owned(),
    })
}

fn peak_n(thrust: &SampledThrust) -> f64 {
    thrust.thrust_n.iter().copied().fold(0.0, f64::max)
}

/// Everything a design is looked at under.
struct Bench {
    nominal: SampledPlant,
    sampled: Vec<SampledPlant>,
    /// Lowest, middle and highest thrust, N.
    low_n: f64,
    middle_n: f64,
    peak_n: f64,
    /// How much more the same thrust turns the axis at burnout.
    lighter: f64,
}

impl Bench {
    fn new(model: &AxisModel, thrust: &SampledThrust, wanted: &Specification) -> Self {
        let period_s = 1.0 / wanted.rate_hz;
        let plant = |numbers: AxisNumbers| SampledPlant {
            discrete: SampledAxis::new(&numbers, period_s, wanted.latency_s),
            numbers,
        };
        let mut rng = ChaCha8Rng::seed_from_u64(wanted.seed);
        let peak_n = peak_n(thrust);
        let low_n = wanted.thrust_from.clamp(0.01, 1.0) * peak_n;
        Self {
            nominal: plant(model.nominal),
            sampled: (0..wanted.draws)
                .map(|_| plant(model.sample(&mut rng)))
                .collect(),
            low_n,
            middle_n: (low_n * peak_n).sqrt(),
            peak_n,
            lighter: model.lighter,
        }
    }

    /// Thrust levels of the whole range, N; at burnout the highest counts for more.
    fn levels(&self) -> Vec<f64> {
        let (low, most) = (
            self.low_n,
            self.peak_n * (1.0 + THRUST_ERROR) * self.lighter,
        );
        (0..LEVELS)
            .map(|at| low * (most / low).powf(at as f64 / (LEVELS - 1) as f64))
            .collect()
    }

    /// Fixed gains and gains by thrust, one of them chosen.
    fn compare(&self, plant: &AxisPlant, wanted: &Specification) -> [Robustness; 2] {
        let levels = self.levels();
        let most = (1.0 + THRUST_ERROR) * self.lighter;
        let near = [1.0 - THRUST_ERROR, 1.0, most].map(|by| self.middle_n * by);
        let blank = blank(&self.nominal.numbers, wanted);
        let start = start(&blank, self, wanted, &levels);
        let limits = loop_specification(plant, wanted);
        let designed = |gains: &str, thrusts_n: &[f64]| {
            let found = in_rounds(&start, &self.nominal, &self.sampled, thrusts_n, &limits);
            robustness(gains, found, &self.nominal, &self.sampled, thrusts_n)
        };
        let (mut fixed, mut follows) = (designed("fixed", &levels), designed("by thrust", &near));
        let by_thrust = match wanted.scheduling {
            Scheduling::Always => true,
            Scheduling::Never => false,
            Scheduling::WhenNeeded => {
                let period_s = 1.0 / wanted.rate_hz;
                let pays = fixed.disturbance > PAYS * follows.disturbance;
                meets_limits(&follows, period_s) && (pays || !meets_limits(&fixed, period_s))
            }
        };
        (fixed.chosen, follows.chosen) = (!by_thrust, by_thrust);
        [fixed, follows]
    }

    /// The two published rules, with their margins at the middle of the thrust range.
    fn rules(&self, wanted: &Specification) -> Vec<RuleResult> {
        let numbers = &self.nominal.numbers;
        let blank = blank(numbers, wanted);
        let period_s = blank.period_s;
        let process = DoubleIntegrator::new(numbers, self.middle_n, period_s, wanted.latency_s);
        let one = |rule: Rule| {
            let settings = process.as_ref().map(|process| rule.settings(process));
            let margins = |ideal: &Ideal| {
                let controller = with_gains(&blank, ideal);
                self.nominal.discrete.margins(&controller, self.middle_n)
            };
            let (name, source) = rule.name();
            RuleResult {
                rule: name.to_owned(),
                source: source.to_owned(),
                margins: settings.as_ref().map(margins),
                refused: settings.is_none().then(|| REFUSED.to_owned()),
                settings,
            }
        };
        Rule::ALL.map(one).into()
    }
}

fn tune_axis(
    name: &str,
    plant: &AxisPlant,
    thrust: &SampledThrust,
    wanted: &Specification,
) -> Result<AxisGains, Error> {
    let model = AxisModel::new(name, plant, wanted.body)?;
    let period_s = 1.0 / wanted.rate_hz;
    let behind = (model.nominal.delay_s + wanted.latency_s) / period_s;
    if behind > MOST_PERIODS {
        let text = format!(
            "axis {name}: the command acts {behind:.0} periods of the loop late, and no loop is stable with that"
        );
        return Err(Diagnostic::error(Code::TooLate, text)
            .hint("choose a lower rate, or look at the plant's delay")
            .into());
    }
    let bench = Bench::new(&model, thrust, wanted);
    let (axis, low_n, middle_n) = (&bench.nominal.discrete, bench.low_n, bench.middle_n);
    let compared = bench.compare(plant, wanted);
    let by_thrust = compared[1].chosen;
    let chosen = &compared[usize::from(by_thrust)];
    let controller = chosen.controller.clone();
    let ends_n = [low_n, bench.peak_n];
    let under = |thrust_n: f64| {
        let factor = if by_thrust { middle_n / thrust_n } else { 1.0 };
        scaled(&controller, factor)
    };
    let limit_cycles = ends_n.map(|n| expected_limit_cycle(&bench.nominal, &under(n), n));
    // By thrust the loop is the same under every thrust.
    let open_at = if by_thrust {
        vec![middle_n]
    } else {
        ends_n.to_vec()
    };
    let start_up = start_up_transients(axis, &controller, wanted.first_tilt_deg, middle_n);
    let mut findings_on = vec![findings::stability(chosen)];
    findings_on.extend(findings::margins(chosen, period_s));
    findings_on.extend(findings::start_up(&start_up, wanted.start));
    let known = plant.actuator.dead_band.kind.is_some();
    findings_on.push(findings::limit_cycle(
        &limit_cycles,
        &bench.nominal.numbers,
        known,
    ));
    findings_on.extend(findings::of_the_plant(&plant.findings));
    Ok(AxisGains {
        body: wanted.body,
        schedule: by_thrust.then(|| schedule(thrust, middle_n, low_n)),
        thrust_n: ends_n,
        latency_s: wanted.latency_s,
        left_out: model.left_out.clone(),
        rules: bench.rules(wanted),
        start: wanted.start,
        start_up,
        open_loop: open_at
            .iter()
            .map(|n| open_loop(axis, &controller, *n))
            .collect(),
        disturbance_response: ends_n
            .iter()
            .map(|n| disturbance_response(axis, &under(*n), *n))
            .collect(),
        limit_cycles: limit_cycles.into(),
        findings: findings_on,
        compared: compared.into(),
        controller,
    })
}

/// A controller with everything but its gains.
fn blank(of: &AxisNumbers, wanted: &Specification) -> Controller {
    let period_s = 1.0 / wanted.rate_hz;
    let usual = of.travel_deg.map_or(USUAL_LIMIT_DEG, |travel_deg| {
        (travel_deg / of.gain.abs() - of.bias_deg.abs()).max(0.1 * travel_deg)
    });
    Controller {
        period_s,
        kp: 1.0,
        ki_per_s: 1.0,
        kd_s: 0.1,
        derivative: wanted.derivative,
        filter_s: wanted.filter_s.unwrap_or(period_s),
        set_point_weight: 1.0,
        limit_deg: wanted.limit_deg.unwrap_or(usual),
        slew_deg_s: wanted.slew_deg_s,
        tracking_s: 1.0,
        fade_s: 5.0 * period_s,
    }
}

fn loop_specification(plant: &AxisPlant, wanted: &Specification) -> LoopSpecification {
    let record = |name: &str| plant.fit.residual_sd.get(name).copied();
    LoopSpecification {
        sensitivity_peak: wanted.sensitivity_peak,
        tilt_noise_deg: wanted
            .tilt_noise_deg
            .or_else(|| record("tilt_deg"))
            .unwrap_or(USUAL_NOISE.0),
        rate_noise_deg_s: wanted
            .rate_noise_deg_s
            .or_else(|| record("rate_deg_s"))
            .unwrap_or(USUAL_NOISE.1),
    }
}

fn with_gains(blank: &Controller, ideal: &Ideal) -> Controller {
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

/// Gains that are stable over the range: those of a rate loop inside an angle loop, slower and slower until
/// they are; for a rig with a spring those of the same plant without it.
fn start(blank: &Controller, bench: &Bench, wanted: &Specification, levels: &[f64]) -> Controller {
    let numbers = &bench.nominal.numbers;
    let of = |numbers: &AxisNumbers, thrust_n: f64, latency_s: f64| {
        DoubleIntegrator::new(numbers, thrust_n, blank.period_s, latency_s)
    };
    let own = of(numbers, bench.middle_n, wanted.latency_s);
    let free = own.or_else(|| {
        let mut free = *numbers;
        (free.stiffness_per_s2, free.damping_per_s) = (0.0, 0.0);
        of(&free, levels[levels.len() / 2], 0.0)
    });
    let Some(free) = free else {
        return blank.clone();
    };
    let mut out = blank.clone();
    for slower in [1.0, 1.5, 2.0, 3.0, 4.0, 6.0] {
        let late = DoubleIntegrator {
            delay_s: slower * free.delay_s,
            ..free
        };
        out = with_gains(blank, &Rule::SimcCascade.settings(&late));
        let stable = |thrust: &f64| bench.nominal.discrete.is_stable(&out, *thrust);
        if levels.iter().all(stable) {
            break;
        }
    }
    out
}

/// Designs, looks which sampled plants are worst, and designs again with them.
fn in_rounds(
    start: &Controller,
    nominal: &SampledPlant,
    sampled: &[SampledPlant],
    thrusts_n: &[f64],
    wanted: &LoopSpecification,
) -> Controller {
    let ends = [thrusts_n[0], thrusts_n[thrusts_n.len() - 1]];
    let mut plants = vec![nominal.discrete.clone()];
    let mut found = start.clone();
    for round in 0..ROUNDS {
        found = design(&found, &plants, &ends, wanted);
        if round + 1 == ROUNDS {
            break;
        }
        for thrust_n in ends {
            let worst = sampled.iter().max_by(|a, b| {
                let peak = |one: &&SampledPlant| {
                    let margins = one.discrete.margins(&found, thrust_n);
                    if margins.stable {
                        margins.sensitivity_peak
                    } else {
                        f64::INFINITY
                    }
                };
                peak(a).total_cmp(&peak(b))
            });
            plants.extend(worst.map(|one| one.discrete.clone()));
        }
    }
    let crossing = nominal.discrete.margins(&found, thrusts_n[0]);
    // The start gives way as fast as the loop itself answers.
    let fade_s = crossing.gain_crossover_rad_s.map_or(found.fade_s, |rad_s| {
        rounded((1.0 / rad_s).max(found.period_s), 6)
    });
    Controller { fade_s, ..found }
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

fn expected_limit_cycle(
    nominal: &SampledPlant,
    of: &Controller,
    thrust_n: f64,
) -> ExpectedLimitCycle {
    let open = nominal.discrete.open(of, thrust_n);
    let highest = open.nyquist_rad_s();
    let (kind, width) = (nominal.numbers.dead_band, nominal.numbers.width_deg);
    let tilt = nominal.discrete.tilt().times(thrust_n);
    let span = (1e-3 * highest, highest);
    let cycle = limit_cycle(&|w| open.at(w), &|w| tilt.at(w), span, kind, width);
    let tilt_deg = cycle.map(|cycle| cycle.tilt_deg);
    ExpectedLimitCycle {
        thrust_n,
        cycle,
        tilt_deg,
    }
}
