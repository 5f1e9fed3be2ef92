//! Which model structure the record speaks for: which dead band, and an actuator of first or of second order.
//!
//! Each kind of dead band is fitted and scored by the Bayesian information criterion (Schwarz 1978) with the
//! number of independent readings in place of all: n_eff ln(SSE/n) + k ln(n_eff). A lead of 6 is
//! "strong" (Kass & Raftery 1995) and is asked for before a kind is named. No dead band cannot win
//! by more than ln(n_eff), so it is named when it scores best and the profile of both other kinds
//! ends below a small share of the command's size. Anything else is undecided.
//!
//! The order is weighed by its evidence. An actuator of second order has q = 1/(4 damping ratio^2), which is 0 for one
//! of first order and a priori as likely to lie anywhere from 0 to 1; the Bayes factor by Laplace's approximation (Kass
//! & Raftery 1995) is exp(gain / 2) u(q) sqrt(2 pi) P, with P the share of the normal law N(q, u(q)) within 0 and
//! 1. Where the record cannot tell the two apart it is 1, and lag and delay carry what they disagree by
//! ([`StructureChoice::disagreement`]): seen from tilt, a second pole is much like more delay.

use nalgebra::DMatrix;

use super::excitation::NEGLIGIBLE_SHARE;
use super::fit_uncertainty::FitUncertainty;
use super::measurement_model::{
    DELAY, LAG, MeasurementModel, StructureFit, WIDTH, fit_from, refine, scan,
};
use super::parameter::Parameter;
use super::{DeadBandKind, Structure, fit_uncertainty};
use crate::numeric::autocorrelation::repetition;
use crate::quantity::Measured;
use crate::quantity::measured::normal_below;

/// Lead in score before a kind is named (Kass & Raftery 1995, "strong").
pub(crate) const STRONG_LEAD: f64 = 6.0;
/// Lag and delay together are searched up to this many times what they are without a dead band...
const SLOWER: f64 = 1.5;
/// ... and this much more, s: two steps of the scan's grid.
const SLOWER_S: f64 = 0.01;

/// Where the search for an actuator of second order starts: damping ratio, and the share of the first-order lag by which
/// its lag is longer and its delay shorter.
const SECOND_ORDER_STARTS: [(f64, f64); 2] = [(1.2, 0.15), (0.7, 0.35)];
/// A second order this far behind in score with the best kind of dead band is not tried with the others.
const HOPELESS: f64 = 4.0;

/// The kinds in the order they are tried.
const KINDS: [DeadBandKind; 3] = [
    DeadBandKind::None,
    DeadBandKind::DeadZone,
    DeadBandKind::Play,
];

/// A fit with its score.
#[derive(Debug, Clone)]
pub struct ScoredStructure {
    /// The fit.
    pub fit: StructureFit,
    /// Score; lower is better.
    pub score: f64,
    /// Covariance of its parameters, of one of second order.
    covariance: Option<DMatrix<f64>>,
}

/// All kinds, and what the record says of them.
#[derive(Debug, Clone)]
pub struct StructureChoice {
    /// Fits, those of the order that is taken first, each order's best score first.
    pub ranked: Vec<ScoredStructure>,
    /// The kind the record speaks for; `None` when it cannot tell.
    pub decided: Option<DeadBandKind>,
    /// Number of independent readings.
    pub independent: f64,
    /// Standard uncertainty of the width under the best kind that has one, deg.
    pub width_u_deg: Option<f64>,
    /// Upper end of the width's interval under the kinds that lost to none, deg.
    pub width_limit_deg: Option<f64>,
}

