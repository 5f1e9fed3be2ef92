//! Thrust: load less baseline and weight, and what its uncertainty does to any weighted sum of it.
//!
//! For a load L(t), the baseline is
//!
//! ```text
//! b(t) = course(t) + s w q(t)
//! ```
//!
//! with the course of the zero through the burn from the baseline on either side ([`super::baseline_drift`]), w the
//! weight of the propellant, s its sign by the mount, and q the share of impulse delivered so far
//! (propellant burns in proportion to it). q depends on thrust, so the line is found by repetition. A step of the
//! zero that weight does not explain may have come at any time ([`super::zero_jump`]).
//! Any weighted sum of thrust values is linear in readings, rests and curve coefficients;
//! [`ThrustTrace::terms`] carries their uncertainties through (JCGM 100:2008, 5.2).

use std::sync::OnceLock;

use super::baseline::Baseline;
use super::baseline_drift::{Course, Step};
use super::flicker;
use super::zero_jump::{Jump, course_and_jump};
use crate::calibration::{Curve, Load};
use crate::numeric::polynomial::quadratic_form;
use crate::numeric::trapezoid;
use crate::series::Series;
use crate::uncertainty::{Term, combined};

/// Repetitions of thrust and baseline; each gains about two digits.
const ROUNDS: usize = 4;

/// Weight of the burnt propellant along thrust.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct WeightLoss {
    /// Sign with which lost weight adds to the reading: 1 nozzle down, -1 nozzle up, 0 level.
    pub sign: f64,
    /// Weight burnt, N, and what its uncertainty is made of; `None` when no mass was given.
    pub weight_n: Option<(f64, Vec<Term>)>,
}

impl WeightLoss {
    /// Mounts on which weight does not act along thrust.
    #[must_use]
    pub(crate) const fn none() -> Self {
        Self {
            sign: 0.0,
            weight_n: None,
        }
    }

    /// Standard uncertainty of the step, N, where it is known.
    fn u_n(&self) -> f64 {
        let terms = self.weight_n.as_ref().filter(|_| self.sign != 0.0);
        terms.map_or(0.0, |(_, terms)| combined(terms))
    }

    /// The step that it leaves in the reading.
    fn step(&self) -> Step {
        match &self.weight_n {
            _ if self.sign == 0.0 => Step::Known(0.0),
            Some((weight_n, _)) => Step::Known(self.sign * weight_n),
            None => Step::Free,
        }
    }
}

/// Thrust over time, able to say how sure any weighted sum of it is.
#[derive(Debug, Clone)]
pub(crate) struct ThrustTrace {
    /// Thrust, N.
    pub thrust: Series,
    /// The baseline taken off, N.
    pub baseline_n: Series,
    /// Load it was taken from.
    load: Load,
    baseline: Baseline,
    course: Course,
    /// Share of impulse delivered at each reading.
    delivered: Vec<f64>,
    /// Share of the whole step of the zero at each reading.
    stepped: Vec<f64>,
    /// What of that step nothing explains.
    jump: Jump,
    /// What each newton of load is worth in thrust: 1/cos for cells on the ground.
    stretch: Vec<f64>,
    /// What the uncertainty of the weight loss is made of, N; empty where it was read from the record.
    weight: Vec<Term>,
    /// The burn as it was found, s.
    burn_s: (f64, f64),
    /// Standard deviation of what burns faster than the readings follow, as a share of thrust.
    rough: f64,
    /// Standard uncertainty of each value, N, once it was asked for.
    u_n: OnceLock<Vec<f64>>,
}

