//! Impulse: the area under thrust, what it says of the propellant, and how sure it is.
//!
//! Total impulse runs from first to last measurable thrust, burn-window impulse over the burn;
//! published practice differs between the two, so both are given and named. Both are trapezoid sums
//! on the true sample times, hence linear in the readings, and the budget carries every source
//! through that sum. Specific impulse is total impulse over propellant mass and standard gravity
//! (Sutton & Biblarz, Rocket Propulsion Elements, ch. 2).

use serde::{Deserialize, Serialize};

use crate::burn::describe::Burn;
use crate::burn::thrust::ThrustTrace;
use crate::numeric::trapezoid;
use crate::quantity::{Measured, STANDARD_GRAVITY_M_S2};
use crate::series::Series;
use crate::uncertainty::{Term, combined};

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

/// Integrates a burn. `propellant_kg` is the mass that burnt, with its standard uncertainty.
#[must_use]
pub fn integrate(
    trace: &ThrustTrace,
    burn: &Burn,
    propellant_kg: Option<(f64, f64)>,
) -> ImpulseReport {
    let (total_ns, terms) = area(trace, burn.measurable_s);
    let (window_ns, _) = area(trace, burn.window_s);
    let complete = burn.report.burn_time_s.is_some();
    // Of a burn that the record cuts off, only a part was seen.
    let velocity = propellant_kg
        .filter(|(mass, _)| *mass > 0.0 && complete)
        .map(|(mass, u)| {
            let value = total_ns.value / mass;
            let relative = total_ns.relative().hypot(u / mass);
            Measured::normal(value, value.abs() * relative, "m/s")
        });
    let specific = velocity.as_ref().map(|velocity| {
        let value = velocity.value / STANDARD_GRAVITY_M_S2;
        Measured::normal(value, velocity.u / STANDARD_GRAVITY_M_S2, "s")
    });
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
    let coarse = sampling(&trace.thrust, window_s, value);
    terms.push(Term::random("time between readings", coarse));
    (Measured::normal(value, combined(&terms), "N s"), terms)
}

/// What may have happened between readings: the trapezoid's error falls with the square of the step,
/// so a third of what leaving out every other reading changes is an estimate of it (Richardson).
fn sampling(thrust: &Series, window_s: (f64, f64), value_ns: f64) -> f64 {
    let every_other = |first: usize| {
        let pick = |from: &[f64]| {
            from.iter()
                .skip(first)
                .step_by(2)
                .copied()
                .collect::<Vec<_>>()
        };
        let half = Series::new(&pick(thrust.time_s()), &pick(thrust.value()));
        (trapezoid::area_between(&half, window_s.0, window_s.1) - value_ns) / 3.0
    };
    (0.5 * (every_other(0).powi(2) + every_other(1).powi(2))).sqrt()
}

fn budget(terms: &[Term]) -> Vec<BudgetLine> {
    let variance = combined(terms).powi(2);
    let mut lines: Vec<BudgetLine> = terms
        .iter()
        .filter(|term| term.u > 0.0)
        .map(|term| BudgetLine {
            source: term.source.clone(),
            kind: term.kind.word().to_owned(),
            u_ns: term.u,
            share: if variance > 0.0 {
                term.u * term.u / variance
            } else {
                0.0
            },
        })
        .collect();
    lines.sort_by(|a, b| b.u_ns.total_cmp(&a.u_ns));
    lines
}