/// Fits every kind of dead band and weighs them.
pub(crate) fn choose(model: &impl MeasurementModel) -> Option<StructureChoice> {
    let mut fits: Vec<StructureFit> = Vec::new();
    let mut slowest_s = f64::INFINITY;
    for kind in KINDS {
        fits.extend(refine(model, kind, &scan(model, kind, slowest_s)));
        // Play delays by itself, so with it lag and delay are shorter than without, not longer.
        if let (DeadBandKind::None, Some(none)) = (kind, fits.first()) {
            slowest_s = SLOWER * (none.minimum.x[LAG] + none.minimum.x[DELAY]) + SLOWER_S;
        }
    }
    let best = fits.iter().min_by(|a, b| a.cost().total_cmp(&b.cost()))?;
    let n = best.minimum.residuals.len() as f64;
    let independent = n / repetition(best.minimum.residuals.as_slice());
    let scored = |fit: StructureFit| {
        let free = fit.minimum.free.iter().filter(|free| **free).count() as f64;
        let score = independent * mean_square(&fit).ln() + free * independent.ln();
        ScoredStructure {
            fit,
            score,
            covariance: None,
        }
    };
    let mut ranked: Vec<ScoredStructure> = fits.into_iter().map(scored).collect();
    // Equal scores (a width pressed to zero) go to the plainer structure, which was tried first.
    let by_score = |a: &ScoredStructure, b: &ScoredStructure| a.score.total_cmp(&b.score);
    ranked.sort_by(by_score);
    ranked.extend(of_second_order(model, &ranked, independent));
    ranked.sort_by(by_score);
    // The plainer order, until the other has strong evidence; the two are weighed together all the same.
    let second_order = second_order_lead(&ranked).is_some_and(|lead| lead >= STRONG_LEAD);
    ranked.sort_by_key(|scored| scored.fit.second_order != second_order);
    let mut choice = StructureChoice {
        ranked,
        independent,
        decided: None,
        width_u_deg: None,
        width_limit_deg: None,
    };
    decide(model, &mut choice);
    Some(choice)
}

/// The same kinds of dead band with an actuator of second order, where that is not hopeless.
fn of_second_order<M: MeasurementModel>(
    model: &M,
    first_order: &[ScoredStructure],
    independent: f64,
) -> Vec<ScoredStructure> {
    let mut out = Vec::new();
    if model.is_fixed(Parameter::DampingRatio) || !model.is_fixed(Parameter::Slew) {
        return out;
    }
    let at = M::at(Parameter::DampingRatio);
    for first in first_order {
        let begin = |(damping_ratio, longer): (f64, f64)| {
            let mut x = first.fit.minimum.x.clone();
            let by_s = longer * x[LAG];
            x[LAG] += by_s;
            x[DELAY] = (x[DELAY] - by_s).max(0.0);
            x[at] = damping_ratio;
            fit_from(model, first.fit.kind, &x, None)
        };
        let fits = SECOND_ORDER_STARTS.into_iter().map(begin);
        let Some(fit) = fits.min_by(|a, b| a.cost().total_cmp(&b.cost())) else {
            continue;
        };
        let gain = independent * (mean_square(&first.fit) / mean_square(&fit)).ln();
        let mut freed = fit.minimum.clone();
        freed.free[at] = true;
        let uncertainty = fit_uncertainty::fit_uncertainty(&freed);
        let share = uncertainty
            .as_ref()
            .map_or(1.0, |of| prior_share(fit.minimum.x[at], of.u(at)));
        let score = first.score - gain - 2.0 * share.ln();
        out.push(ScoredStructure {
            fit,
            score,
            covariance: uncertainty.map(|of| of.covariance),
        });
        if score > first_order[0].score + HOPELESS {
            break;
        }
    }
    out
}

/// u(q) sqrt(2 pi) P for a damping ratio and its standard uncertainty: 1 where the record says nothing of it.
fn prior_share(ratio: f64, u: f64) -> f64 {
    let q = 0.25 / (ratio * ratio);
    let u = 0.5 * u / ratio.powi(3);
    let within = normal_below((1.0 - q) / u) - normal_below(-q / u);
    (u * std::f64::consts::TAU.sqrt() * within).clamp(f64::MIN_POSITIVE, 1.0)
}

/// By how much the best structure of second order leads that of first order in score; `None` where none was tried.
fn second_order_lead(scored: &[ScoredStructure]) -> Option<f64> {
    let best = |second: bool| {
        let of = scored
            .iter()
            .filter(|scored| scored.fit.second_order == second);
        of.map(|scored| scored.score).min_by(f64::total_cmp)
    };
    Some(best(false)? - best(true)?)
}

fn mean_square(fit: &StructureFit) -> f64 {
    fit.cost().max(f64::MIN_POSITIVE) / fit.minimum.residuals.len() as f64
}

