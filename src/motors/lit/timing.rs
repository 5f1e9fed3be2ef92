//! When each motor of a subset lit, and how much it gave, from the thrust that motors share.
//!
//! [`curves`] explains the thrust, [`order`] says which of two like motors was first, and the first
//! instant is read from the thrust itself, where that motor still burns alone.

use indexmap::IndexMap;

use super::curves::{self, Decomposition};
use super::hypothesis::Subset;
use super::input::{SharedBurn, SharedCells, VerdictInput};
use super::order;
use super::part::{Burning, Part, Pattern};
use super::puff::{self, Before};
use super::shape;
use crate::burn::crossing::{self, Edge};
use crate::finding::{Finding, Outcome};
use crate::motors::bayes;
use crate::quantity::{Measured, Unit};
use crate::series::Series;

/// Share of a motor's own peak at which it counts as ignited.
pub(super) const IGNITION_FRACTION: f64 = 0.05;

/// When each motor of a subset lit, and how much it gave, of those that share some cells.
pub(super) struct Timing {
    pub names: Vec<String>,
    pub curves: Vec<Pattern>,
    pub parts: Vec<Part>,
    pub ignition_s: Vec<Measured>,
    /// When the burn of each began, where a puff came before.
    pub relight_s: Vec<Option<Measured>>,
    pub impulse_ns: Vec<Measured>,
    pub stagger_s: Option<Measured>,
    pub distinguished: bool,
    pub findings: Vec<Finding>,
    /// Thrust of all of them together, N.
    thrust: Series,
}

/// Times of those motors of the most probable subset that share some cells.
pub(super) fn timing(
    input: &VerdictInput<'_>,
    cells: &SharedCells,
    best: Subset,
) -> Option<Timing> {
    let burn = cells.burn.as_ref()?;
    let slots: Vec<usize> = cells
        .motors
        .iter()
        .copied()
        .filter(|at| best.has(*at))
        .collect();
    let names = slots.iter().filter_map(|at| input.motors.get_index(*at));
    let lit: Vec<String> = names.map(|(name, _)| name.clone()).collect();
    let curves: Option<Vec<Pattern>> = lit.iter().map(|name| input.pattern_of(name)).collect();
    let curves = curves.filter(|curves| !curves.is_empty())?;
    let here: Vec<bool> = cells.motors.iter().map(|at| best.has(*at)).collect();
    let start = start(burn, &curves, &here, input.spread)?;
    let all: Vec<&Pattern> = curves.iter().collect();
    let explained = curves::explain(&burn.edges, &all, &start, burn.window_s, input.spread)?;
    // Other motors would turn the rocket as well.
    let alone = best.count() == slots.len();
    let (parts, distinguished, findings) =
        name_parts(input, (&lit, &slots, alone), &all, explained.parts.clone());
    let (instants, first) = instants(burn, &all, &parts);
    let mut ignition_s = uncertain(burn, &explained, &instants, &parts);
    if let Some((first, u_s)) = first {
        ignition_s[first] =
            Measured::normal(instants[first], u_s.max(burn.clock_u_s), Unit::Second);
    }
    let mut relight_s = vec![None; lit.len()];
    let dead = lit.len() < cells.motors.len();
    let levels = all.iter().zip(&parts);
    let level_n = levels.map(|(curve, part)| IGNITION_FRACTION * curve.peak_n() * part.height);
    let level_n = level_n.fold(f64::INFINITY, f64::min);
    if let Some((which, puff)) = puff_before(burn, &ignition_s, level_n, dead) {
        relight_s[which] = Some(std::mem::replace(&mut ignition_s[which], puff));
    }
    Some(Timing {
        names: lit,
        relight_s,
        ignition_s,
        stagger_s: stagger(&explained, &instants, &parts),
        impulse_ns: match &cells.total_ns {
            Some(total_ns) if all.len() == 1 => vec![total_ns.clone()],
            _ => impulses(&explained, &all, &parts),
        },
        curves,
        parts,
        distinguished,
        findings,
        thrust: burn.thrust.clone(),
    })
}

/// A puff before the first burn, and whose it is: that of the only motor that begins to burn soon after it.
fn puff_before(
    burn: &SharedBurn,
    ignition_s: &[Measured],
    level_n: f64,
    may_pop: bool,
) -> Option<(usize, Measured)> {
    let first = ignition_s
        .iter()
        .min_by(|a, b| a.value.total_cmp(&b.value))?;
    let found = puff::find(&Before {
        thrust: &burn.thrust,
        all: &burn.thrust,
        burn: first,
        level_n,
        noise_n: burn.noise_n,
        fire_s: None,
        may_pop,
    })?;
    let soon = |one: &Measured| one.value < found.value + puff::LOOKED_BACK_S;
    let mut whose = (0..ignition_s.len()).filter(|at| soon(&ignition_s[*at]));
    let which = whose.next()?;
    whose.next().is_none().then_some((which, found))
}

