//! The verdict on each motor: weigh the evidence, then give times to those that lit.

use indexmap::IndexMap;

use super::doubt;
use super::hypothesis::{self, MOST_MOTORS};
use super::input::{SharedCells, VerdictInput};
use super::part::Pattern;
use super::shape::SetFits;
use super::timing::{IGNITION_FRACTION, Timing, timing};
use super::torque;
use super::{Evidence, IgnitionReport, Lit, MotorReport};
use crate::diagnostic::{Code, Diagnostic};
use crate::finding::{COMMON_PRACTICE, Finding, Outcome};
use crate::quantity::{Measured, Unit};
use crate::series::Series;

/// The answer.
#[derive(Debug, Clone, Default)]
pub(crate) struct Verdict {
    /// What the cells say that motors share.
    shared: Vec<SharedCells>,
    /// Each motor.
    pub motors: IndexMap<String, MotorReport>,
    /// All together.
    pub ignition: IgnitionReport,
    /// Motors of the most probable subset.
    pub lit: Vec<String>,
    /// Thrust of each motor that can be told apart, N.
    pub motor_thrust_n: IndexMap<String, Series>,
    /// Certified curves of the motors that lit, moved to their ignition, N.
    pub certified_n: Option<Series>,
    /// Findings.
    pub findings: Vec<Finding>,
    /// What deserves attention.
    pub warnings: Vec<Diagnostic>,
}

impl Verdict {
    /// What explained the course of the thrust that some motors share.
    pub(super) fn course_of(&self, motors: &[usize]) -> Option<&SetFits> {
        let mut each = self.shared.iter();
        let cells = each.find(|cells| cells.motors == motors)?;
        cells.burn.as_ref()?.course.as_ref()
    }
}

/// Decides.
#[must_use]
pub(crate) fn decide(input: VerdictInput<'_>) -> Verdict {
    let count = input.motors.len().min(MOST_MOTORS);
    let (weighed, contradictions) = doubt::weighed(&input, count);
    let lit_count = weighed.count();
    let best = weighed.best(lit_count);
    let verdicts: Vec<Lit> = (0..count)
        .map(|at| Lit::from_probability(weighed.lit(at)))
        .collect();
    let counted = counted(&weighed, lit_count);
    // Times are given only to motors that are known to be the ones that lit.
    let named = |motors: &[usize]| {
        motors
            .iter()
            .all(|at| !best.has(*at) || verdicts[*at] == Lit::Lit)
    };
    let each = input.shared.iter().filter_map(|cells| {
        let timing = timing(&input, cells, best)?;
        Some(GroupTiming {
            known: named(&cells.motors) && timing.distinguished,
            timing,
        })
    });
    let timings: Vec<GroupTiming> = each.collect();
    let lit = input.motors.keys().enumerate().take(count);
    let lit: Vec<String> = lit
        .filter(|(at, _)| best.has(*at))
        .map(|(_, name)| name.clone())
        .collect();
    let names = input.motors.keys().enumerate().take(count);
    let motors: IndexMap<String, MotorReport> = names
        .map(|(at, name)| {
            let report = motor_report(&input, name, at, weighed.lit(at), &timings);
            (name.clone(), report)
        })
        .collect();
    let all = weighed.all_lit();
    let ignition = IgnitionReport {
        all_lit: match Lit::from_probability(all) {
            Lit::Lit => Outcome::Holds,
            Lit::NotLit => Outcome::Fails,
            Lit::Undecided => Outcome::Undecided,
        },
        probability: Some(all),
        lit_count,
        ..times(&timings, &motors, counted)
    };
    let motor_thrust_n = motor_thrust(&input, &timings, &lit);
    let ignition = with_torque(&input, ignition, &motors, &motor_thrust_n);
    let named = named(&(0..count).collect::<Vec<_>>());
    Verdict {
        motor_thrust_n,
        certified_n: certified(&input, &timings, &lit),
        warnings: warnings(&input, counted, named),
        findings: findings(&ignition, timings, &motors)
            .into_iter()
            .chain(contradictions)
            .chain(by_load_alone(&input))
            .collect(),
        motors,
        ignition,
        lit,
        shared: input.shared,
    }
}

/// Times of motors that share cells, and whether it is known whose they are.
struct GroupTiming {
    timing: Timing,
    known: bool,
}

impl GroupTiming {
    fn in_one_piece(&self) -> bool {
        self.timing.relight_s.iter().all(Option::is_none)
    }
}

