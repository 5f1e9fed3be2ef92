//! Minimum of a function of a few variables without derivatives: the simplex of Nelder & Mead
//! (Computer Journal 7, 1965), with their coefficients (reflect 1, expand 2, contract and shrink 1/2).
//!
//! For functions with kinks, where a gradient misleads. It finds a minimum near its start; the
//! caller starts it more than once. Infinite values are walls.

/// A point and its value.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Minimum {
    /// Where.
    pub x: Vec<f64>,
    /// How low.
    pub value: f64,
}

/// Looks for a minimum from a start, with first steps of a size along each variable, until the
/// simplex is smaller than `tolerance` in every variable or `most` values were asked for.
pub(crate) fn minimum(
    start: &[f64],
    step: f64,
    tolerance: f64,
    most: usize,
    mut of: impl FnMut(&[f64]) -> f64,
) -> Minimum {
    let mut ask = |x: Vec<f64>| {
        let value = of(&x);
        let value = if value.is_nan() { f64::INFINITY } else { value };
        Minimum { x, value }
    };
    let mut points = vec![ask(start.to_vec())];
    for at in 0..start.len() {
        let mut x = start.to_vec();
        x[at] += step;
        points.push(ask(x));
    }
    let mut asked = points.len();
    loop {
        points.sort_by(|a, b| a.value.total_cmp(&b.value));
        let (best, worst) = (points[0].clone(), points[points.len() - 1].clone());
        let size = |at: usize| {
            let spread = points.iter().map(|point| (point.x[at] - best.x[at]).abs());
            spread.fold(0.0, f64::max)
        };
        if asked >= most || (0..start.len()).all(|at| size(at) < tolerance) {
            return best;
        }
        let others = &points[..points.len() - 1];
        let middle: Vec<f64> = (0..start.len())
            .map(|at| others.iter().map(|p| p.x[at]).sum::<f64>() / others.len() as f64)
            .collect();
        let along = |factor: f64| -> Vec<f64> {
            middle
                .iter()
                .zip(&worst.x)
                .map(|(m, w)| m + factor * (m - w))
                .collect()
        };
        let second = points[points.len() - 2].value;
        let last = points.len() - 1;
        let reflected = ask(along(1.0));
        asked += 1;
        if reflected.value < best.value {
            let expanded = ask(along(2.0));
            asked += 1;
            points[last] = if expanded.value < reflected.value {
                expanded
            } else {
                reflected
            };
        } else if reflected.value < second {
            points[last] = reflected;
        } else {
            let inside = ask(along(if reflected.value < worst.value {
                0.5
            } else {
                -0.5
            }));
            asked += 1;
            if inside.value < worst.value.min(reflected.value) {
                points[last] = inside;
            } else {
                for point in points.iter_mut().skip(1) {
                    let x: Vec<f64> = best
                        .x
                        .iter()
                        .zip(&point.x)
                        .map(|(b, p)| 0.5 * (b + p))
                        .collect();
                    *point = ask(x);
                    asked += 1;
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    // Rosenbrock's valley (Computer Journal 3, 1960): minimum 0 at (1, 1), from (-1.2, 1).
    #[test]
    fn it_walks_down_rosenbrocks_valley() {
        let found = minimum(&[-1.2, 1.0], 0.5, 1e-10, 2000, |x| {
            100.0 * (x[1] - x[0] * x[0]).powi(2) + (1.0 - x[0]).powi(2)
        });
        assert_relative_eq!(found.x[0], 1.0, epsilon = 1e-6);
        assert_relative_eq!(found.x[1], 1.0, epsilon = 1e-6);
    }

    #[test]
    fn a_wall_is_not_walked_through() {
        let found = minimum(&[3.0], 0.5, 1e-9, 500, |x| {
            if x[0] < 2.0 { f64::NAN } else { x[0] * x[0] }
        });
        assert_relative_eq!(found.x[0], 2.0, epsilon = 1e-6);
    }
}
