//! Thrust: load less zero line and weight, and what its uncertainty does to any weighted sum of it.
//!
//! For a load L(t), the zero line is
//!
//! ```text
//! b(t) = b0 + (b1 - b0 - s w) tau(t) + s w q(t)
//! ```
//!
//! with b0 and b1 the rest before and after, tau the share of time between their middles (drift),
//! w the weight of the propellant, s its sign by the mount, and q the share of impulse delivered so
//! far (propellant burns in proportion to it). q depends on thrust, so the line is found by
//! repetition. Any weighted sum of thrust values is linear in readings, rests and curve
//! coefficients; [`ThrustTrace::terms`] carries their uncertainties through (JCGM 100:2008, 5.2).

use super::load::Load;
use super::zero::ZeroLine;
use crate::numeric::polynomial::quadratic_form;
use crate::numeric::trapezoid;
use crate::series::Series;
use crate::uncertainty::Term;

/// Repetitions of thrust and zero line; each gains about two digits.
const ROUNDS: usize = 4;

/// Weight of the burnt propellant along thrust.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WeightLoss {
    /// Sign with which lost weight adds to the reading: 1 nozzle down, -1 nozzle up, 0 level.
    pub sign: f64,
    /// Weight burnt, N, and its standard uncertainty; `None` when no mass was given.
    pub weight_n: Option<(f64, f64)>,
}

/// Thrust over time, able to say how sure any weighted sum of it is.
#[derive(Debug, Clone)]
pub struct ThrustTrace {
    /// Thrust, N.
    pub thrust: Series,
    /// Zero line taken off, N.
    pub zero: Series,
    /// Load it was taken from.
    load: Load,
    zero_line: ZeroLine,
    /// Share of impulse delivered, and share of time, at each reading.
    shares: Vec<(f64, f64)>,
    /// What each newton of load is worth in thrust: 1/cos for cells on the ground.
    stretch: Vec<f64>,
    /// Weight loss used, N along the reading, and its standard uncertainty.
    weight_n: (f64, f64),
    /// Change of rest that weight does not explain, N.
    drift_n: f64,
}

/// Takes zero line and weight off a load. `cosine` is cos(tilt + nozzle angle) at each reading, for
/// cells that stay on the ground. `None` when the record has no rest on either side.
#[must_use]
pub fn thrust(
    load: Load,
    zero_line: ZeroLine,
    burn_s: (f64, f64),
    weight: &WeightLoss,
    cosine: Option<&Series>,
) -> Option<ThrustTrace> {
    let stretch: Vec<f64> = load
        .time_s
        .iter()
        .map(|time| 1.0 / cosine.and_then(|cosine| cosine.at(*time)).unwrap_or(1.0))
        .collect();
    let before = zero_line
        .before
        .as_ref()
        .map(|side| (side.time_s, side.rest.mean));
    let after = zero_line
        .after
        .as_ref()
        .map(|side| (side.time_s, side.rest.mean));
    let stated = weight
        .weight_n
        .map(|(weight_n, u)| (weight.sign * weight_n, u));
    let (rest, lost) = settle(before, after, stated, weight.sign)?;
    let mut shares = time_shares(&load.time_s, rest, burn_s);
    let mut thrust = Vec::new();
    let mut zero = Vec::new();
    for _ in 0..ROUNDS {
        zero = shares
            .iter()
            .map(|(q, tau)| rest.0.1 + (rest.1.1 - rest.0.1 - lost.0) * tau + lost.0 * q)
            .collect();
        thrust = load
            .force_n
            .iter()
            .zip(&zero)
            .zip(&stretch)
            .map(|((load, zero), stretch)| (load - zero) * stretch)
            .collect();
        impulse_shares(&Series::new(&load.time_s, &thrust), burn_s, &mut shares);
    }
    Some(ThrustTrace {
        thrust: Series::new(&load.time_s, &thrust),
        zero: Series::new(&load.time_s, &zero),
        drift_n: rest.1.1 - rest.0.1 - lost.0,
        load,
        zero_line,
        shares,
        stretch,
        weight_n: lost,
    })
}

type Point = (f64, f64);

