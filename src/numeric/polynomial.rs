//! Polynomial least squares by orthogonalisation, with the full covariance of the coefficients.
//!
//! The abscissa is first moved and scaled to -1..1, because powers of raw loads make the normal
//! equations worthless (NIST StRD data set Pontius: condition 1e13). Covariance is
//! s^2 R^-1 R^-T (Golub & Van Loan, Matrix Computations, 5.3); it is never formed through the
//! normal equations.

use super::gram_schmidt::upright;

/// A polynomial y(x) fitted to points.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// Centre of the abscissa.
    pub centre: f64,
    /// Half width of the abscissa.
    pub scale: f64,
    /// Coefficients in powers of (x - centre)/scale, constant first.
    pub scaled: Vec<f64>,
    /// Covariance of `scaled`, row by row.
    pub covariance: Vec<Vec<f64>>,
    /// Sum of squared residuals.
    pub residual_sum: f64,
    /// Degrees of freedom.
    pub degrees_of_freedom: usize,
}

/// Fits a polynomial of a degree. `None` when there are too few points or too few distinct
/// abscissas, or when a number is not finite.
#[must_use]
pub(crate) fn fit(x: &[f64], y: &[f64], degree: usize) -> Option<Fit> {
    let columns = degree + 1;
    let all_finite = x.iter().chain(y).all(|value| value.is_finite());
    if x.len() != y.len() || x.len() < columns || distinct(x) < columns || !all_finite {
        return None;
    }
    let (low, high) = x
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| {
            (low.min(*x), high.max(*x))
        });
    let centre = 0.5 * (low + high);
    let scale = if high > low { 0.5 * (high - low) } else { 1.0 };
    let mut powers = vec![vec![1.0; x.len()]];
    for at in 0..degree {
        let next = x.iter().zip(&powers[at]);
        let next = next.map(|(x, power)| power * ((x - centre) / scale));
        powers.push(next.collect());
    }
    let found = upright(&mut powers, &mut y.to_vec());
    let r_inverse = found.r.try_inverse()?;
    let scaled = &r_inverse * found.explained;
    let residual_sum = found.left;
    let degrees_of_freedom = x.len() - columns;
    let variance = if degrees_of_freedom > 0 {
        residual_sum / degrees_of_freedom as f64
    } else {
        0.0
    };
    let covariance = &r_inverse * r_inverse.transpose() * variance;
    Some(Fit {
        centre,
        scale,
        scaled: scaled.iter().copied().collect(),
        covariance: (0..columns)
            .map(|row| covariance.row(row).iter().copied().collect())
            .collect(),
        residual_sum,
        degrees_of_freedom,
    })
}

fn distinct(x: &[f64]) -> usize {
    let mut sorted = x.to_vec();
    if !sorted.is_sorted() {
        sorted.sort_by(f64::total_cmp);
    }
    sorted.dedup();
    sorted.len()
}

impl Fit {
    /// The same curve over abscissas in another unit, `size` of the old ones large.
    #[must_use]
    pub fn in_unit(&self, size: f64) -> Self {
        Self {
            centre: self.centre / size,
            scale: self.scale / size,
            ..self.clone()
        }
    }

    /// Standard deviation of the residuals; `None` without degrees of freedom.
    #[must_use]
    pub fn residual_sd(&self) -> Option<f64> {
        let freedom = self.degrees_of_freedom;
        (freedom > 0).then(|| (self.residual_sum / freedom as f64).sqrt())
    }

    /// An abscissa moved and scaled to -1..1.
    #[inline]
    pub(crate) fn scaled_at(&self, x: f64) -> f64 {
        (x - self.centre) / self.scale
    }

    /// Value at an abscissa.
    #[must_use]
    #[inline]
    pub fn at(&self, x: f64) -> f64 {
        let z = self.scaled_at(x);
        self.scaled
            .iter()
            .rev()
            .fold(0.0, |sum, coefficient| sum * z + coefficient)
    }

    /// Slope at an abscissa.
    #[must_use]
    #[inline]
    pub fn slope(&self, x: f64) -> f64 {
        let z = self.scaled_at(x);
        let powers = (1..self.scaled.len()).rev();
        powers.fold(0.0, |sum, power| {
            sum * z + power as f64 * self.scaled[power]
        }) / self.scale
    }

    /// Derivatives of the value with respect to each scaled coefficient.
    #[must_use]
    pub fn gradient(&self, x: f64) -> Vec<f64> {
        let z = self.scaled_at(x);
        std::iter::successors(Some(1.0), |power| Some(power * z))
            .take(self.scaled.len())
            .collect()
    }

