//! Columns made upright to each other, one after the other: Gram and Schmidt's method in its modified form.
//!
//! With what is to be explained as one more column, solutions and sums of squares come out as well as by Householder's
//! method (Björck, Numerical Methods for Least Squares Problems, 1996, 2.4), with half the work where Q itself is not wanted.

use nalgebra::{DMatrix, DVector};

/// A least-squares problem reduced to its triangle.
pub(crate) struct Upright {
    /// R.
    pub r: DMatrix<f64>,
    /// Q' times what is to be explained.
    pub explained: DVector<f64>,
    /// Sum of squares that the columns do not explain.
    pub left: f64,
}

/// Reduces columns, each as long as `target`: they become unit vectors upright to each other, and the target what they do not explain.
#[must_use]
pub(crate) fn upright(columns: &mut [Vec<f64>], target: &mut [f64]) -> Upright {
    let k = columns.len();
    let mut r = DMatrix::zeros(k, k);
    let mut explained = DVector::zeros(k);
    for at in 0..k {
        let (before, after) = columns.split_at_mut(at + 1);
        let column = &mut before[at];
        let size = dot(column, column).sqrt();
        r[(at, at)] = size;
        if size <= 0.0 {
            continue;
        }
        let over = 1.0 / size;
        column.iter_mut().for_each(|entry| *entry *= over);
        for (other, later) in after.iter_mut().enumerate() {
            r[(at, at + 1 + other)] = take_off(column, later);
        }
        explained[at] = take_off(column, target);
    }
    Upright {
        r,
        explained,
        left: dot(target, target),
    }
}

/// Takes off a vector what lies along a unit vector, and says how much.
fn take_off(unit: &[f64], from: &mut [f64]) -> f64 {
    let share = dot(unit, from);
    for (from, unit) in from.iter_mut().zip(unit) {
        *from -= share * unit;
    }
    share
}

/// Scalar product, in eight sums side by side, which is quicker than one and rounds less.
#[allow(
    clippy::needless_range_loop,
    reason = "several rows run side by side; iterators over them are not made one loop"
)]
#[inline]
pub(crate) fn dot(a: &[f64], b: &[f64]) -> f64 {
    let (a, rest_a) = a.as_chunks::<8>();
    let (b, rest_b) = b.as_chunks::<8>();
    let mut sums = [0.0; 8];
    for (a, b) in a.iter().zip(b) {
        for at in 0..8 {
            sums[at] += a[at] * b[at];
        }
    }
    let rest: f64 = rest_a.iter().zip(rest_b).map(|(a, b)| a * b).sum();
    let [s0, s1, s2, s3, s4, s5, s6, s7] = sums;
    ((s0 + s4) + (s1 + s5)) + ((s2 + s6) + (s3 + s7)) + rest
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    // Columns (3, 4, 0) and (1, 2, 2): R = [5, 11/5; 0, sqrt(9 - 121/25)]; of (0, 0, 5) the first explains
    // nothing, the second 5 * 2 / sqrt(104/25) = 4.9029, so 25 - 100 * 25/104 is left.
    #[test]
    fn the_triangle_is_that_worked_by_hand() {
        let mut columns = [vec![3.0, 4.0, 0.0], vec![1.0, 2.0, 2.0]];
        let found = upright(&mut columns, &mut [0.0, 0.0, 5.0]);
        let second = (104.0_f64 / 25.0).sqrt();
        assert_relative_eq!(found.r[(0, 0)], 5.0, max_relative = 1e-15);
        assert_relative_eq!(found.r[(0, 1)], 2.2, max_relative = 1e-15);
        assert_relative_eq!(found.r[(1, 1)], second, max_relative = 1e-14);
        assert_relative_eq!(found.explained[0], 0.0, epsilon = 1e-15);
        assert_relative_eq!(found.explained[1], 10.0 / second, max_relative = 1e-14);
        assert_relative_eq!(found.left, 25.0 - 2500.0 / 104.0, max_relative = 1e-13);
    }
}
