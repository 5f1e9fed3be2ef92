//! What both measurement models say of the actuator: lag, delay, dead band, from the model structures tried.

use super::excitation::Excitation;
use super::findings;
use super::fit_uncertainty::{self, FitUncertainty, Profile};
use super::measurement_model::{DELAY, LAG, MeasurementModel, StructureFit, WIDTH};
use super::parameter::Parameter;
use super::structure::StructureChoice;
use super::trace::{PROFILE_POINTS, WidthProfile};
use super::{DeadBand, DeadBandKind};
use crate::finding::Finding;
use crate::quantity::measured::{NORMAL_FACTOR, coverage_factor};
use crate::quantity::{Measured, Unit};

/// A delay known no better than this is not known, s: servos' own delays are smaller.
const USELESS_DELAY_U_S: f64 = 0.05;
/// A lag counts as identifiable when its standard uncertainty is below this share of it.
const IDENTIFIABLE_SHARE: f64 = 0.5;

/// Lag, delay, order and dead band, each `None` where it is not identifiable from the record, with findings.
#[derive(Debug, Clone)]
pub struct ActuatorEstimates {
    /// Lag.
    pub lag_s: Option<Measured>,
    /// Damping ratio of an actuator of second order.
    pub damping_ratio: Option<Measured>,
    /// Dead time.
    pub delay_s: Option<Measured>,
    /// Lag and dead time together.
    pub lag_plus_delay_s: Measured,
    /// The farthest that any structure's lag and dead time together is from that, s.
    pub structures_apart_s: f64,
    /// Dead band.
    pub dead_band: DeadBand,
    /// Findings on them.
    pub findings: Vec<Finding>,
}

/// What the estimates are taken from.
pub(crate) struct ActuatorSolution<'a, V> {
    /// The model.
    pub model: &'a V,
    /// All structures.
    pub choice: &'a StructureChoice,
    /// The fit taken.
    pub fit: &'a StructureFit,
    /// Its covariance.
    pub uncertainty: &'a FitUncertainty,
    /// Standard uncertainty of the delay from the clocks, s.
    pub clock_u_s: f64,
    /// Degrees of freedom of each parameter's uncertainty.
    pub freedom: &'a [f64],
    /// Step between readings, s.
    pub step_s: f64,
    /// How the command moved.
    pub excitation: Excitation,
}

/// Standard uncertainty of a parameter, what structures of one order disagree by included.
pub(crate) fn uncertainty_of<V>(fitted: &ActuatorSolution<'_, V>, index: usize) -> f64 {
    let apart = fitted.choice.disagreement(&|fit| fit.minimum.x[index]);
    fitted.uncertainty.u(index).hypot(apart)
}

/// A time in either order; never below zero.
fn in_either_order<V>(
    fitted: &ActuatorSolution<'_, V>,
    measured: Measured,
    of: &dyn Fn(&[f64]) -> f64,
) -> Measured {
    let mut out = fitted.choice.in_either_order(measured, of);
    out.low = out.low.max(0.0);
    out
}

/// Takes the estimates.
pub(crate) fn actuator_estimates(
    fitted: &ActuatorSolution<'_, impl MeasurementModel>,
) -> ActuatorEstimates {
    let mut findings = vec![fitted.excitation.finding()];
    let lag_s = lag(fitted, &mut findings);
    let profile = delay_profile(fitted);
    let delay_s = profile.and_then(|(profile, _)| delay(fitted, profile, &mut findings));
    let raised = profile.map_or(1.0, |(of, u)| {
        0.5 * (of.high - of.low) / (NORMAL_FACTOR * u)
    });
    let damping_ratio = damping_ratio(fitted);
    findings.push(findings::order(
        fitted.choice.second_order_lead(),
        damping_ratio.as_ref(),
    ));
    let dead_band = dead_band(fitted);
    findings.push(findings::dead_band(
        fitted.choice,
        dead_band.width_deg.as_ref(),
        &fitted.excitation,
    ));
    ActuatorEstimates {
        lag_s,
        damping_ratio,
        delay_s,
        lag_plus_delay_s: lag_plus_delay(fitted, raised.max(1.0)),
        structures_apart_s: (fitted.choice)
            .farthest_apart(&|fit| fit.minimum.x[LAG] + fit.minimum.x[DELAY]),
        dead_band,
        findings,
    }
}