/// Takes baseline and weight off a load. `cosine` is cos(tilt + nozzle angle) at each reading, for
/// cells that stay on the ground. `None` when the record has no baseline on either side.
#[must_use]
pub(crate) fn thrust(
    load: Load,
    baseline: Baseline,
    burn_s: (f64, f64),
    weight: &WeightLoss,
    cosine: Option<&Series>,
) -> Option<ThrustTrace> {
    let stretch: Vec<f64> = load
        .time_s
        .iter()
        .map(|time| 1.0 / cosine.and_then(|cosine| cosine.at(*time)).unwrap_or(1.0))
        .collect();
    let (course, jump) = course_and_jump(
        &load.time_s,
        &baseline,
        burn_s,
        &heated(&load, &baseline, burn_s),
        (weight.step(), weight.u_n()),
    )?;
    let weight_n = course.step_n() - jump.size_n;
    let mut delivered = jump.passed.clone();
    let read = load.series();
    let line: Vec<f64> = load.time_s.iter().map(|time| course.at(*time)).collect();
    let mut thrust = Series::default();
    let mut zero = Vec::new();
    for _ in 0..ROUNDS {
        zero.clear();
        let shares = delivered.iter().zip(&jump.passed);
        let each = line.iter().zip(shares);
        zero.extend(each.map(|(line, (q, passed))| line + weight_n * q + jump.size_n * passed));
        let each = load.force_n.iter().zip(&zero).zip(&stretch);
        let values = each.map(|((load, zero), stretch)| (load - zero) * stretch);
        thrust = read.with(values.collect());
        share_delivered(&thrust, burn_s, &mut delivered);
    }
    let weight = match &weight.weight_n {
        Some((_, terms)) if weight.sign != 0.0 => terms.clone(),
        _ => Vec::new(),
    };
    let sd_n = baseline.sd_n().unwrap_or(0.0);
    Some(ThrustTrace {
        rough: flicker::measure(&thrust.between(burn_s.0, burn_s.1), sd_n),
        thrust,
        baseline_n: read.with(zero),
        load,
        baseline,
        course,
        stepped: jump.share_of_step(weight_n, &delivered),
        delivered,
        jump,
        stretch,
        weight,
        burn_s,
        u_n: OnceLock::new(),
    })
}

/// Instants at which it is looked how much of the impulse has been delivered, before the zero is known.
const HEATED_INSTANTS: usize = 64;

/// Share of the impulse delivered over the burn, above a straight line between the rests.
fn heated(load: &Load, baseline: &Baseline, burn_s: (f64, f64)) -> Series {
    let above = above_line(load, baseline);
    let mut delivered = vec![0.0; above.len()];
    share_delivered(&above, burn_s, &mut delivered);
    let delivered = above.with(delivered);
    let mut out = Series::default();
    for at in 0..=HEATED_INSTANTS {
        let share = at as f64 / HEATED_INSTANTS as f64;
        let time = burn_s.0 + (burn_s.1 - burn_s.0) * share;
        out.push(time, delivered.at(time).unwrap_or(share));
    }
    out
}

/// Impulse above a straight line between the rests, N s: good to tell how much propellant it took.
pub(super) fn rough_impulse_ns(load: &Load, baseline: &Baseline, burn_s: (f64, f64)) -> f64 {
    trapezoid::area_between(&above_line(load, baseline), burn_s.0, burn_s.1)
}

/// The load above a straight line between the rests, never below it.
fn above_line(load: &Load, baseline: &Baseline) -> Series {
    let ends: Vec<(f64, f64)> = baseline
        .blocks()
        .iter()
        .map(|(block, _)| (block.time_s, block.mean_n))
        .collect();
    let line = |time: f64| match (ends.first(), ends.last()) {
        (Some(a), Some(b)) if b.0 > a.0 => a.1 + (b.1 - a.1) * (time - a.0) / (b.0 - a.0),
        (Some(a), _) => a.1,
        _ => 0.0,
    };
    let above = |(time, load): (&f64, &f64)| (load - line(*time)).max(0.0);
    let above = load.time_s.iter().zip(&load.force_n).map(above);
    Series::new(&load.time_s, &above.collect::<Vec<f64>>())
}

fn share_delivered(thrust: &Series, burn_s: (f64, f64), delivered: &mut [f64]) {
    let cumulated = trapezoid::cumulated(thrust);
    let cumulated = thrust.with(cumulated);
    let at = |time: f64| cumulated.at(time).unwrap_or(0.0);
    let (from, to) = (at(burn_s.0), at(burn_s.1));
    for (share, so_far) in delivered.iter_mut().zip(cumulated.value()) {
        if to > from {
            *share = ((so_far - from) / (to - from)).clamp(0.0, 1.0);
        }
    }
}