fn decide(model: &impl MeasurementModel, choice: &mut StructureChoice) {
    // Where the order is sure only its fits count: a second pole that is left out looks like a dead band.
    let sure = choice
        .second_order_lead()
        .is_some_and(|lead| lead.abs() >= STRONG_LEAD);
    let taken = choice.ranked[0].fit.second_order;
    let of_order = |scored: &&ScoredStructure| !sure || scored.fit.second_order == taken;
    let banded: Vec<&StructureFit> = (choice.ranked.iter().filter(of_order))
        .map(|scored| &scored.fit)
        .filter(|fit| fit.kind != DeadBandKind::None)
        .collect();
    let Some(leading) = banded.first() else {
        return;
    };
    choice.width_u_deg = width_spread(leading).map(|(_, uncertainty)| uncertainty.u(WIDTH));
    let first = &choice.ranked[0];
    let least = |same: bool| {
        let of = choice.ranked.iter().filter(of_order);
        let of = of.filter(|scored| (scored.fit.kind == first.fit.kind) == same);
        of.map(|scored| scored.score).fold(f64::INFINITY, f64::min)
    };
    let lead = least(false) - least(true);
    if first.fit.kind != DeadBandKind::None && lead >= STRONG_LEAD {
        choice.decided = Some(first.fit.kind);
        return;
    }
    let limit = banded
        .iter()
        .map(|fit| upper_width(model, fit))
        .fold(0.0, f64::max);
    // A width pressed to zero ties with none.
    let none_leads = first.fit.kind == DeadBandKind::None || first.fit.minimum.x[WIDTH] <= 0.0;
    if none_leads && limit <= NEGLIGIBLE_SHARE * model.movement().deviation_deg {
        choice.decided = Some(DeadBandKind::None);
    }
    choice.width_limit_deg = Some(limit);
}

/// The fit with its width freed and the covariance there: a width on its bound still has a curvature.
fn width_spread(fit: &StructureFit) -> Option<(StructureFit, FitUncertainty)> {
    let mut freed = fit.clone();
    freed.minimum.free[WIDTH] = true;
    let uncertainty = fit_uncertainty::fit_uncertainty(&freed.minimum)?;
    Some((freed, uncertainty))
}

/// Upper end of the interval of a width.
fn upper_width(model: &impl MeasurementModel, fit: &StructureFit) -> f64 {
    width_spread(fit).map_or(model.movement().widest_deg, |(freed, uncertainty)| {
        fit_uncertainty::profile(model, &freed, &uncertainty, WIDTH).high
    })
}

impl StructureChoice {
    /// The fit that lag, delay and the rest are taken from: that of the kind decided; when the
    /// record cannot tell, the best of those with a width, since a width of zero is none and a
    /// width left out by mistake would lean on lag and delay. Where a width and a gain do the very
    /// same (a command of two levels), that of no dead band.
    #[must_use]
    pub fn best(&self) -> &StructureFit {
        let banded = |scored: &&ScoredStructure| scored.fit.kind != DeadBandKind::None;
        let tellable = self.decided.is_none() && self.width_u_deg.is_some();
        let leading = self.ranked.iter().find(banded).filter(|_| tellable);
        let plainest = || {
            let none = |scored: &&ScoredStructure| scored.fit.kind == DeadBandKind::None;
            self.ranked
                .iter()
                .find(none)
                .filter(|_| self.decided.is_none())
        };
        &leading.or_else(plainest).unwrap_or(&self.ranked[0]).fit
    }

    /// The other structures that the record leaves open beside the one that numbers are taken from.
    /// Where a width and a gain do the very same, what holds is said of no dead band alone.
    #[must_use]
    pub fn open_beside_best(&self) -> Vec<&StructureFit> {
        if self.decided.is_some() || self.assumes_none() {
            return vec![];
        }
        let best = self.best().kind;
        let fits = self.ranked.iter().map(|scored| &scored.fit);
        fits.filter(|fit| fit.kind != best).collect()
    }

    /// Whether a width and another parameter do the very same, so that none had to be assumed.
    #[must_use]
    pub fn assumes_none(&self) -> bool {
        self.decided.is_none() && self.width_u_deg.is_none()
    }

    /// How probable each ranked structure is by its score (Kass & Raftery 1995), as shares of 1.
    #[must_use]
    pub fn weights(&self) -> Vec<f64> {
        let scores = self.ranked.iter().map(|scored| scored.score);
        let least = scores.fold(f64::INFINITY, f64::min);
        let raw: Vec<f64> = self
            .ranked
            .iter()
            .map(|scored| (-0.5 * (scored.score - least)).exp())
            .collect();
        let sum: f64 = raw.iter().sum();
        raw.iter().map(|weight| weight / sum).collect()
    }