/// The damping ratio of a fit of second order.
fn damping_ratio<M: MeasurementModel>(fitted: &ActuatorSolution<'_, M>) -> Option<Measured> {
    let at = M::at(Parameter::DampingRatio);
    fitted.fit.second_order.then(|| {
        let value = fitted.fit.minimum.x[at];
        let freed = with_free(fitted.fit, at);
        let uncertainty = fit_uncertainty::fit_uncertainty(&freed.minimum);
        let u = uncertainty.map_or(value, |uncertainty| uncertainty.u(at));
        let mut out = Measured::student(value, u, freedom(fitted, at), Unit::One);
        out.low = out.low.max(0.0);
        out
    })
}

/// Lag and delay together: what one lacks the other has, so their sum is known better than either. Its curvature is
/// raised as the delay's profile raises that one's.
fn lag_plus_delay(fitted: &ActuatorSolution<'_, impl MeasurementModel>, raised: f64) -> Measured {
    let sum = |x: &[f64]| x[LAG] + x[DELAY];
    let own = &fitted.uncertainty.covariance;
    let variance = own[(LAG, LAG)] + 2.0 * own[(LAG, DELAY)] + own[(DELAY, DELAY)];
    let apart = fitted.choice.disagreement(&|fit| sum(&fit.minimum.x));
    let u = (raised * variance.max(0.0).sqrt())
        .hypot(apart)
        .hypot(fitted.clock_u_s);
    let freedom = freedom(fitted, LAG).min(freedom(fitted, DELAY));
    let measured = Measured::student(sum(&fitted.fit.minimum.x), u, freedom, Unit::Second);
    in_either_order(fitted, measured, &sum)
}

fn lag(
    fitted: &ActuatorSolution<'_, impl MeasurementModel>,
    findings: &mut Vec<Finding>,
) -> Option<Measured> {
    let (value, u) = (fitted.fit.minimum.x[LAG], uncertainty_of(fitted, LAG));
    if fitted.fit.minimum.free[LAG] && u > 0.0 && u <= IDENTIFIABLE_SHARE * value {
        let measured = Measured::student(value, u, freedom(fitted, LAG), Unit::Second);
        return Some(in_either_order(fitted, measured, &|x| x[LAG]));
    }
    findings.push(findings::not_identifiable(
        Parameter::Lag,
        format!(
            "standard uncertainty {u:.4} s is not below half of the lag, {value:.4} s; readings \
             every {:.4} s",
            fitted.step_s
        ),
        format!(
            "log faster than the lag, and {}",
            fitted.excitation.advice()
        ),
    ));
    None
}

/// The profile of the delay, and its standard uncertainty by the curvature; a delay pressed to zero still needs a
/// curvature to step by.
fn delay_profile(fitted: &ActuatorSolution<'_, impl MeasurementModel>) -> Option<(Profile, f64)> {
    let freed = with_free(fitted.fit, DELAY);
    let uncertainty = fit_uncertainty::fit_uncertainty(&freed.minimum)?;
    let profile = fit_uncertainty::profile(fitted.model, &freed, &uncertainty, DELAY);
    Some((profile, uncertainty.u(DELAY)))
}

fn delay(
    fitted: &ActuatorSolution<'_, impl MeasurementModel>,
    profile: Profile,
    findings: &mut Vec<Finding>,
) -> Option<Measured> {
    let value = fitted.fit.minimum.x[DELAY];
    let apart = fitted.choice.disagreement(&|fit| fit.minimum.x[DELAY]);
    let more = apart.hypot(fitted.clock_u_s);
    let measured = widened(value, profile, more, freedom(fitted, DELAY), Unit::Second);
    let measured = in_either_order(fitted, measured, &|x| x[DELAY]);
    if measured.u <= USELESS_DELAY_U_S {
        return Some(measured);
    }
    findings.push(findings::not_identifiable(
        Parameter::Delay,
        format!("standard uncertainty {:.4} s", measured.u),
        fitted.excitation.advice(),
    ));
    None
}

