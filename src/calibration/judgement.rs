//! Everything that speaks for or against a curve, as plain data.
//!
//! Values are in the unit of the points, N or deg (`unit`); readings are raw. The degree was chosen
//! by [`super::degree`]; R squared is shown because people ask for it, and decides nothing: a straight
//! line through the load cell of NIST/SEMATECH e-Handbook 4.6.1 has 0.99999 and misses its points by
//! fourteen times their scatter.

use serde::{Deserialize, Serialize};

use super::degree::{self, Chosen, FTest, Tried};
use super::points::{Direction, LoadKind, Points};
use super::{
    CalibratedCell, calibrate_chosen, choose, e74, findings, inverse_prediction, reversibility,
    saturation, sweep,
};
use crate::diagnostic::{Problems, Warning};
use crate::finding::{self, Finding};
use crate::numeric::polynomial::{self, Fit};
use crate::quantity::Measured;
use crate::quantity::measured::coverage_factor;

/// Schema number of the judgement.
pub const SCHEMA: u32 = 1;

/// What R squared is worth, said wherever it is shown.
pub const R_SQUARED_DECIDES: &str = "R squared decides nothing: a wrong curve can have 0.99999";

/// A curve judged. Every number that `burnwright calibrate` prints is in it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Judgement {
    /// Schema number.
    pub schema: u32,
    /// The points file.
    pub file: String,
    /// What the points' known values are.
    pub quantity: LoadKind,
    /// Unit of every load: N or deg.
    pub unit: String,
    /// Number of points.
    pub points: usize,
    /// Number of distinct loads.
    pub levels: usize,
    /// Number of runs that the file names; 0 when it names none.
    pub runs: usize,
    /// Smallest and largest known load.
    pub range: [f64; 2],
    /// Gravity that turned masses into forces, m/s2; `None` when no mass was given.
    pub gravity_m_s2: Option<f64>,
    /// Relative standard uncertainty that all loads share (weights, gravity).
    pub shared_relative_u: f64,
    /// Whether directions were found from the order of the rows.
    pub direction_found: bool,
    /// Degree chosen.
    pub degree: usize,
    /// Why.
    pub why: String,
    /// What R squared is worth.
    pub r_squared_note: String,
    /// Each degree that the points allow.
    pub degrees: Vec<DegreeReport>,
    /// Coefficients of the chosen curve: raw for each power of load, constant first.
    pub coefficients: Vec<f64>,
    /// Their covariance, random part, row by row.
    pub covariance: Vec<Vec<f64>>,
    /// Standard deviation of the readings about the curve, raw.
    pub residual_sd_raw: Option<f64>,
    /// The same as load.
    pub residual_sd: Option<f64>,
    /// Step that all readings are multiples of, raw; `None` when none shows.
    pub resolution_raw: Option<f64>,
    /// One slope and one zero in place of the curve; for forces only.
    pub single_slope: Option<SingleSlope>,
    /// How small a force can be trusted; for forces only.
    pub e74: Option<E74>,
    /// How sure one new reading's load is.
    pub read_back: Vec<ReadingReport>,
    /// Difference between going up and coming down; `None` when not read both ways.
    pub hysteresis: Option<HysteresisReport>,
    /// Largest less smallest run at one force and one way; `None` with one run, and for angles, which
    /// hardly come back to the same value.
    pub between_runs: Option<f64>,
    /// Last reading without load less the first; `None` when no run came back.
    pub zero_return: Option<f64>,
    /// Readings stuck at an end of the converter.
    pub stuck: Vec<StuckReport>,
    /// Gain, offset and loop width; for angles read both ways.
    pub sweep: Option<SweepReport>,
    /// What the curve misses at each point.
    pub residuals: Vec<Residual>,
    /// The largest of them, without sign.
    pub largest_residual: f64,
    /// What was judged.
    pub findings: Vec<Finding>,
    /// What deserves attention.
    pub warnings: Vec<Warning>,
}

/// One degree and how it does on the points.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DegreeReport {
    /// The degree.
    pub degree: usize,
    /// Coefficients, constant first: raw for each power of load.
    pub coefficients: Vec<f64>,
    /// Standard deviation of the readings about it, raw.
    pub residual_sd_raw: Option<f64>,
    /// R squared.
    pub r_squared: f64,
    /// Extra sum of squares: whether its highest power lowers the residuals.
    pub power: Option<FTest>,
    /// Lack of fit against the scatter of repeated loads.
    pub lack_of_fit: Option<FTest>,
}

