//! Impulse: the area under thrust, what it says of the propellant, and how sure it is.
//!
//! Total impulse runs from first to last measurable thrust, burn-window impulse over the burn;
//! published practice differs between the two, so both are given and named. Both are trapezoid sums
//! on the true sample times, hence linear in the readings, and the budget carries every source
//! through that sum. Specific impulse is total impulse over propellant mass and standard gravity
//! (Sutton & Biblarz, Rocket Propulsion Elements, ch. 2).

use indexmap::IndexMap;
use serde::{Deserialize, Serialize};

use crate::burn::describe::Burn;
use crate::burn::thrust::ThrustTrace;
use crate::numeric::trapezoid;
use crate::quantity::{Measured, STANDARD_GRAVITY_M_S2};
use crate::uncertainty::{Kind, Term, combined, measured};

/// What was delivered.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ImpulseReport {
    /// From first to last measurable thrust.
    pub total_ns: Option<Measured>,
    /// Over the burn.
    pub burn_window_ns: Option<Measured>,
    /// Total impulse over propellant weight at standard gravity.
    pub specific_s: Option<Measured>,
    /// Total impulse over propellant mass.
    pub exhaust_velocity_m_s: Option<Measured>,
    /// Where the uncertainty of the total comes from.
    pub budget: Vec<BudgetLine>,
}

/// One source of uncertainty of the total impulse.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BudgetLine {
    /// What it is.
    pub source: String,
    /// `random` or `systematic`.
    pub kind: String,
    /// Its standard uncertainty, N s.
    pub u_ns: f64,
    /// Its share of the variance, 0 to 1.
    pub share: f64,
}

/// Integrates a burn. `propellant_kg` is the mass that burnt, and what its uncertainty is made of.
#[must_use]
pub fn integrate(
    trace: &ThrustTrace,
    burn: &Burn,
    propellant_kg: Option<(f64, Vec<Term>)>,
) -> ImpulseReport {
    let (total_ns, terms) = area(trace, burn.measurable_s);
    let (window_ns, _) = area(trace, burn.window_s);
    let complete = burn.report.burn_time_s.is_some();
    // Of a burn that the record cuts off, only a part was seen.
    let velocity = propellant_kg
        .filter(|(mass, _)| *mass > 0.0 && complete)
        .map(|(mass, of_mass)| {
            let value = total_ns.value / mass;
            let of_impulse = terms.iter().cloned().map(|term| term.times(1.0 / mass));
            let of_mass = of_mass.into_iter().map(|term| term.times(value / mass));
            let all: Vec<Term> = of_impulse.chain(of_mass).collect();
            measured(value, &all, "m/s")
        });
    let specific = velocity
        .as_ref()
        .map(|velocity| velocity.times(1.0 / STANDARD_GRAVITY_M_S2, "s"));
    ImpulseReport {
        budget: if complete { budget(&terms) } else { Vec::new() },
        total_ns: complete.then_some(total_ns),
        burn_window_ns: complete.then_some(window_ns),
        specific_s: specific,
        exhaust_velocity_m_s: velocity,
    }
}

/// Area between two times and what its uncertainty is made of.
fn area(trace: &ThrustTrace, window_s: (f64, f64)) -> (Measured, Vec<Term>) {
    let time_s = trace.thrust.time_s();
    let weights = trapezoid::weights(time_s, window_s.0, window_s.1);
    let value: f64 = weights
        .iter()
        .zip(trace.thrust.value())
        .map(|(w, v)| w * v)
        .sum();
    let mut terms = trace.terms(&weights);
    let coarse = trapezoid::bends(&trace.thrust, window_s.0, window_s.1);
    terms.push(Term::random("bends between the readings", coarse));
    (measured(value, &terms, "N s"), terms)
}

/// One line for each source, the largest first.
fn budget(terms: &[Term]) -> Vec<BudgetLine> {
    let variance = combined(terms).powi(2);
    let mut sources: IndexMap<(&str, Kind), f64> = IndexMap::new();
    for term in terms.iter().filter(|term| term.u > 0.0) {
        *sources.entry((&term.source, term.kind)).or_default() += term.u * term.u;
    }
    let mut lines: Vec<BudgetLine> = sources
        .into_iter()
        .map(|((source, kind), square)| BudgetLine {
            source: source.to_owned(),
            kind: kind.word().to_owned(),
            u_ns: square.sqrt(),
            share: square / variance,
        })
        .collect();
    lines.sort_by(|a, b| b.u_ns.total_cmp(&a.u_ns));
    lines
}