/// How the motors burn, roughly: as the evidence found it, or searched for.
fn start(burn: &SharedBurn, curves: &[Pattern], lit: &[bool], spread: f64) -> Option<Vec<Burning>> {
    let known = burn.course.as_ref().and_then(|course| course.fit_of(lit));
    let known = known.map(|(_, burning)| burning);
    known.or_else(|| shape::best(&burn.pieces(spread)?, curves))
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
    (lit, slots, alone): (&[String], &[usize], bool),
    curves: &[&Pattern],
    mut parts: Vec<Part>,
) -> (Vec<Part>, bool, Vec<Finding>) {
    let alike = |a: usize, b: usize| curves[a] == curves[b];
    let any_alike = (0..lit.len()).any(|a| (0..a).any(|b| alike(a, b)));
    if !any_alike {
        return (parts, true, Vec::new());
    }
    if lit.len() != 2 || !alone {
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

/// The first edge lies this near to where the curves put it, s: a dead motor's igniter may pop before.
const NEAR_S: f64 = 0.06;

/// When each part's thrust reached 5 % of its own peak, s. The first motor's is read from the
/// thrust itself, where it still burns alone; the others keep their distance from it. Also which motor that is, and the
/// standard uncertainty of the edge, s.
fn instants(
    burn: &SharedBurn,
    curves: &[&Pattern],
    parts: &[Part],
) -> (Vec<f64>, Option<(usize, f64)>) {
    let by_curve: Vec<f64> = parts
        .iter()
        .zip(curves)
        .map(|(part, curve)| part.onset_s + part.stretch * curve.reaches_s(IGNITION_FRACTION))
        .collect();
    let first = (0..parts.len()).min_by(|a, b| by_curve[*a].total_cmp(&by_curve[*b]));
    let seen = first.and_then(|first| {
        let level = IGNITION_FRACTION * curves[first].peak_n() * parts[first].height;
        let from = (by_curve[first] - NEAR_S).max(burn.window_s.0 - 0.2);
        let to = burn.window_s.1;
        let seen = crossing::find(&burn.edges, from, to, level, Edge::First, burn.noise_n)?;
        let near = (seen.time_s - by_curve[first]).abs() < NEAR_S;
        let alone = by_curve
            .iter()
            .enumerate()
            .all(|(at, t)| at == first || *t >= seen.time_s);
        (near && alone).then_some((first, seen))
    });
    let Some((first, seen)) = seen else {
        return (by_curve, None);
    };
    let shift = seen.time_s - by_curve[first];
    let shifted = by_curve.iter().map(|instant| instant + shift).collect();
    (shifted, Some((first, seen.u_s)))
}

/// Instants with their uncertainties: that of the onset fit, and of the clock.
fn uncertain(
    burn: &SharedBurn,
    explained: &Decomposition,
    instants: &[f64],
    parts: &[Part],
) -> Vec<Measured> {
    // After an exchange of names the covariance belongs to the onset, not to the motor.
    let each = instants.iter().zip(parts);
    each.map(|(instant, part)| {
        let row = row_of(explained, part);
        let u = explained.onset_covariance[(row, row)].max(0.0).sqrt();
        Measured::normal(*instant, u.hypot(burn.clock_u_s), Unit::Second)
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

impl Timing {
    /// Thrust of each motor: a share of that of all in proportion to the parts' curves.
    pub(super) fn split(&self) -> IndexMap<String, Series> {
        let count = self.parts.len();
        let mut forces = vec![Vec::with_capacity(self.thrust.len()); count];
        let mut all = Vec::with_capacity(count);
        for (time, value) in self.thrust.iter() {
            let each = self.parts.iter().zip(&self.curves);
            all.clear();
            all.extend(each.map(|(part, curve)| part.thrust_n(curve, time)));
            let sum: f64 = all.iter().sum();
            for (mine, force) in all.iter().zip(&mut forces) {
                let share = if sum > 0.0 {
                    mine / sum
                } else {
                    1.0 / count as f64
                };
                force.push(value * share);
            }
        }
        let each = self.names.iter().zip(forces);
        each.map(|(name, force)| (name.clone(), self.thrust.with(force)))
            .collect()
    }

    /// The certified curves and when each began, s.
    pub(super) fn certified(&self) -> impl Iterator<Item = (Pattern, f64)> + '_ {
        let each = self.curves.iter().zip(&self.parts);
        each.map(|(curve, part)| (curve.clone(), part.onset_s))
    }
}