impl ThrustTrace {
    /// The burn as it was found, s.
    #[must_use]
    pub(crate) const fn burn_s(&self) -> (f64, f64) {
        self.burn_s
    }

    /// The load the thrust was taken from.
    #[must_use]
    pub(crate) fn load(&self) -> &Load {
        &self.load
    }

    /// Zero shift from before the burn to after it that is no drift, N, and its standard
    /// uncertainty, read from the record alone; `None` without a baseline on both sides.
    #[must_use]
    pub(crate) const fn shift_n(&self) -> Option<(f64, f64)> {
        self.jump.step_n
    }

    /// Share of total impulse delivered at each reading.
    #[must_use]
    pub(crate) fn impulse_fraction(&self) -> Series {
        self.thrust.with(self.delivered.clone())
    }

    /// Standard deviation of the noise of one thrust value, N.
    #[must_use]
    pub(crate) fn noise_n(&self) -> f64 {
        self.baseline.sd_n().unwrap_or(0.0)
    }

    /// Standard deviation of what burns faster than the readings follow, as a share of thrust.
    #[must_use]
    pub(crate) fn rough(&self) -> f64 {
        self.rough
    }

    /// Standard uncertainty of the baseline at a time, N: it is common to neighbouring readings.
    #[must_use]
    #[inline]
    pub(crate) fn baseline_u_n(&self, time_s: f64) -> f64 {
        let (from_s, to_s) = self.burn_s;
        let passed = ((time_s - from_s) / (to_s - from_s)).clamp(0.0, 1.0);
        self.course.u_n(time_s).hypot(self.jump.u_n(passed))
    }

    /// Uncertainty terms of the sum of `weights[i] * thrust[i]`, in the unit of weight times newton.
    #[must_use]
    pub(crate) fn terms(&self, weights: &[f64]) -> Vec<Term> {
        // Weight of each load reading, after stretching for tilt.
        let direct: Vec<f64> = weights
            .iter()
            .zip(&self.stretch)
            .map(|(w, s)| w * s)
            .collect();
        let on_line = self
            .course
            .owed(&self.load.time_s, &direct, Some(&self.stepped));
        let squares: f64 = direct.iter().map(|w| w * w).sum();
        // Noise that lasts over several readings averages out less than its spread would say.
        let variance = self.course.reading_variance_n2.max(self.noise_n().powi(2));
        let mut out = vec![
            Term::random("noise of the readings", (variance * squares).sqrt()),
            Term::random(
                "rough burning between the readings",
                self.rough * self.squares_of_force(weights).sqrt(),
            ),
            self.course.term("baseline through the burn", &on_line),
            self.jump.term(&direct),
        ];
        let by_weight: f64 = on_line
            .iter()
            .zip(&self.course.by_step)
            .map(|(weight, by_step)| weight * by_step)
            .sum();
        out.extend(self.weight.iter().map(|term| term.clone().times(by_weight)));
        out.extend(self.calibration_terms(&direct, &on_line));
        out
    }

    fn squares_of_force(&self, weights: &[f64]) -> f64 {
        let parts = weights.iter().zip(self.thrust.value());
        parts.map(|(weight, force)| (weight * force).powi(2)).sum()
    }

    /// Terms of the cells' curves. The weights behind them and gravity are the same for all cells, so
    /// their errors add up before they are squared.
    fn calibration_terms(&self, direct: &[f64], on_line: &[f64]) -> Vec<Term> {
        let on_blocks = self.course.on_blocks(on_line);
        let mut out = Vec::new();
        let (mut weights, mut gravity) = (0.0, 0.0);
        for cell in &self.load.cells {
            let peak_n = cell.force_n.iter().copied().fold(0.0, f64::max);
            let mut sum = CurveSum::new(&cell.curve, peak_n);
            for (weight, load) in direct.iter().zip(&cell.force_n).filter(|(w, _)| **w != 0.0) {
                sum.add(*weight, *load);
            }
            for (weight, (block, _)) in on_blocks.iter().zip(self.baseline.blocks()) {
                let rows = &cell.force_n[block.rows.clone()];
                sum.add(*weight, rows.iter().sum::<f64>() / rows.len() as f64);
            }
            weights += sum.force * cell.curve.scale.weights_relative_u;
            gravity += sum.force * cell.curve.scale.gravity_relative_u;
            out.extend(sum.terms(&cell.name));
        }
        out.push(Term::systematic("weights behind the calibration", weights).limits());
        out.push(Term::systematic("local gravity", gravity));
        out.into_iter().map(Term::of_calibration).collect()
    }

