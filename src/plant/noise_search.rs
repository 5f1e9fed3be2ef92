//! The most likely noise of an axis's readings and disturbance: Fisher's method of scoring.
//!
//! Over the logarithms of strength and memory of the disturbance, its power of thrust, and the logarithms of the noise of either sensor,
//! each step solves for the minimum that slopes and information foresee. Both come from the prediction errors and their variances
//! moved by a small difference in each of the five: slopes by differences of the score, the information from the first
//! derivatives alone (Gupta & Mehra, IEEE Trans. Automatic Control 19, 1974; with the parameters of the rig
//! solved for, Gilmour, Thompson & Cullis, Biometrics 51, 1995; both from memory). What stands on a bound and wants to leave is held.
//!
//! Some records have two minima: a push that all but stays and does not go with thrust, or one that is soon forgotten and goes with it.
//! From where the descent ends, a point of the other kind is looked at, and the descent goes on from there as well where it may lead
//! lower. From starts far apart the ends then agree (docs/performance.md).

use std::array::from_fn;

use nalgebra::{SMatrix, SVector};

use super::kalman_filter::NoiseModel;
use super::noise_likelihood::{NoiseLikelihood, Weighed};

/// What is searched for: ln disturbance, ln memory, power of thrust, and how much more noise readings have than first taken, as
/// logarithms: those of the tilt (of all, where there is one sensor), those of the rate.
const COUNT: usize = 5;
type Point = [f64; COUNT];

/// Bounds: a disturbance beyond any wind and below any that could be seen; a memory of less than a reading's block, one of several
/// burns; the rate's noise in rad/s.
const LOW: Point = [-12.0, -4.6, 0.0, -9.0, -9.0];
const HIGH: Point = [8.0, 1.6, 1.0, 9.0, 9.0];
/// Step of the differences: small against any curve of the score, large against rounding.
const DIFFERENCE: f64 = 1e-4;
/// Longest step in any of them: within a factor of 4 the information still means something.
const LONGEST: f64 = 1.5;
/// A step is taken when it gains this share of what its slope promises (Armijo 1966).
const WORTH_TAKING: f64 = 1e-4;
/// A step that gains more than this share went straight down; half of it is what a parabola gives.
const STRAIGHT: f64 = 0.75;
/// Least of the information: what has no effect stays where it is.
const LEAST_INFORMATION: f64 = 1e-3;
/// Logarithms of a short memory, of the border, of a long one.
const SHORT_TO_LONG: [f64; 3] = [-2.0, -0.5, 0.9];
/// The other kind is tried where, before any step, it is less likely by no more than this of -2 ln L.
const WORTH_TRYING: f64 = 5.0;
/// Most steps.
const MOST_STEPS: usize = 60;

/// What is asked of a search.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum NoiseSearch {
    /// The neighbourhood, for parameters that will be found anew.
    Rough,
    /// The minimum.
    Precise,
}

impl NoiseSearch {
    /// The search ends with a step that should gain less than this of -2 ln L: what is left then is smaller still.
    const fn gain(self) -> f64 {
        match self {
            Self::Rough => 1.0,
            Self::Precise => 0.003,
        }
    }
}

/// Slopes of the score and its expected curvature.
struct Slopes {
    slope: SVector<f64, COUNT>,
    information: SMatrix<f64, COUNT, COUNT>,
}