/// Rest before and after, one made from the other where a side is missing, and the weight lost.
fn settle(
    before: Option<Point>,
    after: Option<Point>,
    stated: Option<(f64, f64)>,
    sign: f64,
) -> Option<((Point, Point), (f64, f64))> {
    match (before, after) {
        (Some(b0), Some(b1)) => {
            // Without a stated mass the whole shift is put down to weight where weight acts.
            let shift = if sign == 0.0 {
                (0.0, 0.0)
            } else {
                (b1.1 - b0.1, (b1.1 - b0.1).abs())
            };
            Some(((b0, b1), stated.unwrap_or(shift)))
        }
        (Some(b0), None) => {
            let lost = stated.unwrap_or((0.0, 0.0));
            Some(((b0, (f64::INFINITY, b0.1 + lost.0)), lost))
        }
        (None, Some(b1)) => {
            let lost = stated.unwrap_or((0.0, 0.0));
            Some((((f64::NEG_INFINITY, b1.1 - lost.0), b1), lost))
        }
        (None, None) => None,
    }
}

fn time_shares(time_s: &[f64], rest: (Point, Point), burn_s: (f64, f64)) -> Vec<(f64, f64)> {
    let (t0, t1) = (rest.0.0, rest.1.0);
    time_s
        .iter()
        .map(|time| {
            let tau = if t0.is_finite() && t1.is_finite() {
                ((time - t0) / (t1 - t0)).clamp(0.0, 1.0)
            } else {
                0.0
            };
            let q = ((time - burn_s.0) / (burn_s.1 - burn_s.0)).clamp(0.0, 1.0);
            (q, tau)
        })
        .collect()
}

fn impulse_shares(thrust: &Series, burn_s: (f64, f64), shares: &mut [(f64, f64)]) {
    let cumulated = trapezoid::cumulated(thrust);
    let at = |time: f64| {
        Series::new(thrust.time_s(), &cumulated)
            .at(time)
            .unwrap_or(0.0)
    };
    let (from, to) = (at(burn_s.0), at(burn_s.1));
    for (share, so_far) in shares.iter_mut().zip(&cumulated) {
        if to > from {
            share.0 = ((so_far - from) / (to - from)).clamp(0.0, 1.0);
        }
    }
}

impl ThrustTrace {
    /// Rest before and after.
    #[must_use]
    pub fn zero_line(&self) -> &ZeroLine {
        &self.zero_line
    }

    /// The load the thrust was taken from.
    #[must_use]
    pub fn load(&self) -> &Load {
        &self.load
    }

    /// Change of rest between before and after, N, and the part that weight does not explain.
    #[must_use]
    pub fn shift_n(&self) -> Option<(f64, f64)> {
        let before = self.zero_line.before.as_ref()?;
        let after = self.zero_line.after.as_ref()?;
        Some((after.rest.mean - before.rest.mean, self.drift_n))
    }

    /// Share of total impulse delivered at each reading.
    #[must_use]
    pub fn impulse_fraction(&self) -> Series {
        let q: Vec<f64> = self.shares.iter().map(|share| share.0).collect();
        Series::new(&self.load.time_s, &q)
    }

    /// Standard deviation of the noise of one thrust value, N, and its inflation by correlation.
    #[must_use]
    pub fn noise(&self) -> (f64, f64) {
        self.zero_line.noise().unwrap_or((0.0, 1.0))
    }

