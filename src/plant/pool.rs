//! One plant from several firings of one rig.
//!
//! Each firing is fitted by itself; its numbers and their covariance carry all that its record says
//! of the shared parameters, to second order of the likelihood. They are put together by generalised
//! least squares: shared parameters are one unknown, those allowed to differ one for each firing
//! (Rao, Linear Statistical Inference, 4a; the same as one fit to all records where the likelihoods are
//! parabolas). What all firings of a rig share (thrust calibration, arm, inertia) does not average out:
//! it is left out of the weights and put back behind them. Agreement is tested by the weighted sum of
//! squares about the common values against chi-squared (Cochran 1954); where firings disagree the
//! shared uncertainty is raised by the root of that sum over its degrees of freedom (Birge 1932).
//!
//! Limit: a parameter that is not identifiable from one firing is taken from the others.

use std::fmt;

use indexmap::IndexMap;
use nalgebra::{DMatrix, DVector};
use serde::{Deserialize, Serialize};
use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::parameter::Parameter;
use super::structure::STRONG_LEAD;
use super::{AxisPlant, Covariance, DeadBandKind, SharedTerm, Structure};
use crate::finding::{Finding, Outcome};
use crate::quantity::Measured;

/// Schema number of `fit.json`.
pub(crate) const SCHEMA: u32 = 1;
/// Probability below which firings are said to disagree.
const AGREE_FROM: f64 = 0.05;

/// A parameter that motors seated anew change from firing to firing.
pub(crate) const DIFFERS_BY_ITSELF: Parameter = Parameter::ThrustBias;

/// One parameter over all firings.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct PooledParameter {
    /// Which one.
    pub name: Parameter,
    /// Whether it is one number for all firings.
    pub shared: bool,
    /// The common value; `None` for a parameter that may differ.
    pub value: Option<Measured>,
    /// Of each firing, in the order they were named.
    pub of: Vec<Option<Measured>>,
    /// Probability of values at least this far apart if the parameter were one number; `None` with
    /// fewer than two.
    pub agreement_p: Option<f64>,
}

/// One axis over all firings.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct PooledAxis {
    /// The plant with the common values.
    pub plant: AxisPlant,
    /// Each parameter.
    pub parameters: Vec<PooledParameter>,
    /// Probability that all shared parameters are at least this far apart if they were one; `None` with
    /// nothing to compare.
    pub agreement_p: Option<f64>,
    /// Covariance of everything: shared parameters by name, others as `name@firing`, counted from 1.
    pub covariance: Covariance<String>,
}

/// What `fit.json` holds.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct PooledFit {
    /// Schema number.
    pub schema: u32,
    /// The firing files.
    pub firings: Vec<String>,
    /// Each axis that two firings or more have.
    pub axes: IndexMap<String, PooledAxis>,
}

/// Numbers of one firing with what only it has and what all share.
struct FiringEstimates {
    names: Vec<Parameter>,
    values: DVector<f64>,
    own: DMatrix<f64>,
    systematic: Vec<SharedTerm>,
}

fn moves(term: &SharedTerm, names: &[Parameter]) -> DVector<f64> {
    let of = |name: &Parameter| term.moves.get(name).copied().unwrap_or(0.0);
    DVector::from_iterator(names.len(), names.iter().map(of))
}

fn matrix(covariance: &Covariance, names: &[Parameter]) -> DMatrix<f64> {
    let place = |name: &Parameter| covariance.names.iter().position(|known| known == name);
    DMatrix::from_fn(names.len(), names.len(), |i, j| {
        place(&names[i])
            .zip(place(&names[j]))
            .and_then(|(i, j)| covariance.matrix.get(i)?.get(j).copied())
            .unwrap_or(0.0)
    })
}

impl FiringEstimates {
    fn of(plant: &AxisPlant) -> Option<Self> {
        let known: Vec<(Parameter, &Measured)> = plant
            .covariance
            .names
            .iter()
            .filter_map(|name| Some((*name, plant.value(*name)?)))
            .filter(|(_, measured)| measured.u > 0.0)
            .collect();
        let names: Vec<Parameter> = known.iter().map(|(name, _)| *name).collect();
        let mut own = matrix(&plant.covariance, &names);
        for term in &plant.systematic {
            let moves = moves(term, &names);
            own -= &moves * moves.transpose();
        }
        let positive = own.diagonal().iter().all(|variance| *variance > 0.0);
        positive.then(|| Self {
            values: DVector::from_iterator(known.len(), known.iter().map(|one| one.1.value)),
            names,
            own,
            systematic: plant.systematic.clone(),
        })
    }
}

