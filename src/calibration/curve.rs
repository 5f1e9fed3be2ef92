//! A calibration curve in use: raw reading in, load and its derivatives out.
//!
//! The curve is raw = p(load); a reading is inverted by Newton's method from the straight line
//! through the ends. For a reading r the load F solves p(F) = r, so dF/dr = 1/p'(F) and
//! dF/dc_k = -z^k / p'(F): the law of propagation (JCGM 100:2008, 5.1) for the inverse.

use serde::{Deserialize, Serialize};

use super::degree::{self, FTest};
use super::hysteresis::Loop;
use super::points::Points;
use super::{e74, reversibility, saturation};
use crate::diagnostic::{Code, Diagnostic, Error, Place};
use crate::numeric::polynomial::Fit;
use crate::quantity::{Force, Given};

/// A curve with its covariance.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    /// The polynomial raw(load) and the covariance of its scaled coefficients.
    pub fit: Fit,
    /// What is not known of the whole scale.
    pub scale: Scale,
    /// The loop between loading and unloading; `None` where it was not looked for.
    pub hysteresis: Option<Loop>,
    /// Smallest and largest known load; `None` when the curve was stated, not measured.
    pub range: Option<[f64; 2]>,
    /// Number of points behind it.
    pub points: usize,
    /// What its points said about it.
    pub judged: Judged,
}

/// Relative standard uncertainties of the whole scale of a curve.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Scale {
    /// Of the weights behind the points: limits, and one set of weights for all cells of a firing.
    pub weights_relative_u: f64,
    /// Of gravity where they were put on: the same for all cells.
    pub gravity_relative_u: f64,
    /// Of a slope that somebody stated.
    pub stated_relative_u: f64,
    /// Of a curve that is used beyond the loads of its points: limits.
    #[serde(skip)]
    pub beyond_relative_u: f64,
}

impl Scale {
    /// All of them together.
    #[must_use]
    pub fn relative_u(&self) -> f64 {
        self.weights_relative_u
            .hypot(self.gravity_relative_u)
            .hypot(self.stated_relative_u)
            .hypot(self.beyond_relative_u)
    }
}

/// One cell's curve, as results show it.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct CellReport {
    /// Degree of the polynomial raw(force).
    pub degree: usize,
    /// Its coefficients, constant first: raw counts for newtons.
    pub coefficients: Vec<f64>,
    /// Standard deviation of the residuals, as force.
    pub residual_sd_n: Option<f64>,
    /// Lower limit factor of ASTM E74, N.
    pub lower_limit_factor_n: Option<f64>,
    /// Lowest force usable in class A of ASTM E74, N.
    pub lowest_force_class_a_n: Option<f64>,
    /// p-value of the lack-of-fit test.
    #[cfg_attr(test, schemars(range(min = 0.0, max = 1.0)))]
    pub lack_of_fit_p: Option<f64>,
    /// Largest difference between going up and coming down at one load, N.
    pub hysteresis_n: Option<f64>,
    /// Smallest and largest force of the points, N.
    pub range_n: Option<[f64; 2]>,
    /// Number of points.
    pub points: usize,
}

/// What the points of a curve said about it, kept with it. Unknown without points.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Judged {
    /// Lower limit factor of ASTM E74, in the unit of the loads.
    pub lower_limit_factor: Option<f64>,
    /// Lack of fit against the scatter of repeated loads.
    pub lack_of_fit: Option<FTest>,
    /// Largest difference between going up and coming down at one load, in the unit of the loads.
    pub hysteresis: Option<f64>,
}

/// Stretches between the loads at which the slope is looked at: a cubic turns at most twice.
const SLOPES: usize = 64;

/// Newton steps; the curves are nearly straight, so three reach the last digit.
const NEWTON_STEPS: usize = 8;

/// A load is accepted when the curve there gives the reading back to this share of itself and its range.
const ARRIVED_SHARE: f64 = 1e-9;

