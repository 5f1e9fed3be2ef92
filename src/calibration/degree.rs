//! How many bends a curve needs.
//!
//! Starting from a straight line, a power is added while the F test says that it lowers the
//! residuals more than chance would (extra sum of squares), or while the residuals of the lower
//! degree are larger than the scatter of repeated loads allows (lack of fit). Both tests: Draper &
//! Smith, Applied Regression Analysis, 3rd ed., 1.5 and 6.1; NIST/SEMATECH e-Handbook, 4.6.1.

use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, FisherSnedecor};

use super::points::Points;
use crate::diagnostic::{Code, Diagnostic, Error, Place};
use crate::log::words;
use crate::numeric::polynomial::{self, Fit};

/// Highest degree tried. Bridges bend once or twice; more follows noise.
pub(crate) const HIGHEST: usize = 3;

/// Probability below which a test counts as failed. One in a hundred, because two tests are made at
/// each step and a needless power widens every interval.
pub(crate) const SIGNIFICANCE: f64 = 0.01;

/// The chosen curve and what speaks for it.
#[derive(Debug, Clone)]
pub(crate) struct Chosen {
    /// The fit.
    pub fit: Fit,
    /// Lack of fit of the chosen degree, where loads were repeated.
    pub lack_of_fit: Option<FTest>,
    /// Every degree that the points allow, the straight line first.
    pub degrees: Vec<DegreeReport>,
    /// Why this degree, as a sentence.
    pub why: String,
}

/// One degree, and how it does on the points.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct DegreeReport {
    /// The degree.
    pub degree: usize,
    /// Coefficients, constant first: raw for each power of load.
    pub coefficients: Vec<f64>,
    /// Standard deviation of the readings about it, raw.
    pub residual_sd_raw: Option<f64>,
    /// Share of the readings' variance that it explains. It decides nothing.
    pub r_squared: f64,
    /// Extra sum of squares: whether its highest power lowers the residuals; `None` for the straight line.
    pub power: Option<FTest>,
    /// Lack of fit: whether it misses the points by more than repeated loads scatter.
    pub lack_of_fit: Option<FTest>,
}

impl DegreeReport {
    fn faulted(&self) -> bool {
        significant(self.lack_of_fit)
    }

    /// The same over loads in another unit, `size` of the old ones large.
    #[must_use]
    pub(super) fn in_unit(mut self, size: f64) -> Self {
        let powers = std::iter::successors(Some(1.0), |power| Some(power * size));
        for (coefficient, power) in self.coefficients.iter_mut().zip(powers) {
            *coefficient *= power;
        }
        self
    }
}

fn significant(test: Option<FTest>) -> bool {
    test.is_some_and(|test| test.probability < SIGNIFICANCE)
}

/// An F test.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
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
/// Fewer than two levels.
pub(crate) fn choose(points: &Points) -> Result<Chosen, Error> {
    let (fits, degrees) = fit_all(points);
    if let Some(fit) = two_points(points) {
        return Ok(Chosen {
            fit,
            lack_of_fit: None,
            degrees,
            why: "a straight line through two points, which show neither scatter nor bend"
                .to_owned(),
        });
    }
    let mut chosen = 0;
    let mut why = match degrees.first() {
        None => return Err(too_few(points)),
        Some(line) if line.faulted() => {
            "the straight line misses its points, but no power mends it"
        }
        Some(_) if degrees.len() == 1 => "a straight line: the points allow no higher degree",
        Some(_) => "a straight line: the next power does not lower the residuals beyond chance",
    };
    while let Some(next) = degrees.get(chosen + 1) {
        if significant(next.power) {
            why = "its highest power lowers the residuals beyond chance, the next one does not";
            chosen += 1;
            continue;
        }
        // The lower degree may miss its points while this power alone does not help: look one further,
        // against the lower degree.
        let further = fits.get(chosen + 2).filter(|_| degrees[chosen].faulted());
        let mends = further.map(|further| extra_sum_of_squares(&fits[chosen], further, points));
        if !significant(mends) {
            break;
        }
        why = "the lower degrees miss their points by more than repeats scatter, and two powers mend it";
        chosen += 2;
    }
    Ok(Chosen {
        fit: fits[chosen].clone(),
        lack_of_fit: degrees[chosen].lack_of_fit,
        why: why.to_owned(),
        degrees,
    })
}