/// One slope in place of a curve: what a firing file may state as `scale` and `zero`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SingleSlope {
    /// Force for each raw step, N.
    pub scale_n: f64,
    /// Reading without load, raw.
    pub zero_raw: f64,
    /// Standard deviation of what it misses, N.
    pub residual_sd_n: Option<f64>,
    /// The most that it misses at any point, N.
    pub largest_residual_n: f64,
    /// R squared about zero, not about the mean: it flatters.
    pub r_squared_about_zero: f64,
}

/// The lower limit factor and what follows from it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct E74 {
    /// Mean ratio of force to deflection, N for each raw step.
    pub mean_ratio_n: f64,
    /// Lower limit factor, N.
    pub lower_limit_factor_n: f64,
    /// Whether the resolution decides it, not the scatter.
    pub by_resolution: bool,
    /// Lowest force usable in class A, N.
    pub lowest_force_class_a_n: f64,
    /// Lowest force usable in class AA, N.
    pub lowest_force_class_aa_n: f64,
    /// The rule.
    pub rule: String,
    /// Where it comes from.
    pub source: String,
}

/// A reading, and the load it means.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ReadingReport {
    /// The reading, raw.
    pub raw: f64,
    /// The load behind one such reading, without what all loads share.
    pub load: Measured,
    /// Standard uncertainty that all loads share.
    pub shared_u: f64,
}

/// Going up against coming down.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HysteresisReport {
    /// Largest difference at one load, without sign.
    pub largest: f64,
    /// The same as a share of the range.
    pub largest_share: f64,
    /// The load it was seen at.
    pub at: f64,
    /// Mean difference, coming down less going up, over the loads between the ends.
    pub mean: f64,
    /// The same without sign as a share of the range.
    pub mean_share: f64,
    /// Standard deviation of the readings about the curve of their own direction, as load.
    pub scatter_without: Option<f64>,
}

/// One reading at several loads.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StuckReport {
    /// The reading, raw.
    pub raw: f64,
    /// The loads that gave it.
    pub loads: Vec<f64>,
}

/// A sweep up and down.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SweepReport {
    /// Angle for each unit of raw.
    pub gain: Measured,
    /// The same while raw rises.
    pub gain_rising: Measured,
    /// The same while raw falls.
    pub gain_falling: Measured,
    /// Angle where raw is zero.
    pub angle_at_zero_raw: Measured,
    /// Raw where the angle is zero.
    pub raw_at_zero_angle: Measured,
    /// Total width of the loop in units of raw: the dead band when raw is the command.
    pub loop_width_raw: Measured,
    /// The same as angle.
    pub loop_width: Measured,
    /// Which of the two comes behind the other, in words; `None` when the loop may be none.
    pub behind: Option<String>,
    /// Rows used while raw rises, and while it falls.
    pub rows: [usize; 2],
}

/// What the curve misses at one point.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Residual {
    /// Known load.
    pub load: f64,
    /// Load by the curve minus known load; `None` when the curve has no load for the reading.
    pub residual: Option<f64>,
    /// Which way the load, or for a sweep raw, was going.
    pub direction: Option<Direction>,
}

impl Judgement {
    /// Whether every finding holds.
    #[must_use]
    pub fn every_finding_holds(&self) -> bool {
        finding::all_hold(&self.findings)
    }
}

/// Fits a curve to points and judges it; `tolerance` is the share by which all weights may be wrong,
/// the same way.
///
/// # Errors
/// As [`super::calibrate_points`].
pub fn judge(
    points: &Points,
    tolerance: Option<f64>,
) -> Result<(CalibratedCell, Judgement), Problems> {
    let (chosen, found) = choose(points)?;
    let cell = calibrate_chosen(points, &chosen, tolerance, found)?;
    let mut judgement = measure(points, &chosen, &cell);
    judgement.findings = findings::of(&judgement, points, &chosen);
    Ok((cell, judgement))
}