impl NoiseLikelihood<'_> {
    /// The most likely noise, from a start.
    #[must_use]
    pub(crate) fn solve(&self, start: &NoiseModel, search: NoiseSearch) -> NoiseModel {
        let noise_at = |x: &Point| {
            let [strength, memory, with_thrust, tilt, rate] = *x;
            NoiseModel {
                tilt_rad: start.tilt_rad * tilt.exp(),
                rate_rad_s: start.rate_rad_s * if self.two_sensors { rate } else { tilt }.exp(),
                disturbance_rad_s2: strength.exp(),
                correlation_time_s: memory.exp(),
                with_thrust,
            }
        };
        let [strength, memory] = [start.disturbance_rad_s2, start.correlation_time_s].map(f64::ln);
        let start_x = within([strength, memory, start.with_thrust, 0.0, 0.0]);
        let first = self.weigh(&noise_at(&start_x));
        let (mut x, here) = self.descend(start_x, first, search, &noise_at);
        let others = other_kind(&x)
            .into_iter()
            .filter(|_| search == NoiseSearch::Precise)
            .map(|other| (other, self.weigh(&noise_at(&other))));
        let better = |a: &(Point, Weighed), b: &(Point, Weighed)| a.1.score.total_cmp(&b.1.score);
        if let Some((other, there)) = others.min_by(better)
            && there.score < here.score + WORTH_TRYING
        {
            let other = self.descend(other, there, search, &noise_at);
            if other.1.score < here.score {
                x = other.0;
            }
        }
        noise_at(&x)
    }

    /// Downhill from a point.
    fn descend(
        &self,
        mut x: Point,
        mut here: Weighed,
        search: NoiseSearch,
        noise_at: &impl Fn(&Point) -> NoiseModel,
    ) -> (Point, Weighed) {
        let mut stretch = 1.0;
        for _ in 0..MOST_STEPS {
            let slopes = self.slopes(&x, &here, noise_at);
            let (step, foreseen) = slopes.step(&x);
            let mut share = (LONGEST / step.amax()).min(stretch);
            let taken = loop {
                let next = within(from_fn(|at| x[at] + share * step[at]));
                let there = self.weigh(&noise_at(&next));
                let along: f64 = (0..COUNT)
                    .map(|at| slopes.slope[at] * (next[at] - x[at]))
                    .sum();
                let off = there.score - here.score;
                if off <= WORTH_TAKING * along {
                    // Where the way goes down straight, the information foresees a bend that is not there.
                    stretch = if off < STRAIGHT * along {
                        2.0 * stretch
                    } else {
                        1.0
                    };
                    break Some((next, there));
                }
                // The least of the parabola through score, slope and the score there.
                share *= (-0.5 * along / (off - along)).clamp(0.1, 0.5);
                if share < 1e-2 || foreseen < search.gain() {
                    break None;
                }
            };
            let Some(better) = taken else { break };
            (x, here) = better;
            if foreseen < search.gain() {
                break;
            }
        }
        (x, here)
    }

    fn slopes(
        &self,
        x: &Point,
        here: &Weighed,
        noise_at: &impl Fn(&Point) -> NoiseModel,
    ) -> Slopes {
        let mut slope = SVector::zeros();
        // How each prediction error over its deviation, and the logarithm of its variance, move.
        let mut moves: [(Vec<f64>, Vec<f64>); COUNT] = Default::default();
        let directions = if self.two_sensors { COUNT } else { COUNT - 1 };
        for at in 0..directions {
            let mut moved = *x;
            let step = if x[at] + DIFFERENCE > HIGH[at] {
                -DIFFERENCE
            } else {
                DIFFERENCE
            };
            moved[at] += step;
            let there = self.weigh(&noise_at(&moved));
            slope[at] = (there.score - here.score) / step;
            let pairs = there.deviations.iter().zip(&here.deviations);
            let wider: Vec<f64> = pairs
                .map(|(there, here)| 2.0 * (there / here - 1.0) / step)
                .collect();
            let errors = there.errors.iter().zip(&here.errors).zip(&wider);
            let errors =
                errors.map(|((there, here), wider)| (there - here) / step + 0.5 * here * wider);
            moves[at] = (errors.collect(), wider);
        }
        let mut information = SMatrix::from_fn(|row, column| {
            let (a, b) = (&moves[row], &moves[column]);
            2.0 * dot(&a.0, &b.0) + dot(&a.1, &b.1)
        });
        information[(1, 1)] += Self::memory_information();
        for at in 0..COUNT {
            information[(at, at)] += LEAST_INFORMATION;
        }
        Slopes { slope, information }
    }
}

impl Slopes {
    /// The step to the minimum within the bounds, and what it should gain.
    fn step(&self, x: &Point) -> (SVector<f64, COUNT>, f64) {
        let mut held = [false; COUNT];
        let mut step = SVector::zeros();
        // Each turn holds one more at the least.
        for _ in 0..=COUNT {
            // Those held keep what they have; the others solve for the rest.
            let mut matrix = self.information;
            let mut down = -self.slope;
            for at in (0..COUNT).filter(|at| held[*at]) {
                matrix.row_mut(at).fill(0.0);
                matrix[(at, at)] = 1.0;
                down[at] = step[at];
            }
            let Some(found) = matrix.lu().solve(&down) else {
                break;
            };
            step = found;
            let ends: Point = from_fn(|at| x[at] + step[at]);
            let mut more = false;
            for at in 0..COUNT {
                let end = ends[at].clamp(LOW[at], HIGH[at]);
                if !held[at] && end != ends[at] {
                    (step[at], held[at], more) = (end - x[at], true, true);
                }
            }
            if !more {
                break;
            }
        }
        let gain = -self.slope.dot(&step) - 0.5 * step.dot(&(self.information * step));
        (step, gain)
    }
}

