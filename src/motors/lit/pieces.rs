//! The thrust cut into short pieces, and how well a set of motors explains their means.
//!
//! Each motor of the set has an onset, an impulse and a length relative to its certificate, and may
//! go out early. All are fitted to the means of the pieces by least squares with their priors; the
//! integral over them (the marginal likelihood) is Laplace's approximation at the best fit, and the
//! size of the shape error, which nobody knows beforehand, is summed over a grid between
//! `SHAPE_ERROR`'s ends, even in its logarithm (MacKay, Information Theory, Inference, and
//! Learning Algorithms, ch. 27 and 28). A set with one motor more fits never worse; the integral
//! makes it pay for the room its motor had to be put anywhere.
//!
//! Shape errors of neighbouring pieces are alike, so that fewer of them count than there are.
//!
//! The search takes Gauss and Newton's steps, damped (Marquardt, An algorithm for least-squares estimation of nonlinear
//! parameters, 1963). A prior holds every parameter, so the normal equations are well conditioned.
//!
//! Limits: the integral is that of the best fit's valley, the others left out; the correlation of shape
//! errors is a single length.

use std::f64::consts::TAU;

use nalgebra::{DMatrix, DVector};

use super::part::{Burning, Part, Pattern};
use super::prior::{Hold, Prior};
use crate::motors::bayes;
use crate::numeric::trapezoid;
use crate::series::Series;

/// Length of a piece, s, unless the burn is so long that there would be more than `MOST_PIECES`.
const PIECE_S: f64 = 0.04;
const MOST_PIECES: f64 = 200.0;

/// Pieces reach this far beyond the burn on either side, s.
const BESIDE_S: f64 = 0.12;

/// Shape error of a piece relative to the peak of the thrust, least and most: motors of one batch differ by
/// some hundredths, and some burn as they like. A smaller least would let a motor that did not light explain
/// what is only a curve's error. Common practice, no source.
const SHAPE_ERROR: (f64, f64) = (0.012, 0.1);

/// Shape errors are alike over this long, s: a motor's course drifts from its certificate rather than
/// trembles about it. Common practice, no source.
const ALIKE_S: f64 = 0.15;

/// Values of the shape error that are summed over.
const SHAPE_ERRORS: u32 = 9;

/// Fits in turn, each with the shape error that the last one left. The cost has a kink where a motor
/// goes out at the end of a piece, and a descent that starts there sees one side only; so the slope over
/// the time of going out is taken between two times so many pieces apart, in the last fit at one time.
const ROUNDS: [f64; 4] = [2.0, 1.0, 0.3, 0.0];

/// ... where some motor goes out; else so many.
const ROUNDS_WITHOUT: usize = 2;

/// A search ends after so many steps, or when a step moves every parameter by less than this share of its typical size,
/// or gains less than this share of the cost.
const MOST_STEPS: usize = 40;
const SMALL_STEP: f64 = 1e-3;
const SMALL_GAIN: f64 = 1e-6;

/// Damping of the first step, relative to the diagonal of the normal matrix; a step that gains divides it, one that
/// does not multiplies it, until it is this large.
const DAMPING: f64 = 1e-3;
const DAMPING_FACTOR: f64 = 8.0;
const MOST_DAMPING: f64 = 1e8;

/// A set of motors and how well it explains the record.
#[derive(Debug, Clone)]
pub(crate) struct SetFit {
    /// One for each curve, in the order they were given.
    pub burning: Vec<Burning>,
    /// Logarithm of the marginal likelihood.
    pub log_evidence: f64,
    /// Root mean square of what the set leaves unexplained, relative to the peak.
    pub misfit: f64,
}

/// Thrust as means of short pieces.
#[derive(Debug, Clone)]
pub(crate) struct ThrustPieces {
    /// Ends of the pieces, s: one more than there are means.
    pub edge_s: Vec<f64>,
    /// Mean thrust of each, N.
    pub mean_n: Vec<f64>,
    /// Largest mean, N.
    pub peak_n: f64,
    /// What is expected of the motors.
    pub prior: Prior,
    /// Standard uncertainty of a mean without any shape error, N.
    u_n: f64,
}