impl Curve {
    /// From a fit to points.
    ///
    /// # Errors
    /// A curve whose slope changes sign within the range of its points cannot be inverted.
    pub fn from_fit(fit: &Fit, points: &Points, scale: Scale) -> Result<Self, Error> {
        let curve = Self {
            fit: fit.clone(),
            scale,
            hysteresis: None,
            range: Some(points.range()),
            points: points.raw.len(),
            judged: Judged {
                lower_limit_factor: e74::lower_limit(fit, points)
                    .map(|limit| limit.lower_limit_factor_n),
                lack_of_fit: degree::lack_of_fit(fit, points),
                hysteresis: reversibility::hysteresis(fit, points).map(|found| found.largest),
            },
        };
        if curve.can_be_inverted() {
            return Ok(curve);
        }
        let mut problem = Diagnostic::error(
            Code::CurveTurns,
            "the calibration curve turns back within its range, so a reading has no one load",
        )
        .at(Place::file(points.file.clone()));
        for saturated in saturation::saturated(points) {
            problem = problem.hint(format!(
                "reading {} came at {} loads: if the converter ends there, take those points out",
                saturated.raw,
                saturated.loads.len()
            ));
        }
        Err(problem.hint("look for swapped or mistyped points").into())
    }

    /// Whether the slope keeps one sign over the range of the points, so that a reading has one load.
    #[must_use]
    pub fn can_be_inverted(&self) -> bool {
        let middle = self.fit.centre;
        let [low, high] = self.range.unwrap_or([middle, middle]);
        let rising = self.fit.slope(middle) > 0.0;
        (0..=SLOPES).all(|at| {
            let load = low + (high - low) * at as f64 / SLOPES as f64;
            let slope = self.fit.slope(load);
            slope.is_finite() && slope != 0.0 && (slope > 0.0) == rising
        }) && self.load(self.fit.at(middle)).is_some()
    }

    /// From a stated force for each raw step; `None` when it is zero.
    #[must_use]
    pub fn from_scale(scale: &Given<Force>, zero_raw: f64) -> Option<Self> {
        let newtons = scale.si();
        if newtons == 0.0 || !newtons.is_finite() {
            return None;
        }
        let fit = Fit {
            centre: 0.0,
            scale: 1.0,
            scaled: vec![zero_raw, 1.0 / newtons],
            covariance: vec![vec![0.0; 2]; 2],
            residual_sum: 0.0,
            degrees_of_freedom: 0,
        };
        let stated_relative_u = scale.standard_uncertainty().unwrap_or(0.0) / newtons.abs();
        Some(Self {
            fit,
            scale: Scale {
                stated_relative_u,
                ..Scale::default()
            },
            hysteresis: None,
            range: None,
            points: 0,
            judged: Judged::default(),
        })
    }

    /// Load for a raw reading; `None` when the curve has no such reading.
    #[must_use]
    #[inline]
    pub fn load(&self, raw: f64) -> Option<f64> {
        let fit = &self.fit;
        let line_slope = fit.scaled.get(1)? / fit.scale;
        let mut load = fit.centre + (raw - fit.scaled.first()?) / line_slope;
        for _ in 0..NEWTON_STEPS {
            let step = (raw - fit.at(load)) / fit.slope(load);
            load += step;
            if step.abs() <= 1e-15 * fit.scale.max(load.abs()) {
                break;
            }
        }
        // Beyond a turn of the curve the steps wander without arriving, or arrive on the far branch.
        let range = (line_slope * fit.scale).abs() + raw.abs();
        let arrived = (raw - fit.at(load)).abs() <= ARRIVED_SHARE * range;
        let same_branch = fit.slope(load) * line_slope > 0.0;
        (load.is_finite() && arrived && same_branch).then_some(load)
    }

    /// Derivative of load with respect to the raw reading, at a load.
    #[must_use]
    pub fn load_per_raw(&self, load: f64) -> f64 {
        1.0 / self.fit.slope(load)
    }

    /// Derivatives of load with respect to the scaled coefficients, at a load.
    #[must_use]
    pub fn load_per_coefficient(&self, load: f64) -> Vec<f64> {
        let mut out = vec![0.0; self.fit.scaled.len()];
        self.add_load_per_coefficient(load, 1.0, &mut out);
        out
    }

    /// Adds them so many times to a sum of them.
    #[inline]
    pub(crate) fn add_load_per_coefficient(&self, load: f64, weight: f64, sum: &mut [f64]) {
        let (slope, z) = (self.fit.slope(load), self.fit.scaled_at(load));
        let mut power = 1.0;
        for sum in sum {
            *sum += weight * (-power / slope);
            power *= z;
        }
    }

    /// Half of the loop between loading and unloading at a load, as load, when the largest load was
    /// `highest`: by so much the curve may be wrong either way.
    #[must_use]
    #[inline]
    pub fn half_loop(&self, load: f64, highest: f64) -> f64 {
        let height_raw = self.hysteresis.map_or(0.0, |found| found.at(load, highest));
        0.5 * height_raw / self.fit.slope(load)
    }

