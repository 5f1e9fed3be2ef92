//! Which model structure the record speaks for: which dead band, and an actuator of first or of second order.
//!
//! Each kind of dead band is fitted and scored by the Bayesian information criterion (Schwarz 1978) with the
//! number of independent readings in place of all: n_eff ln(SSE/n) + k ln(n_eff). A lead of 6 is
//! "strong" (Kass & Raftery 1995) and is asked for before a kind is named. No dead band cannot win
//! by more than ln(n_eff), so it is named when it scores best and the profile of both other kinds
//! ends below a small share of the command's size. Anything else is undecided.
//!
//! The order is weighed by its evidence ([`super::order`]), beside the best kind of dead band; where second order is not hopeless it
//! is fitted with every kind, and the kinds of the order that is taken compete.

use nalgebra::DMatrix;

use super::excitation::NEGLIGIBLE_SHARE;
use super::fit_uncertainty::FitUncertainty;
use super::measurement_model::{DELAY, LAG, MeasurementModel, StructureFit, WIDTH, refine, scan};
use super::order::OrderEvidence;
use super::{DeadBandKind, Structure, fit_uncertainty};
use crate::numeric::autocorrelation::repetition;
use crate::quantity::Measured;

/// Lead in score before a kind is named (Kass & Raftery 1995, "strong").
pub(crate) const STRONG_LEAD: f64 = 6.0;
/// Lag and delay together are searched up to this many times what they are without a dead band...
const SLOWER: f64 = 1.5;
/// ... and this much more, s: two steps of the scan's grid.
const SLOWER_S: f64 = 0.01;

/// Evidence of second order from which on its fits are looked for: what trails by more would hardly be taken.
const NOT_HOPELESS: f64 = -2.0;

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
    /// What is said of the order beside the best kind; `None` where it was not asked.
    order: Option<OrderEvidence>,
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
    let twice_log = |cost: f64| independent * (cost.max(f64::MIN_POSITIVE) / n).ln();
    let scored = |fit: StructureFit| {
        let free = fit.minimum.free.iter().filter(|free| **free).count() as f64;
        let score = twice_log(fit.cost()) + free * independent.ln();
        ScoredStructure { fit, score }
    };
    let mut ranked: Vec<ScoredStructure> = fits.into_iter().map(scored).collect();
    // Equal scores (a width pressed to zero) go to the plainer structure, which was tried first.
    let by_score = |a: &ScoredStructure, b: &ScoredStructure| a.score.total_cmp(&b.score);
    ranked.sort_by(by_score);
    let order = OrderEvidence::of(model, &ranked[0].fit, &twice_log);
    if let Some(order) = order.as_ref().filter(|order| order.lead > NOT_HOPELESS) {
        let second = |first: &ScoredStructure| {
            let fit = order.refine(model, first.fit.kind)?;
            let gain = twice_log(first.fit.cost()) - twice_log(fit.cost());
            let score = first.score - gain + order.cost;
            Some(ScoredStructure { fit, score })
        };
        let of_second: Vec<ScoredStructure> = ranked.iter().filter_map(second).collect();
        ranked.extend(of_second);
        ranked.sort_by(by_score);
        // The plainer order, until the other has strong evidence; the two are weighed together all the same.
        let taken = second_order_lead(&ranked) >= STRONG_LEAD;
        ranked.sort_by_key(|scored| scored.fit.second_order != taken);
    }
    let mut choice = StructureChoice {
        ranked,
        independent,
        decided: None,
        width_u_deg: None,
        width_limit_deg: None,
        order,
    };
    decide(model, &mut choice);
    Some(choice)
}

/// By how much the best structure of second order leads that of first order in score.
fn second_order_lead(scored: &[ScoredStructure]) -> f64 {
    let best = |second: bool| {
        let of = scored
            .iter()
            .filter(|scored| scored.fit.second_order == second);
        of.map(|scored| scored.score).fold(f64::INFINITY, f64::min)
    };
    best(false) - best(true)
}

fn decide(model: &impl MeasurementModel, choice: &mut StructureChoice) {
    // Where the order is sure only its fits count: a second pole that is left out looks like a dead band.
    let sure = choice.second_order_lead().abs() >= STRONG_LEAD;
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

    /// The best fit of first order.
    #[must_use]
    pub fn of_first_order(&self) -> Option<&StructureFit> {
        let mut fits = self.ranked.iter().map(|scored| &scored.fit);
        fits.find(|fit| !fit.second_order)
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
        let (mut square, mut sum) = (0.0, 0.0);
        for (fit, weight) in self.weighed() {
            square += weight * (of(fit) - of(best)).powi(2);
            sum += weight;
        }
        (square / sum).sqrt()
    }

    /// The structures of the order that is taken, with their probability. Where a width and another parameter do the very
    /// same, searches with a width end anywhere between the two, so that no dead band stands alone.
    fn weighed(&self) -> impl Iterator<Item = (&StructureFit, f64)> {
        let (best, alone) = (self.best(), self.assumes_none());
        let counts = move |fit: &StructureFit| {
            fit.second_order == best.second_order && (!alone || fit.kind == best.kind)
        };
        let each = self.ranked.iter().map(|scored| &scored.fit);
        each.zip(self.weights()).filter(move |(fit, _)| counts(fit))
    }

    /// A result of first order with what second order would make of it; one of second order, which is taken only where it
    /// is all but sure, as it is.
    #[must_use]
    pub fn in_either_order(&self, measured: Measured, of: &dyn Fn(&[f64]) -> f64) -> Measured {
        let best = self.best();
        match &self.order {
            Some(order) if !best.second_order => {
                order.in_either_order(&measured, &best.minimum.x, of)
            }
            _ => measured,
        }
    }

    /// Covariance of what steers between structures of the order that is taken, weighted by their probability.
    #[must_use]
    pub fn disagreement_of_kinds(&self) -> DMatrix<f64> {
        let best = self.best();
        let centre = &best.minimum.x;
        let mut out = DMatrix::zeros(centre.len(), centre.len());
        let mut sum = 0.0;
        for (fit, weight) in self.weighed() {
            sum += weight;
            let x = &fit.minimum.x;
            for i in 0..=WIDTH {
                for j in 0..=WIDTH {
                    out[(i, j)] += weight * (x[i] - centre[i]) * (x[j] - centre[j]);
                }
            }
        }
        out / sum
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

    /// By how much second order leads first order, as twice a log-likelihood.
    #[must_use]
    pub fn second_order_lead(&self) -> f64 {
        let tried = self.ranked.iter().any(|scored| scored.fit.second_order);
        match &self.order {
            Some(order) if !tried => order.lead,
            _ => second_order_lead(&self.ranked),
        }
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