/// When the motors lit, and the time between the first and the last of them, where every one that lit has a time.
fn times(
    timings: &[GroupTiming],
    motors: &IndexMap<String, MotorReport>,
    counted: Option<usize>,
) -> IgnitionReport {
    let own = motors.values().filter_map(|one| one.ignition_s.clone());
    let unnamed = timings.iter().filter(|one| !one.known && counted.is_some());
    let unnamed: Vec<Measured> = unnamed
        .flat_map(|one| one.timing.ignition_s.clone())
        .collect();
    let any_unnamed = !unnamed.is_empty();
    let mut all: Vec<Measured> = own.chain(unnamed).collect();
    all.sort_by(|a, b| a.value.total_cmp(&b.value));
    let whole = counted.is_none_or(|count| all.len() == count);
    let stagger = match (timings, all.as_slice()) {
        // In one group of cells, what the instants share takes itself off.
        ([one], _) if one.timing.ignition_s.len() == all.len() && one.in_one_piece() => {
            one.timing.stagger_s.clone()
        }
        (_, [first, .., last]) if whole => Some(Measured::normal(
            last.value - first.value,
            last.u.hypot(first.u),
            Unit::Second,
        )),
        _ => None,
    };
    IgnitionReport {
        stagger_s: stagger,
        times_s: if any_unnamed { all } else { Vec::new() },
        ..IgnitionReport::default()
    }
}

/// Thrust of each motor that lit, N, where there are several and each can be told apart.
fn motor_thrust(
    input: &VerdictInput<'_>,
    timings: &[GroupTiming],
    lit: &[String],
) -> IndexMap<String, Series> {
    let Some(thrust) = input.thrust.filter(|_| lit.len() > 1) else {
        return IndexMap::new();
    };
    let known = timings.iter().filter(|one| one.known);
    let mut split: IndexMap<String, Series> = known.flat_map(|one| one.timing.split()).collect();
    let one = |name: &String| {
        let own = input.own.get(name).map(|own| own.thrust.clone());
        let mine = own.or_else(|| split.swap_remove(name))?;
        if !mine.is_empty() && mine.time_s() == thrust.time_s() {
            return Some((name.clone(), mine));
        }
        let mut here = mine.walk();
        let at_times = thrust.map(|time, _| here(time).unwrap_or(0.0));
        drop(here);
        (!mine.is_empty()).then(|| (name.clone(), at_times))
    };
    lit.iter().filter_map(one).collect()
}

/// What the certified curves certify, from the ignitions that were found, N; `None` unless each that lit has one.
fn certified(input: &VerdictInput<'_>, timings: &[GroupTiming], lit: &[String]) -> Option<Series> {
    let own = lit.iter().filter_map(|name| {
        let own = input.own.get(name)?;
        let began = own.relight_s.as_ref().or(own.ignition_s.as_ref())?;
        let curve = input.pattern_of(name)?;
        let onset_s = began.value - curve.reaches_s(IGNITION_FRACTION);
        Some((curve, onset_s))
    });
    let shared = timings.iter().flat_map(|one| one.timing.certified());
    let all: Vec<(Pattern, f64)> = own.chain(shared).collect();
    let sum = |time: f64| -> f64 {
        let each = all.iter();
        each.map(|(curve, onset_s)| curve.thrust_and_slope(time - onset_s).0)
            .sum()
    };
    let complete = !lit.is_empty() && all.len() == lit.len();
    complete.then(|| input.thrust.map(|thrust| thrust.map(|time, _| sum(time))))?
}

/// A smaller weight is none.
const NOTHING: f64 = 1e-9;

fn motor_report(
    input: &VerdictInput<'_>,
    name: &str,
    at: usize,
    probability: f64,
    timings: &[GroupTiming],
) -> MotorReport {
    let count = input.motors.len().min(MOST_MOTORS);
    let own = input.own.get(name);
    let lit = Lit::from_probability(probability);
    let shared = timings.iter().filter(|one| one.known).find_map(|one| {
        let slot = one.timing.names.iter().position(|other| other == name)?;
        Some((&one.timing, slot))
    });
    let ignition_s = match own {
        Some(own) => own.ignition_s.clone().filter(|_| lit == Lit::Lit),
        None => shared.map(|(timing, slot)| timing.ignition_s[slot].clone()),
    };
    let delay_s = ignition_s
        .as_ref()
        .zip(input.fire_s.get(name))
        .map(|(ignition, fire)| {
            // The fire line is read by the same recorder as the cells, so no clock comes between.
            Measured::normal(
                ignition.value - fire.0,
                ignition.u.hypot(fire.1),
                Unit::Second,
            )
        });
    let total_ns = match own {
        Some(own) => Some(own.total_ns.clone()).filter(|_| own.whole),
        None => shared.map(|(timing, slot)| timing.impulse_ns[slot].clone()),
    };
    let each = input.evidence.iter().map(|piece| Evidence {
        from: piece.from.clone(),
        says: piece.says.clone(),
        weight: hypothesis::weight(count, piece, at),
    });
    // What concerns other motors alone says nothing of this one.
    let evidence = each.filter(|one| one.weight.abs() > NOTHING).collect();
    let relit = match own {
        Some(own) => own.relight_s.clone(),
        None => shared.and_then(|(timing, slot)| timing.relight_s[slot].clone()),
    };
    MotorReport {
        lit,
        probability: Some(probability),
        relight_s: relit.filter(|_| ignition_s.is_some()),
        ignition_s,
        delay_s,
        total_ns,
        evidence,
    }
}

