//! When each motor of a subset lit, and how much it gave, from the thrust the motors share.
//!
//! [`curves`] explains the thrust, [`order`] says which of two like motors was first, and the first
//! instant is read from the thrust itself, where that motor still burns alone.

use indexmap::IndexMap;

use super::curves::{self, Decomposition};
use super::hypothesis::Subset;
use super::input::VerdictInput;
use super::order;
use super::part::{Part, Pattern};
use super::pieces::ThrustPieces;
use super::shape;
use crate::burn::crossing::{self, Edge};
use crate::finding::{Finding, Outcome};
use crate::motors::bayes;
use crate::quantity::{Measured, Unit};
use crate::series::Series;

/// Share of a motor's own peak at which it counts as ignited.
const IGNITION_FRACTION: f64 = 0.05;

/// When each motor of a subset lit, and how much it gave.
pub(super) struct Timing {
    pub names: Vec<String>,
    pub curves: Vec<Pattern>,
    pub parts: Vec<Part>,
    pub ignition_s: Vec<Measured>,
    pub impulse_ns: Vec<Measured>,
    pub stagger_s: Option<Measured>,
    pub distinguished: bool,
    pub findings: Vec<Finding>,
}

/// Times of the motors of the most probable subset, from the thrust they share.
pub(super) fn timing(input: &VerdictInput<'_>, lit: &[String], best: Subset) -> Option<Timing> {
    let thrust = input.thrust?;
    let curves: Option<Vec<Pattern>> = lit.iter().map(|name| input.pattern_of(name)).collect();
    let curves = curves.filter(|curves| !curves.is_empty())?;
    let edges = input.edges.unwrap_or(thrust);
    let pieces = ThrustPieces::cut(thrust, input.window_s, input.noise_n, input.spread)?;
    let start = shape::best(&pieces, &curves)?;
    let all: Vec<&Pattern> = curves.iter().collect();
    let explained = curves::explain(edges, &all, &start, input.window_s, input.spread)?;
    let slots: Vec<usize> = (0..input.motors.len()).filter(|at| best.has(*at)).collect();
    let (parts, distinguished, findings) =
        name_parts(input, lit, &all, explained.parts.clone(), &slots);
    let instants = instants(input, edges, &all, &parts);
    Some(Timing {
        names: lit.to_vec(),
        ignition_s: uncertain(input, &explained, &instants, &parts),
        stagger_s: stagger(&explained, &instants, &parts),
        impulse_ns: impulses(&explained, &all, &parts),
        curves,
        parts,
        distinguished,
        findings,
    })
}

/// What each motor delivered; after an exchange of names like motors exchange theirs.
fn impulses(explained: &Decomposition, curves: &[&Pattern], parts: &[Part]) -> Vec<Measured> {
    let each = curves.iter().zip(parts);
    each.map(|(curve, part)| {
        let u_ns = explained.impulse_u_ns[row_of(explained, part)];
        Measured::normal(part.impulse_ns(curve), u_ns, Unit::NewtonSecond)
    })
    .collect()
}

/// The fitted part that a motor got.
fn row_of(explained: &Decomposition, part: &Part) -> usize {
    let same = |other: &Part| (other.onset_s - part.onset_s).abs() < 1e-12;
    explained.parts.iter().position(same).unwrap_or(0)
}

/// Gives the parts to the motors. Curves that differ name themselves; two alike are told apart by
/// the tilt, if it was seen.
fn name_parts(
    input: &VerdictInput<'_>,
    lit: &[String],
    curves: &[&Pattern],
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
    let seen: Vec<f64> = input
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
    let probability = (1.0 / (1.0 + (-ratio.abs()).exp())).min(bayes::SUREST);
    let first = usize::from(parts[1].onset_s < parts[0].onset_s);
    let known = probability >= super::LIT_FROM;
    let outcome = if known {
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
    (parts, known, vec![finding])
}

/// When each part's thrust reached 5 % of its own peak, s. The first motor's is read from the
/// thrust itself, where it still burns alone; the others keep their distance from it.
fn instants(
    input: &VerdictInput<'_>,
    thrust: &Series,
    curves: &[&Pattern],
    parts: &[Part],
) -> Vec<f64> {
    let by_curve: Vec<f64> = parts
        .iter()
        .zip(curves)
        .map(|(part, curve)| part.onset_s + part.stretch * curve.reaches_s(IGNITION_FRACTION))
        .collect();
    let first = (0..parts.len()).min_by(|a, b| by_curve[*a].total_cmp(&by_curve[*b]));
    let shift = first.and_then(|first| {
        let level = IGNITION_FRACTION * curves[first].peak_n() * parts[first].height;
        let (from, to) = (input.window_s.0 - 0.2, input.window_s.1);
        let seen = crossing::find(thrust, from, to, level, Edge::First, input.noise_n)?;
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

/// Instants with their uncertainties: that of the onset fit, and of the clock.
fn uncertain(
    input: &VerdictInput<'_>,
    explained: &Decomposition,
    instants: &[f64],
    parts: &[Part],
) -> Vec<Measured> {
    // After an exchange of names the covariance belongs to the onset, not to the motor.
    let each = instants.iter().zip(parts);
    each.map(|(instant, part)| {
        let row = row_of(explained, part);
        let u = explained.onset_covariance[(row, row)].max(0.0).sqrt();
        Measured::normal(*instant, u.hypot(input.clock_u_s), Unit::Second)
    })
    .collect()
}

fn stagger(explained: &Decomposition, instants: &[f64], parts: &[Part]) -> Option<Measured> {
    if instants.len() < 2 {
        return None;
    }
    let by_time = |a: &usize, b: &usize| instants[*a].total_cmp(&instants[*b]);
    let first = (0..instants.len()).min_by(by_time)?;
    let last = (0..instants.len()).max_by(by_time)?;
    let (a, b) = (
        row_of(explained, &parts[first]),
        row_of(explained, &parts[last]),
    );
    let c = &explained.onset_covariance;
    let variance = c[(a, a)] + c[(b, b)] - 2.0 * c[(a, b)];
    Some(Measured::normal(
        instants[last] - instants[first],
        variance.max(0.0).sqrt(),
        Unit::Second,
    ))
}

/// Shares thrust out in proportion to the parts' curves.
pub(super) fn split(input: &VerdictInput<'_>, timing: &Timing) -> IndexMap<String, Series> {
    let Some(thrust) = input.thrust else {
        return IndexMap::new();
    };
    let share = |time: f64, which: usize| -> f64 {
        let each = timing.parts.iter().zip(&timing.curves);
        let all: Vec<f64> = each
            .map(|(part, curve)| part.thrust_n(curve, time))
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

/// What the certified curves certify, from the ignitions that were found.
pub(super) fn certified_sum(input: &VerdictInput<'_>, timing: &Timing) -> Option<Series> {
    let thrust = input.thrust?;
    let part = |part: &Part| Part {
        height: 1.0,
        stretch: 1.0,
        out_s: None,
        ..*part
    };
    Some(thrust.map(|time, _| {
        let parts = timing.parts.iter().zip(&timing.curves);
        parts
            .map(|(one, curve)| part(one).thrust_n(curve, time))
            .sum()
    }))
}