    /// What results show.
    #[must_use]
    pub fn report(&self) -> CellReport {
        let sensitivity = (1.0 / self.fit.slope(self.fit.centre)).abs();
        let residual_sd_n = self.fit.residual_sd().map(|sd| sd * sensitivity);
        let judged = &self.judged;
        CellReport {
            degree: self.fit.scaled.len() - 1,
            coefficients: self.fit.coefficients(),
            residual_sd_n,
            lower_limit_factor_n: judged.lower_limit_factor,
            lowest_force_class_a_n: judged
                .lower_limit_factor
                .map(|factor| e74::CLASS_A * factor),
            lack_of_fit_p: judged.lack_of_fit.map(|test| test.probability),
            hysteresis_n: judged.hysteresis,
            range_n: self.range,
            points: self.points,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::degree::choose;
    use super::*;
    use crate::quantity::given;
    use approx::assert_relative_eq;

    #[test]
    fn a_curve_inverts_itself_and_its_derivatives_are_right() {
        let load: Vec<f64> = (0..8).map(|i| 10.0 * f64::from(i)).collect();
        let raw: Vec<f64> = load
            .iter()
            .map(|f| 8000.0 + 1200.0 * f - 0.4 * f * f + f.sin())
            .collect();
        let points = Points::exact(raw, load);
        let curve =
            Curve::from_fit(&choose(&points).unwrap().fit, &points, Scale::default()).unwrap();
        for force in [-3.0, 0.0, 33.3, 71.0] {
            let reading = curve.fit.at(force);
            assert_relative_eq!(curve.load(reading).unwrap(), force, epsilon = 1e-10);
            let ahead = curve.load(reading + 0.5).unwrap() - curve.load(reading - 0.5).unwrap();
            assert_relative_eq!(curve.load_per_raw(force), ahead, max_relative = 1e-6);
            let mut other = curve.clone();
            other.fit.scaled[1] += 1.0;
            let moved = other.load(reading).unwrap() - force;
            assert_relative_eq!(
                curve.load_per_coefficient(force)[1],
                moved,
                max_relative = 1e-3
            );
        }
    }

    // raw = 100 + 10 x - x^2/2 turns at x = 10, at 150 counts.
    fn turning(loads: std::ops::RangeInclusive<i32>, step: f64) -> Result<Curve, Error> {
        let load: Vec<f64> = loads.map(|at| step * f64::from(at)).collect();
        let raw = load
            .iter()
            .map(|x| 100.0 + 10.0 * x - 0.5 * x * x)
            .collect();
        let points = Points::exact(raw, load);
        Curve::from_fit(&choose(&points).unwrap().fit, &points, Scale::default())
    }

    #[test]
    fn beyond_its_turn_a_curve_has_no_load() {
        let curve = turning(0..=9, 1.0).unwrap();
        assert_relative_eq!(curve.load(149.5).unwrap(), 9.0, max_relative = 1e-9);
        assert_eq!(curve.load(150.5), None);
        // The other branch, where raw falls.
        let curve = turning(11..=20, 1.0).unwrap();
        assert_relative_eq!(curve.load(149.5).unwrap(), 11.0, max_relative = 1e-9);
        assert_eq!(curve.load(150.5), None);
    }

    #[test]
    fn a_curve_that_turns_within_its_range_is_refused_at_either_end() {
        assert!(turning(0..=39, 0.25).is_ok());
        let refused = turning(0..=41, 0.25).unwrap_err().render();
        assert!(refused.contains("turns back within its range"), "{refused}");
        assert!(turning(39..=80, 0.25).is_err());
        assert!(turning(41..=80, 0.25).is_ok());
    }

    #[test]
    fn a_stated_scale_is_a_straight_line_with_its_share() {
        let stated = |text| Curve::from_scale(&given::parse(text).unwrap(), 50.0);
        for (text, newtons) in [("0.02 N u 0.0001 N", 0.02), ("-0.02 N u 0.0001 N", -0.02)] {
            let curve = stated(text).unwrap();
            assert_relative_eq!(curve.load(150.0).unwrap(), 100.0 * newtons);
            assert_relative_eq!(curve.scale.stated_relative_u, 0.005, max_relative = 1e-12);
            assert_eq!(curve.half_loop(1.0, 2.0), 0.0);
            assert_eq!(curve.report().residual_sd_n, None);
        }
        assert_eq!(stated("0 N"), None);
    }
}