fn measure(points: &Points, chosen: &Chosen, cell: &CalibratedCell) -> Judgement {
    let size = points.kind.unit_size();
    let fit = &chosen.fit;
    let shown = |load: f64| load / size;
    let residuals: Vec<Residual> = (0..points.raw.len())
        .map(|row| Residual {
            load: shown(points.load[row]),
            residual: Some(shown(cell.trace.residual_n[row])).filter(|miss| miss.is_finite()),
            direction: points.direction[row],
        })
        .collect();
    let sizes = residuals
        .iter()
        .filter_map(|one| one.residual)
        .map(f64::abs);
    let is_force = points.kind == LoadKind::Force;
    Judgement {
        schema: SCHEMA,
        file: points.file.clone(),
        quantity: points.kind,
        unit: points.kind.unit().to_owned(),
        points: points.raw.len(),
        levels: degree::levels(points),
        runs: runs(points),
        range: points.range().map(shown),
        gravity_m_s2: points.gravity_m_s2,
        shared_relative_u: cell.curve.scale.relative_u(),
        direction_found: points.direction_found,
        degree: fit.scaled.len() - 1,
        why: chosen.why.clone(),
        r_squared_note: R_SQUARED_DECIDES.to_owned(),
        degrees: chosen
            .tried
            .iter()
            .map(|tried| tried_report(tried, size))
            .collect(),
        coefficients: coefficients(fit, size),
        covariance: covariance(fit, size),
        residual_sd_raw: fit.residual_sd(),
        residual_sd: fit
            .residual_sd()
            .map(|sd| shown(sd / fit.slope(fit.centre).abs())),
        resolution_raw: e74::resolution(&points.raw),
        single_slope: single_slope(points, fit).filter(|_| is_force),
        e74: lower_limit(points, fit).filter(|_| is_force),
        read_back: readings(points, cell),
        hysteresis: hysteresis(points, fit),
        between_runs: reversibility::between_runs(fit, points)
            .filter(|_| is_force)
            .map(shown),
        zero_return: reversibility::zero_return(fit, points).map(shown),
        stuck: saturation::stuck(points)
            .into_iter()
            .map(|one| StuckReport {
                raw: one.raw,
                loads: one.loads.into_iter().map(shown).collect(),
            })
            .collect(),
        sweep: sweep::sweep(points)
            .filter(|_| !is_force)
            .map(|found| sweep_report(&found, size)),
        largest_residual: sizes.fold(0.0, f64::max),
        residuals,
        findings: Vec::new(),
        warnings: cell.warnings.iter().map(Warning::from).collect(),
    }
}

fn runs(points: &Points) -> usize {
    let mut names: Vec<&String> = points.run.iter().filter(|run| !run.is_empty()).collect();
    names.sort();
    names.dedup();
    names.len()
}

/// Coefficients for loads in a unit of some size.
fn coefficients(fit: &Fit, size: f64) -> Vec<f64> {
    let si = fit.coefficients();
    let powers = std::iter::successors(Some(1.0), |power| Some(power * size));
    si.iter()
        .zip(powers)
        .map(|(value, power)| value * power)
        .collect()
}

fn covariance(fit: &Fit, size: f64) -> Vec<Vec<f64>> {
    let power = |of: usize| std::iter::repeat_n(size, of).product::<f64>();
    let si = fit.coefficient_covariance();
    let scaled = |row: usize, column: usize, value: f64| value * power(row) * power(column);
    si.iter()
        .enumerate()
        .map(|(row, values)| {
            let values = values.iter().enumerate();
            values
                .map(|(column, value)| scaled(row, column, *value))
                .collect()
        })
        .collect()
}

fn tried_report(tried: &Tried, size: f64) -> DegreeReport {
    DegreeReport {
        degree: tried.fit.scaled.len() - 1,
        coefficients: coefficients(&tried.fit, size),
        residual_sd_raw: tried.fit.residual_sd(),
        r_squared: tried.r_squared,
        power: tried.power,
        lack_of_fit: tried.lack_of_fit,
    }
}

