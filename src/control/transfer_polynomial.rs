//! Polynomials in z, lowest power first, and whether their roots lie inside the unit circle.
//!
//! The test is Schur and Cohn's recursion (Jury, Theory and Application of the z-Transform Method,
//! 1964): divide out the last coefficient against the first, degree by degree; a ratio of 1 or more
//! means a root on or outside the circle. Rounding makes it see a root outside once three of them lie
//! within some 1e-4 of 1: loops that take ten thousand ticks to settle count as not stable.

use nalgebra::Complex;

/// Product.
#[must_use]
pub(crate) fn times(a: &[f64], b: &[f64]) -> Vec<f64> {
    let mut out = vec![0.0; (a.len() + b.len()).saturating_sub(1)];
    for (i, x) in a.iter().enumerate() {
        for (j, y) in b.iter().enumerate() {
            out[i + j] += x * y;
        }
    }
    out
}

/// Sum.
#[must_use]
pub(crate) fn plus(a: &[f64], b: &[f64]) -> Vec<f64> {
    let at = |of: &[f64], i: usize| of.get(i).copied().unwrap_or(0.0);
    (0..a.len().max(b.len()))
        .map(|i| at(a, i) + at(b, i))
        .collect()
}

/// Value at a complex number.
#[must_use]
#[inline]
pub(crate) fn value(of: &[f64], z: Complex<f64>) -> Complex<f64> {
    of.iter()
        .rev()
        .fold(Complex::new(0.0, 0.0), |sum, c| sum * z + c)
}

/// One over another at a complex number, both side by side.
#[inline]
#[must_use]
pub(crate) fn ratio(above: &[f64], below: &[f64], z: Complex<f64>) -> Complex<f64> {
    let coefficient = |of: &[f64], power: usize| of.get(power).copied().unwrap_or(0.0);
    let [mut re, mut im] = [[0.0; 2]; 2];
    for power in (0..above.len().max(below.len())).rev() {
        let c = [coefficient(above, power), coefficient(below, power)];
        for at in 0..2 {
            let (r, i) = (re[at], im[at]);
            re[at] = r * z.re - i * z.im + c[at];
            im[at] = r * z.im + i * z.re;
        }
    }
    Complex::new(re[0], im[0]) / Complex::new(re[1], im[1])
}

/// The value at each of several: four of them side by side.
#[must_use]
pub(crate) fn values(of: &[f64], places: &[Complex<f64>]) -> Vec<Complex<f64>> {
    let (fours, rest) = places.as_chunks::<4>();
    let four = |z: &[Complex<f64>; 4]| {
        let (zr, zi) = (z.map(|z| z.re), z.map(|z| z.im));
        let [mut re, mut im] = [[0.0; 4]; 2];
        for c in of.iter().rev() {
            for at in 0..4 {
                let (r, i) = (re[at], im[at]);
                re[at] = r * zr[at] - i * zi[at] + c;
                im[at] = r * zi[at] + i * zr[at];
            }
        }
        std::array::from_fn::<_, 4, _>(|at| Complex::new(re[at], im[at]))
    };
    let each = fours.iter().flat_map(four);
    each.chain(rest.iter().map(|z| value(of, *z))).collect()
}

/// Whether every root lies inside the unit circle.
#[must_use]
pub(crate) fn inside_unit_circle(of: &[f64]) -> bool {
    let mut now = of.to_vec();
    while now.last().is_some_and(|c| *c == 0.0) {
        now.pop();
    }
    while now.len() > 1 {
        let (Some(first), Some(last)) = (now.first().copied(), now.last().copied()) else {
            return false;
        };
        let ratio = first / last;
        if ratio.is_nan() || ratio.abs() >= 1.0 {
            return false;
        }
        let turned: Vec<f64> = now.iter().rev().copied().collect();
        now = now
            .iter()
            .zip(&turned)
            .skip(1)
            .map(|(c, t)| c - ratio * t)
            .collect();
    }
    !now.is_empty()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn from_roots(roots: &[f64]) -> Vec<f64> {
        roots
            .iter()
            .fold(vec![1.0], |sum, root| times(&sum, &[-root, 1.0]))
    }

    #[test]
    fn roots_are_told_to_lie_inside_or_outside() {
        let pair = |r: f64, turn: f64| vec![r * r, -2.0 * r * turn.cos(), 1.0];
        for (of, inside) in [
            (from_roots(&[0.5, -0.9]), true),
            (from_roots(&[0.5, -1.01]), false),
            (from_roots(&[1.0, 0.2]), false),
            (
                times(&pair(0.999, 0.3), &from_roots(&[0.998, 0.997, 0.0])),
                true,
            ),
            (
                times(&pair(1.001, 0.3), &from_roots(&[0.998, 0.997, 0.0])),
                false,
            ),
            (times(&pair(0.9, 2.9), &from_roots(&[0.999; 3])), true),
        ] {
            assert_eq!(inside_unit_circle(&of), inside, "{of:?}");
        }
    }

    #[test]
    fn side_by_side_values_are_the_same() {
        let places: Vec<Complex<f64>> = (0..7)
            .map(|at| Complex::from_polar(1.0, 0.3 * f64::from(at)))
            .collect();
        let of = [0.24, -0.08, -1.3, 1.0];
        let below = [0.5, 0.0, 1.0, -0.7, 0.1];
        for (z, found) in places.iter().zip(values(&of, &places)) {
            assert_eq!(found, value(&of, *z));
            assert_eq!(ratio(&of, &below, *z), found / value(&below, *z));
        }
    }

    // z^2 - 0.5 z - 0.5 has a root at 1; z^3 - 1.3 z^2 - 0.08 z + 0.24 has 1.2, 0.5 and -0.4
    // (Ogata's kind of example; the roots are the construction).
    #[test]
    fn worked_polynomials() {
        assert!(!inside_unit_circle(&[-0.5, -0.5, 1.0]));
        assert!(!inside_unit_circle(&[0.24, -0.08, -1.3, 1.0]));
    }
}