impl ThrustPieces {
    /// Cuts the thrust of a burn; `spread` is the motor-to-motor spread, relative. `None` when there is
    /// nothing to cut.
    #[must_use]
    pub(crate) fn cut(
        thrust: &Series,
        window_s: (f64, f64),
        u_n: f64,
        spread: f64,
    ) -> Option<Self> {
        let (first, last) = thrust.span_s()?;
        let (from, to) = (
            (window_s.0 - BESIDE_S).max(first),
            (window_s.1 + BESIDE_S).min(last),
        );
        let length = PIECE_S.max((to - from) / MOST_PIECES);
        let count = ((to - from) / length).floor();
        if count < 4.0 {
            return None;
        }
        let edge_s: Vec<f64> = (0..=count as usize)
            .map(|at| from + length * at as f64)
            .collect();
        let mean_n: Vec<f64> = edge_s
            .windows(2)
            .map(|ends| trapezoid::area_between(thrust, ends[0], ends[1]) / (ends[1] - ends[0]))
            .collect();
        let peak_n = mean_n.iter().copied().fold(0.0, f64::max);
        (peak_n > 0.0).then_some(Self {
            edge_s,
            mean_n,
            peak_n,
            prior: Prior { window_s, spread },
            u_n,
        })
    }

    /// Means of one part.
    pub(super) fn of_part<'a>(
        &'a self,
        pattern: &'a Pattern,
        part: Part,
    ) -> impl Iterator<Item = f64> + 'a {
        let delivered = move |time_s: &f64| part.delivered_ns(pattern, *time_s).0;
        let mut before = self.edge_s.first().map_or(0.0, delivered);
        self.edge_s.windows(2).map(move |ends| {
            let after = delivered(&ends[1]);
            let gained = after - before;
            before = after;
            gained / (ends[1] - ends[0])
        })
    }

    /// What all motors of a set but some leave of the record, N.
    pub(super) fn left_without(
        &self,
        patterns: &[&Pattern],
        burning: &[Burning],
        without: &[usize],
    ) -> Vec<f64> {
        let mut left = self.mean_n.clone();
        for (at, (one, pattern)) in burning.iter().zip(patterns).enumerate() {
            if without.contains(&at) {
                continue;
            }
            for (left, of_part) in left.iter_mut().zip(self.of_part(pattern, one.part)) {
                *left -= of_part;
            }
        }
        left
    }

    /// What is left when nothing burns.
    #[must_use]
    pub(crate) fn nothing(&self) -> SetFit {
        SetFit {
            burning: Vec::new(),
            log_evidence: self.log_likelihood(&self.mean_n),
            misfit: self.misfit(&self.mean_n),
        }
    }

    /// Fits a set of motors from a start; `None` when the search fails.
    #[must_use]
    pub(crate) fn fit(&self, patterns: &[&Pattern], start: &[Burning]) -> Option<SetFit> {
        if start.is_empty() {
            return Some(self.nothing());
        }
        self.fit_to(&self.mean_n, patterns, start)
    }

    /// The same for what other motors leave of the record, N.
    pub(super) fn fit_to(
        &self,
        data_n: &[f64],
        patterns: &[&Pattern],
        start: &[Burning],
    ) -> Option<SetFit> {
        let set = Set {
            pieces: self,
            data_n,
            patterns,
            start,
            sd_n: 0.0,
            reach_s: 0.0,
        };
        let piece_s = self.edge_s[1] - self.edge_s[0];
        let root = self.independent().sqrt();
        let goes_out = start.iter().any(|one| one.part.out_s.is_some());
        let rounds = if goes_out {
            &ROUNDS[..]
        } else {
            &ROUNDS[ROUNDS.len() - ROUNDS_WITHOUT..]
        };
        let mut at = set.pack();
        let mut left = set.left(&at);
        let mut normal = None;
        for reach in rounds {
            let round = Set {
                sd_n: self.sd(self.misfit(&left)) / root,
                reach_s: if goes_out { reach * piece_s } else { 0.0 },
                ..set
            };
            let (x, matrix) = round.descend(at)?;
            left = set.left(&x);
            (at, normal) = (x, Some(matrix));
        }
        Some(SetFit {
            burning: set.unpack(&at),
            log_evidence: self.log_likelihood(&left) + set.log_prior(&at) + log_room(normal?),
            misfit: self.misfit(&left),
        })
    }

    fn misfit(&self, left_n: &[f64]) -> f64 {
        let square: f64 = left_n.iter().map(|left| left * left).sum();
        (square / left_n.len() as f64).sqrt() / self.peak_n
    }

    /// Standard deviation of a piece for a shape error, N.
    pub(super) fn sd(&self, shape_error: f64) -> f64 {
        let shape = shape_error.clamp(SHAPE_ERROR.0, SHAPE_ERROR.1);
        self.u_n.hypot(shape * self.peak_n)
    }

    /// Independent shape errors for each piece: no more than one.
    fn independent(&self) -> f64 {
        let piece_s = self.edge_s[1] - self.edge_s[0];
        (piece_s / ALIKE_S).min(1.0)
    }

    /// Log-likelihood of what is left, summed over the size of the shape error.
    fn log_likelihood(&self, left_n: &[f64]) -> f64 {
        let square: f64 = left_n.iter().map(|left| left * left).sum();
        let ratio = SHAPE_ERROR.1 / SHAPE_ERROR.0;
        let each = (0..SHAPE_ERRORS).map(|at| {
            let share = f64::from(at) / f64::from(SHAPE_ERRORS - 1);
            let sd = self.sd(SHAPE_ERROR.0 * ratio.powf(share));
            self.independent() * (-0.5 * square / (sd * sd) - left_n.len() as f64 * sd.ln())
        });
        bayes::log_sum(&each.collect::<Vec<_>>())
    }
}