/// Puts the plants of one axis together; `differs` names parameters that may differ. `None` unless two
/// firings have numbers.
#[must_use]
pub(crate) fn pool(plants: &[Option<&AxisPlant>], differs: &[Parameter]) -> Option<PooledAxis> {
    let together = structures(plants);
    let ones: Vec<Option<FiringEstimates>> = plants
        .iter()
        .map(|plant| {
            let plant = (*plant)?;
            let (mut one, actuator) = (FiringEstimates::of(plant)?, &plant.actuator);
            // A width found under another kind of dead band is another number, and so are lag and delay of another order.
            if actuator.dead_band.kind != together.dead_band {
                one = without(one, Parameter::DeadBandWidth);
            }
            if actuator.damping_ratio.is_some() != together.second_order {
                for name in [Parameter::Lag, Parameter::Delay, Parameter::DampingRatio] {
                    one = without(one, name);
                }
            }
            Some(one)
        })
        .collect();
    if ones.iter().flatten().count() < 2 {
        return None;
    }
    let mut unknowns: Vec<Unknown> = Vec::new();
    for (nth, one) in ones.iter().enumerate() {
        for name in one.iter().flat_map(|one| &one.names) {
            let unknown = Unknown::new(*name, nth, differs);
            if !unknowns.contains(&unknown) {
                unknowns.push(unknown);
            }
        }
    }
    let solved = solve(&ones, &unknowns, differs)?;
    let mut parameters: Vec<PooledParameter> = Vec::new();
    for name in ones.iter().flatten().flat_map(|one| &one.names) {
        if parameters.iter().any(|known| known.name == *name) {
            continue;
        }
        let common = Unknown::common(*name);
        let at = unknowns.iter().position(|unknown| *unknown == common);
        let value = at.map(|at| {
            let u = solved.covariance[(at, at)].max(0.0).sqrt();
            Measured::normal(solved.x[at], u, name.unit())
        });
        parameters.push(PooledParameter {
            name: *name,
            shared: at.is_some(),
            value,
            of: plants
                .iter()
                .map(|plant| plant.and_then(|plant| plant.value(*name).cloned()))
                .collect(),
            agreement_p: agreement_on(&ones, *name),
        });
    }
    let first = plants.iter().flatten().next()?;
    let mut plant = AxisPlant::clone(first);
    plant.actuator.dead_band.kind = together.dead_band;
    plant.actuator.lag_plus_delay_s = None;
    plant.fit.structures = together.tried;
    plant.fit.samples = plants.iter().flatten().map(|plant| plant.fit.samples).sum();
    plant.fit.validation_fit_percent = None;
    plant.fit.whiteness_p = None;
    plant.fit.command_p = None;
    plant.fit.information_bound.clear();
    for one in &parameters {
        plant.set_value(one.name, one.value.clone());
    }
    plant.findings = findings(&parameters, &solved);
    let keep: Vec<usize> = (0..unknowns.len())
        .filter(|at| unknowns[*at].firing.is_none())
        .collect();
    let part = solved.covariance.select_rows(&keep).select_columns(&keep);
    let shared = keep.iter().map(|at| unknowns[*at].parameter).collect();
    plant.covariance = shown(shared, &part);
    plant.systematic = solved.shared_terms(&unknowns);
    Some(PooledAxis {
        plant,
        parameters,
        agreement_p: solved.p,
        covariance: shown(
            unknowns.iter().map(Unknown::to_string).collect(),
            &solved.covariance,
        ),
    })
}

fn without(one: FiringEstimates, name: Parameter) -> FiringEstimates {
    let keep: Vec<usize> = (0..one.names.len())
        .filter(|at| one.names[*at] != name)
        .collect();
    FiringEstimates {
        names: keep.iter().map(|at| one.names[*at]).collect(),
        values: one.values.select_rows(&keep),
        own: one.own.select_rows(&keep).select_columns(&keep),
        systematic: one.systematic,
    }
}

/// What is solved for: a parameter of all firings, or of one.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Unknown {
    parameter: Parameter,
    /// The firing, counted from 0, of a parameter that may differ.
    firing: Option<usize>,
}

impl Unknown {
    const fn common(parameter: Parameter) -> Self {
        Self {
            parameter,
            firing: None,
        }
    }

    fn new(parameter: Parameter, nth: usize, differs: &[Parameter]) -> Self {
        Self {
            parameter,
            firing: differs.contains(&parameter).then_some(nth),
        }
    }
}

impl fmt::Display for Unknown {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.parameter.key())?;
        self.firing.map_or(Ok(()), |nth| write!(f, "@{}", nth + 1))
    }
}