/// Points of the other kind, long or short, as strong in the short run: with the same power of thrust, and with the power that goes
/// with the kind, for a long memory without it does what a short one with it does.
fn other_kind(x: &Point) -> [Point; 2] {
    let [strength, memory, same, tilt, rate] = *x;
    let [short, border, long] = SHORT_TO_LONG;
    let (other, power) = if memory < border {
        (long, 0.0)
    } else {
        (short, 1.0)
    };
    let strength = strength + 0.5 * (other - memory);
    [same, power].map(|power| within([strength, other, power, tilt, rate]))
}

fn within(x: Point) -> Point {
    from_fn(|at| x[at].clamp(LOW[at], HIGH[at]))
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plant::instants::Instants;
    use crate::plant::kalman_filter::RigDynamics;
    use crate::plant::sensitivity::Sensitivity;
    use crate::series::Series;
    use rand::{RngExt, SeedableRng, rngs::ChaCha8Rng};

    /// A rig that nothing holds, pushed by a disturbance of 0.5 rad/s2 that is forgotten in 0.2 s, and steadily by 0.3 rad/s2; tilt and
    /// rate at 1 kHz for 4 s with noise of 2e-4 rad and 4e-3 rad/s, which means over 4 ms halve.
    fn pushed(seed: u64) -> Instants {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut normal = || (0..12).map(|_| rng.random::<f64>()).sum::<f64>() - 6.0;
        let (h, keep) = (1e-3, (-1e-3 / 0.2_f64).exp());
        let (mut a, mut v, mut push) = (0.0, 0.0, 0.5 * normal());
        let (mut tilt, mut rate) = (Series::default(), Series::default());
        for step in 0..4000 {
            let time = f64::from(step) * h;
            tilt.push(time, a + 2e-4 * normal());
            rate.push(time, v + 4e-3 * normal());
            let before = push;
            push = keep * push + 0.5 * (1.0 - keep * keep).sqrt() * normal();
            let turn = 0.3 + 0.5 * (before + push);
            a += h * v + 0.5 * h * h * turn;
            v += h * turn;
        }
        Instants::new(Some(&tilt), Some(&rate), (0.0, 4.0))
    }

    // Twenty spells tell a strength to a sixth and a memory to a third: three deviations are a factor of 1.6 and of 2.7.
    // A thousand means tell their noise to 2.2 %.
    #[test]
    fn the_noise_is_found_from_anywhere() {
        for seed in 0..6 {
            let instants = pushed(seed);
            let count = instants.times_s.len();
            let still = vec![0.0; count];
            let problem = NoiseLikelihood {
                instants: &instants,
                swing: RigDynamics::default(),
                acceleration: &still,
                sensitivities: vec![Sensitivity::Acceleration(vec![1.0; count])],
                priors: vec![None],
                two_sensors: true,
                known: Default::default(),
            };
            let from = |disturbance_rad_s2, correlation_time_s, noisier| {
                let start = NoiseModel {
                    tilt_rad: 1e-4 * noisier,
                    rate_rad_s: 2e-3 / noisier,
                    disturbance_rad_s2,
                    correlation_time_s,
                    with_thrust: 0.0,
                };
                let found = problem.solve(&start, NoiseSearch::Precise);
                (problem.weigh(&found).score, found)
            };
            let (score, found) = from(0.5, 0.3, 1.0);
            for (strength, memory, noisier) in
                [(0.02, 0.03, 2.0), (8.0, 0.03, 0.5), (0.1, 3.0, 1.5)]
            {
                let (other, _) = from(strength, memory, noisier);
                assert!((other - score).abs() < 0.02, "{seed}: {score} and {other}");
            }
            let factor = |found: f64, truth: f64| (found / truth).ln().abs().exp();
            assert!(factor(found.disturbance_rad_s2, 0.5) < 1.6, "{found:?}");
            assert!(factor(found.correlation_time_s, 0.2) < 2.7, "{found:?}");
            assert!(factor(found.tilt_rad, 1e-4) < 1.07, "{found:?}");
            assert!(factor(found.rate_rad_s, 2e-3) < 1.07, "{found:?}");
        }
    }
}
