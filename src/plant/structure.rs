//! Which model structure, that is which dead band, the record speaks for.
//!
//! Each kind is fitted and scored by the Bayesian information criterion (Schwarz 1978) with the
//! number of independent readings in place of all: n_eff ln(SSE/n) + k ln(n_eff). A lead of 6 is
//! "strong" (Kass & Raftery 1995) and is asked for before a kind is named. No dead band cannot win
//! by more than ln(n_eff), so it is named when it scores best and the profile of both other kinds
//! ends below a small share of the command's size. Anything else is undecided.

use super::excitation::NEGLIGIBLE_SHARE;
use super::fit_uncertainty::FitUncertainty;
use super::measurement_model::{DELAY, LAG, MeasurementModel, StructureFit, WIDTH, refine, scan};
use super::{DeadBandKind, Structure, fit_uncertainty};
use crate::numeric::autocorrelation::repetition;

/// Lead in score before a kind is named (Kass & Raftery 1995, "strong").
pub(crate) const STRONG_LEAD: f64 = 6.0;
/// Lag and delay together are searched up to this many times what they are without a dead band...
const SLOWER: f64 = 1.5;
/// ... and this much more, s: two steps of the scan's grid.
const SLOWER_S: f64 = 0.01;

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
    /// Fits, best score first.
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
    let mut ranked: Vec<ScoredStructure> = fits
        .into_iter()
        .map(|fit| {
            let free = fit.minimum.free.iter().filter(|free| **free).count() as f64;
            let score = independent * (fit.cost().max(f64::MIN_POSITIVE) / n).ln()
                + free * independent.ln();
            ScoredStructure { fit, score }
        })
        .collect();
    // Equal scores (a width pressed to zero) go to the plainer structure, which was tried first.
    ranked.sort_by(|a, b| a.score.total_cmp(&b.score));
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

fn decide(model: &impl MeasurementModel, choice: &mut StructureChoice) {
    let banded: Vec<&StructureFit> = choice
        .ranked
        .iter()
        .map(|scored| &scored.fit)
        .filter(|fit| fit.kind != DeadBandKind::None)
        .collect();
    let Some(leading) = banded.first() else {
        return;
    };
    choice.width_u_deg = width_spread(leading).map(|(_, uncertainty)| uncertainty.u(WIDTH));
    let first = &choice.ranked[0];
    let lead = choice
        .ranked
        .get(1)
        .map_or(f64::INFINITY, |second| second.score - first.score);
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
        let least = self.ranked[0].score;
        let raw: Vec<f64> = self
            .ranked
            .iter()
            .map(|scored| (-0.5 * (scored.score - least)).exp())
            .collect();
        let sum: f64 = raw.iter().sum();
        raw.iter().map(|weight| weight / sum).collect()
    }

    /// Standard deviation of a parameter between structures, weighted by their probability.
    #[must_use]
    pub fn disagreement(&self, index: usize) -> f64 {
        let centre = self.best().minimum.x[index];
        let weights = self.weights();
        let square: f64 = self
            .ranked
            .iter()
            .zip(weights)
            .map(|(scored, weight)| weight * (scored.fit.minimum.x[index] - centre).powi(2))
            .sum();
        square.sqrt()
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
            score: scored.score,
            chosen: self.decided == Some(scored.fit.kind),
        };
        self.ranked.iter().map(structure).collect()
    }
}