fn shown<Name>(names: Vec<Name>, matrix: &DMatrix<f64>) -> Covariance<Name> {
    Covariance {
        names,
        matrix: matrix
            .row_iter()
            .map(|row| row.iter().copied().collect())
            .collect(),
    }
}

/// Common values.
struct CommonEstimates {
    x: DVector<f64>,
    covariance: DMatrix<f64>,
    /// By how much one standard uncertainty of each common term moves every unknown.
    systematic: IndexMap<String, DVector<f64>>,
    /// Weighted sum of squares over its degrees of freedom, and the probability of more.
    ratio: f64,
    p: Option<f64>,
}

impl CommonEstimates {
    fn shared_terms(&self, unknowns: &[Unknown]) -> Vec<SharedTerm> {
        let terms = self.systematic.iter();
        terms
            .map(|(source, moved)| SharedTerm {
                source: source.clone(),
                moves: unknowns
                    .iter()
                    .zip(moved.iter())
                    .filter(|(unknown, moved)| **moved != 0.0 && unknown.firing.is_none())
                    .map(|(unknown, moved)| (unknown.parameter, *moved))
                    .collect(),
            })
            .collect()
    }
}

fn solve(
    ones: &[Option<FiringEstimates>],
    unknowns: &[Unknown],
    differs: &[Parameter],
) -> Option<CommonEstimates> {
    let k = unknowns.len();
    let mut information = DMatrix::zeros(k, k);
    let mut seen = DVector::zeros(k);
    let mut parts = Vec::new();
    let mut count = 0;
    for (nth, one) in ones.iter().enumerate() {
        let Some(one) = one else { continue };
        let place = |name: &Parameter| {
            let unknown = Unknown::new(*name, nth, differs);
            unknowns.iter().position(|known| *known == unknown)
        };
        let places: Option<Vec<usize>> = one.names.iter().map(place).collect();
        let design = {
            let places = places?;
            DMatrix::from_fn(places.len(), k, |i, j| f64::from(u8::from(places[i] == j)))
        };
        let weight = inverse(&one.own)?;
        information += design.transpose() * &weight * &design;
        seen += design.transpose() * &weight * &one.values;
        count += one.names.len();
        parts.push((design, weight, one));
    }
    let covariance = inverse(&information)?;
    let x = &covariance * seen;
    let mut squares = 0.0;
    let mut systematic: IndexMap<String, DVector<f64>> = IndexMap::new();
    for (design, weight, one) in &parts {
        let left = &one.values - design * &x;
        squares += (left.transpose() * weight * &left)[(0, 0)];
        // All firings err together, so what each hands on to the common values adds up.
        for term in &one.systematic {
            let handed_on = &covariance * design.transpose() * weight * moves(term, &one.names);
            let sum = systematic.entry(term.source.clone());
            *sum.or_insert_with(|| DVector::zeros(k)) += handed_on;
        }
    }
    let freedom = count as f64 - k as f64;
    let law = (freedom > 0.0)
        .then(|| ChiSquared::new(freedom).ok())
        .flatten();
    let p = law.map(|law| (1.0 - law.cdf(squares)).clamp(0.0, 1.0));
    let ratio = if freedom > 0.0 {
        squares / freedom
    } else {
        1.0
    };
    let raised = if p.is_some_and(|p| p < AGREE_FROM) {
        ratio.max(1.0)
    } else {
        1.0
    };
    let mut covariance = covariance * raised;
    for moved in systematic.values() {
        covariance += moved * moved.transpose();
    }
    Some(CommonEstimates {
        covariance,
        systematic,
        x,
        ratio,
        p,
    })
}

/// Inverse of a symmetric matrix whose rows have very unlike sizes.
fn inverse(matrix: &DMatrix<f64>) -> Option<DMatrix<f64>> {
    let size: Vec<f64> = matrix.diagonal().iter().map(|d| d.sqrt()).collect();
    let scaled = DMatrix::from_fn(size.len(), size.len(), |i, j| {
        matrix[(i, j)] / (size[i] * size[j])
    });
    let back = scaled.cholesky()?.inverse();
    Some(DMatrix::from_fn(size.len(), size.len(), |i, j| {
        back[(i, j)] / (size[i] * size[j])
    }))
}