fn single_slope(points: &Points, fit: &Fit) -> Option<SingleSlope> {
    let zero_raw = e74::zero_reading(fit, points);
    let deflection: Vec<f64> = points.raw.iter().map(|raw| raw - zero_raw).collect();
    let line = polynomial::through_zero(&points.load, &deflection)?;
    let scale_n = 1.0 / line.slope;
    let missed = deflection
        .iter()
        .zip(&points.load)
        .map(|(deflection, load)| (deflection * scale_n - load).abs());
    Some(SingleSlope {
        scale_n,
        zero_raw,
        residual_sd_n: line.residual_sd.map(|sd| sd * scale_n.abs()),
        largest_residual_n: missed.fold(0.0, f64::max),
        r_squared_about_zero: line.r_squared,
    })
    .filter(|single| single.scale_n.is_finite())
}

fn lower_limit(points: &Points, fit: &Fit) -> Option<E74> {
    let limit = e74::lower_limit(fit, points)?;
    Some(E74 {
        mean_ratio_n: limit.mean_ratio,
        lower_limit_factor_n: limit.factor,
        by_resolution: limit.by_resolution,
        lowest_force_class_a_n: e74::CLASS_A * limit.factor,
        lowest_force_class_aa_n: e74::CLASS_AA * limit.factor,
        rule: e74::RULE.to_owned(),
        source: e74::SOURCE.to_owned(),
    })
}

/// Shares of the range at which one reading's load is stated.
const READ_BACK_AT: [f64; 4] = [0.1, 0.25, 0.5, 1.0];

fn readings(points: &Points, cell: &CalibratedCell) -> Vec<ReadingReport> {
    let [low, high] = points.range();
    let size = points.kind.unit_size();
    // Forces are counted from nothing, angles from one end to the other.
    let from = if points.kind == LoadKind::Force && low >= 0.0 {
        0.0
    } else {
        low
    };
    READ_BACK_AT
        .iter()
        .map(|share| from + share * (high - from))
        .filter_map(|load| {
            let found = inverse_prediction::at(&cell.curve.fit, load)?;
            let [lowest, highest] = found.interval.map(|end| end / size);
            Some(ReadingReport {
                raw: cell.curve.fit.at(load),
                load: Measured::interval(
                    load / size,
                    found.u / size,
                    lowest,
                    highest,
                    points.kind.unit(),
                ),
                shared_u: (load * cell.curve.scale.relative_u() / size).abs(),
            })
        })
        .collect()
}

fn hysteresis(points: &Points, fit: &Fit) -> Option<HysteresisReport> {
    let found = reversibility::hysteresis(fit, points)?;
    let size = points.kind.unit_size();
    let [low, high] = points.range();
    let scatter = reversibility::scatter_without_hysteresis(fit, points);
    Some(HysteresisReport {
        largest: found.largest / size,
        largest_share: found.largest / (high - low),
        at: found.at / size,
        mean: found.mean / size,
        mean_share: found.mean.abs() / (high - low),
        scatter_without: scatter.map(|sd| sd / fit.slope(fit.centre).abs() / size),
    })
}

fn sweep_report(found: &sweep::Sweep, size: f64) -> SweepReport {
    let factor = coverage_factor(found.freedom as f64);
    let measured = |(value, u): sweep::Uncertain, size: f64, unit: &str| {
        let (value, u) = (value / size, u / size);
        Measured::interval(value, u, value - factor * u, value + factor * u, unit)
    };
    let gain = |value: sweep::Uncertain| measured(value, size, "deg/raw");
    let loop_width_raw = measured(found.width, 1.0, "raw");
    let behind = if loop_width_raw.low > 0.0 {
        Some("the angle comes behind raw, as a nozzle behind its command")
    } else if loop_width_raw.high < 0.0 {
        Some("raw comes behind the angle, as a sensor behind what it measures")
    } else {
        None
    };
    let angle_for_raw = found.gain.0.abs();
    let width = (found.width.0 * angle_for_raw, found.width.1 * angle_for_raw);
    SweepReport {
        gain: gain(found.gain),
        gain_rising: gain(found.gain_each_way[0]),
        gain_falling: gain(found.gain_each_way[1]),
        angle_at_zero_raw: measured(found.angle_at_zero_raw, size, "deg"),
        raw_at_zero_angle: measured(found.raw_at_zero_angle, 1.0, "raw"),
        loop_width_raw,
        loop_width: measured(width, size, "deg"),
        behind: behind.map(str::to_owned),
        rows: found.rows,
    }
}

#[cfg(test)]
#[path = "judgement_tests.rs"]
mod tests;