/// Share of the rise between two points that is taken for the standard uncertainty of each reading, for they do not
/// show how readings scatter: common practice, no source.
const TWO_POINT_SHARE: f64 = 0.01;

/// The line through two points, such as no load and one weight; `None` when there are more, or one load only.
fn two_points(points: &Points) -> Option<Fit> {
    let [first, second] = points.raw[..] else {
        return None;
    };
    let mut fit = polynomial::fit(&points.load, &points.raw, 1)?;
    // The abscissas are -1 and 1: each coefficient is half the sum, or the difference, of the two readings.
    let variance = 0.5 * (TWO_POINT_SHARE * (second - first)).powi(2);
    fit.covariance = vec![vec![variance, 0.0], vec![0.0, variance]];
    Some(fit)
}

/// The warning about a line through two points; `None` when there are more.
#[must_use]
pub(crate) fn two_points_warning(points: &Points) -> Option<Diagnostic> {
    let message = "two points make a line, but show neither how readings scatter nor whether the cell bends: 1 % of \
                   the rise is taken for the standard uncertainty of each reading";
    (points.raw.len() == 2).then(|| {
        Diagnostic::warning(Code::PointsFew, message)
            .at(Place::file(&points.file))
            .hint("in a firing file scale = \"0.0123 N\" and zero = 8123 say the same with limits of your own")
            .hint("five loads, up and down, make a good curve")
    })
}

/// Fits of every degree that leaves one level over to tell a bend from a mistake.
fn fit_all(points: &Points) -> (Vec<Fit>, Vec<DegreeReport>) {
    let (x, y) = (&points.load, &points.raw);
    let levels = repeats(x, y);
    let (mut fits, mut degrees): (Vec<Fit>, Vec<DegreeReport>) = (Vec::new(), Vec::new());
    for degree in 1..=HIGHEST {
        if degree > 1 && levels.count < degree + 2 {
            break;
        }
        let Some(fit) = polynomial::fit(x, y, degree).filter(|fit| fit.degrees_of_freedom > 0)
        else {
            break;
        };
        degrees.push(DegreeReport {
            degree,
            coefficients: fit.coefficients(),
            residual_sd_raw: fit.residual_sd(),
            r_squared: 1.0 - fit.residual_sum / total_sum(y),
            power: fits
                .last()
                .map(|lower| extra_sum_of_squares(lower, &fit, points)),
            lack_of_fit: levels.lack_of_fit(&fit),
        });
        fits.push(fit);
    }
    (fits, degrees)
}

/// Sum of squares about the mean.
fn total_sum(y: &[f64]) -> f64 {
    let mean = y.iter().sum::<f64>() / y.len() as f64;
    y.iter().map(|y| (y - mean).powi(2)).sum()
}

/// Sums of squared residuals up to this are rounding, not scatter: points that were computed, not
/// measured, would otherwise be judged by the last bits of their numbers.
fn rounding_sum(y: &[f64]) -> f64 {
    const LAST_BITS: f64 = 64.0;
    let largest = y.iter().fold(0.0, |most: f64, y| most.max(y.abs()));
    y.len() as f64 * (LAST_BITS * f64::EPSILON * largest).powi(2)
}

/// The warning about a curve that misses its points; `None` when it does not.
#[must_use]
pub(crate) fn lack_of_fit_warning(test: Option<&FTest>, file: &str) -> Option<Diagnostic> {
    let test = test.filter(|test| test.probability < SIGNIFICANCE)?;
    let message = format!(
        "the calibration curve misses its points by more than repeated loads scatter \
         (F = {:.1}, p = {:.1e})",
        test.ratio, test.probability
    );
    Some(
        Diagnostic::warning(Code::LackOfFit, message)
            .at(Place::file(file))
            .hint("look at the residual plot for a wrong weight, creep or friction"),
    )
}

fn too_few(points: &Points) -> Error {
    Diagnostic::error(
        Code::TooFewPoints,
        format!(
            "too few for a calibration: {} at {}",
            words::count(points.raw.len(), "point"),
            words::count(repeats(&points.load, &points.raw).count, "load")
        ),
    )
    .at(Place::file(points.file.clone()))
    .hint("give readings at two loads at least, such as none and one weight; five loads, up and down, make a good curve")
    .into()
}