/// Half the logarithm of the determinant of 2 pi times the covariance: the room in which the
/// parameters fit.
fn log_room(normal: DMatrix<f64>) -> f64 {
    let count = normal.nrows() as f64;
    let half_log_determinant = normal.cholesky().map_or(f64::INFINITY, |factor| {
        factor.l_dirty().diagonal().iter().map(|d| d.ln()).sum()
    });
    0.5 * count * TAU.ln() - half_log_determinant
}

/// The least-squares problem: one row for each piece, then one prior row for each parameter.
#[derive(Clone, Copy)]
struct Set<'a> {
    pieces: &'a ThrustPieces,
    /// What is explained: mean of each piece, N.
    data_n: &'a [f64],
    patterns: &'a [&'a Pattern],
    start: &'a [Burning],
    sd_n: f64,
    /// The slope over the time of going out is taken between times this far apart, s.
    reach_s: f64,
}

impl Set<'_> {
    /// Onset, impulse relative to the certificate, stretch, and for a motor that goes out how long it
    /// burnt.
    fn pack(&self) -> Vec<f64> {
        let each = self.start.iter().map(|one| &one.part);
        each.flat_map(|part| {
            let three = [part.onset_s, part.height * part.stretch, part.stretch];
            three.into_iter().chain(part.out_s)
        })
        .collect()
    }

    fn unpack(&self, x: &[f64]) -> Vec<Burning> {
        let mut rest = x;
        let mut out = Vec::with_capacity(self.start.len());
        for one in self.start {
            let (mine, others) = rest.split_at(parameters(one));
            rest = others;
            out.push(Burning {
                part: Part {
                    onset_s: mine[0],
                    height: mine[1] / mine[2],
                    stretch: mine[2],
                    out_s: mine.get(3).copied(),
                },
                weak: one.weak,
            });
        }
        out
    }

    fn holds(&self) -> Vec<Hold> {
        let each = self.start.iter().zip(self.patterns);
        each.flat_map(|(one, pattern)| self.pieces.prior.holds(one, pattern))
            .collect()
    }

    fn left(&self, x: &[f64]) -> Vec<f64> {
        let mut left = self.data_n.to_vec();
        for (one, pattern) in self.unpack(x).iter().zip(self.patterns) {
            for (left, of_part) in left.iter_mut().zip(self.pieces.of_part(pattern, one.part)) {
                *left -= of_part;
            }
        }
        left
    }

    /// Half the sum of squares to be made small.
    fn cost(&self, x: &[f64], holds: &[Hold]) -> f64 {
        let left = self.left(x);
        let square: f64 = left.iter().map(|left| left * left).sum();
        let each = x.iter().zip(holds);
        let held = each.map(|(x, hold)| ((x - hold.mean) / hold.sd).powi(2));
        0.5 * (square / (self.sd_n * self.sd_n) + held.sum::<f64>())
    }

    /// The normal matrix and the gradient of the cost.
    fn normal_equations(&self, x: &[f64], holds: &[Hold]) -> (DMatrix<f64>, DVector<f64>) {
        let jacobian = self.jacobian(x);
        let left = DVector::from_vec(self.left(x)) / self.sd_n;
        let mut normal = jacobian.tr_mul(&jacobian);
        let mut gradient = jacobian.tr_mul(&left);
        for (k, hold) in holds.iter().enumerate() {
            normal[(k, k)] += hold.sd.powi(-2);
            gradient[k] += (x[k] - hold.mean) / (hold.sd * hold.sd);
        }
        (normal, gradient)
    }

    /// Goes down from a start: where it ended, and the normal matrix there. `None` where the cost is not finite.
    fn descend(&self, start: Vec<f64>) -> Option<(Vec<f64>, DMatrix<f64>)> {
        let holds = self.holds();
        let inside = |(x, hold): (f64, &Hold)| x.clamp(hold.low, hold.high);
        let mut x: Vec<f64> = start.into_iter().zip(&holds).map(inside).collect();
        let mut cost = self.cost(&x, &holds);
        let (mut normal, mut gradient) = self.normal_equations(&x, &holds);
        let mut damping = DAMPING;
        for _ in 0..MOST_STEPS {
            let step = damped_step(&normal, &gradient, (&x, &holds), damping)?;
            let moved = x.iter().zip(step.iter()).map(|(x, step)| x + step);
            let trial: Vec<f64> = moved.zip(&holds).map(inside).collect();
            let each = trial.iter().zip(&x).zip(&holds);
            let small = each
                .map(|((new, old), hold)| (new - old).abs() / hold.typical)
                .all(|share| share < SMALL_STEP);
            let gained = cost - self.cost(&trial, &holds);
            if gained > 0.0 {
                (x, cost) = (trial, cost - gained);
                (normal, gradient) = self.normal_equations(&x, &holds);
                damping /= DAMPING_FACTOR;
            } else {
                damping *= DAMPING_FACTOR;
            }
            let ended = small || (gained > 0.0 && gained < SMALL_GAIN * cost);
            if ended || damping > MOST_DAMPING {
                break;
            }
        }
        cost.is_finite().then_some((x, normal))
    }

    /// Logarithm of the prior density of all parameters.
    fn log_prior(&self, x: &[f64]) -> f64 {
        let mut rest = x;
        let mut sum = 0.0;
        for (one, pattern) in self.start.iter().zip(self.patterns) {
            let (mine, others) = rest.split_at(parameters(one));
            rest = others;
            sum += self.pieces.prior.log_density(one, pattern, mine);
        }
        sum
    }
}

