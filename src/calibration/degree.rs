//! How many bends a curve needs.
//!
//! Starting from a straight line, a power is added while the F test says that it lowers the
//! residuals more than chance would (extra sum of squares), or while the residuals of the lower
//! degree are larger than the scatter of repeated loads allows (lack of fit). Both tests: Draper &
//! Smith, Applied Regression Analysis, 3rd ed., 1.5 and 6.1; NIST/SEMATECH e-Handbook, 4.6.1.

use statrs::distribution::{ContinuousCDF, FisherSnedecor};

use super::points::Points;
use crate::diagnostic::{Diagnostic, Place, Problems};
use crate::numeric::polynomial::{self, Fit};
use crate::record::words;

/// Highest degree tried. Bridges bend once or twice; more follows noise.
const HIGHEST: usize = 3;

/// Probability below which a test counts as failed. One in a hundred, because two tests are made at
/// each step and a needless power widens every interval.
const SIGNIFICANCE: f64 = 0.01;

/// The chosen curve and what speaks for it.
#[derive(Debug, Clone)]
pub struct Chosen {
    /// The fit.
    pub fit: Fit,
    /// Lack of fit of the chosen degree, where loads were repeated.
    pub lack_of_fit: Option<FTest>,
    /// What deserves attention.
    pub warnings: Vec<Diagnostic>,
}

/// An F test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FTest {
    /// The ratio.
    pub ratio: f64,
    /// Degrees of freedom above and below.
    pub freedom: (usize, usize),
    /// Probability of a ratio at least this large by chance.
    pub probability: f64,
}

/// Chooses the degree and fits.
///
/// # Errors
/// Fewer than two levels or three points.
pub fn choose(points: &Points) -> Result<Chosen, Problems> {
    let (x, y) = (&points.load, &points.raw);
    let Some(mut fit) = polynomial::fit(x, y, 1).filter(|fit| fit.degrees_of_freedom > 0) else {
        return Err(too_few(points));
    };
    let levels = repeats(x, y);
    let mut lack = levels.lack_of_fit(&fit);
    for degree in 2..=HIGHEST {
        // One level must be left over to tell a bend from a mistake.
        if levels.count < degree + 2 {
            break;
        }
        let Some(next) = polynomial::fit(x, y, degree).filter(|fit| fit.degrees_of_freedom > 0)
        else {
            break;
        };
        let gain = extra_sum_of_squares(&fit, &next);
        let faulted = lack.is_some_and(|test| test.probability < SIGNIFICANCE);
        if gain.probability >= SIGNIFICANCE && !faulted {
            break;
        }
        if gain.probability >= SIGNIFICANCE {
            // The lower degree does not fit, but neither does this power help: look one further.
            let further = polynomial::fit(x, y, degree + 1)
                .filter(|_| levels.count >= degree + 3 && degree < HIGHEST);
            let helps = further.as_ref().is_some_and(|further| {
                extra_sum_of_squares(&fit, further).probability < SIGNIFICANCE
            });
            if !helps {
                break;
            }
        }
        fit = next;
        lack = levels.lack_of_fit(&fit);
    }
    let mut warnings = Vec::new();
    if let Some(test) = lack.filter(|test| test.probability < SIGNIFICANCE) {
        warnings.push(
            Diagnostic::warning(
                "lack-of-fit",
                format!(
                    "the calibration curve misses its points by more than repeated loads scatter \
                     (F = {:.1}, p = {:.1e})",
                    test.ratio, test.probability
                ),
            )
            .at(Place::file(points.file.clone()))
            .hint("look at the residual plot for a wrong weight, creep or friction"),
        );
    }
    Ok(Chosen {
        fit,
        lack_of_fit: lack,
        warnings,
    })
}

fn too_few(points: &Points) -> Problems {
    Diagnostic::error(
        "too-few-points",
        format!(
            "too few for a calibration: {} at {}",
            words::count(points.raw.len(), "point"),
            words::count(repeats(&points.load, &points.raw).count, "load")
        ),
    )
    .at(Place::file(points.file.clone()))
    .hint("give at least three points at two loads; five loads, up and down, make a good curve")
    .into()
}