    /// Uncertainty terms of the sum of `weights[i] * thrust[i]`, in the unit of weight times newton.
    #[must_use]
    pub fn terms(&self, weights: &[f64]) -> Vec<Term> {
        // Weight of each load reading, after stretching for tilt.
        let direct: Vec<f64> = weights
            .iter()
            .zip(&self.stretch)
            .map(|(w, s)| w * s)
            .collect();
        let sum = |of: &dyn Fn((f64, f64)) -> f64| -> f64 {
            direct
                .iter()
                .zip(&self.shares)
                .map(|(w, share)| w * of(*share))
                .sum()
        };
        let before_only = self.zero_line.after.is_none();
        let after_only = self.zero_line.before.is_none();
        let on_before = if after_only {
            0.0
        } else {
            -sum(&|(_, tau)| 1.0 - tau)
        };
        let on_after = if before_only {
            0.0
        } else {
            -sum(&|(_, tau)| tau)
        };
        let on_after = if after_only { -sum(&|_| 1.0) } else { on_after };
        let on_weight = if before_only {
            -sum(&|(q, _)| q)
        } else if after_only {
            sum(&|(q, _)| 1.0 - q)
        } else {
            -sum(&|(q, tau)| q - tau)
        };
        let (sd, inflation) = self.noise();
        let squares: f64 = direct.iter().map(|w| w * w).sum();
        let mut out = vec![Term::random(
            "noise of the readings",
            sd * (inflation * squares).sqrt(),
        )];
        let sides = [
            ("rest before the burn", &self.zero_line.before, on_before),
            ("rest after the burn", &self.zero_line.after, on_after),
        ];
        for (name, side, weight) in sides {
            if let Some(side) = side {
                out.push(Term::random(name, weight * side.rest.u_mean()));
            }
        }
        out.push(Term::systematic(
            "weight of the burnt propellant",
            on_weight * self.weight_n.1,
        ));
        // Drift may have come early or late: a triangle between the two extremes.
        let covered: f64 = direct.iter().sum();
        let drift = 0.5 * self.drift_n * covered / 6.0_f64.sqrt();
        out.push(Term::systematic("drift of the zero line", drift));
        for cell in 0..self.load.cells.len() {
            out.extend(self.cell_terms(cell, &direct, [on_before, on_after]));
        }
        out
    }

    /// Terms of one cell's curve.
    fn cell_terms(&self, cell: usize, direct: &[f64], on_rest: [f64; 2]) -> Vec<Term> {
        let Some(cell) = self.load.cells.get(cell) else {
            return Vec::new();
        };
        let size = cell.curve.fit.scaled.len();
        let mut gradient = vec![0.0; size];
        let mut force = 0.0;
        let mut add = |weight: f64, load: f64| {
            force += weight * load;
            for (sum, part) in gradient
                .iter_mut()
                .zip(cell.curve.load_per_coefficient(load))
            {
                *sum += weight * part;
            }
        };
        for (weight, load) in direct.iter().zip(&cell.force_n).filter(|(w, _)| **w != 0.0) {
            add(*weight, *load);
        }
        for (side, weight) in [&self.zero_line.before, &self.zero_line.after]
            .iter()
            .zip(on_rest)
        {
            if let Some(side) = side {
                let rows = &cell.force_n[side.rows.clone()];
                add(weight, rows.iter().sum::<f64>() / rows.len() as f64);
            }
        }
        let u = quadratic_form(&cell.curve.fit.covariance, &gradient)
            .max(0.0)
            .sqrt();
        let name = &cell.name;
        vec![
            Term::systematic(format!("calibration of cell {name}"), u),
            Term::systematic(
                format!("weights and gravity behind cell {name}"),
                force * cell.curve.scale_relative_u,
            ),
        ]
    }

    /// Standard uncertainty of each thrust value, N.
    #[must_use]
    pub fn u_n(&self) -> Vec<f64> {
        let (sd, _) = self.noise();
        let rest = [&self.zero_line.before, &self.zero_line.after];
        let zero = rest
            .iter()
            .filter_map(|side| side.as_ref().map(|side| side.rest.u_mean()));
        let zero = zero.fold(0.0, f64::max);
        // Each cell's curve matters through the step from rest to load.
        self.load
            .time_s
            .iter()
            .enumerate()
            .map(|(row, _)| {
                let systematic: f64 = self
                    .load
                    .cells
                    .iter()
                    .map(|cell| {
                        let rest = rest.iter().find_map(|side| side.as_ref());
                        let rest = rest.map_or(0.0, |side| cell.force_n[side.rows.start]);
                        let (high, low) = (
                            cell.curve.load_per_coefficient(cell.force_n[row]),
                            cell.curve.load_per_coefficient(rest),
                        );
                        let step: Vec<f64> = high.iter().zip(low).map(|(a, b)| a - b).collect();
                        let scale = (cell.force_n[row] - rest) * cell.curve.scale_relative_u;
                        quadratic_form(&cell.curve.fit.covariance, &step) + scale * scale
                    })
                    .sum();
                self.stretch[row] * (systematic + sd * sd + zero * zero).sqrt()
            })
            .collect()
    }
}