/// Parameters of one motor: onset, relative impulse, stretch, and when it goes out if it does.
fn parameters(one: &Burning) -> usize {
    3 + usize::from(one.part.out_s.is_some())
}

/// The step of the parameters that do not press against a bound; the others stay.
fn damped_step(
    normal: &DMatrix<f64>,
    gradient: &DVector<f64>,
    (x, holds): (&[f64], &[Hold]),
    damping: f64,
) -> Option<DVector<f64>> {
    let mut matrix = normal.clone();
    let mut downhill = -gradient;
    for (k, hold) in holds.iter().enumerate() {
        matrix[(k, k)] *= 1.0 + damping;
        let pressed =
            (x[k] <= hold.low && downhill[k] < 0.0) || (x[k] >= hold.high && downhill[k] > 0.0);
        if pressed {
            matrix.row_mut(k).fill(0.0);
            matrix.column_mut(k).fill(0.0);
            matrix[(k, k)] = 1.0;
            downhill[k] = 0.0;
        }
    }
    Some(matrix.cholesky()?.solve(&downhill))
}

impl Set<'_> {
    /// Derivatives of what is left of each piece, relative to its standard deviation.
    fn jacobian(&self, x: &[f64]) -> DMatrix<f64> {
        let rows = self.data_n.len();
        let mut jacobian = DMatrix::zeros(rows, x.len());
        let mut column = 0;
        for (one, pattern) in self.unpack(x).iter().zip(self.patterns) {
            let part = one.part;
            let at = |time_s: f64| part.delivered_ns(pattern, time_s).1;
            let count = parameters(one);
            let mut before = at(self.pieces.edge_s[0]);
            for (row, ends) in self.pieces.edge_s.windows(2).enumerate() {
                let after = at(ends[1]);
                for k in 0..count {
                    jacobian[(row, column + k)] =
                        -(after[k] - before[k]) / (ends[1] - ends[0]) / self.sd_n;
                }
                before = after;
            }
            if let Some(out_s) = part.out_s.filter(|_| self.reach_s > 0.0) {
                let ending = |by: f64| Part {
                    out_s: Some((out_s + by).max(0.0)),
                    ..part
                };
                let (early, late) = (ending(-0.5 * self.reach_s), ending(0.5 * self.reach_s));
                let early = self.pieces.of_part(pattern, early);
                let both = early.zip(self.pieces.of_part(pattern, late)).enumerate();
                for (row, (early, late)) in both {
                    jacobian[(row, column + 3)] = (early - late) / self.reach_s / self.sd_n;
                }
            }
            column += count;
        }
        jacobian
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plover() -> Pattern {
        let curve = Series::new(
            &[
                0.0, 0.02, 0.05, 0.1, 0.25, 0.45, 0.65, 0.85, 1.05, 1.25, 1.42, 1.55, 1.66, 1.75,
                1.81,
            ],
            &[
                0.0, 17.8, 30.0, 35.0, 36.5, 43.0, 44.0, 42.2, 34.7, 29.7, 23.4, 15.8, 8.1, 2.7,
                0.0,
            ],
        );
        Pattern::new(&curve).unwrap()
    }

    fn record(parts: &[(Part, &Pattern)]) -> Series {
        let time: Vec<f64> = (0..2500).map(|at| 1.0 + f64::from(at) * 0.002).collect();
        let thrust = |t: &f64| parts.iter().map(|(part, of)| part.thrust_n(of, *t)).sum();
        Series::new(&time, &time.iter().map(thrust).collect::<Vec<f64>>())
    }

    fn begun(onset_s: f64, out_s: Option<f64>) -> Burning {
        let part = Part {
            onset_s,
            height: 1.0,
            stretch: 1.0,
            out_s,
        };
        Burning { part, weak: false }
    }

    #[test]
    fn a_motor_that_goes_out_is_found_from_a_start_a_piece_away() {
        let plover = plover();
        let truth = Part {
            onset_s: 2.114,
            height: 0.98,
            stretch: 1.01,
            out_s: Some(0.487),
        };
        let record = record(&[(truth, &plover)]);
        let pieces = ThrustPieces::cut(&record, (2.116, 2.605), 0.05, 0.05).unwrap();
        let fitted = pieces.fit(&[&plover], &[begun(2.10, Some(0.54))]).unwrap();
        let part = fitted.burning[0].part;
        assert!((part.out_s.unwrap() - 0.487).abs() < 0.003, "{fitted:?}");
        assert!(fitted.misfit < 0.003, "{fitted:?}");
    }

    #[test]
    fn derivatives_are_those_of_differences() {
        let plover = plover();
        let record = record(&[(begun(2.0, None).part, &plover)]);
        let pieces = ThrustPieces::cut(&record, (2.0, 3.8), 0.05, 0.05).unwrap();
        let start = [begun(2.05, Some(0.9)), begun(2.3, None)];
        let set = Set {
            pieces: &pieces,
            data_n: &pieces.mean_n,
            patterns: &[&plover, &plover],
            start: &start,
            sd_n: 0.7,
            reach_s: 0.0,
        };
        let at = set.pack();
        let jacobian = set.jacobian(&at);
        for k in 0..at.len() {
            let moved = |by: f64| {
                let mut at = at.clone();
                at[k] += by;
                DVector::from_vec(set.left(&at)) / set.sd_n
            };
            let difference = (moved(1e-7) - moved(-1e-7)) / 2e-7;
            let off = (difference - jacobian.column(k)).amax();
            assert!(off < 1e-3 * jacobian.column(k).amax(), "{k}: {off}");
        }
    }
}