fn freedom<V>(fitted: &ActuatorSolution<'_, V>, index: usize) -> f64 {
    fitted.freedom.get(index).copied().unwrap_or(f64::INFINITY)
}

/// A profile interval of what is not negative, as wide as its degrees of freedom call for, with a
/// further normal term.
fn widened(value: f64, profile: Profile, more_u: f64, freedom: f64, unit: Unit) -> Measured {
    let mut out = widened_either_side(value, profile, more_u, freedom, unit);
    out.low = out.low.max(0.0);
    out
}

/// The same of what may have either sign.
pub(crate) fn widened_either_side(
    value: f64,
    profile: Profile,
    more_u: f64,
    freedom: f64,
    unit: Unit,
) -> Measured {
    let more = NORMAL_FACTOR * more_u;
    let wider = coverage_factor(freedom) / NORMAL_FACTOR;
    let (below, above) = (value - profile.low, profile.high - value);
    let u = 0.5 * (below.hypot(more) + above.hypot(more)) / NORMAL_FACTOR;
    let (below, above) = ((wider * below).hypot(more), (wider * above).hypot(more));
    Measured::interval(value, u, value - below, value + above, unit)
}

fn with_free(fit: &StructureFit, index: usize) -> StructureFit {
    let mut out = fit.clone();
    out.minimum.free[index] = true;
    out
}

fn dead_band(fitted: &ActuatorSolution<'_, impl MeasurementModel>) -> DeadBand {
    let width_deg = match fitted.choice.decided {
        None => None,
        // No dead band is a width of zero, as sure as the wider kinds' profiles make it.
        Some(DeadBandKind::None) => fitted
            .choice
            .width_limit_deg
            .map(|limit| Measured::interval(0.0, limit / NORMAL_FACTOR, 0.0, limit, Unit::Degree)),
        Some(_) => {
            let profile =
                fit_uncertainty::profile(fitted.model, fitted.fit, fitted.uncertainty, WIDTH);
            let value = fitted.fit.minimum.x[WIDTH];
            let mut width = widened(value, profile, 0.0, freedom(fitted, WIDTH), Unit::Degree);
            let threshold = fitted.choice.naming_threshold();
            let low = fit_uncertainty::low_if_selected(value, width.u, threshold);
            width.low = width.low.min(low);
            Some(width)
        }
    };
    DeadBand {
        kind: fitted.choice.decided,
        width_deg,
    }
}

/// How much worse the fit is along the width, for the picture: twice the log-likelihood lost.
pub(crate) fn width_profile<M>(fitted: &ActuatorSolution<'_, M>) -> WidthProfile
where
    M: MeasurementModel + Clone + Send + 'static,
{
    let fit = if fitted.fit.kind == DeadBandKind::None {
        let banded = fitted.choice.ranked.iter().map(|scored| &scored.fit);
        match banded.clone().find(|fit| fit.kind == DeadBandKind::Play) {
            Some(play) => play,
            None => return WidthProfile::default(),
        }
    } else {
        fitted.fit
    };
    let (model, freed) = (fitted.model.clone(), with_free(fit, WIDTH));
    WidthProfile::new(move || {
        let Some(uncertainty) = fit_uncertainty::fit_uncertainty(&freed.minimum) else {
            return vec![];
        };
        let centre = freed.minimum.x[WIDTH];
        let reach = (4.0 * uncertainty.u(WIDTH)).min(model.movement().widest_deg);
        let low = (centre - reach).max(0.0);
        let step = (centre + reach - low) / (PROFILE_POINTS - 1) as f64;
        let point = |at: usize| {
            let width = low + step * at as f64;
            let loss = fit_uncertainty::loss(&model, &freed, &uncertainty, WIDTH, width);
            (width, loss.max(0.0))
        };
        (0..PROFILE_POINTS).map(point).collect()
    })
}
