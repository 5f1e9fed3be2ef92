//! The verdict on each motor: weigh the evidence, then give times to those that lit.

use indexmap::IndexMap;

use super::curves::{self, Explained, Part};
use super::hypothesis::{self, MOST_MOTORS, Piece, Subset};
use super::order::{self, AxisMotion};
use super::{Evidence, IgnitionReport, Lit, MotorReport};
use crate::burn::crossing::{self, Edge};
use crate::diagnostic::Diagnostic;
use crate::finding::{Finding, Outcome};
use crate::firing::Motor;
use crate::quantity::Measured;
use crate::series::Series;

/// Share of a motor's own peak at which it counts as ignited.
const IGNITION_FRACTION: f64 = 0.05;

/// What one motor's own cell says.
#[derive(Debug, Clone)]
pub struct OwnCell {
    /// Its total impulse.
    pub total_ns: Measured,
    /// When its thrust first reached 5 % of its peak.
    pub ignition_s: Option<Measured>,
}

/// Everything the verdict rests on.
#[derive(Debug, Clone)]
pub struct Question<'a> {
    /// The motors.
    pub motors: &'a IndexMap<String, Motor>,
    /// Pieces of evidence.
    pub pieces: Vec<Piece>,
    /// Thrust of all motors together; `None` when nothing burnt.
    pub thrust: Option<&'a Series>,
    /// The same around the burn, the stand's ringing taken off: edges are read from it.
    pub edges: Option<&'a Series>,
    /// Noise of one value of `edges`, N.
    pub noise_n: f64,
    /// Beginning and end of the burn, s.
    pub window_s: (f64, f64),
    /// Standard uncertainty common to all instants read from the cells, s.
    pub clock_u_s: f64,
    /// Motors with a cell of their own.
    pub own: IndexMap<String, OwnCell>,
    /// Time of each motor's fire command and its standard uncertainty, s.
    pub fire_s: IndexMap<String, (f64, f64)>,
    /// How the axes moved.
    pub motion: Vec<AxisMotion>,
    /// Motor-to-motor spread of impulse, relative.
    pub spread: f64,
}