/// Whether firings agree on one parameter alone: weighted squares about the weighted mean.
fn agreement_on(ones: &[Option<FiringEstimates>], name: Parameter) -> Option<f64> {
    let found: Vec<(f64, f64)> = ones
        .iter()
        .flatten()
        .filter_map(|one| {
            let at = one.names.iter().position(|known| *known == name)?;
            Some((one.values[at], 1.0 / one.own[(at, at)]))
        })
        .collect();
    let weight: f64 = found.iter().map(|one| one.1).sum();
    let mean = found.iter().map(|one| one.0 * one.1).sum::<f64>() / weight;
    let q: f64 = found.iter().map(|one| one.1 * (one.0 - mean).powi(2)).sum();
    let freedom = found.len().checked_sub(1).filter(|freedom| *freedom > 0)?;
    let law = ChiSquared::new(freedom as f64).ok()?;
    Some((1.0 - law.cdf(q)).clamp(0.0, 1.0))
}

/// What all firings speak for together.
struct CommonStructure {
    tried: Vec<Structure>,
    /// The kind of dead band; `None` when they cannot tell.
    dead_band: Option<DeadBandKind>,
    /// Whether the actuator is one of second order.
    second_order: bool,
}

/// Scores of all firings added up, and the structure they speak for together.
fn structures(plants: &[Option<&AxisPlant>]) -> CommonStructure {
    let mut sums: Vec<(Structure, usize)> = Vec::new();
    let of_all = plants
        .iter()
        .flatten()
        .flat_map(|plant| &plant.fit.structures);
    for tried in of_all {
        let same = |sum: &&mut (Structure, usize)| {
            sum.0.dead_band == tried.dead_band && sum.0.second_order == tried.second_order
        };
        match sums.iter_mut().find(same) {
            Some(sum) => {
                sum.0.score += tried.score;
                sum.1 += 1;
            }
            None => sums.push((tried.clone(), 1)),
        }
    }
    // A structure that some firing did not try has no sum to compare.
    let most = sums.iter().map(|sum| sum.1).max().unwrap_or(0);
    sums.retain(|sum| sum.1 == most);
    let mut tried: Vec<Structure> = sums.into_iter().map(|sum| sum.0).collect();
    tried.sort_by(|a, b| a.score.total_cmp(&b.score));
    let first = tried.first().cloned();
    let others = |first: &Structure| {
        let mut others = tried
            .iter()
            .filter(|other| other.dead_band != first.dead_band);
        others
            .next()
            .map_or(f64::INFINITY, |other| other.score - first.score)
    };
    let kinds: Vec<DeadBandKind> = plants
        .iter()
        .flatten()
        .filter_map(|plant| plant.actuator.dead_band.kind)
        .collect();
    let dead_band = match &first {
        Some(best) if best.dead_band != DeadBandKind::None && others(best) >= STRONG_LEAD => {
            Some(best.dead_band)
        }
        // None cannot win by a lead; it takes a firing that was sure of it, and none that was not.
        Some(best)
            if best.dead_band == DeadBandKind::None
                && kinds.iter().all(|kind| *kind == DeadBandKind::None) =>
        {
            kinds.first().copied()
        }
        _ => None,
    };
    // Where each found the same order by itself that is it; else the sum tells.
    let mut orders = plants
        .iter()
        .flatten()
        .map(|plant| plant.actuator.damping_ratio.is_some());
    let own = orders.next().unwrap_or(false);
    let alike = orders.all(|order| order == own);
    let second_order = if alike {
        own
    } else {
        first.is_some_and(|best| best.second_order)
    };
    for one in &mut tried {
        one.chosen = dead_band == Some(one.dead_band) && one.second_order == second_order;
    }
    CommonStructure {
        tried,
        dead_band,
        second_order,
    }
}

fn findings(parameters: &[PooledParameter], solved: &CommonEstimates) -> Vec<Finding> {
    let Some(p) = solved.p else { return vec![] };
    let outcome = if p >= AGREE_FROM {
        Outcome::Holds
    } else {
        Outcome::Fails
    };
    let mut all = Finding::plain(
        "the firings agree on the parameters they share",
        outcome,
        format!(
            "weighted squares about the common values, probability {p:.4} at least {AGREE_FROM}"
        ),
        "Cochran 1954",
    );
    if outcome == Outcome::Fails {
        let least = |a: &&PooledParameter, b: &&PooledParameter| {
            let of = |one: &PooledParameter| one.agreement_p.unwrap_or(1.0);
            of(a).total_cmp(&of(b))
        };
        let worst = parameters.iter().filter(|one| one.shared).min_by(least);
        let name = worst.map_or("a parameter", |one| one.name.key());
        all = all.advice(format!(
            "uncertainties are raised by {:.2}; {name} differs most: look for what changed between \
             the firings, or let it differ with --differ {name}",
            solved.ratio.max(1.0).sqrt()
        ));
    }
    vec![all]
}

#[cfg(test)]
#[path = "pool_tests.rs"]
mod tests;