    /// Standard uncertainty of the fitted value.
    #[must_use]
    pub fn u_at(&self, x: f64) -> f64 {
        quadratic_form(&self.covariance, &self.gradient(x))
            .max(0.0)
            .sqrt()
    }

    /// Coefficients in powers of x itself, constant first.
    #[must_use]
    pub fn coefficients(&self) -> Vec<f64> {
        self.transform()
            .iter()
            .map(|row| dot(row, &self.scaled))
            .collect()
    }

    /// Covariance of [`Fit::coefficients`].
    #[must_use]
    pub fn coefficient_covariance(&self) -> Vec<Vec<f64>> {
        let transform = self.transform();
        let half: Vec<Vec<f64>> = transform
            .iter()
            .map(|row| {
                self.covariance
                    .iter()
                    .map(|column| dot(row, column))
                    .collect()
            })
            .collect();
        half.iter()
            .map(|row| transform.iter().map(|other| dot(row, other)).collect())
            .collect()
    }

    /// Row j holds what each scaled coefficient adds to the power j of x (binomial theorem).
    fn transform(&self) -> Vec<Vec<f64>> {
        let count = self.scaled.len();
        let mut rows = vec![vec![0.0; count]; count];
        for power in 0..count {
            let mut term = self.scale.powi(-(power as i32));
            // Coefficient of x^j in (x - c)^power, from j = power downwards.
            for (j, row) in rows.iter_mut().enumerate().take(power + 1).rev() {
                row[power] = term;
                term *= -self.centre * j as f64 / (power - j + 1) as f64;
            }
        }
        rows
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// gᵀ C g.
#[must_use]
#[inline]
pub(crate) fn quadratic_form(covariance: &[Vec<f64>], gradient: &[f64]) -> f64 {
    let rows = covariance.iter().zip(gradient);
    rows.fold(0.0, |sum, (row, g)| {
        let pairs = row.iter().zip(gradient);
        sum + g * pairs.fold(0.0, |sum, (a, b)| sum + a * b)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::uncertainty::{Term, combined};
    use approx::assert_relative_eq;

    /// Two neighbouring columns of a small file of numbers.
    fn columns(text: &str, first: usize) -> (Vec<f64>, Vec<f64>) {
        text.lines()
            .filter_map(|line| {
                let mut fields = line
                    .split(',')
                    .skip(first)
                    .map(|field| field.trim().parse::<f64>());
                Some((fields.next()?.ok()?, fields.next()?.ok()?))
            })
            .unzip()
    }

    // NIST StRD linear regression, data set Pontius (load cell): certified values. Tolerances: what
    // double precision QR can reach on this data (1e-10 on b0, 1e-11 on the rest).
    #[test]
    fn pontius_is_reproduced_to_the_certified_digits() {
        let (x, y) = columns(include_str!("../../tests/data/nist/pontius.csv"), 1);
        assert_eq!(x.len(), 40);
        let fit = fit(&x, &y, 2).unwrap();
        let b = fit.coefficients();
        assert_relative_eq!(b[0], 0.673565789473684e-3, max_relative = 1e-10);
        assert_relative_eq!(b[1], 0.732059160401003e-6, max_relative = 1e-11);
        assert_relative_eq!(b[2], -0.316081871345029e-14, max_relative = 1e-11);
        let sd = fit.coefficient_covariance();
        assert_relative_eq!(sd[0][0].sqrt(), 0.107938612033077e-3, max_relative = 1e-10);
        assert_relative_eq!(sd[1][1].sqrt(), 0.157817399981659e-9, max_relative = 1e-10);
        assert_relative_eq!(sd[2][2].sqrt(), 0.486652849992036e-16, max_relative = 1e-10);
        assert_relative_eq!(
            fit.residual_sd().unwrap(),
            0.205177424076185e-3,
            max_relative = 1e-10
        );
    }

    // JCGM 100:2008, example H.3 (thermometer): value, uncertainty and covariance at 20 degC.
    #[test]
    fn the_guide_s_thermometer_comes_out_with_its_covariance() {
        let (t, b) = columns(include_str!("../../tests/data/gum-h3-thermometer.csv"), 0);
        let shifted: Vec<f64> = t.iter().map(|t| t - 20.0).collect();
        let fit = fit(&shifted, &b, 1).unwrap();
        let (y, c) = (fit.coefficients(), fit.coefficient_covariance());
        assert_relative_eq!(y[0], -0.17120379013135, epsilon = 1e-12);
        assert_relative_eq!(y[1], 0.002182697739887, epsilon = 1e-13);
        assert_relative_eq!(c[0][0].sqrt(), 0.002877597835160, epsilon = 1e-13);
        assert_relative_eq!(c[1][1].sqrt(), 0.000667938773228, epsilon = 1e-13);
        assert_relative_eq!(
            c[0][1] / (c[0][0] * c[1][1]).sqrt(),
            -0.9304296031,
            epsilon = 1e-9
        );
        assert_relative_eq!(fit.at(10.0), -0.1493768127, epsilon = 1e-9);
        assert_relative_eq!(fit.u_at(10.0), 0.004138595753, epsilon = 1e-11);
        // With a systematic uncertainty of 0.005 that all corrections share, 0.0029 becomes 0.0057689.
        let with_shared = combined(&[
            Term::random("points", c[0][0].sqrt()),
            Term::systematic("reference thermometer", 0.005),
        ]);
        assert_relative_eq!(with_shared, 0.005_768_931_4, epsilon = 5e-11);
    }

    // JCGM 100:2008, example H.2: resistance, reactance and impedance from five simultaneous readings
    // of voltage, current and phase, whose means are correlated (table H.2; results recomputed). What
    // ignoring the correlations gives is wrong by half to a factor of three.
    #[test]
    fn the_guide_s_correlated_means_are_carried_into_the_impedance() {
        let readings = [
            [5.007, 19.663e-3, 1.0456],
            [4.994, 19.639e-3, 1.0438],
            [5.005, 19.640e-3, 1.0468],
            [4.990, 19.685e-3, 1.0428],
            [4.999, 19.678e-3, 1.0433],
        ];
        let mean = |at: usize| readings.iter().map(|row| row[at]).sum::<f64>() / 5.0;
        let [v, i, phi] = [mean(0), mean(1), mean(2)];
        let means = [v, i, phi];
        let covariance: Vec<Vec<f64>> = (0..3)
            .map(|a| {
                let of = |b: usize| {
                    let sum: f64 = readings
                        .iter()
                        .map(|row| (row[a] - means[a]) * (row[b] - means[b]))
                        .sum();
                    sum / 20.0
                };
                (0..3).map(of).collect()
            })
            .collect();
        let alone: Vec<Vec<f64>> = (0..3)
            .map(|a| {
                (0..3)
                    .map(|b| if a == b { covariance[a][a] } else { 0.0 })
                    .collect()
            })
            .collect();
        let (sine, cosine) = phi.sin_cos();
        let z = v / i;
        let cases = [
            // Value, gradient by voltage, current and phase; u with and without the covariances.
            (
                z * cosine,
                [cosine / i, -z * cosine / i, -z * sine],
                127.732,
                0.071_071_4,
                0.194_54,
            ),
            (
                z * sine,
                [sine / i, -z * sine / i, z * cosine],
                219.847,
                0.295_582,
                0.200_91,
            ),
            (z, [1.0 / i, -z / i, 0.0], 254.260, 0.236_336, 0.204_08),
        ];
        for (value, gradient, published, u, u_wrong) in cases {
            assert_relative_eq!(value, published, epsilon = 5e-4);
            let carried = quadratic_form(&covariance, &gradient).sqrt();
            assert_relative_eq!(carried, u, max_relative = 5e-6);
            let ignored = quadratic_form(&alone, &gradient).sqrt();
            assert_relative_eq!(ignored, u_wrong, max_relative = 5e-5);
        }
    }

    // NIST StRD linear regression, data set NoInt1, is the line y = x + 70 exactly.
    #[test]
    fn a_line_far_from_zero_keeps_its_intercept() {
        let (x, y) = columns(include_str!("../../tests/data/nist/noint1.csv"), 0);
        let free = fit(&x, &y, 1).unwrap().coefficients();
        assert_relative_eq!(free[0], 70.0, max_relative = 1e-12);
        assert_relative_eq!(free[1], 1.0, max_relative = 1e-12);
    }

    #[test]
    fn too_few_distinct_abscissas_are_refused() {
        assert!(fit(&[1.0, 1.0, 1.0], &[1.0, 2.0, 3.0], 1).is_none());
        assert!(fit(&[1.0, f64::NAN], &[1.0, 2.0], 1).is_none());
    }

    #[test]
    fn the_slope_is_the_derivative() {
        let x: Vec<f64> = (0..9).map(f64::from).collect();
        let y: Vec<f64> = x
            .iter()
            .map(|x| 1.0 + 2.0 * x - 0.3 * x * x + 0.01 * x.powi(3))
            .collect();
        let fit = fit(&x, &y, 3).unwrap();
        assert_relative_eq!(
            fit.slope(2.5),
            2.0 - 0.6 * 2.5 + 0.03 * 6.25,
            epsilon = 1e-9
        );
        assert_relative_eq!(fit.coefficients()[3], 0.01, epsilon = 1e-12);
    }
}