    /// Standard deviation, between structures of the order that is taken, of anything that a fit says, weighted by their
    /// probability.
    #[must_use]
    pub fn disagreement(&self, of: &dyn Fn(&StructureFit) -> f64) -> f64 {
        let best = self.best();
        let weighted = self.ranked.iter().zip(self.weights());
        let (mut square, mut sum) = (0.0, 0.0);
        for (scored, weight) in weighted {
            if scored.fit.second_order == best.second_order {
                square += weight * (of(&scored.fit) - of(best)).powi(2);
                sum += weight;
            }
        }
        (square / sum).sqrt()
    }

    /// A result as it is when the actuator may be one of the other order: `of` gives what its best fit says and, from
    /// its covariance, the variance; one of first order is as sure as the result is.
    #[must_use]
    pub fn in_either_order(
        &self,
        measured: &Measured,
        of: &dyn Fn(&StructureFit) -> f64,
        variance: &dyn Fn(&DMatrix<f64>) -> f64,
    ) -> Measured {
        let taken = self.best().second_order;
        let mut probability = 0.0;
        let mut other: Option<&ScoredStructure> = None;
        for (scored, weight) in self.ranked.iter().zip(self.weights()) {
            if scored.fit.second_order != taken {
                probability += weight;
                other = other.or(Some(scored));
            }
        }
        let Some(other) = other else {
            return measured.clone();
        };
        let u = other
            .covariance
            .as_ref()
            .map_or(measured.u, |of| variance(of).max(0.0).sqrt());
        let other = Measured::normal(of(&other.fit), u, measured.unit);
        measured.mixed_with(&other, probability)
    }

    /// Covariance of parameters between structures, weighted by their probability; zero for those not asked for. What
    /// one structure gives to the lag it takes from the delay, so their sum hardly moves. Of one order alone where
    /// that is asked for.
    #[must_use]
    pub fn disagreement_between(&self, indices: &[usize], both_orders: bool) -> DMatrix<f64> {
        let best = self.best();
        let centre = &best.minimum.x;
        let mut out = DMatrix::zeros(centre.len(), centre.len());
        for (scored, weight) in self.ranked.iter().zip(self.weights()) {
            if !both_orders && scored.fit.second_order != best.second_order {
                continue;
            }
            let x = &scored.fit.minimum.x;
            for &i in indices {
                for &j in indices {
                    out[(i, j)] += weight * (x[i] - centre[i]) * (x[j] - centre[j]);
                }
            }
            // What it is less sure of, lag and delay have from each other.
            let Some(own) = scored.covariance.as_ref().filter(|_| !best.second_order) else {
                continue;
            };
            for i in [LAG, DELAY] {
                for j in [LAG, DELAY] {
                    out[(i, j)] += weight * own[(i, j)];
                }
            }
        }
        out
    }

    /// How far any structure is from the best in what a fit says.
    #[must_use]
    pub fn farthest_apart(&self, of: &dyn Fn(&StructureFit) -> f64) -> f64 {
        let centre = of(self.best());
        let ranked = self.ranked.iter();
        ranked
            .map(|scored| (of(&scored.fit) - centre).abs())
            .fold(0.0, f64::max)
    }

    /// By how much the best structure of second order leads that of first order in score; `None` where none was tried.
    #[must_use]
    pub fn second_order_lead(&self) -> Option<f64> {
        second_order_lead(&self.ranked)
    }

    /// How many standard uncertainties wide a dead band had to come out to be named at all: its
    /// gain of twice the log-likelihood is the square of that number.
    #[must_use]
    pub fn naming_threshold(&self) -> f64 {
        (STRONG_LEAD + self.independent.ln()).max(0.0).sqrt()
    }

    /// As the results show it.
    #[must_use]
    pub fn structures(&self) -> Vec<Structure> {
        let structure = |scored: &ScoredStructure| Structure {
            dead_band: scored.fit.kind,
            second_order: scored.fit.second_order,
            score: scored.score,
            chosen: self.decided == Some(scored.fit.kind)
                && scored.fit.second_order == self.best().second_order,
        };
        self.ranked.iter().map(structure).collect()
    }
}