/// Whether a higher degree lowers the residuals more than chance would.
#[must_use]
fn extra_sum_of_squares(lower: &Fit, higher: &Fit, points: &Points) -> FTest {
    let above = lower
        .degrees_of_freedom
        .saturating_sub(higher.degrees_of_freedom);
    if lower.residual_sum <= rounding_sum(&points.raw) {
        return f_test(0.0, 0.0, (above, higher.degrees_of_freedom));
    }
    let gain = (lower.residual_sum - higher.residual_sum).max(0.0) / above.max(1) as f64;
    let noise = higher.residual_sum / higher.degrees_of_freedom.max(1) as f64;
    f_test(gain, noise, (above, higher.degrees_of_freedom))
}

/// A ratio is no larger: what lies beyond is one that rounding decides, or none to compare with.
const LARGEST_RATIO: f64 = 1e12;

fn f_test(above: f64, below: f64, freedom: (usize, usize)) -> FTest {
    let ratio = if above <= 0.0 {
        0.0
    } else if below > 0.0 {
        (above / below).min(LARGEST_RATIO)
    } else {
        LARGEST_RATIO
    };
    let probability = if ratio >= LARGEST_RATIO {
        0.0
    } else if ratio <= 0.0 {
        1.0
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
    rounding_sum: f64,
}

/// Whether a fit misses its points by more than repeated loads scatter; `None` where none was
/// repeated, or where the curve has as many coefficients as there are loads.
#[must_use]
pub(crate) fn lack_of_fit(fit: &Fit, points: &Points) -> Option<FTest> {
    repeats(&points.load, &points.raw).lack_of_fit(fit)
}

/// Number of distinct loads.
#[must_use]
pub(crate) fn levels(points: &Points) -> usize {
    repeats(&points.load, &points.raw).count
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
        rounding_sum: rounding_sum(y),
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
        if fit.residual_sum <= self.rounding_sum {
            return Some(f_test(0.0, 0.0, (above, below)));
        }
        // Readings that repeat to the last digit say nothing of how they scatter.
        if self.pure_error_sum <= self.rounding_sum {
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
        assert!(lack_of_fit_warning(chosen.lack_of_fit.as_ref(), "points").is_none());
        // R squared of the straight line, recomputed: 0.99998852. It looks perfect and is wrong.
        assert_relative_eq!(
            chosen.degrees[0].r_squared,
            0.999988519115219,
            max_relative = 1e-12
        );
    }

    #[test]
    fn exact_points_on_a_line_stay_a_line() {
        let x: Vec<f64> = (0..6).map(f64::from).collect();
        let y: Vec<f64> = x.iter().map(|x| 100.0 + 12.0 * x).collect();
        let chosen = choose(&Points::exact(y.clone(), x.clone())).unwrap();
        assert_eq!(chosen.fit.scaled.len(), 2);
        // Repeated, with numbers that no binary fraction holds: nothing but rounding is left over.
        let x: Vec<f64> = [&x[..], &x].concat().iter().map(|x| x / 3.0).collect();
        let y: Vec<f64> = x.iter().map(|x| 0.1 + 1.7 * x).collect();
        let chosen = choose(&Points::exact(y, x)).unwrap();
        assert_eq!(chosen.fit.scaled.len(), 2);
        assert!(chosen.lack_of_fit.unwrap().probability > 0.5);
    }

    // Loads put on twice that read the same to the last count: the smallest scatter is not known, and a
    // ratio to it would have no end.
    #[test]
    fn readings_that_repeat_to_the_last_digit_fault_no_curve() {
        let x = [0.0, 0.0, 5.0, 5.0, 10.0, 20.0];
        let y = [8003.0, 8003.0, 28_030.0, 28_030.0, 47_990.0, 88_010.0];
        let chosen = choose(&Points::exact(y.to_vec(), x.to_vec())).unwrap();
        assert_eq!(chosen.lack_of_fit, None);
        assert_eq!(chosen.fit.scaled.len(), 2);
    }

    #[test]
    fn one_load_is_too_few() {
        let problem = choose(&Points::exact(vec![1.0, 2.0], vec![1.0, 1.0])).unwrap_err();
        assert!(
            problem
                .render()
                .contains("too few for a calibration: 2 points at 1 load")
        );
    }

    // Readings wrong by 10 counts each, of 1000: the slope is wrong by the root of two of that, 1.4 %.
    #[test]
    fn two_points_make_a_line_of_an_honest_width() {
        let points = Points::exact(vec![8000.0, 9000.0], vec![0.0, 5.0]);
        let fit = choose(&points).unwrap().fit;
        assert_relative_eq!(fit.at(2.5), 8500.0);
        let covariance = fit.coefficient_covariance();
        assert_relative_eq!(
            covariance[1][1].sqrt() / 200.0,
            0.01 * 2.0_f64.sqrt(),
            max_relative = 1e-9
        );
        assert_relative_eq!(fit.u_at(0.0), 10.0, max_relative = 1e-9);
        assert!(two_points_warning(&points).is_some());
    }

    /// Readings of a function at some loads, each twice, the second one count higher.
    fn twice(loads: &[f64], raw: impl Fn(f64) -> f64) -> Points {
        let both = [loads, loads].concat();
        let rows = both.iter().enumerate();
        let raw = rows
            .map(|(row, load)| raw(*load) + f64::from(u8::from(row >= loads.len())))
            .collect();
        Points::exact(raw, both)
    }

    #[test]
    fn a_curve_leaves_one_load_over_to_tell_a_bend_from_a_mistake() {
        let tried = |levels: u32| {
            let loads: Vec<f64> = (0..levels).map(f64::from).collect();
            let chosen = choose(&twice(&loads, |x| 100.0 * x)).unwrap();
            (chosen.degrees.len(), chosen.why)
        };
        assert_eq!(
            [2, 3, 4, 5, 6].map(|levels| tried(levels).0),
            [1, 1, 2, 3, 3]
        );
        assert!(tried(3).1.contains("allow no higher degree"));
        assert!(tried(4).1.contains("does not lower the residuals"));
    }

    // A cubic about its own centre has no square part: the parabola does not help, the cubic does.
    #[test]
    fn two_powers_are_added_at_once_where_only_both_help() {
        let loads: Vec<f64> = (-5..=5).map(f64::from).collect();
        let chosen = choose(&twice(&loads, |x| 1000.0 * x + x * x * x)).unwrap();
        assert_eq!(chosen.fit.scaled.len(), 4);
        assert!(chosen.why.contains("two powers mend it"), "{}", chosen.why);
        assert_eq!(
            lack_of_fit_warning(chosen.lack_of_fit.as_ref(), "points"),
            None
        );
    }

    #[test]
    fn what_no_power_mends_is_said_and_warned_of() {
        let loads: Vec<f64> = (0..=8).map(f64::from).collect();
        let zigzag = |x: f64| 100.0 * x + if x % 2.0 == 0.0 { 8.0 } else { -8.0 };
        let chosen = choose(&twice(&loads, zigzag)).unwrap();
        assert_eq!(chosen.fit.scaled.len(), 2);
        assert!(chosen.why.contains("no power mends it"), "{}", chosen.why);
        let warning = lack_of_fit_warning(chosen.lack_of_fit.as_ref(), "points");
        assert!(warning.unwrap().message.contains("misses its points"));
    }

    // Worked apart with numpy: sums of squares 21.3929 of the line, 18.7143 of the cubic, over 5 and 3
    // degrees of freedom.
    #[test]
    fn two_powers_share_what_they_gain() {
        let load: Vec<f64> = (0..7).map(f64::from).collect();
        let raw = vec![1.0, 12.0, 18.0, 32.0, 39.0, 53.0, 59.0];
        let points = Points::exact(raw, load);
        let fit = |degree| polynomial::fit(&points.load, &points.raw, degree).unwrap();
        let test = extra_sum_of_squares(&fit(1), &fit(3), &points);
        assert_eq!(test.freedom, (2, 3));
        assert_relative_eq!(test.ratio, 0.21469465648854577, max_relative = 1e-9);
        assert_relative_eq!(test.probability, 0.8181947658238005, max_relative = 1e-9);
    }
}