/// Whether a higher degree lowers the residuals more than chance would.
#[must_use]
pub fn extra_sum_of_squares(lower: &Fit, higher: &Fit) -> FTest {
    let above = lower
        .degrees_of_freedom
        .saturating_sub(higher.degrees_of_freedom);
    let gain = (lower.residual_sum - higher.residual_sum).max(0.0) / above.max(1) as f64;
    let noise = higher.residual_sum / higher.degrees_of_freedom.max(1) as f64;
    f_test(gain, noise, (above, higher.degrees_of_freedom))
}

fn f_test(above: f64, below: f64, freedom: (usize, usize)) -> FTest {
    let ratio = if below > 0.0 {
        above / below
    } else if above > 0.0 {
        f64::INFINITY
    } else {
        0.0
    };
    let probability = if ratio.is_infinite() {
        0.0
    } else {
        FisherSnedecor::new(freedom.0 as f64, freedom.1 as f64).map_or(1.0, |f| f.sf(ratio))
    };
    FTest {
        ratio,
        freedom,
        probability,
    }
}

/// What repeated loads say about the scatter of readings.
struct Repeats {
    count: usize,
    points: usize,
    pure_error_sum: f64,
}

fn repeats(x: &[f64], y: &[f64]) -> Repeats {
    let mut pairs: Vec<(f64, f64)> = x.iter().copied().zip(y.iter().copied()).collect();
    pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
    let groups = pairs.chunk_by(|a, b| a.0.total_cmp(&b.0).is_eq());
    let (mut count, mut pure_error_sum) = (0, 0.0);
    for group in groups {
        let mean = group.iter().map(|pair| pair.1).sum::<f64>() / group.len() as f64;
        pure_error_sum += group
            .iter()
            .map(|pair| (pair.1 - mean).powi(2))
            .sum::<f64>();
        count += 1;
    }
    Repeats {
        count,
        points: x.len(),
        pure_error_sum,
    }
}

impl Repeats {
    fn lack_of_fit(&self, fit: &Fit) -> Option<FTest> {
        let below = self.points - self.count;
        let above = self
            .count
            .checked_sub(fit.scaled.len())
            .filter(|above| *above > 0)?;
        if below == 0 {
            return None;
        }
        let lack = (fit.residual_sum - self.pure_error_sum).max(0.0) / above as f64;
        Some(f_test(
            lack,
            self.pure_error_sum / below as f64,
            (above, below),
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn pontius() -> Points {
        let text = include_str!("../../tests/data/nist/pontius.csv");
        let rows: Vec<Vec<f64>> = text
            .lines()
            .map(|line| {
                line.split(',')
                    .filter_map(|field| field.trim().parse().ok())
                    .collect()
            })
            .filter(|row: &Vec<f64>| row.len() == 3)
            .collect();
        Points::exact(
            rows.iter().map(|r| r[2]).collect(),
            rows.iter().map(|r| r[1]).collect(),
        )
    }

    // NIST/SEMATECH e-Handbook 4.6.1 prints F = 214.7464 for the line and 0.8107 for the parabola;
    // recomputed with exact arithmetic 214.7469237 and 0.8107239003 (the handbook's first figure is
    // from rounded sums).
    #[test]
    fn the_handbook_s_load_cell_needs_a_parabola() {
        let points = pontius();
        let levels = repeats(&points.load, &points.raw);
        let line = polynomial::fit(&points.load, &points.raw, 1).unwrap();
        let test = levels.lack_of_fit(&line).unwrap();
        assert_relative_eq!(test.ratio, 214.7469237, max_relative = 1e-7);
        assert_eq!(test.freedom, (18, 20));
        let chosen = choose(&points).unwrap();
        assert_eq!(chosen.fit.scaled.len(), 3);
        assert_relative_eq!(
            chosen.lack_of_fit.unwrap().ratio,
            0.8107239003,
            max_relative = 1e-6
        );
        assert!(chosen.warnings.is_empty());
    }

    #[test]
    fn exact_points_on_a_line_stay_a_line() {
        let x: Vec<f64> = (0..6).map(f64::from).collect();
        let y: Vec<f64> = x.iter().map(|x| 100.0 + 12.0 * x).collect();
        assert_eq!(choose(&Points::exact(y, x)).unwrap().fit.scaled.len(), 2);
    }

    #[test]
    fn two_points_are_too_few() {
        let problem = choose(&Points::exact(vec![1.0, 2.0], vec![0.0, 1.0])).unwrap_err();
        assert!(
            problem
                .render()
                .contains("too few for a calibration: 2 points at 2 loads")
        );
    }
}
