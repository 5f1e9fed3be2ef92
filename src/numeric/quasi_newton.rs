//! The least value of a smooth function of a few numbers within bounds.
//!
//! Newton's step from an estimate of the curvature that each step improves (Broyden, Fletcher, Goldfarb & Shanno 1970;
//! Nocedal & Wright, Numerical Optimization, 2nd ed., 6.1), shortened until it gains (Armijo; the same, 3.1), slopes
//! by differences. A number that stands on a bound and wants to leave is held, and a step is cut at the bounds
//! (projection; Bertsekas 1982). All numbers are of about the same size: a step of one is a long step.
//!
//! Limit: it finds the minimum of the hollow that it starts in.

use nalgebra::{DMatrix, DVector};

/// Slopes are differences over this.
const DIFFERENCE: f64 = 1e-5;

/// The curvature that is begun with is a difference over this.
const FIRST_DIFFERENCE: f64 = 0.05;

/// Least curvature that is begun with, as a share of the gain at which the search ends.
const LEAST_CURVATURE: f64 = 10.0;

/// No step moves a number further.
const LONGEST: f64 = 1.0;

/// A step has to gain this share of what its slope foresees; else it is cut to this share, so many times at most.
const WORTH_TAKING: f64 = 1e-3;
const SHORTER: f64 = 0.3;
const MOST_CUTS: usize = 8;

/// Most steps.
const MOST_STEPS: usize = 60;

/// A function, where it is looked at, and when the search ends.
pub(crate) struct Smooth<'a, F: Fn(&[f64]) -> f64> {
    /// The function.
    pub of: F,
    /// Lower bounds.
    pub low: &'a [f64],
    /// Upper bounds.
    pub high: &'a [f64],
    /// The search ends where a step would gain less than this.
    pub gain: f64,
}

/// A point and what the function is worth there.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Lowest {
    /// The point.
    pub x: Vec<f64>,
    /// The value.
    pub value: f64,
    /// The inverse of the curvature there, as far as the search saw it.
    pub inverse: DMatrix<f64>,
}

struct Point {
    x: Vec<f64>,
    value: f64,
}

impl<F: Fn(&[f64]) -> f64> Smooth<'_, F> {
    /// The minimum of the hollow around a start; the inverse of the curvature there may be known from a search before.
    #[must_use]
    pub(crate) fn minimise(&self, start: &[f64], inverse: Option<&DMatrix<f64>>) -> Lowest {
        let mut here = self.inside(start);
        let mut slope = self.slope(&here);
        let first = || DMatrix::from_diagonal(&self.first_curvature(&here).map(f64::recip));
        let mut inverse = inverse.cloned().unwrap_or_else(first);
        for _ in 0..MOST_STEPS {
            let Some(next) = self.step(&here, &slope, &inverse) else {
                break;
            };
            let next_slope = self.slope(&next);
            let moved = DVector::from_fn(here.x.len(), |at, _| next.x[at] - here.x[at]);
            improve(&mut inverse, &moved, &(&next_slope - &slope));
            (here, slope) = (next, next_slope);
        }
        Lowest {
            x: here.x,
            value: here.value,
            inverse,
        }
    }

    fn inside(&self, x: &[f64]) -> Point {
        let x: Vec<f64> = (0..x.len())
            .map(|at| x[at].clamp(self.low[at], self.high[at]))
            .collect();
        let value = (self.of)(&x);
        Point { x, value }
    }

    fn moved(&self, here: &Point, at: usize, by: f64) -> f64 {
        let mut x = here.x.clone();
        x[at] += by;
        (self.of)(&x)
    }

    /// Slopes, taken towards the inside.
    fn slope(&self, here: &Point) -> DVector<f64> {
        DVector::from_fn(here.x.len(), |at, _| {
            let by = if here.x[at] + DIFFERENCE > self.high[at] {
                -DIFFERENCE
            } else {
                DIFFERENCE
            };
            (self.moved(here, at, by) - here.value) / by
        })
    }

    fn first_curvature(&self, here: &Point) -> DVector<f64> {
        let h = FIRST_DIFFERENCE;
        DVector::from_fn(here.x.len(), |at, _| {
            let both = self.moved(here, at, h) + self.moved(here, at, -h);
            let bent = (both - 2.0 * here.value) / (h * h);
            if bent.is_finite() { bent.abs() } else { 0.0 }.max(LEAST_CURVATURE * self.gain)
        })
    }

    /// A step that gains; `None` where none does, or none would gain enough.
    fn step(&self, here: &Point, slope: &DVector<f64>, inverse: &DMatrix<f64>) -> Option<Point> {
        let n = here.x.len();
        let held: Vec<bool> = (0..n)
            .map(|at| {
                (here.x[at] <= self.low[at] && slope[at] > 0.0)
                    || (here.x[at] >= self.high[at] && slope[at] < 0.0)
            })
            .collect();
        let free = |at: usize| if held[at] { 0.0 } else { slope[at] };
        let downhill = DVector::from_fn(n, |at, _| free(at));
        let mut step = -(inverse * &downhill);
        for (step, held) in step.iter_mut().zip(&held) {
            *step *= f64::from(u8::from(!held));
        }
        let foreseen = -0.5 * step.dot(&downhill);
        if foreseen.is_nan() || foreseen <= self.gain {
            return None;
        }
        let longest = step.amax();
        if longest > LONGEST {
            step *= LONGEST / longest;
        }
        for _ in 0..MOST_CUTS {
            let x: Vec<f64> = here.x.iter().zip(&step).map(|(x, step)| x + step).collect();
            let next = self.inside(&x);
            let gone: f64 = (0..n).map(|at| (next.x[at] - here.x[at]) * slope[at]).sum();
            if next.value <= here.value + WORTH_TAKING * gone && next.value < here.value {
                return Some(next);
            }
            step *= SHORTER;
        }
        None
    }
}

/// Improves the inverse of the curvature by how the slope changed over a move.
fn improve(inverse: &mut DMatrix<f64>, moved: &DVector<f64>, changed: &DVector<f64>) {
    let along = moved.dot(changed);
    if along <= 1e-12 * moved.norm() * changed.norm() {
        return;
    }
    let seen = &*inverse * changed;
    let more = (1.0 + changed.dot(&seen) / along) / along;
    *inverse += moved * moved.transpose() * more
        - (&seen * moved.transpose() + moved * seen.transpose()) / along;
}

#[cfg(test)]
mod tests {
    use super::*;

    // Rosenbrock's valley (Computer Journal 3, 1960): least at (1, 1); within x < 0.5 at (0.5, 0.25).
    #[test]
    fn the_floor_of_a_bent_valley_is_found_and_bounds_are_kept() {
        let search = |high: &[f64]| {
            let valley = Smooth {
                of: |x: &[f64]| 100.0 * (x[1] - x[0] * x[0]).powi(2) + (1.0 - x[0]).powi(2),
                low: &[-3.0, -3.0],
                high,
                gain: 1e-10,
            };
            valley.minimise(&[-1.2, 1.0], None)
        };
        for (high, floor) in [([3.0, 3.0], [1.0, 1.0]), ([0.5, 3.0], [0.5, 0.25])] {
            let found = search(&high);
            let off = (found.x[0] - floor[0]).hypot(found.x[1] - floor[1]);
            // Differences to one side see a slope of 0.004 at the floor, which is flat along the valley.
            assert!(off < 0.02, "{found:?}");
        }
    }
}