/// The answer.
#[derive(Debug, Clone)]
pub struct Verdict {
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

/// When each motor of a subset lit, and how much it gave.
struct Timing {
    names: Vec<String>,
    parts: Vec<Part>,
    ignition_s: Vec<Measured>,
    area_u: Vec<f64>,
    stagger_s: Option<Measured>,
    told_apart: bool,
    findings: Vec<Finding>,
}

/// Decides.
#[must_use]
pub fn decide(question: &Question<'_>) -> Verdict {
    let count = question.motors.len().min(MOST_MOTORS);
    let weighed = hypothesis::weigh(count, &question.pieces);
    let lit_count = weighed.count();
    let best = weighed.best(lit_count);
    let lit: Vec<String> = question
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
    let timing = timing(question, &lit, best);
    let mut motors = IndexMap::new();
    for (at, name) in question.motors.keys().enumerate().take(count) {
        let mine = timing.as_ref().filter(|timing| named && timing.told_apart);
        let slot = mine.and_then(|timing| timing.names.iter().position(|other| other == name));
        let report = motor_report(question, name, at, weighed.lit(at), mine.zip(slot));
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
        stagger_s: stagger_of_own(question).or_else(|| timing.as_ref()?.stagger_s.clone()),
    };
    let told = timing
        .as_ref()
        .filter(|timing| named && timing.told_apart && timing.names.len() > 1);
    Verdict {
        motor_thrust_n: told
            .map(|timing| split(question, timing))
            .unwrap_or_default(),
        certified_n: timing
            .as_ref()
            .and_then(|timing| certified_sum(question, timing)),
        findings: findings(&ignition, timing),
        warnings: warnings(question, counted(&weighed, lit_count), named),
        motors,
        ignition,
        lit,
    }
}

fn motor_report(
    question: &Question<'_>,
    name: &str,
    at: usize,
    probability: f64,
    timing: Option<(&Timing, usize)>,
) -> MotorReport {
    let count = question.motors.len().min(MOST_MOTORS);
    let own = question.own.get(name);
    let lit = Lit::from_probability(probability);
    let ignition_s = match own {
        Some(own) => own.ignition_s.clone().filter(|_| lit == Lit::Lit),
        None => timing.map(|(timing, slot)| timing.ignition_s[slot].clone()),
    };
    let delay_s = ignition_s
        .as_ref()
        .zip(question.fire_s.get(name))
        .map(|(ignition, fire)| {
            // The fire line is read by the same recorder as the cells, so no clock comes between.
            Measured::normal(ignition.value - fire.0, ignition.u.hypot(fire.1), "s")
        });
    let total_ns = match own {
        Some(own) => Some(own.total_ns.clone()),
        None => timing.and_then(|(timing, slot)| {
            let certified = question
                .motors
                .get(name)?
                .certified
                .as_ref()?
                .total_impulse_ns()?;
            let part = timing.parts[slot];
            let value = certified * part.height * part.stretch;
            Some(Measured::normal(
                value,
                certified * timing.area_u[slot],
                "N s",
            ))
        }),
    };
    let evidence = question
        .pieces
        .iter()
        .map(|piece| Evidence {
            from: piece.from.clone(),
            says: piece.says.clone(),
            weight: hypothesis::weight(count, piece, at),
        })
        .collect();
    MotorReport {
        lit,
        probability: Some(probability),
        ignition_s,
        delay_s,
        total_ns,
        evidence,
    }
}

/// Times of the motors of the most probable subset, from the thrust they share.
fn timing(question: &Question<'_>, lit: &[String], best: Subset) -> Option<Timing> {
    let thrust = question.thrust?;
    let curves: Option<Vec<&Series>> = lit
        .iter()
        .map(|name| {
            question
                .motors
                .get(name)?
                .certified
                .as_ref()?
                .thrust_curve
                .as_ref()
        })
        .collect();
    let curves = curves.filter(|curves| !curves.is_empty())?;
    let edges = question.edges.unwrap_or(thrust);
    let explained = curves::explain(edges, &curves, question.window_s, question.spread)?;
    let slots: Vec<usize> = (0..question.motors.len())
        .filter(|at| best.has(*at))
        .collect();
    let (parts, told_apart, findings) =
        name_parts(question, lit, &curves, explained.parts.clone(), &slots);
    let instants = instants(question, edges, &curves, &parts);
    Some(Timing {
        names: lit.to_vec(),
        ignition_s: uncertain(question, &explained, &instants, &parts),
        stagger_s: stagger(&explained, &instants, &parts),
        area_u: explained.area_u.clone(),
        parts,
        told_apart,
        findings,
    })
}

/// Gives the parts to the motors. Curves that differ name themselves; two alike are told apart by
/// the tilt, if it was seen.
fn name_parts(
    question: &Question<'_>,
    lit: &[String],
    curves: &[&Series],
    mut parts: Vec<Part>,
    slots: &[usize],
) -> (Vec<Part>, bool, Vec<Finding>) {
    let alike = |a: usize, b: usize| curves[a] == curves[b];
    let any_alike = (0..lit.len()).any(|a| (0..a).any(|b| alike(a, b)));
    if !any_alike {
        return (parts, true, Vec::new());
    }
    if lit.len() != 2 {
        return (parts, false, Vec::new());
    }
    let order = [parts[0], parts[1]];
    let seen: Vec<f64> = question
        .motion
        .iter()
        .filter_map(|motion| {
            order::log_ratio(motion, [curves[0], curves[1]], order, [slots[0], slots[1]])
        })
        .collect();
    if seen.is_empty() {
        return (parts, false, Vec::new());
    }
    let ratio: f64 = seen.iter().sum();
    if ratio < 0.0 {
        parts.swap(0, 1);
    }
    let probability = (1.0 / (1.0 + (-ratio.abs()).exp())).min(hypothesis::SUREST);
    let first = usize::from(parts[1].onset_s < parts[0].onset_s);
    let told = probability >= super::LIT_FROM;
    let outcome = if told {
        Outcome::Holds
    } else {
        Outcome::Undecided
    };
    let mut finding = Finding::plain(
        format!("motor {} lit before motor {}", lit[first], lit[1 - first]),
        outcome,
        "the change of tilt rate over the ignition, compared under both orders",
        "likelihood ratio of the two orders (Jaynes, Probability Theory, ch. 4)",
    );
    finding.probability = Some(probability);
    (parts, told, vec![finding])
}

/// When each part's thrust reached 5 % of its own peak, s. The first motor's is read from the
/// thrust itself, where it still burns alone; the others keep their distance from it.
fn instants(
    question: &Question<'_>,
    thrust: &Series,
    curves: &[&Series],
    parts: &[Part],
) -> Vec<f64> {
    let by_curve: Vec<f64> = parts
        .iter()
        .zip(curves)
        .map(|(part, curve)| part.onset_s + part.stretch * reaches(curve))
        .collect();
    let first = (0..parts.len()).min_by(|a, b| by_curve[*a].total_cmp(&by_curve[*b]));
    let shift = first.and_then(|first| {
        let peak = curves[first].value().iter().copied().fold(0.0, f64::max);
        let level = IGNITION_FRACTION * peak * parts[first].height;
        let (from, to) = (question.window_s.0 - 0.2, question.window_s.1);
        let seen = crossing::find(thrust, from, to, level, Edge::First, question.noise_n)?;
        let alone = by_curve
            .iter()
            .enumerate()
            .all(|(at, t)| at == first || *t >= seen.time_s);
        alone.then_some(seen.time_s - by_curve[first])
    });
    by_curve
        .iter()
        .map(|instant| instant + shift.unwrap_or(0.0))
        .collect()
}

/// Time at which a curve first reaches 5 % of its peak, s.
fn reaches(curve: &Series) -> f64 {
    let level = IGNITION_FRACTION * curve.value().iter().copied().fold(0.0, f64::max);
    let row = curve
        .value()
        .iter()
        .position(|value| *value >= level)
        .unwrap_or(0);
    let Some(before) = row.checked_sub(1) else {
        return curve.time_s()[row];
    };
    let (t0, t1) = (curve.time_s()[before], curve.time_s()[row]);
    let (v0, v1) = (curve.value()[before], curve.value()[row]);
    t0 + (t1 - t0) * (level - v0) / (v1 - v0)
}

/// Instants with their uncertainties: that of the onset fit, and of the clock.
fn uncertain(
    question: &Question<'_>,
    explained: &Explained,
    instants: &[f64],
    parts: &[Part],
) -> Vec<Measured> {
    // After an exchange of names the covariance belongs to the onset, not to the motor.
    let of = |part: &Part| {
        explained
            .parts
            .iter()
            .position(|other| (other.onset_s - part.onset_s).abs() < 1e-12)
    };
    instants
        .iter()
        .zip(parts)
        .map(|(instant, part)| {
            let row = of(part).unwrap_or(0);
            let u = explained.onset_covariance[(row, row)].max(0.0).sqrt();
            Measured::normal(*instant, u.hypot(question.clock_u_s), "s")
        })
        .collect()
}

fn stagger(explained: &Explained, instants: &[f64], parts: &[Part]) -> Option<Measured> {
    if instants.len() < 2 {
        return None;
    }
    let by_time = |a: &usize, b: &usize| instants[*a].total_cmp(&instants[*b]);
    let first = (0..instants.len()).min_by(by_time)?;
    let last = (0..instants.len()).max_by(by_time)?;
    let row = |at: usize| {
        explained
            .parts
            .iter()
            .position(|other| (other.onset_s - parts[at].onset_s).abs() < 1e-12)
    };
    let (a, b) = (row(first)?, row(last)?);
    let c = &explained.onset_covariance;
    let variance = c[(a, a)] + c[(b, b)] - 2.0 * c[(a, b)];
    Some(Measured::normal(
        instants[last] - instants[first],
        variance.max(0.0).sqrt(),
        "s",
    ))
}

fn stagger_of_own(question: &Question<'_>) -> Option<Measured> {
    let times: Vec<&Measured> = question
        .own
        .values()
        .filter_map(|own| own.ignition_s.as_ref())
        .collect();
    if times.len() < 2 || times.len() < question.motors.len() {
        return None;
    }
    let first = times.iter().min_by(|a, b| a.value.total_cmp(&b.value))?;
    let last = times.iter().max_by(|a, b| a.value.total_cmp(&b.value))?;
    Some(Measured::normal(
        last.value - first.value,
        last.u.hypot(first.u),
        "s",
    ))
}

/// Shares thrust out in proportion to the parts' curves.
fn split(question: &Question<'_>, timing: &Timing) -> IndexMap<String, Series> {
    let Some(thrust) = question.thrust else {
        return IndexMap::new();
    };
    let curve = |name: &String| {
        question
            .motors
            .get(name)?
            .certified
            .as_ref()?
            .thrust_curve
            .as_ref()
    };
    let share = |time: f64, which: usize| -> f64 {
        let all: Vec<f64> = timing
            .names
            .iter()
            .zip(&timing.parts)
            .map(|(name, part)| curve(name).map_or(0.0, |curve| curves::part_at(curve, part, time)))
            .collect();
        let sum: f64 = all.iter().sum();
        if sum > 0.0 {
            all[which] / sum
        } else {
            1.0 / all.len() as f64
        }
    };
    timing
        .names
        .iter()
        .enumerate()
        .map(|(which, name)| {
            (
                name.clone(),
                thrust.map(|time, value| value * share(time, which)),
            )
        })
        .collect()
}

/// What the certified curves promised, from the ignitions that were found.
fn certified_sum(question: &Question<'_>, timing: &Timing) -> Option<Series> {
    let thrust = question.thrust?;
    let part = |part: &Part| Part {
        height: 1.0,
        stretch: 1.0,
        ..*part
    };
    let curves: Option<Vec<&Series>> = timing
        .names
        .iter()
        .map(|name| {
            question
                .motors
                .get(name)?
                .certified
                .as_ref()?
                .thrust_curve
                .as_ref()
        })
        .collect();
    let curves = curves?;
    Some(thrust.map(|time, _| {
        let parts = timing.parts.iter().zip(&curves);
        parts
            .map(|(one, curve)| curves::part_at(curve, &part(one), time))
            .sum()
    }))
}

fn findings(ignition: &IgnitionReport, timing: Option<Timing>) -> Vec<Finding> {
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
    out.extend(timing.into_iter().flat_map(|timing| timing.findings));
    out
}

/// How many motors lit, when that much is known.
fn counted(weighed: &hypothesis::Weighed, lit_count: usize) -> Option<usize> {
    (weighed.count_probability(lit_count) >= super::LIT_FROM).then_some(lit_count)
}

fn warnings(question: &Question<'_>, counted: Option<usize>, named: bool) -> Vec<Diagnostic> {
    let mut out = Vec::new();
    let burnt = question.thrust.is_some();
    if burnt && !named {
        let all = question.motors.len();
        let message = match counted {
            Some(count) => format!("{count} of {all} motors lit, and nothing tells which"),
            None => format!("how many of {all} motors lit is not known"),
        };
        out.push(Diagnostic::warning("motors-alike", message).hint(
            "give offset, arm and inertia so that the tilt can tell, or a cell to each motor",
        ));
    }
    for (name, motor) in question
        .motors
        .iter()
        .filter(|(_, motor)| motor.certified.is_none())
    {
        out.push(
            Diagnostic::warning(
                "no-certificate",
                format!("motor {name} has no certified curve, so little can be said of it alone"),
            )
            .at(motor.place.clone())
            .hint("give certified = \"..toml\" with its thrust curve"),
        );
    }
    out
}
