//! The verdict on each motor: weigh the evidence, then give times to those that lit.

use indexmap::IndexMap;

use super::hypothesis::{self, MOST_MOTORS};
use super::input::VerdictInput;
use super::timing::{Timing, certified_sum, split, timing};
use super::torque;
use super::{Evidence, IgnitionReport, Lit, MotorReport};
use crate::diagnostic::{Code, Diagnostic};
use crate::finding::{COMMON_PRACTICE, Finding, Outcome};
use crate::quantity::{Measured, Unit};
use crate::series::Series;

/// The answer.
#[derive(Debug, Clone)]
pub(crate) struct Verdict {
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

/// Decides.
#[must_use]
pub(crate) fn decide(input: &VerdictInput<'_>) -> Verdict {
    let count = input.motors.len().min(MOST_MOTORS);
    let weighed = hypothesis::weigh(count, &input.evidence);
    let lit_count = weighed.count();
    let best = weighed.best(lit_count);
    let lit: Vec<String> = input
        .motors
        .keys()
        .enumerate()
        .filter(|(at, _)| *at < count && best.has(*at))
        .map(|(_, name)| name.clone())
        .collect();
    let verdicts: Vec<Lit> = (0..count)
        .map(|at| Lit::from_probability(weighed.lit(at)))
        .collect();
    // Times are given only to motors that are known to be the ones that lit.
    let named = (0..count).all(|at| !best.has(at) || verdicts[at] == Lit::Lit);
    let timing = timing(input, &lit, best);
    let mut motors = IndexMap::new();
    for (at, name) in input.motors.keys().enumerate().take(count) {
        let mine = timing
            .as_ref()
            .filter(|timing| named && timing.distinguished);
        let slot = mine.and_then(|timing| timing.names.iter().position(|other| other == name));
        let report = motor_report(input, name, at, weighed.lit(at), mine.zip(slot));
        motors.insert(name.clone(), report);
    }
    let all = weighed.all_lit();
    let ignition = IgnitionReport {
        all_lit: match Lit::from_probability(all) {
            Lit::Lit => Outcome::Holds,
            Lit::NotLit => Outcome::Fails,
            Lit::Undecided => Outcome::Undecided,
        },
        probability: Some(all),
        lit_count,
        stagger_s: stagger_of_own(input).or_else(|| timing.as_ref()?.stagger_s.clone()),
        stagger_torque: Vec::new(),
    };
    let distinguished = timing
        .as_ref()
        .filter(|timing| named && timing.distinguished && timing.names.len() > 1);
    let motor_thrust_n = distinguished
        .map(|timing| split(input, timing))
        .unwrap_or_default();
    let ignition = with_torque(input, ignition, &motors, &motor_thrust_n);
    Verdict {
        motor_thrust_n,
        certified_n: timing
            .as_ref()
            .and_then(|timing| certified_sum(input, timing)),
        findings: findings(&ignition, timing, &motors),
        warnings: warnings(input, counted(&weighed, lit_count), named),
        motors,
        ignition,
        lit,
    }
}

/// A smaller weight is none.
const NOTHING: f64 = 1e-9;

fn motor_report(
    input: &VerdictInput<'_>,
    name: &str,
    at: usize,
    probability: f64,
    timing: Option<(&Timing, usize)>,
) -> MotorReport {
    let count = input.motors.len().min(MOST_MOTORS);
    let own = input.own.get(name);
    let lit = Lit::from_probability(probability);
    let ignition_s = match own {
        Some(own) => own.ignition_s.clone().filter(|_| lit == Lit::Lit),
        None => timing.map(|(timing, slot)| timing.ignition_s[slot].clone()),
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
        Some(own) => Some(own.total_ns.clone()),
        None => timing.map(|(timing, slot)| timing.impulse_ns[slot].clone()),
    };
    let each = input.evidence.iter().map(|piece| Evidence {
        from: piece.from.clone(),
        says: piece.says.clone(),
        weight: hypothesis::weight(count, piece, at),
    });
    // What concerns other motors alone says nothing of this one.
    let evidence = each.filter(|one| one.weight.abs() > NOTHING).collect();
    MotorReport {
        lit,
        probability: Some(probability),
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

fn stagger_of_own(input: &VerdictInput<'_>) -> Option<Measured> {
    let times: Vec<&Measured> = input
        .own
        .values()
        .filter_map(|own| own.ignition_s.as_ref())
        .collect();
    if times.len() < 2 || times.len() < input.motors.len() {
        return None;
    }
    let first = times.iter().min_by(|a, b| a.value.total_cmp(&b.value))?;
    let last = times.iter().max_by(|a, b| a.value.total_cmp(&b.value))?;
    Some(Measured::normal(
        last.value - first.value,
        last.u.hypot(first.u),
        Unit::Second,
    ))
}

fn findings(
    ignition: &IgnitionReport,
    timing: Option<Timing>,
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
    out.extend(timing.into_iter().flat_map(|timing| timing.findings));
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
        out.push(
            Diagnostic::warning(
                Code::NoCertificate,
                format!("motor {name} has no certified curve, so little can be said of it alone"),
            )
            .at(motor.place.clone())
            .hint("give certified = \"..toml\" with its thrust curve"),
        );
    }
    out
}