    /// Standard uncertainty of each thrust value, N.
    #[must_use]
    pub(crate) fn u_n(&self) -> &[f64] {
        self.u_n.get_or_init(|| self.each_u_n())
    }

    fn each_u_n(&self) -> Vec<f64> {
        let sd = self.noise_n();
        let resting = self
            .baseline
            .sides()
            .next()
            .map_or(0, |side| side.rows.start);
        let cells = self.load.cells.iter();
        let mut sums: Vec<(&[f64], CurveSum<'_>)> = cells
            .map(|cell| (&cell.force_n[..], CurveSum::new(&cell.curve, 0.0)))
            .collect();
        (0..self.load.time_s.len())
            .map(|row| {
                let curves: f64 = sums
                    .iter_mut()
                    .map(|(force_n, sum)| {
                        // Each cell's curve matters through the step from rest to load.
                        sum.restart(force_n[row]);
                        sum.add(1.0, force_n[row]);
                        sum.add(-1.0, force_n[resting]);
                        sum.variance()
                    })
                    .sum();
                let zero = self.baseline_u_n(self.load.time_s[row]);
                self.stretch[row] * (curves + sd * sd + zero * zero).sqrt()
            })
            .collect()
    }
}

/// A weighted sum of loads read with one curve: its derivatives by what the curve does not know.
struct CurveSum<'a> {
    curve: &'a Curve,
    /// Largest load, N: the loop of a cell reaches as far as it was loaded.
    peak_n: f64,
    gradient: Vec<f64>,
    /// Sum of the loads, N: what a wrong scale changes.
    force: f64,
    /// Sum of the half widths of the loop, N.
    half_loop: f64,
}

impl<'a> CurveSum<'a> {
    fn new(curve: &'a Curve, peak_n: f64) -> Self {
        Self {
            curve,
            peak_n,
            gradient: vec![0.0; curve.fit.scaled.len()],
            force: 0.0,
            half_loop: 0.0,
        }
    }

    /// Begins anew, with another largest load, N.
    #[inline]
    fn restart(&mut self, peak_n: f64) {
        self.peak_n = peak_n;
        self.gradient.fill(0.0);
        (self.force, self.half_loop) = (0.0, 0.0);
    }

    #[inline]
    fn add(&mut self, weight: f64, load_n: f64) {
        self.force += weight * load_n;
        self.half_loop += weight * self.curve.half_loop(load_n, self.peak_n);
        self.curve
            .add_load_per_coefficient(load_n, weight, &mut self.gradient);
    }

    fn curve_u(&self) -> f64 {
        quadratic_form(&self.curve.fit.covariance, &self.gradient)
            .max(0.0)
            .sqrt()
    }

    fn terms(&self, name: &str) -> Vec<Term> {
        let freedom = match self.curve.fit.degrees_of_freedom {
            0 => f64::INFINITY,
            some => some as f64,
        };
        vec![
            Term::systematic(format!("calibration of cell {name}"), self.curve_u())
                .with_freedom(freedom),
            Term::systematic(
                format!("hysteresis of cell {name}"),
                self.half_loop / 3.0_f64.sqrt(),
            )
            .limits(),
            Term::systematic(
                format!("stated scale of cell {name}"),
                self.force * self.curve.scale.stated_relative_u,
            ),
            Term::systematic(
                format!("cell {name} beyond its points"),
                self.force * self.curve.scale.beyond_relative_u,
            )
            .limits(),
        ]
    }

    #[inline]
    fn variance(&self) -> f64 {
        let scale = &self.curve.scale;
        let shares = [
            scale.weights_relative_u,
            scale.gravity_relative_u,
            scale.stated_relative_u,
            scale.beyond_relative_u,
        ];
        let of_scale: f64 = shares.iter().map(|u| (u * self.force).powi(2)).sum();
        self.curve_u().powi(2) + self.half_loop.powi(2) / 3.0 + of_scale
    }
}
