//! Of which order the actuator is: one pole, or two.
//!
//! An actuator of second order has q = 1/(4 damping ratio^2), which is 0 for one of first order. A priori the two are alike
//! probable, and q of the second anywhere from [`LEAST`] to [`LARGEST`]; with less its second pole is so fast that it does what delay does, to
//! the record and to a loop alike, and is counted as delay. All other parameters are fitted anew at each point of a grid of q,
//! and the sum of the likelihoods over the cells of the grid is the evidence of the second order (Kass & Raftery 1995): no
//! curvature is asked for, for towards q = 0 there is none. Points whose likelihood is next to
//! nothing end the grid.
//!
//! Where the evidence is not strong, lag and delay are those of the plainer order with an interval over both: the mixture of what each point
//! of the grid says by its probability.

use super::DeadBandKind;
use super::measurement_model::{DELAY, LAG, MeasurementModel, StructureFit, fit_from};
use super::parameter::Parameter;
use crate::quantity::Measured;

/// The grid of q: damping ratios from 1.8 down to 0.4.
const GRID: [f64; 7] = [0.08, 0.12, 0.2, 0.35, 0.6, 1.0, 1.6];
/// Least q, a damping ratio of 2: the second pole is then a fourteenth of the first, and a fifteenth of the lag.
const LEAST: f64 = 0.0625;
/// Largest q, a damping ratio of 0.35: less damped servos are not sold to steer.
const LARGEST: f64 = 2.0;
/// Twice the log-likelihood below the best at which the grid ends.
const NOTHING: f64 = 20.0;

/// What the grid of q says of the order.
#[derive(Debug, Clone)]
pub(crate) struct OrderEvidence {
    /// Probability of each point against first order and all others, and all parameters there.
    points: Vec<(f64, Vec<f64>)>,
    /// By how much the evidence of second order leads, as twice a log-likelihood.
    pub lead: f64,
    /// What second order costs for its freedom: its evidence is that much less than the likelihood at its best.
    pub cost: f64,
}

impl OrderEvidence {
    /// The evidence beside a fit of first order; `twice_log` is twice the negative log-likelihood of a sum of squares. `None` where the
    /// model has no actuator to be of any order, or a slew limit.
    pub(crate) fn of<M: MeasurementModel>(
        model: &M,
        first: &StructureFit,
        twice_log: &dyn Fn(f64) -> f64,
    ) -> Option<Self> {
        if model.is_fixed(Parameter::DampingRatio) || !model.is_fixed(Parameter::Slew) {
            return None;
        }
        let at = M::at(Parameter::DampingRatio);
        let none = twice_log(first.cost());
        let mut x = first.minimum.x.clone();
        let (mut before, mut best) = (0.0, none);
        let mut found: Vec<(f64, f64, Vec<f64>)> = Vec::new();
        for (nth, q) in GRID.into_iter().enumerate() {
            // A small second pole takes from the delay what it adds to the lag.
            let by_s = ((q - before) * x[LAG]).min(x[DELAY]);
            (x[LAG], x[DELAY]) = (x[LAG] + by_s, x[DELAY] - by_s);
            x[at] = 0.5 / q.sqrt();
            let fit = fit_from(model, first.kind, &x, Some(Parameter::DampingRatio));
            let here = twice_log(fit.cost());
            x.clone_from(&fit.minimum.x);
            let middle = |one: Option<&f64>, or: f64| one.map_or(or, |one| 0.5 * (one + q));
            let cell = middle(GRID.get(nth + 1), LARGEST)
                - middle(nth.checked_sub(1).and_then(|nth| GRID.get(nth)), LEAST);
            found.push((cell / (LARGEST - LEAST), here, fit.minimum.x));
            (before, best) = (q, best.min(here));
            if here > best + NOTHING {
                break;
            }
        }
        let size = |share: f64, here: f64| share * (-0.5 * (here - best)).exp();
        let first = size(1.0, none);
        let second: f64 = found
            .iter()
            .map(|(share, here, _)| size(*share, *here))
            .sum();
        let least = found.iter().map(|one| one.1).fold(f64::INFINITY, f64::min);
        let lead = 2.0 * (second / first).ln();
        let point = |(share, here, x)| (size(share, here) / (first + second), x);
        Some(Self {
            points: found.into_iter().map(point).collect(),
            lead,
            cost: none - least - lead,
        })
    }

    /// The free fit of second order from the best point of the grid.
    pub(crate) fn refine<M: MeasurementModel>(
        &self,
        model: &M,
        kind: DeadBandKind,
    ) -> Option<StructureFit> {
        let best = self.points.iter().max_by(|a, b| a.0.total_cmp(&b.0))?;
        Some(fit_from(model, kind, &best.1, None))
    }

    /// A result of first order where the actuator may be one of second: as sure at each point as the result is, and
    /// elsewhere by as much as `of` says.
    pub(crate) fn in_either_order(
        &self,
        measured: &Measured,
        best: &[f64],
        of: &dyn Fn(&[f64]) -> f64,
    ) -> Measured {
        let moved = |x: &[f64]| {
            let by = of(x) - of(best);
            let (value, low, high) = (measured.value + by, measured.low + by, measured.high + by);
            Measured::interval(value, measured.u, low, high, measured.unit)
        };
        let others: Vec<(f64, Measured)> = self
            .points
            .iter()
            .map(|(probability, x)| (*probability, moved(x)))
            .collect();
        measured.mixed_with(&others)
    }
}