/// What the stagger did, where the thrust of each motor is known.
fn with_torque(
    input: &VerdictInput<'_>,
    mut ignition: IgnitionReport,
    motors: &IndexMap<String, MotorReport>,
    thrust_n: &IndexMap<String, Series>,
) -> IgnitionReport {
    let times = motors.values().filter_map(|one| one.ignition_s.as_ref());
    let first_s = times.map(|time| time.value).fold(f64::INFINITY, f64::min);
    if let Some(stagger_s) = ignition.stagger_s.as_ref().filter(|_| first_s.is_finite()) {
        let inertia = &input.inertia;
        ignition.stagger_torque =
            torque::stagger_torque(thrust_n, input.motors, first_s, stagger_s, inertia);
    }
    ignition
}

fn findings(
    ignition: &IgnitionReport,
    timings: Vec<GroupTiming>,
    motors: &IndexMap<String, MotorReport>,
) -> Vec<Finding> {
    let mut all = Finding::plain(
        "every motor lit",
        ignition.all_lit,
        "holds from a probability of 0.99, fails up to 0.01; every motor as likely lit as not \
         beforehand",
        "sum of log-likelihood ratios (Jaynes, Probability Theory, ch. 4); thresholds: common \
         practice, no source",
    );
    all.probability = ignition.probability;
    let mut out = vec![all];
    out.extend(after_the_command(motors));
    out.extend(in_one_piece(motors));
    out.extend(timings.into_iter().flat_map(|one| one.timing.findings));
    out
}

/// No motor burns before it is told to: else the lines, or the clocks, are mixed up. `None` without fire commands.
fn after_the_command(motors: &IndexMap<String, MotorReport>) -> Option<Finding> {
    let delays: Vec<&Measured> = motors
        .values()
        .filter_map(|one| one.delay_s.as_ref())
        .collect();
    let first = delays.iter().min_by(|a, b| a.value.total_cmp(&b.value))?;
    let outcome = if first.high < 0.0 {
        Outcome::Fails
    } else if first.low >= 0.0 {
        Outcome::Holds
    } else {
        Outcome::Undecided
    };
    let finding = Finding::plain(
        "no motor burns before its fire command",
        outcome,
        "the interval of the shortest delay lies above zero",
        COMMON_PRACTICE,
    );
    Some(finding.advice("check which line fires which motor, and how the logs' clocks are tied"))
}

/// A motor whose puff died and that burnt later hung fire: said of each that did.
fn in_one_piece(motors: &IndexMap<String, MotorReport>) -> Vec<Finding> {
    let one = |(name, motor): (&String, &MotorReport)| {
        let (puff, burn) = (motor.ignition_s.as_ref()?, motor.relight_s.as_ref()?);
        let finding = Finding::plain(
            format!("motor {name} burns in one piece"),
            Outcome::Fails,
            "its thrust does not fall back to rest between its first 5 % of peak and its burn",
            COMMON_PRACTICE,
        );
        Some(finding.advice(format!(
            "a puff at {:.3} s died, and the burn began at {:.3} s: its igniter hardly reached the grain",
            puff.value, burn.value
        )))
    };
    motors.iter().filter_map(one).collect()
}

/// A hand that presses for two seconds may look like a motor in every way: said where one motor is told by nothing else.
fn by_load_alone(input: &VerdictInput<'_>) -> Option<Finding> {
    let (_, motor) = input.motors.first()?;
    let logged = motor.fire.is_some() || motor.igniter.is_some() || motor.certified.is_some();
    let alone = input.thrust.is_some()
        && input.motors.len() == 1
        && !logged
        && input.evidence.len() <= input.own.len();
    alone.then(|| {
        let finding = Finding::plain(
            "something besides the load says that a motor burnt",
            Outcome::Undecided,
            "a fire line, igniter current, pressure in the chamber, weighings or a certified curve",
            COMMON_PRACTICE,
        );
        finding.advice(
            "log the fire line, or give certified = \"..toml\"; a hand can press like a motor",
        )
    })
}

/// How many motors lit, when that much is known.
fn counted(weighed: &hypothesis::Posterior, lit_count: usize) -> Option<usize> {
    (weighed.count_probability(lit_count) >= super::LIT_FROM).then_some(lit_count)
}

fn warnings(input: &VerdictInput<'_>, counted: Option<usize>, named: bool) -> Vec<Diagnostic> {
    let mut out = Vec::new();
    let burnt = input.thrust.is_some();
    if burnt && !named {
        let all = input.motors.len();
        let message = match counted {
            Some(count) => format!("{count} of {all} motors lit, and nothing tells which"),
            None => format!("how many of {all} motors lit is not known"),
        };
        out.push(Diagnostic::warning(Code::MotorsAlike, message).hint(
            "give offset, arm and inertia so that the tilt can tell, or a cell to each motor",
        ));
    }
    for (name, motor) in input
        .motors
        .iter()
        .filter(|(_, motor)| motor.certified.is_none())
    {
        let message =
            format!("motor {name} has no certified curve, so little can be said of it alone");
        out.push(
            Diagnostic::warning(Code::NoCertificate, message)
                .at(motor.place.clone())
                .hint("give certified = \"..toml\" with its thrust curve"),
        );
    }
    out
}
